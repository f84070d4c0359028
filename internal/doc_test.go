package internal_test

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// TestEveryExportIsDocumented wants a comment that starts with the name above every
// exported function and type, and one above or beside every exported value.
func TestEveryExportIsDocumented(t *testing.T) {
	eachFile(t, func(path string, f *ast.File, set *token.FileSet) {
		for _, d := range f.Decls {
			switch d := d.(type) {
			case *ast.FuncDecl:
				if d.Name.IsExported() && exportedReceiver(d) && !startsWith(d.Doc, d.Name.Name) {
					t.Errorf("%s: %s has no comment that starts with its name", set.Position(d.Pos()), d.Name.Name)
				}
			case *ast.GenDecl:
				undocumented(t, set, d)
			}
		}
	})
}

func exportedReceiver(d *ast.FuncDecl) bool {
	if d.Recv == nil {
		return true
	}
	of := d.Recv.List[0].Type
	if star, ok := of.(*ast.StarExpr); ok {
		of = star.X
	}
	name, ok := of.(*ast.Ident)
	return ok && name.IsExported()
}

func startsWith(doc *ast.CommentGroup, name string) bool {
	if doc == nil {
		return false
	}
	text := doc.Text()
	for _, lead := range []string{"", "A ", "An ", "The ", "Deprecated: "} {
		if strings.HasPrefix(text, lead+name) {
			return true
		}
	}
	return false
}

func undocumented(t *testing.T, set *token.FileSet, d *ast.GenDecl) {
	for _, spec := range d.Specs {
		switch s := spec.(type) {
		case *ast.TypeSpec:
			if s.Name.IsExported() && d.Doc == nil && s.Doc == nil {
				t.Errorf("%s: type %s has no comment", set.Position(s.Pos()), s.Name.Name)
			}
		case *ast.ValueSpec:
			for _, name := range s.Names {
				if name.IsExported() && d.Doc == nil && s.Doc == nil && s.Comment == nil {
					t.Errorf("%s: %s has no comment", set.Position(s.Pos()), name.Name)
				}
			}
		}
	}
}

// eachFile parses every file of the project that is neither a test nor generated.
func eachFile(t *testing.T, do func(path string, f *ast.File, set *token.FileSet)) {
	t.Helper()
	set := token.NewFileSet()
	err := filepath.WalkDir("..", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") || strings.HasSuffix(path, ".gen.go") {
			return err
		}
		f, err := parser.ParseFile(set, path, nil, parser.ParseComments)
		if err == nil && !ast.IsGenerated(f) {
			do(path, f, set)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
}

// TestNothingOfOneMachine looks for paths of one machine and hosts of package registries
// in what is committed.
func TestNothingOfOneMachine(t *testing.T) {
	odd := regexp.MustCompile(`(^|[^a-zA-Z0-9_.])/(work|root|farm)/|` + strings.Join([]string{"proxy.golang", "registry.npmjs", "deb.debian", "pypi"}, `\.org|`) + `\.org`)
	err := filepath.WalkDir("..", func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() {
			if name := d.Name(); name == ".git" || name == "docs" && strings.Contains(path, "httpapi") {
				return fs.SkipDir
			}
			return nil
		}
		if d.Name() == ".git" { // of a linked working tree: it says where the repository is
			return nil
		}
		info, err := d.Info()
		if err != nil || info.Size() > 1<<20 || strings.HasSuffix(path, "doc_test.go") {
			return err
		}
		raw, err := os.ReadFile(path)
		if m := odd.Find(raw); m != nil {
			t.Errorf("%s names %q", path, m)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
}
