package compare_test

import (
	"context"
	"testing"

	"evensun/internal/compare"
)

// One session a thousand times off hides no variance of the others: the contrasts of a
// plain fit have the standard errors that they have without it.
func TestOneSessionFarOff(t *testing.T) {
	t.Parallel()
	for _, random := range [][]compare.Term{
		{compare.Session, compare.TesterPanel, compare.Residual},
		{compare.Session, compare.TesterPanel, compare.SessionPanel, compare.Residual},
	} {
		for seed := range uint64(6) {
			tr := drawTrial(41000+seed, false)
			tr.table.Variance = nil
			opt := compare.Options{Random: random}
			clean := mustFit(t, tr.table, opt)
			for k, j := range tr.table.Session {
				if j == 3 {
					tr.table.Value[k] += 1000
				}
			}
			f, err := compare.Estimate(context.Background(), tr.table, opt)
			if err != nil {
				t.Fatal(err)
			}
			if !f.Converged || len(f.Notes) > 0 {
				t.Errorf("seed %d: converged %v, notes %q", seed, f.Converged, f.Notes)
			}
			for i := 1; i < 12; i++ {
				a, errA := clean.Contrast(i, 0)
				b, errB := f.Contrast(i, 0)
				if errA != nil || errB != nil {
					t.Fatal(errA, errB)
				}
				near(t, "standard error", b.SE, a.SE, 0.15*a.SE)
				near(t, "contrast", b.Estimate, a.Estimate, a.SE)
			}
		}
	}
}
