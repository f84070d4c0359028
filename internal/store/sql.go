package store

import (
	"embed"
	"fmt"
	"io/fs"
)

//go:embed query/*.sql
var queryFiles embed.FS

// query returns the text of one query file, named without its ending. A test asks
// for every name that the code uses, so a wrong one cannot be released.
func query(name string) string {
	raw, err := fs.ReadFile(queryFiles, "query/"+name+".sql")
	if err != nil {
		return fmt.Sprintf("-- no query file %q", name)
	}
	return string(raw)
}
