package ranking_test

import (
	"math"
	"strings"
	"testing"

	"github.com/google/uuid"

	"evensun/internal/fieldtest"
	"evensun/internal/ranking"
)

// sameContrasts compares all differences of two outputs' tilted fits; rename maps a
// slug of the first to one of the second.
func sameContrasts(t *testing.T, a, b *ranking.Output, w *world, rename func(string) string, within float64) {
	t.Helper()
	mu := func(out *ranking.Output, slug string) float64 {
		f := out.Fit("tilted")
		for i, s := range f.Panels {
			if s == slug {
				return f.Fit.Mu[i]
			}
		}
		t.Fatalf("%s is not in the fit", slug)
		return 0
	}
	for p := 1; p < len(w.mu); p++ {
		first, other := slugOf(0), slugOf(p)
		want := mu(a, other) - mu(a, first)
		if got := mu(b, rename(other)) - mu(b, rename(first)); !(math.Abs(got-want) <= within) {
			t.Errorf("contrast of %s and %s = %v, want %v +- %v", other, first, got, want, within)
		}
	}
}

func same(s string) string { return s }

func TestAddingAConstant(t *testing.T) {
	t.Parallel()
	w := newWorld(11, 6, usual).fill(5, 2, 2)
	before := w.compute(t)
	in := w.in
	in.Observations = nil
	for _, o := range w.in.Observations {
		in.Observations = append(in.Observations, scaled(o, 1.25))
	}
	sameContrasts(t, before, compute(t, in), w, same, 1e-7)
}

func TestChangingANameplate(t *testing.T) {
	t.Parallel()
	w := newWorld(12, 6, usual).fill(5, 3, 2)
	before := w.compute(t)
	in := w.in
	in.Panels = append([]ranking.Panel(nil), w.in.Panels...)
	in.Panels[2].PmaxW = pointer(231.0)
	after := compute(t, in)
	for p := range w.mu {
		a, b := entry(t, list(t, before, fieldtest.StcPower, "", 1), slugOf(p)), entry(t, list(t, after, fieldtest.StcPower, "", 1), slugOf(p))
		if math.Abs(a.Estimate/b.Estimate-1) > 2e-5 || math.Abs(a.EstimateU/b.EstimateU-1) > 1e-3 || a.Rank != b.Rank {
			t.Errorf("power of %s = %v u %v rank %d, want %v u %v rank %d", slugOf(p), b.Estimate, b.EstimateU, b.Rank, a.Estimate, a.EstimateU, a.Rank)
		}
	}
}

func TestRelabelling(t *testing.T) {
	t.Parallel()
	w := newWorld(13, 6, usual).fill(5, 2, 2)
	before := w.compute(t)
	rename := func(s string) string { return "z" + string(s[len(s)-1]^1) + s } // another order too
	in := w.in
	in.Panels, in.Observations = nil, nil
	for _, p := range w.in.Panels {
		p.Slug = rename(p.Slug)
		in.Panels = append(in.Panels, p)
	}
	for _, o := range w.in.Observations {
		o.Panel = rename(o.Panel)
		in.Observations = append(in.Observations, o)
	}
	sameContrasts(t, before, compute(t, in), w, rename, 1e-5)
}

// One tester's data in two imports: the readings keep their ids, the rows come in two
// heaps with other tester ids that a reviewer links.
func TestSplittingAnImport(t *testing.T) {
	t.Parallel()
	w := newWorld(14, 6, usual).fill(5, 4, 2)
	before := w.compute(t)
	in := w.in
	in.Observations, in.Linked = nil, map[uuid.UUID]uuid.UUID{testerID(99): testerID(2)}
	seen := map[uuid.UUID]bool{}
	for _, o := range w.in.Observations {
		if o.TesterID == testerID(2) {
			seen[o.SessionID] = true
			if len(seen) > 2 {
				o.TesterID = testerID(99)
			}
		}
		in.Observations = append(in.Observations, o)
	}
	after := compute(t, in)
	sameContrasts(t, before, after, w, same, 1e-6)
	if got := list(t, after, fieldtest.StcPower, "", 1).Model.Testers; got != 5 {
		t.Errorf("testers = %d, want 5", got)
	}
}

func TestDeterminism(t *testing.T) {
	t.Parallel()
	w := newWorld(15, 6, usual).fill(5, 3, 2)
	w.in.Panels[1].Prices = []fieldtest.Price{{Amount: "120.00", Currency: "EUR", Date: "2026-01-01", Condition: "new"}}
	want := jsonOf(t, w.compute(t))
	if got := jsonOf(t, w.compute(t)); got != want {
		t.Error("the same inputs give another ranking")
	}
	for seed := range uint64(3) {
		in := w.in
		in.Observations = shuffled(w.in.Observations, seed)
		if got := jsonOf(t, compute(t, in)); got != want {
			t.Errorf("rows in order %d give another ranking", seed)
		}
	}
	in := w.in
	in.Observations = append([]ranking.Observation(nil), w.in.Observations...)
	in.Observations[0].ContentSHA256 = "another"
	if got := jsonOf(t, compute(t, in)); got == want {
		t.Error("other contents have the same hashes")
	}
}

// Every session of one tester a hundred times over: his pull stays below what one
// opinion may do, 3 share sqrt(v1) a panel (statistics 3.5).
func TestDuplicatedSessions(t *testing.T) {
	t.Parallel()
	w := newWorld(16, 6, usual).fill(5, 2, 1)
	for i, o := range w.in.Observations { // one tester who is off by 2 % in two panels
		if o.TesterID == testerID(0) && o.Panel == slugOf(1) {
			w.in.Observations[i] = scaled(o, 1.02)
		}
	}
	before := w.compute(t)
	in := w.in
	in.Observations = append([]ranking.Observation(nil), w.in.Observations...)
	for n := range 100 {
		for _, o := range w.in.Observations {
			if o.TesterID == testerID(0) {
				o.SessionID, o.ReadingID = renamed(o.SessionID, n), renamed(o.ReadingID, n)
				in.Observations = append(in.Observations, o)
			}
		}
	}
	after := compute(t, in)
	f, g := before.Fit("tilted"), after.Fit("tilted")
	for p := 1; p < len(w.mu); p++ {
		c, err := f.Fit.Contrast(p, 0)
		if err != nil {
			t.Fatal(err)
		}
		moved := math.Abs(g.Fit.Mu[p] - g.Fit.Mu[0] - c.Estimate)
		bound := 2 * 3 * 0.5 * math.Sqrt(g.Fit.Theta[2]+g.Fit.Theta[3]) // share of at most one half each
		if !(moved <= bound) || !(moved < 2*c.SE) {
			t.Errorf("contrast of %s moves by %.4f, bound %.4f, two standard errors %.4f", slugOf(p), moved, bound, 2*c.SE)
		}
	}
	for _, s := range g.Fit.Shares() {
		if s.Share > 0.5+1e-6 {
			t.Errorf("share of tester %d on panel %d = %v, want at most one half", s.Tester, s.Panel, s.Share)
		}
	}
}

func TestSentencesHaveIntervals(t *testing.T) {
	t.Parallel()
	w := newWorld(17, 8, usual).fill(5, 3, 2)
	for _, l := range w.compute(t).Lists {
		for _, e := range l.Ranking.Entries {
			interval := strings.Contains(e.Sentence, "could be") || strings.Contains(e.Sentence, "every other panel")
			if e.RankLo != e.RankHi && !strings.Contains(e.Sentence, "could be") || !interval && e.RankLo != e.RankHi || e.Sentence == "" {
				t.Errorf("%s: rank %d of %d to %d has the sentence %q", l.Measure, e.Rank, e.RankLo, e.RankHi, e.Sentence)
			}
			if e.Rank < e.RankLo || e.Rank > e.RankHi {
				t.Errorf("%s: rank %d is outside %d to %d", l.Measure, e.Rank, e.RankLo, e.RankHi)
			}
		}
	}
}
