package reftest_test

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"evensun/internal/reftest"
)

// witness notes what a helper reports in place of failing.
type witness struct {
	testing.TB
	said string
}

func (w *witness) Helper()                      {}
func (w *witness) Errorf(f string, args ...any) { w.said += fmt.Sprintf(f, args...) }

func TestGolden(t *testing.T) {
	path := filepath.Join(t.TempDir(), "new", "a.txt")
	updating(t, func() { reftest.Golden(t, path, []byte("one\ntwo\n")) })
	raw, err := os.ReadFile(path)
	if err != nil || string(raw) != "one\ntwo\n" {
		t.Fatalf("with -update the file holds %q, %v", raw, err)
	}
	var w witness
	if reftest.Golden(&w, path, []byte("one\ntwo\n")); w.said != "" {
		t.Errorf("the same content: %s", w.said)
	}
	if reftest.Golden(&w, path, []byte("one\nthree\n")); !strings.Contains(w.said, "three") || !strings.Contains(w.said, path) {
		t.Errorf("another content: said %q", w.said)
	}
	if raw, err = os.ReadFile(path); err != nil || string(raw) != "one\ntwo\n" {
		t.Errorf("without -update the file became %q, %v", raw, err)
	}
}

// updating calls do with the flag -update set.
func updating(t *testing.T, do func()) {
	t.Helper()
	before := flag.Lookup("update").Value.String()
	for _, step := range []func() error{
		func() error { return flag.Set("update", "true") },
		func() error { do(); return nil },
		func() error { return flag.Set("update", before) },
	} {
		if err := step(); err != nil {
			t.Fatal(err)
		}
	}
}
