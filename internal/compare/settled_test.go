package compare_test

import (
	"context"
	"math"
	"testing"

	"evensun/internal/compare"
)

// Every statistic rests on the additions that the fit ends with: sessions far off have
// standard errors and weights, and evaluating once more changes nothing.
func TestLevelsRestOnTheLastAdditions(t *testing.T) {
	t.Parallel()
	for seed := range uint64(20) {
		tr, _, _ := drawAttack(seed, 12, 0.3)
		f, err := compare.Estimate(context.Background(), tr.table, serviceOptions())
		if err != nil {
			t.Fatal(err)
		}
		weighed := 0
		for _, term := range []compare.Term{compare.TesterPanel, compare.Session, compare.SessionPanel} {
			l := f.Level(term)
			for i := range l.Len() {
				w := l.Weight(i)
				if !(w > 0 && w <= 1) || l.Information[i] > 0 && math.IsNaN(l.SE(i)) {
					t.Errorf("seed %d %s %d: weight %g, standard error %g, information %g, addition %g", seed, term, i, w, l.SE(i), l.Information[i], l.Added[i])
				}
				if w < 1 {
					weighed++
				}
			}
		}
		moved, err := compare.Settle(f)
		if err != nil || moved > 1e-12 {
			t.Errorf("seed %d: estimates move by %g: %v", seed, moved, err)
		}
		if weighed == 0 {
			t.Errorf("seed %d: no weight below 1", seed)
		}
	}
}
