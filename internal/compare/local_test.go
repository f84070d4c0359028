package compare_test

import (
	"context"
	"math"
	"testing"

	"evensun/internal/compare"
)

// A block that follows its own change of weights, the panels with it, finds what the
// whole fit finds.
func TestLocalBlockAgainstWholeFit(t *testing.T) {
	t.Parallel()
	for seed := range uint64(5) {
		tr := drawTrial(41000+seed, true)
		f, err := compare.Estimate(context.Background(), tr.table, serviceOptions())
		if err != nil {
			t.Fatal(err)
		}
		for _, raise := range []float64{1e-6, 1e-3, 10} {
			difference, err := compare.LocalAgainstFull(f, raise)
			if err != nil || difference > 1e-10 {
				t.Errorf("seed %d, additions raised by %g: statistics differ by %g: %v", seed, raise, difference, err)
			}
		}
	}
}

// Where a solve begins does not matter: far away and not finite included.
func TestSolveFromAnyStart(t *testing.T) {
	t.Parallel()
	table := drawSynthetic(size{Panels: 60, Testers: 40, Sessions: 400, Readings: 6}, 5, 0).Table
	f, err := compare.Estimate(context.Background(), table, compare.Options{Random: fiveTerms, DenseLimit: 10})
	if err != nil {
		t.Fatal(err)
	}
	for _, start := range []float64{0, 0.1, -1e6, math.Inf(1), math.NaN()} {
		if moved, err := compare.SolveFrom(f, start); err != nil || !(moved < 1e-9) {
			t.Errorf("from %g: estimates differ by %g: %v", start, moved, err)
		}
	}
}
