package internal_test

import (
	"os"
	"os/exec"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// TestHouse compares the table of packages in DEVELOPERS.md with what the code imports.
func TestHouse(t *testing.T) {
	table := packageTable(t)
	for name, imports := range actualImports(t) {
		allowed, listed := table[name]
		if !listed {
			t.Errorf("package %s is not in the table of DEVELOPERS.md", name)
			continue
		}
		for _, imported := range imports {
			if !slices.Contains(allowed, imported) {
				t.Errorf("package %s imports %s, which the table does not allow", name, imported)
			}
		}
	}
}

// TestDomainIsPure holds the domain packages to knowing nothing of databases and HTTP.
func TestDomainIsPure(t *testing.T) {
	domain := []string{"fieldtest", "seedrand", "sun", "sky", "celltemp", "diode", "stc", "budget", "limits", "caution", "normalise", "explain", "compare", "ranks", "interlab", "ranking", "audit", "ledger", "snapshot"}
	forbidden := regexp.MustCompile(`^(net/http|database/sql|os|github.com/jackc/|github.com/labstack/)`)
	for _, name := range domain {
		out, err := exec.Command("go", "list", "-f", `{{join .Imports "\n"}}`, "evensun/internal/"+name).Output()
		if err != nil {
			t.Errorf("list %s: %v", name, err)
			continue
		}
		for _, imported := range strings.Fields(string(out)) {
			if forbidden.MatchString(imported) {
				t.Errorf("domain package %s imports %s", name, imported)
			}
		}
	}
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
	raw, err := os.ReadFile("../DEVELOPERS.md")
	if err != nil {
		t.Fatal(err)
	}
	table := map[string][]string{}
	names := regexp.MustCompile("`([a-z]+)`")
	for line := range strings.Lines(string(raw)) {
		cells := strings.Split(line, "|")
		if len(cells) != 5 || !strings.Contains(cells[1], "`") {
			continue
		}
		for _, m := range names.FindAllStringSubmatch(cells[1], -1) {
			table[m[1]] = importsFor(m[1], cells[3])
		}
	}
	if len(table) < 20 {
		t.Fatalf("found %d packages in the table, want more", len(table))
	}
	return table
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
