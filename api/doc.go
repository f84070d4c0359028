// Package api holds the description of the HTTP interface, openapi.yaml, embedded.
// That document is the one source of names, units, bounds, roles and problem codes:
// the server's routes are generated from it, bodies and parameters are validated
// against it, and the reference page shows it.
package api

import _ "embed" // for the document

//go:generate go tool oapi-codegen --config oapi-codegen.yaml openapi.yaml

//go:embed openapi.yaml
var document []byte

// Document returns openapi.yaml. The caller must not change it.
func Document() []byte { return document }
