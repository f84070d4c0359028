package internal_test

import (
	"bytes"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// A source is one file of the program, neither a test nor generated.
type source struct {
	path  string
	set   *token.FileSet
	file  *ast.File
	lines int
}

// at returns the place of a node for a message.
func (s source) at(n ast.Node) string { return s.set.Position(n.Pos()).String() }

// planted parses text as the only file of a package, for the tests of the rules.
func planted(t *testing.T, body string) []source {
	t.Helper()
	s, err := parse(token.NewFileSet(), "planted.go", []byte("package planted\n\n"+body))
	if err != nil {
		t.Fatal(err)
	}
	return []source{s}
}

func parse(set *token.FileSet, path string, text []byte) (source, error) {
	f, err := parser.ParseFile(set, path, text, parser.ParseComments)
	if err != nil {
		return source{}, err
	}
	return source{path: path, set: set, file: f, lines: bytes.Count(text, []byte("\n"))}, nil
}

// parsed holds what sources found, since every rule asks for the same files.
var parsed = map[string]map[string][]source{}

// sources returns the files below a folder by package folder.
func sources(t *testing.T, root string) map[string][]source {
	t.Helper()
	if parsed[root] == nil {
		parsed[root] = readSources(t, root)
	}
	return parsed[root]
}

func readSources(t *testing.T, root string) map[string][]source {
	t.Helper()
	set, found := token.NewFileSet(), map[string][]source{}
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return err
		}
		text, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		s, err := parse(set, path, text)
		if err == nil && !ast.IsGenerated(s.file) {
			found[filepath.Dir(path)] = append(found[filepath.Dir(path)], s)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return found
}

// domainSources returns the files of the domain packages and of their rooms by name.
func domainSources(t *testing.T) map[string][]source {
	t.Helper()
	domain, found := domainPackages(t), map[string][]source{}
	for folder, files := range sources(t, ".") {
		first, _, _ := strings.Cut(filepath.ToSlash(folder), "/")
		if slices.Contains(domain, first) && files[0].file.Name.Name != "main" {
			found[folder] = files
		}
	}
	if len(found) < 15 {
		t.Fatalf("found %d domain packages, want more", len(found))
	}
	return found
}

// inOrder calls do for every package in the order of the names.
func inOrder(packages map[string][]source, do func(name string, files []source)) {
	for _, name := range slices.Sorted(maps.Keys(packages)) {
		do(name, packages[name])
	}
}

// wantFaults holds a rule to the planted text: every one of the words in a message of
// its own, and no message without words.
func wantFaults(t *testing.T, got []string, words ...string) {
	t.Helper()
	if len(got) != len(words) {
		t.Errorf("%d messages, want %d: %s", len(got), len(words), strings.Join(got, "; "))
		return
	}
	for i, w := range words {
		if !strings.Contains(got[i], w) {
			t.Errorf("message %d = %q, want %q in it", i, got[i], w)
		}
	}
}

// functions returns the functions of the files that have a body.
func functions(files []source, do func(s source, fn *ast.FuncDecl)) {
	for _, s := range files {
		for _, d := range s.file.Decls {
			if fn, ok := d.(*ast.FuncDecl); ok && fn.Body != nil {
				do(s, fn)
			}
		}
	}
}

// length is the lines of a function from func to its closing brace.
func length(s source, fn *ast.FuncDecl) int {
	return s.set.Position(fn.End()).Line - s.set.Position(fn.Pos()).Line + 1
}

func message(s source, n ast.Node, format string, args ...any) string {
	return s.at(n) + ": " + fmt.Sprintf(format, args...)
}
