package compare_test

import (
	"context"
	"math"
	"slices"
	"testing"

	"evensun/internal/compare"
)

// TestAfter goes on from a robust fit after one more session, whose tester comes first in
// code order, so that every sorted index moves: the result is that of a cold fit, in fewer
// passes.
func TestAfter(t *testing.T) {
	t.Parallel()
	table := drawSynthetic(size{Panels: 30, Testers: 30, Sessions: 300, Readings: 6}, 8, 0.05).Table
	for k := range table.Tester {
		table.Tester[k]++
	}
	opt := serviceOptions()
	opt.CapSessions = 10
	for name, limit := range map[string]int{"dense": 0, "probes": 10} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			opt := opt
			opt.DenseLimit = limit
			last := mustFit(t, table, opt)
			grown := withSession(table)
			cold := mustFit(t, grown, opt)
			opt.After = last
			warm := mustFit(t, grown, opt)
			if compare.KeepsAfter(warm) {
				t.Error("the fit keeps the one before it")
			}
			if warm.Passes >= cold.Passes || cold.Passes < 3 {
				t.Errorf("%d passes warm, %d cold: want fewer", warm.Passes, cold.Passes)
			}
			for i, mu := range cold.Mu {
				near(t, "mu", warm.Mu[i], mu, 0.01*cold.SE(i))
				near(t, "se", warm.SE(i), cold.SE(i), 0.01*cold.SE(i))
			}
			for l, v := range cold.Theta {
				near(t, compare.Term(l).String(), warm.Theta[l], v, 0.01*v)
			}
			opt.After = last.Memory()
			if again := mustFit(t, grown, opt); !slices.Equal(again.Mu, warm.Mu) || again.Theta != warm.Theta {
				t.Errorf("going on from a memory gives %v, from the fit itself %v", again.Theta, warm.Theta)
			}
		})
	}
}

func mustFit(t *testing.T, table compare.Table, opt compare.Options) *compare.Fit {
	t.Helper()
	f, err := compare.Estimate(context.Background(), table, opt)
	if err != nil {
		t.Fatal(err)
	}
	if !f.Converged {
		t.Errorf("not converged in %d passes", f.Passes)
	}
	return f
}

// withSession returns the table and one session of three panels by tester 0.
func withSession(t compare.Table) compare.Table {
	session := int32(t.Sessions())
	t.Value, t.Variance = slices.Clone(t.Value), slices.Clone(t.Variance)
	t.Panel, t.Tester, t.Session = slices.Clone(t.Panel), slices.Clone(t.Tester), slices.Clone(t.Session)
	mean := 0.0
	for _, v := range t.Value {
		mean += v / float64(len(t.Value))
	}
	for i := range int32(3) {
		t.Value, t.Variance = append(t.Value, mean+0.01*math.Sin(float64(i))), append(t.Variance, 1e-4)
		t.Panel, t.Tester, t.Session = append(t.Panel, i), append(t.Tester, 0), append(t.Session, session)
	}
	return t
}
