package robust_test

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"gonum.org/v1/gonum/mat"

	"evensun/internal/reftest"
	"evensun/internal/robust"
)

// Source: table hampel_weights (MASS psi.hampel, psi.huber, psi.bisquare).
func TestWeights(t *testing.T) {
	t.Parallel()
	c := reftest.Table[struct {
		R        []float64 `json:"r"`
		Bisquare []float64 `json:"bisquare_4685"`
	}](t, "hampel_weights")
	each := func(weight func(r float64) float64) []float64 {
		out := make([]float64, len(c.R))
		for i, r := range c.R {
			out[i] = weight(-r)
		}
		return out
	}
	nearAll(t, "BisquareWeight", each(func(r float64) float64 { return robust.BisquareWeight(r, 4.685) }), c.Bisquare, 1e-8)
}

// stackloss is the operation of an ammonia plant (Brownlee 1965): air flow, water
// temperature, acid concentration, stack loss.
var stackloss = [21][4]float64{
	{80, 27, 89, 42}, {80, 27, 88, 37}, {75, 25, 90, 37}, {62, 24, 87, 28}, {62, 22, 87, 18}, {62, 23, 87, 18}, {62, 24, 93, 19},
	{62, 24, 93, 20}, {58, 23, 87, 15}, {58, 18, 80, 14}, {58, 18, 89, 14}, {58, 17, 88, 13}, {58, 18, 82, 11}, {58, 19, 93, 12},
	{50, 18, 89, 8}, {50, 18, 86, 7}, {50, 19, 72, 8}, {50, 19, 79, 8}, {50, 20, 80, 9}, {56, 20, 82, 15}, {70, 20, 91, 15},
}

func stacklossDesign() (*mat.Dense, []float64) {
	x, y := mat.NewDense(21, 4, nil), make([]float64, 21)
	for i, row := range stackloss {
		x.SetRow(i, []float64{1, row[0], row[1], row[2]})
		y[i] = row[3]
	}
	return x, y
}

type rlm struct {
	Coef    []float64 `json:"coef"`
	Scale   float64   `json:"scale"`
	Weights []float64 `json:"weights"`
}

// Source: the medians of tables robust_abbey and robust_chem; the others by hand.
func TestMedian(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"robust_abbey", "robust_chem"} {
		c := reftest.Table[struct {
			Data   []float64 `json:"data"`
			Median float64   `json:"median"`
		}](t, name)
		before := slices.Clone(c.Data)
		near(t, name, robust.Median(c.Data), c.Median, 1e-12)
		if !slices.Equal(before, c.Data) {
			t.Errorf("%s: the data are in another order", name)
		}
	}
	for want, x := range map[float64][]float64{3: {3}, 2.5: {4, 1}, 2: {9, 2, 1}} {
		near(t, "median", robust.Median(x), want, 0)
	}
	if got := robust.Median(nil); !math.IsNaN(got) {
		t.Errorf("median of none = %v", got)
	}
}

func ExampleMedian() {
	fmt.Println(robust.Median([]float64{1, 100, 2}))
	// Output: 2
}

// near fails unless got is want within a relative tolerance.
func near(tb testing.TB, what string, got, want, relative float64) {
	tb.Helper()
	if !(math.Abs(got-want) <= relative*math.Abs(want)) {
		tb.Errorf("%s = %v, want %v within %v relative", what, got, want, relative)
	}
}

func nearAll(tb testing.TB, what string, got, want []float64, relative float64) {
	tb.Helper()
	if len(got) != len(want) {
		tb.Fatalf("%s has %d values, want %d", what, len(got), len(want))
	}
	for i := range want {
		if math.Abs(got[i]-want[i]) > relative*math.Abs(want[i])+1e-13 {
			tb.Errorf("%s[%d] = %v, want %v within %v relative", what, i, got[i], want[i], relative)
		}
	}
}
