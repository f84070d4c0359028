package ranks_test

import (
	"fmt"
	"math"
	"strconv"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"evensun/internal/ranks"
	"evensun/internal/reftest"
)

func ExampleRangeQuantile() {
	fmt.Printf("%.4f\n", ranks.RangeQuantile(0.95, 4, 24))
	// Output: 3.9013
}

// Source: table studentized_range, R 4.2.2 qtukey. That function iterates to 1e-4
// absolute and loses its integral below 8 degrees of freedom: at 2 and two groups
// it gives 6.0796 and 13.0 at 95 and 99 %, where sqrt(2) times Student's quantile
// is 6.0849 and 14.0358 (TestRangeQuantileOfTwo). The tolerances are therefore on
// the probability and follow what is known of the table, not of our function.
func TestRangeProbabilityAgainstTable(t *testing.T) {
	t.Parallel()
	data := reftest.Table[struct {
		Dof    []string    `json:"dof"`
		Groups []int       `json:"groups"`
		Q95    [][]float64 `json:"q_95"`
		Q99    [][]float64 `json:"q_99"`
	}](t, "studentized_range")
	for i, text := range data.Dof {
		dof, err := strconv.ParseFloat(text, 64)
		if err != nil {
			t.Fatal(err)
		}
		tolerance := tableTolerance(dof)
		for j, groups := range data.Groups {
			if got := ranks.RangeProbability(data.Q95[i][j], groups, dof); math.Abs(got-0.95) > tolerance {
				t.Errorf("RangeProbability(%v, %d, %v) = %v, want 0.95 within %v", data.Q95[i][j], groups, dof, got, tolerance)
			}
			if got := ranks.RangeProbability(data.Q99[i][j], groups, dof); math.Abs(got-0.99) > tolerance {
				t.Errorf("RangeProbability(%v, %d, %v) = %v, want 0.99 within %v", data.Q99[i][j], groups, dof, got, tolerance)
			}
		}
	}
}

func tableTolerance(dof float64) float64 {
	switch {
	case dof >= 12:
		return 1e-7
	case dof >= 8:
		return 3e-6
	case dof >= 5:
		return 5e-5
	default:
		return 6e-3
	}
}

func TestRangeQuantileOfTwo(t *testing.T) {
	t.Parallel()
	for _, dof := range []float64{1, 2, 3, 5, 17.5, 120, 1e5} {
		for _, p := range []float64{0.5, 0.95, 0.99} {
			got := ranks.RangeQuantile(p, 2, dof)
			want := math.Sqrt2 * distuv.StudentsT{Sigma: 1, Nu: dof}.Quantile((1+p)/2)
			if math.Abs(got/want-1) > 1e-9 {
				t.Errorf("RangeQuantile(%v, 2, %v) = %v, want sqrt(2) times Student's %v", p, dof, got, want)
			}
		}
	}
}

// The published tables of the studentised range at few degrees of freedom, printed
// to two or three decimals (Harter 1960 and Pearson and Hartley; from memory).
func TestRangeQuantilePublished(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		p      float64
		groups int
		dof    float64
		want   float64
	}{
		{0.95, 3, 1, 26.98}, {0.95, 10, 1, 49.07},
		{0.95, 3, 2, 8.331}, {0.95, 5, 2, 10.88}, {0.95, 10, 2, 13.99},
		{0.99, 3, 2, 19.02}, {0.99, 10, 2, 31.69}, {0.99, 4, 3, 12.17},
		{0.95, 4, 3, 6.825}, {0.95, 3, 20, 3.578}, {0.99, 10, 20, 6.09},
	} {
		if got := ranks.RangeQuantile(c.p, c.groups, c.dof); math.Abs(got-c.want) > 0.006 {
			t.Errorf("RangeQuantile(%v, %d, %v) = %v, want %v", c.p, c.groups, c.dof, got, c.want)
		}
	}
}

// Source: critical values printed in the reference computation with R qtukey for
// whole lists at infinite degrees of freedom, to four decimals.
func TestRangeQuantileOfLongLists(t *testing.T) {
	t.Parallel()
	for groups, want := range map[int]float64{12: 3.2680, 100: 4.3025, 1000: 5.2111, 5000: 5.7680} {
		if got := ranks.RangeQuantile(0.95, groups, math.Inf(1)) / math.Sqrt2; math.Abs(got-want) > 5.1e-5 {
			t.Errorf("RangeQuantile(0.95, %d, Inf)/sqrt(2) = %v, want %v", groups, got, want)
		}
	}
}

func TestRangeOutsideItsDomain(t *testing.T) {
	t.Parallel()
	nan, inf := math.NaN(), math.Inf(1)
	for _, c := range []struct {
		p      float64
		groups int
		dof    float64
	}{{nan, 3, 5}, {0.95, 1, 5}, {0.95, -3, 5}, {0.95, 3, 0.5}, {0.95, 3, nan}, {1, 3, 5}, {-0.1, 3, 5}, {inf, 3, 5}} {
		if got := ranks.RangeQuantile(c.p, c.groups, c.dof); !math.IsNaN(got) {
			t.Errorf("RangeQuantile(%v, %d, %v) = %v, want NaN", c.p, c.groups, c.dof, got)
		}
	}
	if got := ranks.RangeProbability(inf, 4, 5); math.Abs(got-1) > 1e-12 {
		t.Errorf("RangeProbability(Inf, 4, 5) = %v, want 1", got)
	}
	if got := ranks.RangeProbability(-1, 4, 5); got != 0 {
		t.Errorf("RangeProbability(-1, 4, 5) = %v, want 0", got)
	}
}

// More members or fewer degrees of freedom need a larger critical value, and the
// quantile undoes the probability.
func FuzzRangeQuantile(f *testing.F) {
	f.Add(0.95, 4, 20.0)
	f.Add(0.6, 60, 1.0)
	f.Add(0.999, 2, 1e4)
	f.Fuzz(func(t *testing.T, p float64, groups int, dof float64) {
		p, dof = reftest.Fold(p, 0.3, 0.999), reftest.Fold(dof, 1, 1e6)
		groups = 2 + int(reftest.Fold(float64(groups), 0, 200))
		q := ranks.RangeQuantile(p, groups, dof)
		if back := ranks.RangeProbability(q, groups, dof); math.Abs(back-p) > 1e-9 {
			t.Errorf("RangeProbability(RangeQuantile(%v, %d, %v)) = %v", p, groups, dof, back)
		}
		if more := ranks.RangeProbability(q, groups+1, dof); more > p+1e-12 {
			t.Errorf("one more member than %d raised the probability from %v to %v", groups, p, more)
		}
		if surer := ranks.RangeProbability(q, groups, 2*dof); surer < p-1e-9 && p > 0.9 {
			t.Errorf("twice %v degrees of freedom lowered the probability from %v to %v", dof, p, surer)
		}
	})
}
