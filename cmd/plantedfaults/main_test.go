package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// tiny runs the command over testdata/tiny and returns what it prints.
func tiny(t *testing.T, excuse string, change func(*settings)) (string, error) {
	t.Helper()
	list := filepath.Join(t.TempDir(), "excused.txt")
	if err := os.WriteFile(list, []byte("# none of\n\n"+excuse), 0o600); err != nil {
		t.Fatal(err)
	}
	s := settings{workers: 2, excused: list, patience: time.Second, patterns: []string{"./testdata/tiny"}}
	change(&s)
	var out bytes.Buffer
	err := run(t.Context(), s, &out)
	return out.String(), err
}

const notAsked = "cmd/plantedfaults/testdata/tiny.Fare | if km < 1 { // survives: the test does not ask for 1 km exactly | < to <="

func TestListsEveryFault(t *testing.T) {
	out, err := tiny(t, "", func(s *settings) { s.list = true })
	if err != nil {
		t.Fatal(err)
	}
	want := []string{
		"Fare < to <= boundary", "Fare < to >= comparison", "Fare 1 to 1.01 coefficient",
		"Fare 2.5 to 2.525 coefficient", "Fare + to - sign", "Fare 0.3 to 0.303 coefficient",
		"Steps || to && boolean", "Steps && to || boolean", "Steps > to >= boundary", "Steps > to <= comparison",
		"Steps ! left out boolean", "Steps == to != comparison", "Steps 400 to 404 coefficient",
		"Forever != to == comparison", "Forever -= to += sign", "Forever 1 to 2 coefficient",
	}
	listed := map[string]bool{}
	for line := range strings.Lines(out) {
		parts := strings.Split(strings.TrimSpace(line), " | ")
		listed[parts[0][strings.LastIndex(parts[0], ".")+1:]+" "+parts[2]+" "+parts[3]] = true
	}
	for _, w := range want {
		if !listed[w] {
			t.Errorf("%q is not listed", w)
		}
	}
	if len(listed) != len(want) {
		t.Errorf("listed %d faults, want %d:\n%s", len(listed), len(want), out)
	}
}

func TestTellsDeadFromAlive(t *testing.T) {
	out, err := tiny(t, "", func(s *settings) { s.min = 95 })
	if err == nil || !strings.Contains(err.Error(), "93.8 % of the faults died") {
		t.Errorf("error %v, want the share that died", err)
	}
	if n := strings.Count(out, "survived cmd/"); n != 1 || !strings.Contains(out, "tiny.go:9:8: "+notAsked) {
		t.Errorf("%d survived, want the one at the limit of Fare:\n%s", n, out)
	}
	for line := range strings.Lines(out) {
		if f := strings.Fields(line); f[0] == "all" && strings.Join(f[1:], " ") != "16 13 2 1 93.8 %" {
			t.Errorf("table ends with %q", line)
		}
	}
}

func TestExcuses(t *testing.T) {
	compare := func(s *settings) { s.kinds, s.min = "boundary", 100 }
	if out, err := tiny(t, notAsked+" | the fare of 1 km exactly is nobody's concern\n", compare); err != nil {
		t.Errorf("excused fault: %v\n%s", err, out)
	}
	gone := strings.Replace(notAsked, "km < 1", "km < 2", 1) + " | of an older version\n"
	if _, err := tiny(t, notAsked+" | so\n"+gone, compare); err == nil || !strings.Contains(err.Error(), "1 entries") {
		t.Errorf("entry without a place: error %v", err)
	}
	if _, err := tiny(t, notAsked+"\n", compare); err == nil {
		t.Error("an entry without a reason was accepted")
	}
}

func TestSampleIsRepeatable(t *testing.T) {
	draw := func(seed uint64) string {
		out, err := tiny(t, "", func(s *settings) { s.list, s.sample, s.seed = true, 5, seed })
		if err != nil {
			t.Fatal(err)
		}
		return out
	}
	one, again, other := draw(1), draw(1), draw(2)
	if one != again || one == other || strings.Count(one, "\n") != 5 {
		t.Errorf("seed 1:\n%sagain:\n%sseed 2:\n%s", one, again, other)
	}
}
