package snapshot_test

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"math/rand/v2"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"evensun/internal/fieldtest"
	"evensun/internal/ranking"
	"evensun/internal/reftest"
	"evensun/internal/snapshot"
)

// What is read back from the files gives the same bytes again.
func TestReproduceIsBitIdentical(t *testing.T) {
	t.Parallel()
	s := whole(t)
	opened, err := snapshot.Open(s.Raw, s.SHA256, s.Files)
	if err != nil {
		t.Fatal(err)
	}
	if err := opened.Verify(); err != nil {
		t.Fatalf("Verify() = %v", err)
	}
	r, err := snapshot.Reproduce(t.Context(), opened, meta().Program)
	if err != nil {
		t.Fatal(err)
	}
	if !r.SameBuild || !r.Identical || !r.Agrees || len(r.Differences) > 0 {
		t.Errorf("Reproduce() = %+v, want identical", r)
	}
	if len(s.Manifest.Failed) > 0 {
		t.Errorf("failed datasets: %v", s.Manifest.Failed)
	}
}

// Every measure has entries, so that the comparisons of these tests compare something; but
// weak light, of which readings in one light tell nothing, has reasons.
func TestEveryMeasureIsRanked(t *testing.T) {
	t.Parallel()
	s := whole(t)
	rankings, _ := s.File(snapshot.RankingsJSON)
	for _, m := range fieldtest.Measures() {
		raw, err := snapshot.RankingOf(rankings.Content, m.Name, "")
		if err != nil {
			t.Errorf("RankingOf(%s) = %v", m.Name, err)
			continue
		}
		var r fieldtest.Ranking
		want := 4
		if m.Name == fieldtest.WeakLight {
			want = 0
		}
		if err := json.Unmarshal(raw, &r); err != nil || len(r.Entries) != want || len(r.Entries)+len(r.Unranked) != 4 || !r.ComputedAt.Equal(monday) || r.ComputedThrough != 77 {
			t.Errorf("ranking of %s has %d entries at %v through %d, %v", m.Name, len(r.Entries), r.ComputedAt, r.ComputedThrough, err)
		}
	}
	for _, key := range []string{"EUR", "USD"} {
		if _, err := snapshot.RankingOf(rankings.Content, fieldtest.PowerPerPrice, key); err != nil {
			t.Errorf("RankingOf(%s, %s) = %v", fieldtest.PowerPerPrice, key, err)
		}
	}
	_, err := snapshot.RankingOf(rankings.Content, fieldtest.PowerPerPrice, "CHF")
	if r, ok := errors.AsType[*fieldtest.Refusal](err); !ok || r.Kind != fieldtest.NotFound {
		t.Errorf("RankingOf(CHF) = %v, want not_found", err)
	}
}

// The order of rows, an earlier warm computation and noise past the twelfth digit do
// not show.
func TestOrderAndHistoryDoNotShow(t *testing.T) {
	t.Parallel()
	want := build(t, flat())
	for seed := range uint64(6) {
		want, in := want, flat()
		if seed == 0 { // all measures, once
			want, in = whole(t), invented()
		}
		g := rand.New(rand.NewPCG(seed, 1))
		g.Shuffle(len(in.Observations), func(i, j int) {
			in.Observations[i], in.Observations[j] = in.Observations[j], in.Observations[i]
		})
		g.Shuffle(len(in.Panels), func(i, j int) { in.Panels[i], in.Panels[j] = in.Panels[j], in.Panels[i] })
		g.Shuffle(len(in.Keeps), func(i, j int) { in.Keeps[i], in.Keeps[j] = in.Keeps[j], in.Keeps[i] })
		for i := range in.Panels {
			p := in.Panels[i].Prices
			g.Shuffle(len(p), func(i, j int) { p[i], p[j] = p[j], p[i] })
		}
		for i := range in.Observations {
			o := &in.Observations[i]
			o.TakenAt = o.TakenAt.In(time.FixedZone("elsewhere", 7200))
			o.Result.StcPowerW *= 1 + 1e-15
		}
		in.At = monday.Add(time.Minute)
		got := build(t, in)
		if got.SHA256 != want.SHA256 {
			t.Errorf("seed %d: snapshot_sha256 = %s, want %s: %s", seed, got.SHA256, want.SHA256, cmp.Diff(want.Manifest.Files, got.Manifest.Files))
		}
	}
}

// Build leaves the caller's inputs as they were.
func TestBuildChangesNoInput(t *testing.T) {
	t.Parallel()
	in := flat()
	slices.Reverse(in.Observations)
	slices.Reverse(in.Panels)
	before := in
	before.Observations, before.Panels = slices.Clone(in.Observations), slices.Clone(in.Panels)
	build(t, in)
	if d := cmp.Diff(before, in); d != "" {
		t.Errorf("Build() changed its inputs:\n%s", d)
	}
}

// A reading more, a state, a price, a keep: whatever a ranking rests on changes the hash.
func TestEveryInputShows(t *testing.T) {
	t.Parallel()
	want := build(t, flat()).SHA256
	for name, change := range map[string]func(*ranking.Inputs){
		"reading":  func(in *ranking.Inputs) { in.Observations = in.Observations[1:] },
		"state":    func(in *ranking.Inputs) { in.Observations[0].State = fieldtest.Held },
		"result":   func(in *ranking.Inputs) { in.Observations[0].Result.StcPowerW *= 1 + 1e-11 },
		"revision": func(in *ranking.Inputs) { in.Observations[0].Revision = 2 },
		"price":    func(in *ranking.Inputs) { in.Panels[1].Prices[1].Amount = "189.49" },
		"mass":     func(in *ranking.Inputs) { in.Panels[2].MassKg = nil },
		"keep":     func(in *ranking.Inputs) { in.Keeps = in.Keeps[1:] },
		"link":     func(in *ranking.Inputs) { in.Linked = nil },
		"rules":    func(in *ranking.Inputs) { in.Rules.MinReadings++ },
	} {
		in := flat()
		change(&in)
		if got := build(t, in).SHA256; got == want {
			t.Errorf("a changed %s leaves snapshot_sha256 as it was", name)
		}
	}
}

func TestInputsSurvive(t *testing.T) {
	t.Parallel()
	want := snapshot.Canonical(invented())
	file, _ := whole(t).File(snapshot.InputsJSONL)
	got, err := snapshot.DecodeInputs(file.Content)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("inputs read back differ (-want +got):\n%s", d)
	}
}

func TestDecodeInputsRefuses(t *testing.T) {
	t.Parallel()
	for _, raw := range []string{"", "{}", "{\"head\":{}}\n{\"head\":{}}", "{\"head\":{}}\n{\"panell\":{}}", "{\"head\":{\"rules\":{\"min\":1}}}", "{\"head\":{}}\n{", "nonsense"} {
		if in, err := snapshot.DecodeInputs([]byte(raw)); err == nil {
			t.Errorf("DecodeInputs(%q) = %+v, want an error", raw, in)
		}
	}
}

// A changed byte in any file, a missing, an added one and a changed manifest show.
func TestTamperingShows(t *testing.T) {
	t.Parallel()
	s := whole(t)
	for i, f := range s.Files {
		bad := *s
		bad.Files = slices.Clone(s.Files)
		bad.Files[i].Content = bytes.Clone(f.Content)
		bad.Files[i].Content[len(f.Content)/2] ^= 1
		wantFault(t, &bad, f.Name)
		bad.Files = slices.Delete(slices.Clone(s.Files), i, i+1)
		wantFault(t, &bad, f.Name)
	}
	more := *s
	more.Files = append(slices.Clone(s.Files), snapshot.File{FileInfo: snapshot.FileInfo{Name: "more.csv"}})
	wantFault(t, &more, "more.csv")
	raw := *s
	raw.Raw = bytes.Replace(s.Raw, []byte("CC-BY-4.0"), []byte("CC-BY-3.0"), 1)
	wantFault(t, &raw, "")
}

func wantFault(t *testing.T, s *snapshot.Snapshot, file string) {
	t.Helper()
	f, ok := errors.AsType[*snapshot.Fault](s.Verify())
	if !ok || f.File != file {
		t.Errorf("Verify() = %v, want a fault of %q", s.Verify(), file)
	}
}

// Who also forges the hashes is still found out by computing.
func TestReproduceFindsForgedRankings(t *testing.T) {
	t.Parallel()
	s := build(t, flat())
	other := meta().Program
	other.GOARCH = "another"
	for _, program := range []snapshot.Program{meta().Program, other} {
		for _, name := range []string{snapshot.RankingsJSON, snapshot.RankingsCSV, snapshot.FitsJSON, snapshot.SessionsJSONL, snapshot.InputsJSONL} {
			bad := *s
			bad.Files = slices.Clone(s.Files)
			i := slices.IndexFunc(bad.Files, func(f snapshot.File) bool { return f.Name == name })
			bad.Files[i].Content = forged(t, bad.Files[i].Content)
			r, err := snapshot.Reproduce(t.Context(), &bad, program)
			if err != nil {
				t.Fatal(err)
			}
			if r.Agrees || r.Identical || len(r.Differences) == 0 {
				t.Errorf("Reproduce(forged %s, same build %v) = %+v, want differences", name, r.SameBuild, r)
			}
		}
	}
}

// forged raises the first digit after a decimal point that is not 9.
func forged(t *testing.T, content []byte) []byte {
	t.Helper()
	out := bytes.Clone(content)
	for i := 1; i < len(out); i++ {
		if out[i-1] == '.' && out[i] >= '0' && out[i] < '9' || out[i-1] == '7' && out[i-2] == '-' && out[i] == '0' {
			out[i]++
			return out
		}
	}
	t.Fatal("nothing to forge")
	return nil
}

// Another build may differ by 1e-9, and a rounded number by a step, and no more.
func TestReproduceTolerance(t *testing.T) {
	t.Parallel()
	other := meta().Program
	other.Go = "go9"
	for _, c := range []struct {
		file   string
		factor float64
		agrees bool
	}{
		{snapshot.FitsJSON, 1 + 1e-10, true},
		{snapshot.FitsJSON, 1 + 1e-8, false},
		{snapshot.RankingsJSON, 1 + 1e-10, true},
		{snapshot.RankingsJSON, 1 + 1e-4, false},
	} {
		s := build(t, flat())
		i := slices.IndexFunc(s.Files, func(f snapshot.File) bool { return f.Name == c.file })
		s.Files[i].Content = scaled(t, s.Files[i].Content, c.factor)
		r, err := snapshot.Reproduce(t.Context(), s, other)
		if err != nil || r.Agrees != c.agrees || r.Identical {
			t.Errorf("%s times %v: %+v, %v, want agrees %v", c.file, c.factor, r, err, c.agrees)
		}
		if c.file != snapshot.RankingsJSON || !c.agrees {
			continue
		}
		r, err = snapshot.Reproduce(t.Context(), s, meta().Program)
		if err != nil || r.Agrees {
			t.Errorf("%s times %v on the same build: %+v, %v, want differences", c.file, c.factor, r, err)
		}
	}
}

// scaled multiplies every estimate in a file.
func scaled(t *testing.T, content []byte, factor float64) []byte {
	t.Helper()
	var v any
	if err := json.Unmarshal(content, &v); err != nil {
		t.Fatal(err)
	}
	var walk func(v any)
	walk = func(v any) {
		switch v := v.(type) {
		case []any:
			for _, x := range v {
				walk(x)
			}
		case map[string]any:
			for name, x := range v {
				if number, ok := x.(float64); ok && (name == "estimate" || name == "ln_estimate") {
					v[name] = number * factor
				} else {
					walk(x)
				}
			}
		}
	}
	walk(v)
	out, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// The numbers frozen here by one machine come out on every other to 1e-9: .ci/run runs
// this test for all kinds of machine that it can run or emulate.
func TestReproducesElsewhere(t *testing.T) {
	t.Parallel()
	s := build(t, invented())
	for _, name := range []string{snapshot.FitsJSON, snapshot.RankingsJSON} {
		path := filepath.Join("testdata", name)
		i := slices.IndexFunc(s.Files, func(f snapshot.File) bool { return f.Name == name })
		s.Files[i].Content = reftest.Kept(t, path, s.Files[i].Content)
	}
	s.Files = slices.DeleteFunc(s.Files, func(f snapshot.File) bool { return f.Name == snapshot.RankingsCSV })
	r, err := snapshot.Reproduce(t.Context(), s, snapshot.ThisProgram())
	if err != nil {
		t.Fatal(err)
	}
	for _, d := range r.Differences {
		if d.File != snapshot.RankingsCSV { // has the numbers of rankings.json
			t.Error(d)
		}
	}
	t.Logf("%s: %d values compared, the worst differs by %.2g, %d by one in the sixth digit", r.Program.GOARCH, r.Compared, r.Worst, r.Steps)
}

// The manifest is as frozen here; hashes, sizes of computed files are left out, since
// their last digits are those of the machine.
func TestGoldenManifest(t *testing.T) {
	t.Parallel()
	m := whole(t).Manifest
	m.Files = slices.Clone(m.Files)
	for i := range m.Files {
		switch m.Files[i].Name {
		case snapshot.RankingsJSON, snapshot.RankingsCSV, snapshot.FitsJSON:
			m.Files[i].Size, m.Files[i].SHA256 = 0, ""
		}
	}
	got, err := json.MarshalIndent(&m, "", "  ")
	if err != nil {
		t.Fatal(err)
	}
	got = append(got, '\n')
	reftest.Golden(t, filepath.Join("testdata", "manifest.json"), got)
}

func TestNames(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		at    string
		taken []string
		want  string
	}{
		{"2026-11-25T12:00:00Z", nil, "2026-w48"},
		{"2026-11-25T12:00:00Z", []string{"2026-w48"}, "2026-w48-2"},
		{"2026-11-25T12:00:00Z", []string{"2026-w48", "2026-w48-2", "2026-w47-3"}, "2026-w48-3"},
		{"2027-01-03T23:59:59Z", nil, "2026-w53"},
		{"2027-01-03T23:59:59-01:00", nil, "2027-w01"},
		{"2024-12-30T00:00:00Z", nil, "2025-w01"},
	} {
		at, err := time.Parse(time.RFC3339, c.at)
		if err != nil {
			t.Fatal(err)
		}
		got := snapshot.Name(at, c.taken)
		if got != c.want || !snapshot.ValidName(got) {
			t.Errorf("Name(%s, %v) = %q (valid %v), want %q", c.at, c.taken, got, snapshot.ValidName(got), c.want)
		}
	}
	for _, bad := range []string{"", "2026-W48", "2026-w54", "2026-w00", "2026-w48-1", "2026-w48-", "2026-w48-02", "../2026-w48", "2026-w48\n"} {
		if snapshot.ValidName(bad) {
			t.Errorf("ValidName(%q) = true, want false", bad)
		}
	}
}

func TestBuildRefuses(t *testing.T) {
	t.Parallel()
	bad := meta()
	bad.Name = "latest"
	if _, err := snapshot.Build(t.Context(), flat(), bad); err == nil {
		t.Error("Build(name latest) = nil, want an error")
	}
	bad = meta()
	bad.LedgerHead.Sequence = 78
	if _, err := snapshot.Build(t.Context(), flat(), bad); err == nil {
		t.Error("Build(ledger row 78, inputs 77) = nil, want an error")
	}
	ended, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := snapshot.Build(ended, flat(), meta()); !errors.Is(err, context.Canceled) {
		t.Errorf("Build(ended context) = %v, want %v", err, context.Canceled)
	}
}

// A service without any data can be frozen too.
func TestEmpty(t *testing.T) {
	t.Parallel()
	s := build(t, ranking.Inputs{Through: 77, Rules: ranking.DefaultRules()})
	if err := s.Verify(); err != nil {
		t.Error(err)
	}
	r, err := snapshot.Reproduce(t.Context(), s, meta().Program)
	if err != nil || !r.Identical {
		t.Errorf("Reproduce(empty) = %+v, %v, want identical", r, err)
	}
}

// Names of contributors cannot break out of a citation.
func TestCitationsHoldAnyName(t *testing.T) {
	t.Parallel()
	m := meta()
	m.Contributors = []string{"a\"\nb: c", `\input{x}`, "}} % & #"}
	s, err := snapshot.Build(t.Context(), flat(), m)
	if err != nil {
		t.Fatal(err)
	}
	c := s.Manifest.Citation
	if got := strings.Count(c.CFF, "\n  - name: \""); got != 3 {
		t.Errorf("CFF has %d authors, want 3:\n%s", got, c.CFF)
	}
	if strings.Contains(c.BibTeX, `\input`) || strings.Count(c.BibTeX, "{") != strings.Count(c.BibTeX, "}") {
		t.Errorf("BibTeX is open to names:\n%s", c.BibTeX)
	}
}

func TestRankingsCSVIsATable(t *testing.T) {
	t.Parallel()
	file, _ := whole(t).File(snapshot.RankingsCSV)
	lines := strings.Split(strings.TrimSuffix(string(file.Content), "\r\n"), "\r\n")
	if len(lines) != 1+4*14 { // fourteen lists of four panels: eight of power, two prices, three covers of which two rank none, flat
		t.Errorf("rankings.csv has %d lines, want %d", len(lines), 1+4*14)
	}
	columns := strings.Count(lines[0], ",")
	for _, l := range lines {
		if strings.Count(l, ",") != columns && !strings.Contains(l, `"`) {
			t.Errorf("line %q has other columns than the header", l)
		}
	}
}
