package internal_test

import (
	"go/ast"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// TestHouse compares the table of packages in DEVELOPERS.md with what the code imports.
func TestHouse(t *testing.T) {
	for _, fault := range houseFaults(packageTable(t), actualImports(t)) {
		t.Error(fault)
	}
}

func TestHouseFaults(t *testing.T) {
	table := map[string][]string{"inner": nil, "outer": {"inner"}, "gone": nil}
	wantFaults(t, houseFaults(table, map[string][]string{"inner": nil, "outer": {"inner"}, "gone": nil}))
	wantFaults(t, houseFaults(table, map[string][]string{"inner": {"outer"}, "outer": {"inner"}, "new": nil}),
		"package gone of the table", "package inner imports outer", "package new is not in the table")
}

// houseFaults returns what differs between the table and the code, in order.
func houseFaults(table, code map[string][]string) []string {
	var faults []string
	for name, imports := range code {
		if _, listed := table[name]; !listed {
			faults = append(faults, "package "+name+" is not in the table of DEVELOPERS.md")
			continue
		}
		for _, imported := range imports {
			if !slices.Contains(table[name], imported) {
				faults = append(faults, "package "+name+" imports "+imported+", which the table of DEVELOPERS.md does not allow")
			}
		}
	}
	for name := range table {
		if _, there := code[name]; !there {
			faults = append(faults, "package "+name+" of the table of DEVELOPERS.md is not there")
		}
	}
	slices.Sort(faults)
	return faults
}

// domainPackages returns the packages of the table down to snapshot.
func domainPackages(t *testing.T) []string {
	t.Helper()
	var order []string
	for _, row := range packageRows(t) {
		order = append(order, row.name)
	}
	last := slices.Index(order, "snapshot")
	if last < 0 {
		t.Fatal("snapshot is not in the table of DEVELOPERS.md")
	}
	return order[:last+1]
}

// testHelpers are the packages that tests alone import.
var testHelpers = []string{"reftest", "storetest"}

// TestEveryPackageRuns wants every package of internal in the program, but for the
// helpers of tests, which must not be in it.
func TestEveryPackageRuns(t *testing.T) {
	out, err := exec.Command("go", "list", "-deps", "evensun/cmd/evensun").Output()
	if err != nil {
		t.Fatal(err)
	}
	runs := strings.Fields(string(out))
	for name := range actualImports(t) {
		inProgram, helper := slices.Contains(runs, "evensun/internal/"+name), slices.Contains(testHelpers, name)
		if inProgram == helper {
			t.Errorf("package %s: helper of tests %v, in the program %v", name, helper, inProgram)
		}
	}
}

// packageTable reads "name -> may import" out of DEVELOPERS.md.
func packageTable(t *testing.T) map[string][]string {
	t.Helper()
	table := map[string][]string{}
	for _, row := range packageRows(t) {
		table[row.name] = row.imports
	}
	if len(table) < 20 {
		t.Fatalf("found %d packages in the table, want more", len(table))
	}
	return table
}

type packageRow struct {
	name    string
	imports []string
}

// packageRows reads the table of packages of DEVELOPERS.md in its order.
func packageRows(t *testing.T) []packageRow {
	t.Helper()
	raw, err := os.ReadFile("../DEVELOPERS.md")
	if err != nil {
		t.Fatal(err)
	}
	var rows []packageRow
	names := regexp.MustCompile("`([a-z]+)`")
	for line := range strings.Lines(string(raw)) {
		cells := strings.Split(line, "|")
		if len(cells) != 5 || !strings.Contains(cells[1], "`") {
			continue
		}
		for _, m := range names.FindAllStringSubmatch(cells[1], -1) {
			rows = append(rows, packageRow{m[1], importsFor(m[1], cells[3])})
		}
	}
	return rows
}

// importsFor reads a cell of allowed imports; "storetest: a, b" is for that one only.
func importsFor(name, cell string) []string {
	cell = strings.TrimSpace(cell)
	if who, list, found := strings.Cut(cell, ":"); found {
		if strings.TrimSpace(who) != name {
			return nil
		}
		cell = list
	}
	var allowed []string
	for item := range strings.SplitSeq(cell, ",") {
		if item = strings.TrimSpace(item); item != "-" && item != "" {
			allowed = append(allowed, item)
		}
	}
	return allowed
}

// actualImports lists what each package of internal imports of the others. Packages
// below another are that one's own rooms.
func actualImports(t *testing.T) map[string][]string {
	t.Helper()
	out, err := exec.Command("go", "list", "-f", `{{.ImportPath}} {{join .Imports " "}}`, "./...").Output()
	if err != nil {
		t.Fatal(err)
	}
	const prefix = "evensun/internal/"
	found := map[string][]string{}
	for line := range strings.Lines(string(out)) {
		words := strings.Fields(line)
		name, inside := strings.CutPrefix(words[0], prefix)
		if !inside || strings.Contains(name, "/") {
			continue
		}
		found[name] = []string{}
		for _, w := range words[1:] {
			imported, ours := strings.CutPrefix(w, prefix)
			imported, _, _ = strings.Cut(imported, "/")
			if ours && imported != name {
				found[name] = append(found[name], imported)
			}
		}
	}
	return found
}

// TestOnlyStoreHasSQL holds the driver to the store, the helper of its tests, and
// pgserver, which asks whether a server answers.
func TestOnlyStoreHasSQL(t *testing.T) {
	for _, root := range []string{".", "../cmd"} {
		inOrder(sources(t, root), func(folder string, files []source) {
			if !slices.Contains([]string{"store", "storetest", "pgserver"}, folder) {
				report(t, driverFaults(files))
			}
		})
	}
	wantFaults(t, driverFaults(planted(t, `import "github.com/jackc/pgx/v5/pgxpool"`)), "pgxpool")
	wantFaults(t, driverFaults(planted(t, `import "database/sql"`)), "database/sql")
	wantFaults(t, driverFaults(planted(t, `import "evensun/internal/store"`)))
}

func driverFaults(files []source) []string {
	var faults []string
	for _, s := range files {
		for _, i := range s.file.Imports {
			if strings.HasPrefix(i.Path.Value, `"github.com/jackc/pgx`) || i.Path.Value == `"database/sql"` {
				faults = append(faults, message(s, i, "imports %s; only the store has SQL", i.Path.Value))
			}
		}
	}
	return faults
}

// TestEveryPackageIntroducesItself wants a comment above the package clause of one file,
// of doc.go in the domain.
func TestEveryPackageIntroducesItself(t *testing.T) {
	domain := domainSources(t)
	inOrder(sources(t, "."), func(folder string, files []source) {
		_, inDomain := domain[folder]
		report(t, introductionFaults(folder, files, inDomain))
	})
	said := planted(t, "")
	wantFaults(t, introductionFaults("p", said, false), "p has no package comment")
	said[0].file.Doc = &ast.CommentGroup{List: []*ast.Comment{{Text: "// Package planted is one."}}}
	wantFaults(t, introductionFaults("p", said, false))
	wantFaults(t, introductionFaults("p", said, true), "p has no package comment")
	said[0].path = "p/doc.go"
	wantFaults(t, introductionFaults("p", said, true))
}

func introductionFaults(folder string, files []source, inDoc bool) []string {
	for _, s := range files {
		if s.file.Doc != nil && (!inDoc || filepath.Base(s.path) == "doc.go") {
			return nil
		}
	}
	return []string{"package " + folder + " has no package comment; in the domain it stands in doc.go"}
}
