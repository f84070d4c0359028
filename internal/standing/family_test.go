package standing_test

import (
	"errors"
	"fmt"
	"math"
	"testing"

	"gonum.org/v1/gonum/mat"

	"evensun/internal/reftest"
	"evensun/internal/seedrand"
	"evensun/internal/standing"
)

// family returns independent estimates, for tests that need no errors.
func family(tb testing.TB, estimates, standardErrors []float64, dof float64) *standing.Family {
	tb.Helper()
	f, err := standing.NewSeparate(estimates, standardErrors, dof)
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
func ergoStool(tb testing.TB) *standing.Family {
	tb.Helper()
	shared := 0.576012*0.576012 - 0.518684*0.518684/2
	c := mat.NewSymDense(4, nil)
	for i := range 4 {
		for j := i; j < 4; j++ {
			c.SetSym(i, j, shared)
		}
		c.SetSym(i, i, 0.576012*0.576012)
	}
	f, err := standing.New([]float64{8.555556, 12.444445, 10.777778, 9.222223}, c, 24)
	if err != nil {
		tb.Fatal(err)
	}
	return f
}

func TestInvalid(t *testing.T) {
	t.Parallel()
	nan := math.NaN()
	dense := func(x ...float64) *mat.SymDense { return mat.NewSymDense(2, x) }
	for name, build := range map[string]func() (*standing.Family, error){
		"no covariance":       func() (*standing.Family, error) { return standing.New([]float64{1}, nil, 5) },
		"unequal lengths":     func() (*standing.Family, error) { return standing.New([]float64{1}, dense(1, 0, 0, 1), 5) },
		"NaN estimate":        func() (*standing.Family, error) { return standing.New([]float64{1, nan}, dense(1, 0, 0, 1), 5) },
		"negative variance":   func() (*standing.Family, error) { return standing.New([]float64{1, 2}, dense(1, 0, 0, -1), 5) },
		"infinite covariance": func() (*standing.Family, error) { return standing.New([]float64{1, 2}, dense(1, math.Inf(1), 0, 1), 5) },
		"no dof":              func() (*standing.Family, error) { return standing.NewSeparate([]float64{1, 2}, []float64{1, 1}, 0) },
		"NaN dof":             func() (*standing.Family, error) { return standing.NewSeparate([]float64{1, 2}, []float64{1, 1}, nan) },
		"one error short":     func() (*standing.Family, error) { return standing.NewSeparate([]float64{1, 2}, []float64{1}, 5) },
		"negative error":      func() (*standing.Family, error) { return standing.NewSeparate([]float64{1, 2}, []float64{1, -1}, 5) },
		"NaN error":           func() (*standing.Family, error) { return standing.NewSeparate([]float64{1, 2}, []float64{1, nan}, 5) },
		"infinite error": func() (*standing.Family, error) {
			return standing.NewSeparate([]float64{1, 2}, []float64{1, math.Inf(1)}, 5)
		},
	} {
		_, err := build()
		var invalid *standing.InvalidError
		if !errors.As(err, &invalid) || invalid.Reason == "" || invalid.Error() == "" {
			t.Errorf("%s: error = %v, want an InvalidError with a reason", name, err)
		}
	}
}

func ExampleFamily_Beats() {
	f, err := standing.NewSeparate([]float64{0.913, 0.894}, []float64{0.011, 0.009}, 14)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.2f\n", f.Beats(0, 1))
	// Output: 0.90
}

// At infinite degrees of freedom 1.959964 standard errors mean 0.975, at 24 degrees
// of freedom 2.063899 do (Student's table).
func TestBeats(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ z, dof, want float64 }{
		{1.959963984540054, math.Inf(1), 0.975}, {2.063898561628, 24, 0.975}, {-2.063898561628, 24, 0.025}, {0, 3, 0.5},
	} {
		f := family(t, []float64{c.z, 0}, []float64{1, 0}, c.dof)
		if got := f.Beats(0, 1); math.Abs(got-c.want) > 1e-10 {
			t.Errorf("Beats at z = %v, %v degrees of freedom = %v, want %v", c.z, c.dof, got, c.want)
		}
	}
}

// Members without any error differ for certain; without any difference they do not.
func TestNoError(t *testing.T) {
	t.Parallel()
	f := family(t, []float64{2, 1, 1}, same(3, 0), 5)
	if got := f.Beats(0, 1); got != 1 {
		t.Errorf("Beats of a certain difference = %v, want 1", got)
	}
	if got := f.Beats(1, 2); got != 0.5 {
		t.Errorf("Beats of equals = %v, want 0.5", got)
	}
	table := f.Table(0.95, seedrand.New(1))
	want := []standing.Interval{{1, 1}, {2, 3}, {2, 3}}
	for i, w := range want {
		if table.Entries[i].Interval != w {
			t.Errorf("interval of member %d = %v, want %v", i, table.Entries[i].Interval, w)
		}
	}
}

// A filtered list keeps its differences; fewer comparisons need a smaller critical
// value, so that its intervals are at least as sure.
func TestSubset(t *testing.T) {
	t.Parallel()
	f := ergoStool(t)
	s := f.Subset([]int{3, -1, 1, 9, 0})
	if s.Len() != 3 {
		t.Fatalf("Subset has %d members, want 3", s.Len())
	}
	for a, i := range []int{3, 1, 0} {
		for b, j := range []int{3, 1, 0} {
			if got, want := s.DifferenceError(a, b), f.DifferenceError(i, j); math.Abs(got-want) > 1e-15 {
				t.Errorf("DifferenceError(%d, %d) = %v, want %v", a, b, got, want)
			}
		}
	}
	if all, few := f.CriticalValue(0.95, 1000, seedrand.New(1)), s.CriticalValue(0.95, 1000, seedrand.New(1)); few >= all {
		t.Errorf("critical value of three = %v, of all four %v", few, all)
	}
	if got := family(t, []float64{1, 2}, []float64{1, 1}, 5).Subset(nil).Len(); got != 0 {
		t.Errorf("Subset of none has %d members", got)
	}
}

// One of two wins: the probabilities of both ways sum to 1, and adding the same
// number to all estimates or scaling all numbers changes nothing.
func FuzzBeats(f *testing.F) {
	f.Add(0.1, 0.2, 0.05, 0.07, 9.0, 3.0)
	f.Fuzz(func(t *testing.T, a, b, seA, seB, dof, shift float64) {
		a, b, shift = reftest.Fold(a, -2, 2), reftest.Fold(b, -2, 2), reftest.Fold(shift, -5, 5)
		seA, seB, dof = reftest.Fold(seA, 0.01, 1), reftest.Fold(seB, 0.01, 1), reftest.Fold(dof, 1, 1e9)
		one := family(t, []float64{a, b}, []float64{seA, seB}, dof)
		p, q := one.Beats(0, 1), one.Beats(1, 0)
		if math.Abs(p+q-1) > 1e-9 || (a > b+1e-9) != (p > 0.5) && math.Abs(p-0.5) > 1e-9 {
			t.Errorf("%v against %v: %v one way, %v the other", a, b, p, q)
		}
		moved := family(t, []float64{3 * (a + shift), 3 * (b + shift)}, []float64{3 * seA, 3 * seB}, dof)
		if got := moved.Beats(0, 1); math.Abs(got-p) > 1e-9 {
			t.Errorf("shifted by %v and tripled: %v, was %v", shift, got, p)
		}
	})
}
