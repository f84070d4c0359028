package reftest

import (
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

var update = flag.Bool("update", false, "rewrite golden files; read every changed line")

// Golden compares got with the golden file at path, to the letter.
func Golden(tb testing.TB, path string, got []byte) {
	tb.Helper()
	want := strings.SplitAfter(string(Kept(tb, path, got)), "\n")
	if d := cmp.Diff(want, strings.SplitAfter(string(got), "\n")); d != "" {
		tb.Errorf("%s differs; run with -update and read the change (-file +now):\n%s", path, d)
	}
}

// Kept returns the content of the golden file at path, for a test with a comparison of
// its own. With -update it is got, which is then written first.
func Kept(tb testing.TB, path string, got []byte) []byte {
	tb.Helper()
	if *update {
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			tb.Fatal(err)
		}
		if err := os.WriteFile(path, got, 0o644); err != nil {
			tb.Fatal(err)
		}
	}
	content, err := os.ReadFile(path)
	if err != nil {
		tb.Fatalf("golden file: %v; -update writes it", err)
	}
	return content
}
