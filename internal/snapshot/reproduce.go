package snapshot

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"sort"
	"strconv"
	"strings"

	"evensun/internal/ledger"
	"evensun/internal/ranking"
)

// Tolerance is the relative difference that numbers of another build may have.
const Tolerance = 1e-9

// tiny is an absolute difference that is nothing: what is left of terms that cancel.
const tiny = 1e-12

// mostDifferences is how many differences a report names.
const mostDifferences = 20

// A Fault says how a snapshot does not fit its hashes.
type Fault struct {
	File   string // empty: the manifest
	Reason string
}

// Error implements error.
func (f *Fault) Error() string {
	if f.File == "" {
		return "manifest: " + f.Reason
	}
	return f.File + ": " + f.Reason
}

// Verify tells whether the manifest is what was hashed and every file is what the
// manifest says. The error joins one *Fault a deviation.
func (s *Snapshot) Verify() error {
	var faults []error
	fault := func(file, format string, args ...any) {
		faults = append(faults, &Fault{File: file, Reason: fmt.Sprintf(format, args...)})
	}
	if canonical, err := ledger.Canonical(s.Raw); err != nil {
		fault("", "%v", err)
	} else if got := hashOf(canonical); got != s.SHA256 {
		fault("", "its hash is %s, it was published as %s", got, s.SHA256)
	}
	named := map[string]bool{}
	for _, want := range s.Manifest.Files {
		named[want.Name] = true
		f, ok := s.File(want.Name)
		got := hashOf(f.Content)
		switch {
		case !ok:
			fault(want.Name, "is missing")
		case int64(len(f.Content)) != want.Size:
			fault(want.Name, "has %d bytes, want %d", len(f.Content), want.Size)
		case got != want.SHA256:
			fault(want.Name, "its hash is %s, want %s", got, want.SHA256)
		}
	}
	for _, f := range s.Files {
		if !named[f.Name] {
			fault(f.Name, "is not in the manifest")
		}
	}
	return errors.Join(faults...)
}

// A Report says how a computation compares with the snapshot.
type Report struct {
	SameBuild   bool // bytes must be equal; else numbers within Tolerance
	Identical   bool // every recomputed file is equal, byte for byte
	Agrees      bool // as equal as the build demands
	Compared    int  // numbers and texts that were compared one by one, 0 if identical
	Steps       int  // rounded numbers that differ by one in their last digit, on another build
	Worst       float64
	Differences []Difference // the first of them
	More        int          // further ones
	Program     Program
}

// A Difference is one value that is not as frozen.
type Difference struct {
	File string
	At   string // JSON pointer
	Got  string
	Want string
}

// String returns the difference in words.
func (d Difference) String() string {
	return fmt.Sprintf("%s#%s: computed %s, frozen %s", d.File, d.At, d.Got, d.Want)
}

// Reproduce computes all rankings of a snapshot anew from its inputs, beginning cold,
// and compares. this is the build of the running program. It says nothing about whether
// the files are those that were published: ask Verify first.
//
// Error: inputs that cannot be read, or that the context ended.
func Reproduce(ctx context.Context, s *Snapshot, this Program) (Report, error) {
	file, ok := s.File(InputsJSONL)
	if !ok {
		return Report{}, &Fault{File: InputsJSONL, Reason: "is missing"}
	}
	if made := s.Manifest.Methods.Ranking; made != ranking.Version {
		return Report{}, &Fault{Reason: fmt.Sprintf("the rankings were computed by method %s, this program has %s: the build that the manifest names computes them", made, ranking.Version)}
	}
	in, err := DecodeInputs(file.Content)
	if err != nil {
		return Report{}, fmt.Errorf("snapshot %s: %w", s.Manifest.Name, err)
	}
	made, err := compute(ctx, Canonical(in))
	if err != nil {
		return Report{}, fmt.Errorf("snapshot %s: %w", s.Manifest.Name, err)
	}
	r := &Report{SameBuild: this == s.Manifest.Program && !this.Modified, Identical: true, Program: this}
	for _, got := range made.files {
		want, ok := s.File(got.Name)
		if !ok || !bytes.Equal(got.Content, want.Content) {
			r.Identical = false
			r.compareFile(s, got.Name, got.Content, want.Content)
		}
	}
	r.Agrees = r.Identical || len(r.Differences) == 0
	return *r, nil
}

// compareFile finds out what differs in a file.
func (r *Report) compareFile(s *Snapshot, name string, got, want []byte) {
	var g, w any
	switch name {
	case RankingsJSON, FitsJSON:
		if decode(got, &g) == nil && decode(want, &w) == nil {
			r.walk(name, "", g, w)
			if r.SameBuild && len(r.Differences) == 0 {
				r.differ(name, "", "the same values", "other bytes")
			}
			return
		}
	case RankingsCSV: // on another build it must say what the frozen rankings.json says
		if !r.SameBuild && bytes.Equal(want, frozenCSV(s)) {
			return
		}
	}
	r.differ(name, "", hashOf(got), hashOf(want))
}

// frozenCSV makes rankings.csv of the frozen rankings.json; nil if that is unreadable.
func frozenCSV(s *Snapshot) []byte {
	var lists struct {
		Rankings []Listed `json:"rankings"`
	}
	file, _ := s.File(RankingsJSON)
	if json.Unmarshal(file.Content, &lists) != nil {
		return nil
	}
	table, err := encodeCSV(lists.Rankings)
	if err != nil {
		return nil
	}
	return table
}

func decode(raw []byte, v *any) error {
	d := json.NewDecoder(bytes.NewReader(raw))
	d.UseNumber()
	return d.Decode(v)
}

func (r *Report) differ(file, at, got, want string) {
	if len(r.Differences) == mostDifferences {
		r.More++
		return
	}
	r.Differences = append(r.Differences, Difference{File: file, At: at, Got: got, Want: want})
}

// walk compares two JSON values.
func (r *Report) walk(file, at string, got, want any) {
	switch w := want.(type) {
	case map[string]any:
		if g, ok := got.(map[string]any); ok {
			r.walkObject(file, at, g, w)
			return
		}
	case []any:
		if g, ok := got.([]any); ok && len(g) == len(w) {
			for i := range w {
				r.walk(file, at+"/"+strconv.Itoa(i), g[i], w[i])
			}
			return
		}
	case json.Number:
		if g, ok := got.(json.Number); ok {
			r.compareNumbers(file, at, g.String(), w.String())
			return
		}
	default:
		r.Compared++
		if got == want {
			return
		}
	}
	r.differ(file, at, text(got), text(want))
}

func (r *Report) walkObject(file, at string, got, want map[string]any) {
	names := map[string]bool{}
	for name := range got {
		names[name] = true
	}
	for name := range want {
		names[name] = true
	}
	sorted := make([]string, 0, len(names))
	for name := range names {
		sorted = append(sorted, name)
	}
	sort.Strings(sorted)
	for _, name := range sorted {
		if name == "iterations" && !r.SameBuild { // where the last bit decides when to stop
			continue
		}
		g, inGot := got[name]
		w, inWant := want[name]
		if inGot != inWant {
			r.differ(file, at+"/"+name, present(inGot), present(inWant))
			continue
		}
		r.walk(file, at+"/"+name, g, w)
	}
}

func present(is bool) string {
	if is {
		return "a value"
	}
	return "nothing"
}

// compareNumbers compares two numbers in decimal.
func (r *Report) compareNumbers(file, at, got, want string) {
	r.Compared++
	if got == want {
		return
	}
	g, errG := strconv.ParseFloat(got, 64)
	w, errW := strconv.ParseFloat(want, 64)
	if errG != nil || errW != nil || r.SameBuild {
		r.differ(file, at, got, want)
		return
	}
	difference := math.Abs(g - w)
	size := max(math.Abs(g), math.Abs(w))
	switch {
	case difference <= Tolerance*size || difference <= tiny:
		r.Worst = max(r.Worst, difference/size)
	case file == RankingsJSON && oneStep(got, want, difference, size):
		r.Steps++
	default:
		r.differ(file, at, got, want)
	}
}

// oneStep tells whether two numbers of at most six digits differ by one in the sixth:
// what happens where a tiny difference decides which way to round.
func oneStep(got, want string, difference, size float64) bool {
	step := math.Pow(10, math.Floor(math.Log10(size))-5)
	return significantDigits(got) <= 6 && significantDigits(want) <= 6 && difference <= 1.01*step
}

func significantDigits(number string) int {
	mantissa, _, _ := strings.Cut(strings.ToLower(number), "e")
	bare := strings.TrimLeft(strings.NewReplacer("-", "", ".", "").Replace(mantissa), "0")
	if !strings.Contains(mantissa, ".") {
		bare = strings.TrimRight(bare, "0")
	}
	return len(bare)
}

func text(v any) string {
	raw, err := json.Marshal(v)
	if err != nil {
		return fmt.Sprint(v)
	}
	if len(raw) > 80 {
		return string(raw[:80]) + "..."
	}
	return string(raw)
}
