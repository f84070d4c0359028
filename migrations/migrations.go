// Package migrations holds the database schema as numbered SQL files, one change a
// file, each with its way back. They are embedded, so that the program carries the
// schema it was built for. A released file never changes.
//
// Ranges stand here a second time, as CHECK constraints in double precision with the
// same bounds as api/openapi.yaml: what reaches the tables past the API is held to
// them too. They bound what can be stored at all; what physics allows is decided in
// package limits, which can explain itself.
package migrations

import "embed"

// Files are the migrations, named NUMBER_subject.up.sql and .down.sql.
//
//go:embed *.sql
var Files embed.FS
