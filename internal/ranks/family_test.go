package ranks_test

import (
	"errors"
	"math"
	"testing"

	"gonum.org/v1/gonum/mat"

	"evensun/internal/ranks"
	"evensun/internal/reftest"
	"evensun/internal/seedrand"
)

// family returns independent estimates, for tests that need no errors.
func family(tb testing.TB, estimates, standardErrors []float64, dof float64) *ranks.Family {
	tb.Helper()
	f, err := ranks.NewSeparate(estimates, standardErrors, dof)
	if err != nil {
		tb.Fatal(err)
	}
	return f
}

// same returns n times x.
func same(n int, x float64) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = x
	}
	return out
}

// ergoStool is the balanced fit of the effort to rise from four stool types: means
// 8.555556 and +3.888889, +2.222222, +0.666667, standard errors 0.576012 of a mean
// and 0.518684 of a difference, 24 degrees of freedom (lme4, nlme::ergoStool).
func ergoStool(tb testing.TB) *ranks.Family {
	tb.Helper()
	shared := 0.576012*0.576012 - 0.518684*0.518684/2
	c := mat.NewSymDense(4, nil)
	for i := range 4 {
		for j := i; j < 4; j++ {
			c.SetSym(i, j, shared)
		}
		c.SetSym(i, i, 0.576012*0.576012)
	}
	f, err := ranks.New([]float64{8.555556, 12.444445, 10.777778, 9.222223}, c, 24)
	if err != nil {
		tb.Fatal(err)
	}
	return f
}

func TestInvalid(t *testing.T) {
	t.Parallel()
	nan := math.NaN()
	dense := func(x ...float64) *mat.SymDense { return mat.NewSymDense(2, x) }
	for name, build := range map[string]func() (*ranks.Family, error){
		"no covariance":       func() (*ranks.Family, error) { return ranks.New([]float64{1}, nil, 5) },
		"unequal lengths":     func() (*ranks.Family, error) { return ranks.New([]float64{1}, dense(1, 0, 0, 1), 5) },
		"NaN estimate":        func() (*ranks.Family, error) { return ranks.New([]float64{1, nan}, dense(1, 0, 0, 1), 5) },
		"negative variance":   func() (*ranks.Family, error) { return ranks.New([]float64{1, 2}, dense(1, 0, 0, -1), 5) },
		"infinite covariance": func() (*ranks.Family, error) { return ranks.New([]float64{1, 2}, dense(1, math.Inf(1), 0, 1), 5) },
		"no dof":              func() (*ranks.Family, error) { return ranks.NewSeparate([]float64{1, 2}, []float64{1, 1}, 0) },
		"NaN dof":             func() (*ranks.Family, error) { return ranks.NewSeparate([]float64{1, 2}, []float64{1, 1}, nan) },
		"one error short":     func() (*ranks.Family, error) { return ranks.NewSeparate([]float64{1, 2}, []float64{1}, 5) },
		"negative error":      func() (*ranks.Family, error) { return ranks.NewSeparate([]float64{1, 2}, []float64{1, -1}, 5) },
		"NaN error":           func() (*ranks.Family, error) { return ranks.NewSeparate([]float64{1, 2}, []float64{1, nan}, 5) },
		"infinite error": func() (*ranks.Family, error) {
			return ranks.NewSeparate([]float64{1, 2}, []float64{1, math.Inf(1)}, 5)
		},
	} {
		_, err := build()
		var invalid *ranks.InvalidError
		if !errors.As(err, &invalid) || invalid.Reason == "" || invalid.Error() == "" {
			t.Errorf("%s: error = %v, want an InvalidError with a reason", name, err)
		}
	}
}

// Members without any error differ for certain; without any difference they do not.
func TestNoError(t *testing.T) {
	t.Parallel()
	f := family(t, []float64{2, 1, 1}, same(3, 0), 5)
	if got := f.Studentised(0, 1); !math.IsInf(got, 1) {
		t.Errorf("Studentised of a certain difference = %v, want +Inf", got)
	}
	if got := f.Studentised(1, 2); got != 0 {
		t.Errorf("Studentised of equals = %v, want 0", got)
	}
	table := f.Table(0.95, seedrand.New(1))
	want := []ranks.Interval{{1, 1}, {2, 3}, {2, 3}}
	for i, w := range want {
		if table.Entries[i].Interval != w {
			t.Errorf("interval of member %d = %v, want %v", i, table.Entries[i].Interval, w)
		}
	}
}

// The two ways of one difference have opposite signs, and adding the same number to all
// estimates or scaling all numbers changes nothing.
func FuzzStudentised(f *testing.F) {
	f.Add(0.1, 0.2, 0.05, 0.07, 9.0, 3.0)
	f.Fuzz(func(t *testing.T, a, b, seA, seB, dof, shift float64) {
		a, b, shift = reftest.Fold(a, -2, 2), reftest.Fold(b, -2, 2), reftest.Fold(shift, -5, 5)
		seA, seB, dof = reftest.Fold(seA, 0.01, 1), reftest.Fold(seB, 0.01, 1), reftest.Fold(dof, 1, 1e9)
		one := family(t, []float64{a, b}, []float64{seA, seB}, dof)
		z, back := one.Studentised(0, 1), one.Studentised(1, 0)
		if z != -back || z > 0 && a < b || z < 0 && a > b {
			t.Errorf("%v against %v: %v one way, %v the other", a, b, z, back)
		}
		if want := (a - b) / math.Hypot(seA, seB); math.Abs(a-b) > 1e-9 && math.Abs(z-want) > 1e-9*math.Abs(want) {
			t.Errorf("%v against %v: %v, want %v", a, b, z, want)
		}
		moved := family(t, []float64{3 * (a + shift), 3 * (b + shift)}, []float64{3 * seA, 3 * seB}, dof)
		if got := moved.Studentised(0, 1); math.Abs(a-b) > 1e-9 && math.Abs(got-z) > 1e-6*math.Abs(z) {
			t.Errorf("shifted by %v and tripled: %v, was %v", shift, got, z)
		}
	})
}
