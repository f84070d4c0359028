package compare_test

import (
	"context"
	"errors"
	"math"
	"testing"

	"evensun/internal/compare"
	"evensun/internal/reftest"
)

func TestWeightsAgainstTable(t *testing.T) {
	t.Parallel()
	f := reftest.Table[struct {
		R      []float64 `json:"r"`
		Narrow []float64 `json:"hampel_2_4_8"`
		Wide   []float64 `json:"hampel_3_5_10"`
	}](t, "hampel_weights")
	if len(f.R) == 0 || len(f.Narrow) != len(f.R) {
		t.Fatal("no weights in the file")
	}
	for i, r := range f.R {
		// The file's weights end at 0, ours at 1e-4.
		near(t, "weight", compare.Cutoffs{A: 2, B: 4, C: 8}.Weight(r), max(1e-4, f.Narrow[i]), 1e-12)
		near(t, "weight", compare.Cutoffs{A: 3, B: 5, C: 10}.Weight(-r), max(1e-4, f.Wide[i]), 1e-12)
	}
}

func FuzzWeight(f *testing.F) {
	f.Add(2.0, 5.0)
	f.Add(4.4, 4.6)
	f.Fuzz(func(t *testing.T, a, b float64) {
		cut := compare.DefaultCutoffs()
		a, b = reftest.Fold(a, 0, 20), reftest.Fold(b, 0, 20)
		lo, hi := min(a, b), max(a, b)
		if cut.Weight(lo) < cut.Weight(hi) {
			t.Errorf("weight rises from %v at %v to %v at %v", cut.Weight(lo), lo, cut.Weight(hi), hi)
		}
		if pull := cut.Weight(a) * a; pull > cut.A+1e-9 {
			t.Errorf("w r = %v at %v, want at most %v", pull, a, cut.A)
		}
	})
}

// TestInvariance shifts all values, shuffles rows and doubles the unit: contrasts,
// and the ratio of variances, must follow.
func TestInvariance(t *testing.T) {
	t.Parallel()
	table := drawSynthetic(smallSize(), 77, 0).Table
	base, err := compare.Estimate(context.Background(), table, compare.Options{Random: fiveTerms})
	if err != nil {
		t.Fatal(err)
	}
	changed := dropRows(table, func(int) bool { return false })
	n := table.Len()
	for k := range changed.Value {
		from := (k*101 + 7) % n // 101 and 240 have no common divisor
		changed.Value[k], changed.Variance[k] = 2*(table.Value[from]+5), 4*table.Variance[from]
		changed.Panel[k], changed.Tester[k], changed.Session[k] = table.Panel[from], table.Tester[from], table.Session[from]
	}
	other, err := compare.Estimate(context.Background(), changed, compare.Options{Random: fiveTerms})
	if err != nil {
		t.Fatal(err)
	}
	for l, v := range base.Theta {
		near(t, compare.Term(l).String(), other.Theta[l], 4*v, 1e-4*v)
	}
	for i, mu := range base.Mu {
		near(t, "mu", other.Mu[i], 2*(mu+5), 1e-6)
		near(t, "se", other.SE(i), 2*base.SE(i), 1e-5*base.SE(i))
	}
}

// TestTwoStarts begins a tenth below and ten times above.
func TestTwoStarts(t *testing.T) {
	t.Parallel()
	table := drawSynthetic(smallSize(), syntheticSeed, 0).Table
	var first compare.Theta
	for i, factor := range []float64{0.1, 10} {
		start := compare.Theta{4e-4, 4e-4, 4e-4, 1e-4, 1e-4}
		for l := range start {
			start[l] *= factor
		}
		f, err := compare.Estimate(context.Background(), table, compare.Options{Random: fiveTerms, Start: &start})
		if err != nil {
			t.Fatal(err)
		}
		if i == 0 {
			first = f.Theta
		}
		for l, v := range first {
			near(t, compare.Term(l).String(), f.Theta[l], v, 1e-4*v)
		}
	}
}

func TestKeepFixesWeight(t *testing.T) {
	t.Parallel()
	tr := drawTrial(41004, true)
	opt := serviceOptions()
	f, err := compare.Estimate(context.Background(), tr.table, opt)
	if err != nil {
		t.Fatal(err)
	}
	l := f.Level(compare.SessionPanel)
	worst := 0
	for i := range l.Score {
		if l.Weight(i) < l.Weight(worst) {
			worst = i
		}
	}
	if l.Weight(worst) > 0.9 {
		t.Fatalf("least weight %v: nothing to keep", l.Weight(worst))
	}
	opt.Keep = []compare.Effect{{Term: compare.SessionPanel, Session: l.Session[worst], Panel: l.Panel[worst]}}
	kept, err := compare.Estimate(context.Background(), tr.table, opt)
	if err != nil {
		t.Fatal(err)
	}
	if w := kept.Level(compare.SessionPanel).Weight(worst); w != 1 {
		t.Errorf("weight of the kept cell = %v, want 1", w)
	}
}

func TestRefusals(t *testing.T) {
	t.Parallel()
	good := drawSynthetic(smallSize(), 1, 0).Table
	with := func(change func(*compare.Table)) compare.Table {
		c := dropRows(good, func(int) bool { return false })
		change(&c)
		return c
	}
	plain := compare.Options{Random: fiveTerms}
	for name, c := range map[string]struct {
		table compare.Table
		opt   compare.Options
		want  error
	}{
		"empty":          {compare.Table{}, plain, compare.ErrEmpty},
		"nan":            {with(func(t *compare.Table) { t.Value[3] = math.NaN() }), plain, compare.ErrValue},
		"negative":       {with(func(t *compare.Table) { t.Variance[3] = -1 }), plain, compare.ErrValue},
		"short column":   {with(func(t *compare.Table) { t.Panel = t.Panel[1:] }), plain, compare.ErrColumn},
		"negative code":  {with(func(t *compare.Table) { t.Tester[0] = -1 }), plain, compare.ErrColumn},
		"no tester":      {with(func(t *compare.Table) { t.Tester = nil }), plain, compare.ErrModel},
		"no variance":    {with(func(t *compare.Table) { t.Variance = nil }), compare.Options{Random: fiveTerms[:4]}, compare.ErrModel},
		"drift no times": {good, compare.Options{Random: []compare.Term{compare.Drift}}, compare.ErrModel},
		"hold nothing":   {good, compare.Options{Random: fiveTerms, Hold: true}, compare.ErrModel},
		"fixed tester":   {good, compare.Options{Random: fiveTerms, SessionFixed: true}, compare.ErrModel},
	} {
		if _, err := compare.Estimate(context.Background(), c.table, c.opt); !errors.Is(err, c.want) {
			t.Errorf("%s: error %v, want %v", name, err, c.want)
		}
	}
	stopped, stop := context.WithCancel(context.Background())
	stop()
	if _, err := compare.Estimate(stopped, good, plain); !errors.Is(err, context.Canceled) {
		t.Errorf("stopped: error %v, want %v", err, context.Canceled)
	}
}
