package compare_test

import (
	"context"
	"math"
	"testing"

	"evensun/internal/compare"
	"evensun/internal/seedrand"
)

// drawCrossed returns a small table in which testers share sessions.
func drawCrossed(seed uint64) (compare.Table, compare.Options) {
	r := seedrand.New(seed)
	testers, panels, sessions := 1+r.IntN(3), 1+r.IntN(3), 1+r.IntN(3)
	known, equal, gaps := r.IntN(2) == 0, r.IntN(8) == 0, r.IntN(2) == 0
	var tr trial
	for j := range sessions {
		for t := range testers {
			for i := range panels {
				if gaps && r.IntN(3) == 0 && len(tr.table.Value) > 0 {
					continue
				}
				y, u := 0.03*r.Normal(), 0.01*math.Pow(10, 2*r.Uniform()-1)
				if equal {
					y = 0.5
				}
				tr.add(y, u*u, i, t, j)
			}
		}
	}
	if !known {
		tr.table.Variance = nil
	}
	terms := []compare.Term{compare.Tester, compare.Session, compare.Residual}
	if r.IntN(2) == 0 {
		terms = append(terms, compare.TesterPanel)
	}
	return tr.table, compare.Options{Random: terms, Workers: 1, Groupings: []compare.Grouping{{Name: "tester again", Codes: tr.table.Tester}}[:r.IntN(2)]}
}

func checkCrossed(tb testing.TB, seed uint64) (converged bool) {
	tb.Helper()
	table, opt := drawCrossed(seed)
	f, err := compare.Estimate(context.Background(), table, opt)
	if err != nil {
		if !refusedRightly(err, table) {
			tb.Errorf("seed %d: %v", seed, err)
		}
		return true
	}
	lo, hi := extremes(table.Value)
	for l, v := range f.Theta {
		if limit := max(100*(hi-lo)*(hi-lo), 1); !(v >= 0 && v <= limit) {
			tb.Errorf("seed %d: variance of %s %v, want 0 to %v", seed, compare.Term(l), v, limit)
		}
	}
	for i, mu := range f.Mu {
		if se := f.SE(i); !math.IsNaN(mu) && (!(se >= 0 && se < 100) || math.Abs(mu) > 10) {
			tb.Errorf("seed %d: panel %d %v, standard error %v", seed, i, mu, se)
		}
	}
	return f.Converged
}

// TestAwkwardCrossed fits 600 small tables by the crossed path.
func TestAwkwardCrossed(t *testing.T) {
	t.Parallel()
	settled := 0
	const tables = 600
	for seed := range uint64(tables) {
		if checkCrossed(t, seed) {
			settled++
		}
	}
	t.Logf("%d of %d settled", settled, tables)
	if settled < tables*95/100 {
		t.Errorf("%d of %d fits settled, want 95 %%", settled, tables)
	}
}
