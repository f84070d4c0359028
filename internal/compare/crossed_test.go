package compare_test

import (
	"context"
	"math"
	"testing"

	"evensun/internal/compare"
	"evensun/internal/seedrand"
)

// crossedTable returns testers who all see all sessions.
func crossedTable(seed uint64) compare.Table {
	r := seedrand.New(seed)
	var t compare.Table
	testers, sessions := make([]float64, 6), make([]float64, 9)
	for i := range testers {
		testers[i] = 0.3 * r.Normal()
	}
	for j := range sessions {
		sessions[j] = 0.5 * r.Normal()
	}
	for i, a := range testers {
		for j, b := range sessions {
			for range 2 {
				p := int32(3 * r.Uniform())
				t.Value = append(t.Value, float64(p)+a+b+0.2*r.Normal())
				t.Variance = append(t.Variance, 0.01+0.02*r.Uniform())
				t.Panel, t.Tester, t.Session = append(t.Panel, p), append(t.Tester, int32(i)), append(t.Session, int32(j))
			}
		}
	}
	return t
}

func TestCrossedAgainstOracle(t *testing.T) {
	t.Parallel()
	table := crossedTable(4)
	theta := compare.Theta{compare.Tester: 0.1, compare.Session: 0.2, compare.TesterPanel: 0.02, compare.SessionPanel: 0.01, compare.Residual: 0.03}
	o := newOracle(t, table, theta, make([][4]float64, table.Len()), false)
	for _, ml := range []bool{false, true} {
		f, err := compare.Estimate(context.Background(), table, compare.Options{Random: fiveTerms, Start: &theta, Hold: true, ML: ml})
		if err != nil {
			t.Fatal(err)
		}
		want := o.logR
		if ml {
			want = o.logML
		}
		near(t, "likelihood", f.LogLikelihood, want, 1e-8)
		for i := range f.Mu {
			near(t, "mu", f.Mu[i], o.mu[i], 1e-9)
			for j := range f.Mu {
				near(t, "cov", f.Cov(i, j), o.c.At(i, j), 1e-9)
			}
		}
		g, ai := compare.CrossedDerivatives(table, fiveTerms, theta, ml)
		for l := range fiveTerms {
			h := 1e-4 * theta[l]
			up, down := theta, theta
			up[l] += h
			down[l] -= h
			a, b := newOracle(t, table, up, make([][4]float64, table.Len()), false), newOracle(t, table, down, make([][4]float64, table.Len()), false)
			want := (a.logR - b.logR) / (2 * h)
			if ml {
				want = (a.logML - b.logML) / (2 * h)
			}
			near(t, "gradient "+compare.Term(l).String(), g[l], want, 1e-5*math.Abs(want)+1e-4)
			if !(ai[l][l] > 0) {
				t.Errorf("information of %v is %v", compare.Term(l), ai[l][l])
			}
		}
	}
}

// TestCrossedAgainstNested fits nested data by both paths, the crossed one asked
// for by naming the testers as a grouping.
func TestCrossedAgainstNested(t *testing.T) {
	t.Parallel()
	table := drawSynthetic(size{Panels: 15, Testers: 10, Sessions: 80, Readings: 6}, 9, 0).Table
	for _, ml := range []bool{false, true} {
		nested, err := compare.Estimate(context.Background(), table, compare.Options{Random: fiveTerms, ML: ml})
		if err != nil {
			t.Fatal(err)
		}
		opt := compare.Options{Random: fiveTerms[1:], ML: ml, Groupings: []compare.Grouping{{Name: "tester", Codes: table.Tester}}}
		crossed, err := compare.Estimate(context.Background(), table, opt)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "likelihood", crossed.LogLikelihood, nested.LogLikelihood, 1e-8)
		near(t, "tester", crossed.Groupings[0], nested.Theta[compare.Tester], 1e-5*nested.Theta[compare.Tester])
		for _, l := range fiveTerms[1:] {
			near(t, l.String(), crossed.Theta[l], nested.Theta[l], 1e-5*nested.Theta[l])
		}
		a, errA := nested.Contrast(0, 5)
		b, errB := crossed.Contrast(0, 5)
		if errA != nil || errB != nil {
			t.Fatal(errA, errB)
		}
		near(t, "contrast", b.Estimate, a.Estimate, 1e-7)
		near(t, "se", b.SE, a.SE, 1e-6*a.SE)
		near(t, "dof", b.Dof, a.Dof, 1e-3*a.Dof)
	}
}
