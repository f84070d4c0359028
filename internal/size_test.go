package internal_test

import (
	"fmt"
	"go/ast"
	"maps"
	"slices"
	"strings"
	"testing"
)

// The bounds of DEVELOPERS.md, in lines from func to its closing brace, of a file, and
// of the files of a package and its rooms that are neither tests nor generated.
const (
	longestDomain  = 60
	medianDomain   = 10
	longestAdapter = 80
	longestFile    = 500
	largestPackage = 5000
	mostPackages   = 30
)

// overgrown are packages still above largestPackage. Lower a number when its package
// shrinks; none may be added.
var overgrown = map[string]int{"compare": 6550}

// unmerged are the packages still above mostPackages; the number may only fall.
const unmerged = 4

func TestFunctionsAreShort(t *testing.T) {
	domain := domainSources(t)
	var all []source
	inOrder(domain, func(_ string, files []source) {
		report(t, lengthFaults(files, longestDomain))
		all = append(all, files...)
	})
	report(t, medianFaults(all, medianDomain))
	for _, root := range []string{".", "../cmd", "../api"} {
		inOrder(sources(t, root), func(folder string, files []source) {
			if _, inDomain := domain[folder]; !inDomain {
				report(t, lengthFaults(files, longestAdapter))
			}
		})
	}
}

func TestFilesAreShort(t *testing.T) {
	for _, root := range []string{".", "../cmd", "../api"} {
		inOrder(sources(t, root), func(_ string, files []source) { report(t, fileFaults(files, longestFile)) })
	}
}

func TestPackagesAreSmallAndFew(t *testing.T) {
	whole := map[string][]source{}
	for folder, files := range sources(t, ".") {
		name, _, _ := strings.Cut(folder, "/")
		whole[name] = append(whole[name], files...)
	}
	maps.DeleteFunc(whole, func(name string, _ []source) bool { return slices.Contains(testHelpers, name) })
	inOrder(whole, func(name string, files []source) {
		report(t, packageFaults(name, files, max(largestPackage, overgrown[name])))
	})
	if n := len(whole); n > mostPackages+unmerged {
		t.Errorf("%d packages, at most %d", n, mostPackages+unmerged)
	}
}

func TestBounds(t *testing.T) {
	lines := func(n int) string { return strings.Repeat("_ = 0\n", n-2) }
	function := func(name string, n int) string { return "func " + name + "() {\n" + lines(n) + "}\n\n" }
	wantFaults(t, lengthFaults(planted(t, function("Right", 60)+function("Long", 61)), 60), "Long has 61 lines")
	wantFaults(t, medianFaults(planted(t, function("A", 3)+function("B", 10)+function("C", 40)), 10))
	wantFaults(t, medianFaults(planted(t, function("A", 3)+function("B", 11)+function("C", 12)), 10), "median of 11 lines")
	wantFaults(t, medianFaults(planted(t, "const X = 1"), 10))
	wantFaults(t, fileFaults(planted(t, strings.Repeat("\n", 498)), 500))
	wantFaults(t, fileFaults(planted(t, strings.Repeat("\n", 499)), 500), "501 lines")
	file := planted(t, strings.Repeat("\n", 8))
	wantFaults(t, packageFaults("p", slices.Concat(file, file), 20))
	wantFaults(t, packageFaults("p", slices.Concat(file, file), 19), "package p has 20 lines")
}

func report(t *testing.T, faults []string) {
	t.Helper()
	for _, f := range faults {
		t.Error(f)
	}
}

func lengthFaults(files []source, most int) []string {
	var faults []string
	functions(files, func(s source, fn *ast.FuncDecl) {
		if n := length(s, fn); n > most {
			faults = append(faults, message(s, fn, "%s has %d lines, at most %d", fn.Name.Name, n, most))
		}
	})
	return faults
}

func medianFaults(files []source, most int) []string {
	var lengths []int
	functions(files, func(s source, fn *ast.FuncDecl) { lengths = append(lengths, length(s, fn)) })
	if len(lengths) == 0 {
		return nil
	}
	slices.Sort(lengths)
	if n := lengths[(len(lengths)-1)/2]; n > most {
		return []string{fmt.Sprintf("the functions have a median of %d lines, at most %d", n, most)}
	}
	return nil
}

func fileFaults(files []source, most int) []string {
	var faults []string
	for _, s := range files {
		if s.lines > most {
			faults = append(faults, fmt.Sprintf("%s has %d lines, at most %d", s.path, s.lines, most))
		}
	}
	return faults
}

func packageFaults(name string, files []source, most int) []string {
	sum := 0
	for _, s := range files {
		sum += s.lines
	}
	if sum > most {
		return []string{fmt.Sprintf("package %s has %d lines, at most %d", name, sum, most)}
	}
	return nil
}
