package internal_test

import (
	"go/ast"
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
	for _, root := range []string{".", "../cmd", "../api"} {
		inOrder(sources(t, root), func(_ string, files []source) {
			for _, s := range files {
				report(t, undocumented(s))
			}
		})
	}
	wantFaults(t, undocumented(planted(t, "func F() {}\n// Sets it.\nfunc G() {}\n// H is it.\nfunc H() {}\ntype T int\nvar V = 1\nconst C = 2 // of it")[0]),
		"F has no comment", "G has no comment", "type T has no comment", "V has no comment")
}

func undocumented(s source) []string {
	var faults []string
	for _, d := range s.file.Decls {
		switch d := d.(type) {
		case *ast.FuncDecl:
			if d.Name.IsExported() && exportedReceiver(d) && !startsWith(d.Doc, d.Name.Name) {
				faults = append(faults, message(s, d, "%s has no comment that starts with its name", d.Name.Name))
			}
		case *ast.GenDecl:
			faults = append(faults, undocumentedIn(s, d)...)
		}
	}
	return faults
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

func undocumentedIn(s source, d *ast.GenDecl) []string {
	var faults []string
	for _, spec := range d.Specs {
		switch spec := spec.(type) {
		case *ast.TypeSpec:
			if spec.Name.IsExported() && d.Doc == nil && spec.Doc == nil {
				faults = append(faults, message(s, spec, "type %s has no comment", spec.Name.Name))
			}
		case *ast.ValueSpec:
			for _, name := range spec.Names {
				if name.IsExported() && d.Doc == nil && spec.Doc == nil && spec.Comment == nil {
					faults = append(faults, message(s, name, "%s has no comment", name.Name))
				}
			}
		}
	}
	return faults
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
