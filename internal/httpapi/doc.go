// Package httpapi answers HTTP requests: it turns the wire into the words of
// internal/fieldtest, makes one call, and turns words into the wire. It decides
// nothing about panels.
//
// Routes and parameter structs are generated from api/openapi.yaml into api.gen.go;
// roles, query parameters and bodies are held against the same document before a
// handler runs, so that what the document does not declare is denied. Errors meant for
// the client are *fieldtest.Refusal and become problem documents (RFC 9457) in one
// place, HandleError; all others are logged and answered as internal.
package httpapi
