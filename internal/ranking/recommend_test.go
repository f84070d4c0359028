package ranking_test

import (
	"math"
	"slices"
	"strings"
	"testing"

	"evensun/internal/fieldtest"
	"evensun/internal/ranking"
)

func recommend(t *testing.T, w *world, wish ranking.Wish) *fieldtest.Recommendation {
	t.Helper()
	if wish.Weights == nil {
		wish.Weights = slices.Repeat([]float64{1}, len(wish.Uses))
	}
	r, err := w.compute(t).Recommend(&w.in, wish)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// apart is a world whose panels differ by so much, in steps of ln P.
func apart(seed uint64, panels int, step float64) *world {
	w := newWorld(seed, panels, usual)
	for p := range w.mu {
		w.mu[p] = math.Log(0.9) - step*float64(p)
	}
	return w.fill(4, 3, 2)
}

// One is named where the readings tell, several where they do not, and nobody where they
// leave nobody out.
func TestVerdicts(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		w       *world
		verdict string
		least   int
	}{
		"far apart":     {apart(81, 4, 0.15), ranking.VerdictOne, 1},
		"two lead":      {twoLead(), ranking.VerdictSeveral, 2},
		"all are alike": {apart(83, 4, 0), ranking.VerdictNone, 4},
		"nobody":        {newWorld(84, 3, usual), ranking.VerdictNone, 0},
	} {
		r := recommend(t, c.w, ranking.Wish{Uses: []string{"most-power"}})
		if r.Verdict != c.verdict || len(r.Candidates) != c.least || (r.MeasureNext == "") != (c.verdict == ranking.VerdictOne) {
			t.Errorf("%s: %+v", name, r)
		}
		sum := 0.0
		for i, x := range r.Candidates {
			sum += x.Probability
			if i > 0 && x.Probability > r.Candidates[i-1].Probability || len(x.Figures) != 1 || x.Why == "" {
				t.Errorf("%s: candidate %+v", name, x)
			}
		}
		if c.least > 0 && (sum < 0.95 || sum > 1+1e-6) || r.Compared+len(r.LeftOut) != len(c.w.in.Panels) {
			t.Errorf("%s: candidates hold the best with %v, compared %d, left out %d", name, sum, r.Compared, len(r.LeftOut))
		}
	}
}

func twoLead() *world {
	w := newWorld(82, 4, usual)
	w.mu = []float64{math.Log(0.9), math.Log(0.9), math.Log(0.7), math.Log(0.6)}
	return w.fill(4, 3, 2)
}

// The draws are those of the ranks: a panel alone at rank 1 is named, one whose rank may be
// 1 is a candidate or hardly ever first.
func TestCandidatesAgreeWithRanks(t *testing.T) {
	t.Parallel()
	for seed := range uint64(6) {
		w := apart(90+seed, 6, 0.012)
		out := w.compute(t)
		r, err := out.Recommend(&w.in, ranking.Wish{Uses: []string{"most-power"}, Weights: []float64{1}})
		if err != nil {
			t.Fatal(err)
		}
		named := map[string]bool{}
		for _, c := range r.Candidates {
			named[c.PanelModel] = true
		}
		for _, e := range list(t, out, fieldtest.StcPower, "", 1).Entries {
			if named[e.PanelModel] && e.RankLo > 1 {
				t.Errorf("seed %d: %s may be best, but its rank is %d at best", seed, e.PanelModel, e.RankLo)
			}
			if e.Rank == 1 && !named[e.PanelModel] {
				t.Errorf("seed %d: %s leads and is not named", seed, e.PanelModel)
			}
		}
	}
}

// Weights are shares of a product: the power of one panel and the lightness of another.
func TestWeightsDecide(t *testing.T) {
	t.Parallel()
	w := apart(85, 2, 0.2)                                                    // the first gives 22 % more,
	w.in.Panels[0].MassKg, w.in.Panels[1].MassKg = pointer(6.0), pointer(3.0) // the second has 64 % more watts a kilogram
	for _, c := range []struct {
		weights []float64
		best    int
	}{{[]float64{9, 1}, 0}, {[]float64{1, 1}, 1}, {[]float64{18, 2}, 0}} {
		r := recommend(t, w, ranking.Wish{Uses: []string{"most-power", "lightest"}, Weights: c.weights})
		if r.Verdict != ranking.VerdictOne || r.Candidates[0].PanelModel != slugOf(c.best) || len(r.Candidates[0].Figures) != 2 {
			t.Errorf("weights %v: %+v", c.weights, r)
		}
		if sum := r.Uses[0].Weight + r.Uses[1].Weight; math.Abs(sum-1) > 1e-5 {
			t.Errorf("weights add to %v", sum)
		}
	}
	alone := recommend(t, w, ranking.Wish{Uses: []string{"most-power"}})
	twice := recommend(t, w, ranking.Wish{Uses: []string{"most-power", "most-power"}, Weights: []float64{0.3, 0.7}})
	if alone.Candidates[0].Probability != twice.Candidates[0].Probability {
		t.Errorf("one use in two parts: %v, %v", twice.Candidates[0].Probability, alone.Candidates[0].Probability)
	}
}

// Who lacks a figure is left out with the cure; which use makes the difference is told.
func TestLeftOutAndSeparated(t *testing.T) {
	t.Parallel()
	w := apart(86, 3, 0.001)
	w.in.Panels[0].MassKg, w.in.Panels[1].MassKg = pointer(4.0), pointer(4.0)
	r := recommend(t, w, ranking.Wish{Uses: []string{"most-power", "lightest"}})
	if len(r.LeftOut) != 1 || r.LeftOut[0].Reason != "no_mass" || r.LeftOut[0].Use != "lightest" || r.LeftOut[0].Needs == "" {
		t.Errorf("left out: %+v", r.LeftOut)
	}
	if len(r.Separates) != 1 || !strings.Contains(r.Separates[0].Sentence, "too close to call") || !(r.Separates[0].RatioLo < 1 && 1 < r.Separates[0].RatioHi) {
		t.Errorf("separates: %+v", r.Separates)
	}
	few := recommend(t, w, ranking.Wish{Uses: []string{"most-power"}, Models: []string{slugOf(1), slugOf(2)}})
	if few.Compared != 2 {
		t.Errorf("of two: %+v", few)
	}
	if r := recommend(t, w, ranking.Wish{Uses: []string{"part-shade"}}); r.Verdict != ranking.VerdictNone || len(r.LeftOut) != 3 || !strings.Contains(r.MeasureNext, "25 %") {
		t.Errorf("nobody covered one: %+v", r)
	}
	if _, err := w.compute(t).Recommend(&w.in, ranking.Wish{Uses: []string{"prettiest"}, Weights: []float64{1}}); err == nil {
		t.Error("an unknown use is recommended for")
	}
	if _, err := w.compute(t).Recommend(&w.in, ranking.Wish{Uses: []string{"cheapest-per-watt"}, Weights: []float64{1}, Currency: "CHF"}); err == nil {
		t.Error("a currency without prices is recommended by")
	}
}
