package interlab_test

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"evensun/internal/interlab"
	"evensun/internal/reftest"
	"evensun/internal/seedrand"
)

// Source: table terminal_digits (R chisq.test).
func TestTerminalDigits(t *testing.T) {
	t.Parallel()
	c := reftest.Table[struct {
		Counts []int   `json:"counts"`
		Chi2   float64 `json:"chi2"`
		P      float64 `json:"p"`
		Limit  float64 `json:"chi2_dof9_99"`
	}](t, "terminal_digits")
	chi2, p := interlab.TerminalDigits(c.Counts)
	near(t, "chi2", chi2, c.Chi2, 1e-8)
	near(t, "p", p, c.P, 1e-8)
	near(t, "tail at the 99 % point", interlab.ChiSquareTail(c.Limit, 9), 0.01, 1e-8)
	for _, bad := range [][]int{nil, {5}, {0, 0}} {
		if chi2, p := interlab.TerminalDigits(bad); !math.IsNaN(chi2) || !math.IsNaN(p) {
			t.Errorf("TerminalDigits(%v) = %v, %v, want NaN", bad, chi2, p)
		}
	}
}

// 40 readings make 780 pairs; steps of 0.1 in 10, 0.01 in 2 and 1 in 100.
func TestExpectedRepeats(t *testing.T) {
	t.Parallel()
	got := interlab.ExpectedRepeats(780, interlab.Channel{Resolution: 0.1, Range: 10}, interlab.Channel{Resolution: 0.01, Range: 2}, interlab.Channel{Resolution: 1, Range: 100})
	near(t, "ExpectedRepeats", got, 780*0.01*0.005*0.01, 1e-12)
	if got := interlab.ExpectedRepeats(10, interlab.Channel{Resolution: 5, Range: 1}); got != 10 {
		t.Errorf("ExpectedRepeats with a coarse display = %v, want all 10", got)
	}
	if got := interlab.ExpectedRepeats(10, interlab.Channel{Resolution: 5}); !math.IsNaN(got) {
		t.Errorf("ExpectedRepeats without a range = %v, want NaN", got)
	}
}

func ExampleCopiedRuns() {
	sessions := [][]float64{
		{88.1, 87.4, 90.2, 91.0, 85.5, 86.1},
		{70.3, 71.1},
		{12.0, 87.4, 90.2, 91.0, 85.5, 86.1, 40},
	}
	fmt.Printf("%+v\n", interlab.CopiedRuns(sessions, 5))
	// Output: [{First:0 Second:2 FirstStart:1 SecondStart:1 Length:5}]
}

func TestCopiedRuns(t *testing.T) {
	t.Parallel()
	a := []int{1, 2, 3, 4, 5, 6, 7, 8}
	for name, c := range map[string]struct {
		sequences [][]int
		want      []interlab.CopiedRun
	}{
		"whole":            {[][]int{a, a}, []interlab.CopiedRun{{0, 1, 0, 0, 8}}},
		"three copies":     {[][]int{a, a, a}, []interlab.CopiedRun{{0, 1, 0, 0, 8}, {0, 2, 0, 0, 8}}},
		"two stretches":    {[][]int{a, {1, 2, 3, 4, 5, 9, 4, 5, 6, 7, 8}}, []interlab.CopiedRun{{0, 1, 0, 0, 5}, {0, 1, 3, 6, 5}}},
		"too short":        {[][]int{a, {1, 2, 3, 4, 9}}, nil},
		"other order":      {[][]int{a, {8, 7, 6, 5, 4, 3, 2, 1}}, nil},
		"constant":         {[][]int{{9, 9, 9, 9, 9, 9}, {9, 9, 9, 9, 9, 9}}, nil},
		"within a session": {[][]int{append(slices.Clone(a), a...)}, nil},
		"none":             {nil, nil},
	} {
		if got := interlab.CopiedRuns(c.sequences, 5); !slices.Equal(got, c.want) {
			t.Errorf("%s: CopiedRuns = %+v, want %+v", name, got, c.want)
		}
	}
	nan := math.NaN()
	if got := interlab.CopiedRuns([][]float64{{nan, nan, nan, 1, 2}, {nan, nan, nan, 1, 2}}, 3); got != nil {
		t.Errorf("CopiedRuns of missing values = %v, want none", got)
	}
}

// A stretch planted in noise is found with its place and length, and nothing else.
func FuzzCopiedRuns(f *testing.F) {
	f.Add(uint64(1), 3, 9, 6)
	f.Fuzz(func(t *testing.T, seed uint64, from, to, length int) {
		fold := func(n, lo, hi int) int { return int(reftest.Fold(float64(n), float64(lo), float64(hi))) }
		length = fold(length, 5, 20)
		from, to = fold(from, 0, 20), fold(to, 0, 20)
		s := seedrand.New(seed)
		a, b := make([]uint64, 40), make([]uint64, 40)
		for i := range a {
			a[i], b[i] = s.Uint64(), s.Uint64()
		}
		copy(b[to:to+length], a[from:from+length])
		want := []interlab.CopiedRun{{First: 0, Second: 1, FirstStart: from, SecondStart: to, Length: length}}
		if got := interlab.CopiedRuns([][]uint64{a, b}, 5); !slices.Equal(got, want) {
			t.Errorf("CopiedRuns = %+v, want %+v", got, want)
		}
	})
}

// Source: table kendall_attitude (R attitude, tau-b and Spearman).
func TestKendallWithTies(t *testing.T) {
	t.Parallel()
	c := reftest.Table[struct {
		Rating     []float64 `json:"rating"`
		Complaints []float64 `json:"complaints"`
		Raises     []float64 `json:"raises"`
		RC         float64   `json:"tau_rating_complaints"`
		RR         float64   `json:"tau_rating_raises"`
		CR         float64   `json:"tau_complaints_raises"`
	}](t, "kendall_attitude")
	rc := interlab.Kendall(c.Rating, c.Complaints)
	near(t, "tau rating, complaints", rc.Tau, c.RC, 1e-8)
	near(t, "tau rating, raises", interlab.Kendall(c.Rating, c.Raises).Tau, c.RR, 1e-8)
	near(t, "tau complaints, raises", interlab.Kendall(c.Complaints, c.Raises).Tau, c.CR, 1e-8)
	if rc.Exact || !(rc.P > 0 && rc.P < 1e-4) {
		t.Errorf("P of tau 0.65 in 30 tied pairs = %v, exact %v, want a small normal one", rc.P, rc.Exact)
	}
}

// Source: table session_trend (R lm and cor.test).
func TestSessionTrend(t *testing.T) {
	t.Parallel()
	c := reftest.Table[struct {
		Minutes  []float64 `json:"minutes"`
		Residual []float64 `json:"residual"`
		Slope    float64   `json:"slope_per_min"`
		SE       float64   `json:"se"`
		P        float64   `json:"p"`
		Tau      float64   `json:"kendall_tau"`
		Exact    float64   `json:"kendall_p_exact"`
	}](t, "session_trend")
	trend := interlab.TrendOf(c.Minutes, c.Residual)
	near(t, "Slope", trend.Slope, c.Slope, 1e-8)
	near(t, "SE", trend.SE, c.SE, 1e-8)
	near(t, "P", trend.P, c.P, 1e-8)
	k := interlab.Kendall(c.Minutes, c.Residual)
	near(t, "Tau", k.Tau, c.Tau, 1e-8)
	near(t, "exact P", k.P, c.Exact, 1e-8)
	if !k.Exact {
		t.Error("P of eight untied pairs is not exact")
	}
}

func TestTrendsOfLittle(t *testing.T) {
	t.Parallel()
	flat := []float64{1, 1, 1, 1}
	rising := []float64{1, 2, 3, 4}
	if got := interlab.TrendOf(flat, rising); !math.IsNaN(got.Slope) {
		t.Errorf("TrendOf equal x = %+v, want NaN", got)
	}
	if got := interlab.TrendOf(rising[:2], rising[:2]); !math.IsNaN(got.P) {
		t.Errorf("TrendOf two points = %+v, want NaN", got)
	}
	if got := interlab.TrendOf(rising, flat); got.Slope != 0 || got.P != 1 {
		t.Errorf("TrendOf a level line = %+v, want 0 with P 1", got)
	}
	if got := interlab.TrendOf(rising, rising); got.Slope != 1 || got.P > 1e-12 {
		t.Errorf("TrendOf an exact line = %+v, want 1 with P 0", got)
	}
	if got := interlab.Kendall(flat, rising); !math.IsNaN(got.Tau) {
		t.Errorf("Kendall of equal x = %+v, want NaN", got)
	}
	if got := interlab.Kendall(nil, nil); !math.IsNaN(got.P) {
		t.Errorf("Kendall of none = %+v, want NaN", got)
	}
}

// The exact and the normal probability agree where there are many pairs, and all of
// two orders of n members agree with probability 2/n!.
func TestKendallExact(t *testing.T) {
	t.Parallel()
	up := []float64{1, 2, 3, 4, 5, 6}
	near(t, "P of six in order", interlab.Kendall(up, up).P, 2.0/720, 1e-12)
	s := seedrand.New(4)
	x, y := make([]float64, 60), make([]float64, 60)
	for i := range x {
		x[i], y[i] = float64(i), float64(i)/30+s.Normal()
	}
	exact := interlab.Kendall(x, y)
	normal := interlab.Kendall(append(x, 60), append(y, 2.05)) // 61 pairs: no longer exact
	if !exact.Exact || normal.Exact || math.Abs(math.Log(exact.P/normal.P)) > 0.5 {
		t.Errorf("exact %+v, normal %+v", exact, normal)
	}
}

// Tau is symmetric, turns its sign with one variable and ignores monotone change.
func FuzzKendall(f *testing.F) {
	f.Add(uint64(5), 8)
	f.Fuzz(func(t *testing.T, seed uint64, n int) {
		n = 4 + int(reftest.Fold(float64(n), 0, 40))
		s := seedrand.New(seed)
		x, y, down, cube := make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
		for i := range x {
			x[i], y[i] = s.Normal(), s.Normal()
			down[i], cube[i] = -y[i], x[i]*x[i]*x[i]
		}
		k := interlab.Kendall(x, y)
		if o := interlab.Kendall(y, x); o != k {
			t.Errorf("Kendall(y, x) = %+v, Kendall(x, y) = %+v", o, k)
		}
		if o := interlab.Kendall(cube, down); math.Abs(o.Tau+k.Tau) > 1e-12 || math.Abs(o.P-k.P) > 1e-9 {
			t.Errorf("Kendall(x^3, -y) = %+v, Kendall(x, y) = %+v", o, k)
		}
		if k.P < 0 || k.P > 1 || math.Abs(k.Tau) > 1 {
			t.Errorf("Kendall = %+v", k)
		}
	})
}
