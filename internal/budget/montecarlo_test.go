package budget_test

import (
	"math"
	"testing"

	"evensun/internal/budget"
)

// Each distribution alone has the mean and the standard deviation that Standard
// says; 200 000 draws leave 0.2 % and a little.
func TestMonteCarloDistributions(t *testing.T) {
	t.Parallel()
	for _, d := range []distribution{normal, rectangular, triangular} {
		in := input{value: 10, width: 2, distribution: d}
		s := monteCarlo(func(x []float64) float64 { return x[0] }, []input{in}, 7, 200_000)
		if math.Abs(s.Mean-10) > 0.02 || math.Abs(s.Median-10) > 0.03 || math.Abs(s.Standard/in.standard()-1) > 0.01 {
			t.Errorf("distribution %d: %+v, want mean 10, standard %v", d, s, in.standard())
		}
	}
}

// For a linear model of normal inputs the sample's interval is the budget's.
func TestMonteCarloAgreesWithCombineWhereLinear(t *testing.T) {
	t.Parallel()
	f := func(x []float64) float64 { return 100 + 3*x[0] - 2*x[1] + x[2] }
	var inputs []input
	for range 3 {
		inputs = append(inputs, input{width: 0.5, degreesOfFreedom: budget.CertainDegreesOfFreedom})
	}
	var b budget.Budget
	evaluate(&b, f, inputs)
	r, s := b.Combine(false), monteCarlo(f, inputs, 11, 200_000)
	if want := 0.5 * math.Sqrt(14); math.Abs(r.Standard-want) > 1e-12 {
		t.Errorf("u = %v, want %v", r.Standard, want)
	}
	if math.Abs(s.Standard/r.Standard-1) > 0.01 || math.Abs(s.Lower-r.Lower) > 0.05 || math.Abs(s.Upper-r.Upper) > 0.05 {
		t.Errorf("sample %+v, budget %v..%v, u %v", s, r.Lower, r.Upper, r.Standard)
	}
}

func TestMonteCarloOfTooFewTrials(t *testing.T) {
	t.Parallel()
	if s := monteCarlo(func([]float64) float64 { return 1 }, nil, 1, 39); !math.IsNaN(s.Mean) || !math.IsNaN(s.Upper) {
		t.Errorf("39 trials gave %+v, want NaN", s)
	}
}

func TestScopeNames(t *testing.T) {
	t.Parallel()
	want := []string{"reading", "session", "rig", "model", "common"}
	for i, s := range allScopes() {
		p := budget.Part{Scope: s}
		if s.String() != want[i] || budget.OfOneSession(p) != (i == 1 || i == 2 || i == 4) {
			t.Errorf("scope %d: %q, shared in a session %v", i, s, budget.OfOneSession(p))
		}
	}
	if got := budget.Scope(9); got.String() != "unknown" || !math.IsNaN((budget.Result{}).Of(got)) {
		t.Errorf("scope 9 is %q with %v", got, (budget.Result{}).Of(got))
	}
}
