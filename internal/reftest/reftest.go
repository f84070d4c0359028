package reftest

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
)

// A Case is one check: the input decoded into In and the expected outputs.
type Case[In any] struct {
	Name   string // model or rule and number, for t.Run
	Source string // where the expected values come from
	In     In
	Out    map[string]any // as in the file; numbers are float64

	tb        testing.TB
	tolerance map[string]any
}

type file struct {
	Source    string            `json:"source"`
	Origin    string            `json:"origin"`
	Tolerance map[string]any    `json:"tolerance"`
	Cases     []json.RawMessage `json:"cases"`
}

// Path returns the path of a file below testdata/reference, as "physics/sun.json".
func Path(name string) string {
	return filepath.Join(root(), "testdata", "reference", filepath.FromSlash(name))
}

// Measured returns the path of a file of measured data that is never committed,
// and skips the test where the folder with those data is absent.
func Measured(tb testing.TB, name string) string {
	tb.Helper()
	path := filepath.Join(root(), "..", "shared", "reference", "measured", filepath.FromSlash(name))
	if _, err := os.Stat(path); err != nil {
		tb.Skipf("skipped: measured data %s is not beside this checkout (it is not ours to commit)", name)
	}
	return path
}

// Cases returns the cases of a reference file whose "model" or "rule" input is
// one of models; without models it returns those that have neither member.
func Cases[In any](tb testing.TB, name string, models ...string) []Case[In] {
	tb.Helper()
	f := read(tb, name)
	var found []Case[In]
	for i, raw := range f.Cases {
		var c struct {
			In     json.RawMessage `json:"in"`
			Out    map[string]any  `json:"out"`
			Source string          `json:"source"`
		}
		decode(tb, name, raw, &c)
		var kind struct {
			Model string `json:"model"`
			Rule  string `json:"rule"`
		}
		decode(tb, name, c.In, &kind)
		label := kind.Model + kind.Rule
		if !wanted(label, models) {
			continue
		}
		one := Case[In]{Name: fmt.Sprintf("%s_%d", strings.TrimPrefix(label+"_case", "_"), i), Source: f.Source, Out: c.Out, tb: tb, tolerance: f.Tolerance}
		if c.Source != "" {
			one.Source = c.Source
		}
		decode(tb, name, c.In, &one.In)
		found = append(found, one)
	}
	if len(found) == 0 {
		tb.Fatalf("%s: no case for %q", name, models)
	}
	return found
}

// Want returns the expected value of an output and the absolute tolerance for it.
// A missing output or tolerance fails the test.
func (c Case[In]) Want(output string) (want, tolerance float64) {
	c.tb.Helper()
	want, ok := c.Out[output].(float64)
	if !ok {
		c.tb.Fatalf("%s: no number %q in the expected outputs", c.Name, output)
	}
	tolerance, ok = toleranceOf(c.tolerance, output, want)
	if !ok {
		c.tb.Fatalf("%s: no tolerance for %q", c.Name, output)
	}
	return want, tolerance
}

// Tolerance returns the absolute tolerance of an output nested below the named ones,
// whose expected value the caller has; ok is false without one.
func (c Case[In]) Tolerance(output string, want float64) (ok bool, tolerance float64) {
	tolerance, ok = toleranceOf(c.tolerance, output, want)
	return ok, tolerance
}

// Has tells whether the case states an expected value for an output.
func (c Case[In]) Has(output string) bool {
	_, ok := c.Out[output]
	return ok
}

// Check compares one output with its expected value and reports both on failure.
func (c Case[In]) Check(tb testing.TB, output string, got float64) {
	tb.Helper()
	want, tol := c.Want(output)
	if !(math.Abs(got-want) <= tol) {
		tb.Errorf("%s = %v, want %v within %v (%s)", output, got, want, tol, c.Source)
	}
}

// Fold maps any float into [lo, hi], so that a fuzz test skips no input.
// NaN and infinities become lo.
func Fold(x, lo, hi float64) float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return lo
	}
	if x >= lo && x <= hi {
		return x
	}
	return lo + math.Mod(math.Abs(x), hi-lo)
}

func toleranceOf(table map[string]any, output string, want float64) (float64, bool) {
	if t, ok := table[output].(float64); ok {
		return t, true
	}
	if t, ok := table[output+"_relative"].(float64); ok {
		return t * math.Abs(want), true
	}
	for key, value := range table {
		t, number := value.(float64)
		if number && strings.HasPrefix(key, "*") && strings.HasSuffix(output, key[1:]) {
			return t, true
		}
	}
	if t, ok := table["default"].(float64); ok {
		return t, true
	}
	if t, ok := table["default_relative"].(float64); ok {
		return t * math.Abs(want), true
	}
	return 0, false
}

func wanted(label string, models []string) bool {
	if len(models) == 0 {
		return label == ""
	}
	for _, m := range models {
		if m == label {
			return true
		}
	}
	return false
}

func read(tb testing.TB, name string) file {
	tb.Helper()
	var f file
	decodeFile(tb, name, &f)
	if f.Source == "" || len(f.Cases) == 0 {
		tb.Fatalf("%s: a reference file needs a source and cases", name)
	}
	return f
}

func decode(tb testing.TB, name string, raw []byte, into any) {
	tb.Helper()
	if err := json.Unmarshal(raw, into); err != nil {
		tb.Fatalf("%s: %v", name, err)
	}
}

// root is the folder of the checkout, found from this file's place in it.
func root() string {
	_, here, _, _ := runtime.Caller(0)
	return filepath.Dir(filepath.Dir(filepath.Dir(here)))
}
