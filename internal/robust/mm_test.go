package robust_test

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"evensun/internal/reftest"
	"evensun/internal/robust"
	"evensun/internal/seedrand"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/combin"
)

// libraryStop is the relative change of coefficients at which robustbase lmrob ends.
const libraryStop = 1e-7

// Source: table robust_stackloss (robustbase lmrob). It ends its iterations early, and
// where it then is depends on the rows it drew: from three in four subsets of four rows
// our steps, ended as early, have a scale within 4e-7 of the file's (from the others they
// end at other, larger minima). From the rows 2, 16, 18, 20, and from 27 subsets
// more, they give all numbers of the file to its 1e-8. Carried on, these starts agree on
// a scale smaller by 1.4e-6, and that is what MMRegressionOf gives.
func TestMMStackloss(t *testing.T) {
	t.Parallel()
	want := reftest.Table[struct {
		MM rlm `json:"lmrob_mm"`
	}](t, "robust_stackloss").MM
	x, y := stacklossDesign()
	early, ok := robust.MMFromRows(x, y, []int{2, 16, 18, 20}, libraryStop)
	if !ok {
		t.Fatal("from rows 2, 16, 18, 20: failed")
	}
	nearAll(t, "Coefficients, ended early", early.Coefficients, want.Coef, 1e-8)
	nearAll(t, "Weights, ended early", early.Weights, want.Weights, 1e-8)
	near(t, "Scale, ended early", early.Scale, want.Scale, 1e-8)

	got, ok := robust.MMRegressionOf(x, y)
	if !ok || !got.Converged {
		t.Fatalf("solved %v, converged %v", ok, got.Converged)
	}
	if !(got.Scale < want.Scale) {
		t.Errorf("scale %v, want below %v", got.Scale, want.Scale)
	}
	near(t, "Scale", got.Scale, want.Scale, 1.5e-6)
	nearAll(t, "Coefficients", got.Coefficients, want.Coef, 1e-6)
	nearAll(t, "Weights", got.Weights, want.Weights, 1.3e-5)
	checkMMStarts(t, x, y, want, got)
}

// checkMMStarts holds one start in ten against the file's scale and the settled fit.
func checkMMStarts(t *testing.T, x *mat.Dense, y []float64, file rlm, settled robust.RobustRegression) {
	t.Helper()
	tried, reached := 0, 0
	for k, rows := range combin.Combinations(21, 4) {
		if k%10 != 0 {
			continue
		}
		early, ok := robust.MMFromRows(x, y, rows, libraryStop)
		if !ok {
			continue // rows that do not settle four coefficients
		}
		tried++
		if early.Scale > 1.95 {
			continue // at another minimum: the least of them has 1.983
		}
		reached++
		near(t, fmt.Sprintf("scale from %v, ended early", rows), early.Scale, file.Scale, 4e-7)
		if k%100 == 0 {
			late, _ := robust.MMFromRows(x, y, rows, 1e-13)
			near(t, fmt.Sprintf("scale from %v", rows), late.Scale, settled.Scale, 1e-10)
			nearAll(t, fmt.Sprintf("coefficients from %v", rows), late.Coefficients, settled.Coefficients, 1e-9)
		}
	}
	if 10*reached < 7*tried {
		t.Errorf("%d of %d starts reach the least scale, want three in four", reached, tried)
	}
}

// line returns points about 1 + 2x with a scatter of 0.1, of which the first are
// wrong, together and far off in x.
func line(n, wrong int) (*mat.Dense, []float64) {
	s := seedrand.New(8)
	x, y := mat.NewDense(n, 2, nil), make([]float64, n)
	for i := range n {
		at := 10 * s.Uniform()
		x.SetRow(i, []float64{1, at})
		y[i] = 1 + 2*at + 0.1*s.Normal()
		if i < wrong {
			x.Set(i, 1, 100+s.Normal())
			y[i] = s.Normal()
		}
	}
	return x, y
}

func TestMMWithstands(t *testing.T) {
	t.Parallel()
	for _, n := range []int{20, 400} { // all subsets, drawn ones
		x, y := line(n, n*2/5)
		got, ok := robust.MMRegressionOf(x, y)
		if !ok || !got.Converged || math.Abs(got.Coefficients[1]-2) > 0.03 || got.Scale > 0.5 {
			t.Errorf("%d rows: %v, slope %v, scale %v, want 2 and 0.1 to 0.4, which the wrong rows make of 0.1", n, ok, got.Coefficients, got.Scale)
		}
		for i := range n * 2 / 5 {
			if got.Weights[i] != 0 {
				t.Errorf("%d rows: weight of wrong row %d = %v", n, i, got.Weights[i])
			}
		}
		var least mat.VecDense
		if err := least.SolveVec(x, mat.NewVecDense(n, y)); err != nil || math.Abs(least.AtVec(1)-2) < 1 {
			t.Errorf("%d rows: least squares have a slope of %v, %v: the rows are not hard enough", n, least.AtVec(1), err)
		}
		again, _ := robust.MMRegressionOf(x, y)
		if !slices.Equal(again.Coefficients, got.Coefficients) {
			t.Error("a second run has other coefficients")
		}
	}
}

func TestMMExact(t *testing.T) {
	t.Parallel()
	x, y := line(11, 0)
	for i := range y {
		y[i] = 0.1 + 0.3*x.At(i, 1)
		if i < 4 {
			y[i] += float64(i + 1)
		}
	}
	got, ok := robust.MMRegressionOf(x, y)
	if !ok || got.Scale != 0 || !got.Converged {
		t.Fatalf("%v, %+v, want a scale of 0", ok, got)
	}
	nearAll(t, "coefficients", got.Coefficients, []float64{0.1, 0.3}, 1e-12)
	nearAll(t, "weights", got.Weights, []float64{0, 0, 0, 0, 1, 1, 1, 1, 1, 1, 1}, 0)
}

func TestMMRefuses(t *testing.T) {
	t.Parallel()
	rows := func(n int, at func(i int) float64) *mat.Dense {
		x := mat.NewDense(n, 2, nil)
		for i := range n {
			x.SetRow(i, []float64{1, at(i)})
		}
		return x
	}
	y := []float64{1, 2, 4, 3, 5, 7, 6, 9}
	for name, x := range map[string]*mat.Dense{
		"as many rows as columns": rows(2, func(i int) float64 { return float64(i) }),
		"equal columns":           rows(8, func(int) float64 { return 1 }),
		"NaN":                     rows(8, func(i int) float64 { return math.Sqrt(float64(i - 1)) }),
		"infinity":                rows(8, func(i int) float64 { return 1 / float64(i) }),
	} {
		n, _ := x.Dims()
		if got, ok := robust.MMRegressionOf(x, y[:n]); ok {
			t.Errorf("%s: %+v, want a refusal", name, got)
		}
	}
	x := rows(8, func(i int) float64 { return float64(i) })
	for _, y := range [][]float64{y[:7], {1, 2, 3, 4, 5, 6, 7, math.NaN()}, {1, 2, 3, 4, 5, 6, 7, math.Inf(-1)}} {
		if got, ok := robust.MMRegressionOf(x, y); ok {
			t.Errorf("y = %v: %+v, want a refusal", y, got)
		}
	}
	same := rows(8, func(i int) float64 { return max(0, float64(i-5)) }) // six rows the same
	if got, ok := robust.MMRegressionOf(same, []float64{1, 1, 1, 1, 1, 1, 3, 5}); !ok || math.Abs(got.Coefficients[1]-2) > 1e-9 {
		t.Errorf("six equal rows: %v, %+v, want a slope of 2", ok, got)
	}
}

// Scaling, moving and tilting y scales, moves and tilts the fit, the order of the rows
// does not matter, nor how far a wrong row is off.
func FuzzMM(f *testing.F) {
	f.Add(uint64(1), 2.0, -1.0, 0.5, 1e3)
	f.Fuzz(func(t *testing.T, seed uint64, scale, shift, tilt, wild float64) {
		scale, shift, tilt, wild = reftest.Fold(scale, 0.1, 10), reftest.Fold(shift, -5, 5), reftest.Fold(tilt, -5, 5), reftest.Fold(wild, 1e3, 1e6)
		s := seedrand.New(seed)
		x, turned, y, moved := mat.NewDense(13, 2, nil), mat.NewDense(13, 2, nil), make([]float64, 13), make([]float64, 13)
		for i := range y {
			x.SetRow(i, []float64{1, s.Normal()})
			y[i] = x.At(i, 1) + s.Normal()
			if i == 0 {
				y[i] = wild
			}
			turned.SetRow(12-i, x.RawRowView(i))
			moved[12-i] = scale*y[i] + shift + tilt*x.At(i, 1)
		}
		y[0] = 1e3
		a, okA := robust.MMRegressionOf(x, y)
		b, okB := robust.MMRegressionOf(turned, moved)
		if !okA || !okB || a.Weights[0] != 0 {
			t.Fatalf("%v %+v, moved %v %+v", okA, a, okB, b)
		}
		if !a.Converged || !b.Converged {
			return // the answer is then known less well than is asked here
		}
		if got, want := b.Coefficients[0], scale*a.Coefficients[0]+shift; math.Abs(got-want) > 1e-6 {
			t.Errorf("moved intercept = %v, want %v", got, want)
		}
		if got, want := b.Coefficients[1], scale*a.Coefficients[1]+tilt; math.Abs(got-want) > 1e-6 {
			t.Errorf("moved slope = %v, want %v", got, want)
		}
		near(t, "moved scale", b.Scale, scale*a.Scale, 1e-7)
	})
}

func ExampleMMRegressionOf() {
	x := mat.NewDense(7, 2, []float64{1, 1, 1, 2, 1, 3, 1, 4, 1, 5, 1, 6, 1, 40}) // 40 for 4.0
	y := []float64{2.1, 3.9, 6.0, 8.1, 9.9, 12.1, 8.0}
	var plain mat.VecDense
	if err := plain.SolveVec(x, mat.NewVecDense(7, y)); err != nil {
		panic(err)
	}
	mm, _ := robust.MMRegressionOf(x, y)
	fmt.Printf("slope %.2f by least squares, %.2f by MM\n", plain.AtVec(1), mm.Coefficients[1])
	// Output: slope 0.06 by least squares, 2.00 by MM
}
