package budget_test

import (
	"fmt"
	"math"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"evensun/internal/budget"
	"evensun/internal/reftest"
)

// inside is P(|T| < t) for whole degrees of freedom in closed form: Abramowitz
// and Stegun 26.7.3 (odd) and 26.7.4 (even).
func inside(t float64, nu int) float64 {
	theta := math.Atan(t / math.Sqrt(float64(nu)))
	cos2 := math.Cos(theta) * math.Cos(theta)
	if nu%2 == 0 {
		sum, term := 0.0, 1.0
		for k := 1; k <= nu/2; k++ {
			sum += term
			term *= cos2 * float64(2*k-1) / float64(2*k)
		}
		return math.Sin(theta) * sum
	}
	sum, term := 0.0, math.Cos(theta)
	for k := 1; k <= (nu-1)/2; k++ {
		sum += term
		term *= cos2 * float64(2*k) / float64(2*k+1)
	}
	return 2 / math.Pi * (theta + math.Sin(theta)*sum)
}

func TestCoverage95AgainstClosedForm(t *testing.T) {
	t.Parallel()
	for nu := 1; nu <= 2000; nu += 1 + nu/20 {
		k := budget.Coverage95(float64(nu))
		if got := inside(k, nu); math.Abs(got-0.95) > 2e-12 {
			t.Errorf("Coverage95(%d) = %.12f holds %.14f of the distribution, want 0.95", nu, k, got)
		}
	}
}

// The library inverts an incomplete beta function; it keeps about ten digits.
func TestCoverage95AgainstLibrary(t *testing.T) {
	t.Parallel()
	for nu := 1.0; nu < 400; nu *= 1.07 {
		got, want := budget.Coverage95(nu), distuv.StudentsT{Mu: 0, Sigma: 1, Nu: nu}.Quantile(0.975)
		if math.Abs(got-want) > 1e-8*want {
			t.Errorf("Coverage95(%v) = %.12f, want %.12f", nu, got, want)
		}
	}
}

func TestCoverage95Ends(t *testing.T) {
	t.Parallel()
	if got, want := budget.Coverage95(math.Inf(1)), distuv.UnitNormal.Quantile(0.975); math.Abs(got-want) > 1e-12 {
		t.Errorf("Coverage95(+Inf) = %v, want %v", got, want)
	}
	for _, nu := range []float64{0.99, 0, -3, math.Inf(-1), math.NaN()} {
		if got := budget.Coverage95(nu); !math.IsNaN(got) {
			t.Errorf("Coverage95(%v) = %v, want NaN", nu, got)
		}
	}
}

// Fewer degrees of freedom never make a narrower interval.
func FuzzCoverage95(f *testing.F) {
	f.Add(1.0, 1.5)
	f.Add(35.53, 1.0001)
	f.Add(1e6, 3.0)
	f.Fuzz(func(t *testing.T, nu, factor float64) {
		nu, factor = reftest.Fold(nu, 1, 1e7), reftest.Fold(factor, 1.0001, 10)
		few, many := budget.Coverage95(nu), budget.Coverage95(nu*factor)
		if few < many*(1-1e-11) || many < 1.9599639 {
			t.Errorf("k is %v with %v degrees of freedom and %v with %v", few, nu, many, nu*factor)
		}
	})
}

func ExampleCoverage95() {
	fmt.Printf("%.3f %.3f %.3f\n", budget.Coverage95(1), budget.Coverage95(35.53), budget.Coverage95(math.Inf(1)))
	// Output: 12.706 2.029 1.960
}
