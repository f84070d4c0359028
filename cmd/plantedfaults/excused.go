package main

import (
	"fmt"
	"os"
	"strings"
)

// excuses are faults that change nothing anyone could see, by their key.
type excuses map[string]string

// readExcuses reads lines of
//
//	package.Function | source line | change | reason
//
// Empty lines and those that begin with # are passed over. The first three are as the
// command prints them; every entry needs a reason.
func readExcuses(path string) (excuses, error) {
	raw, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	list := excuses{}
	number := 0
	for line := range strings.Lines(string(raw)) {
		number++
		if line = strings.TrimSpace(line); line == "" || strings.HasPrefix(line, "#") {
			continue
		}
		cut := strings.LastIndex(line, " | ")
		if strings.Count(line, " | ") < 3 || strings.TrimSpace(line[cut+3:]) == "" {
			return nil, fmt.Errorf("%s:%d: want package.Function | source line | change | reason", path, number)
		}
		list[line[:cut]] = line[cut+3:]
	}
	return list, nil
}

// drop returns the faults that are not excused, and the entries for the packages of
// these faults that fit none of them.
func (list excuses) drop(faults []fault) (kept []fault, stale []string) {
	used, packages := map[string]bool{}, map[string]bool{}
	for _, f := range faults {
		packages[f.pkg] = true
		if _, excused := list[f.key()]; excused {
			used[f.key()] = true
			continue
		}
		kept = append(kept, f)
	}
	for key := range list {
		name := key[:strings.Index(key, " | ")]
		if folder, _, _ := cutPackage(name); packages[folder] && !used[key] {
			stale = append(stale, key)
		}
	}
	return kept, stale
}

// cutPackage parts "internal/sun.Vector.Length" at the first dot of its last element.
func cutPackage(name string) (pkg, function string, found bool) {
	slash := strings.LastIndex(name, "/") + 1
	pkg, function, found = strings.Cut(name[slash:], ".")
	return name[:slash] + pkg, function, found
}
