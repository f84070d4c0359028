package compare_test

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"evensun/internal/compare"
	"evensun/internal/seedrand"
)

// drawAwkward returns a small table of the kind a young service holds: few testers,
// one panel or many, groups of panels that never met, readings that agree to the last
// digit, uncertainties over four decades, sessions that speak in contrasts only.
func drawAwkward(seed uint64) (compare.Table, compare.Options) {
	r := seedrand.New(seed)
	testers, panels, sessions := 1+r.IntN(5), 1+r.IntN(4), 1+r.IntN(7)
	split, equal, unmetered := r.IntN(3) == 0, r.IntN(6) == 0, r.IntN(3) == 0
	repeats, spread, decades := 1+r.IntN(3), math.Pow(10, -3+2.5*r.Uniform()), 4*float64(r.IntN(2))
	var tr trial
	for j := range sessions {
		t := r.IntN(testers)
		for i := range panels {
			if split && i%2 != t%2 || r.IntN(4) == 0 && i > 0 {
				continue
			}
			for range repeats {
				u := 0.01 * math.Pow(10, decades*(r.Uniform()-0.5))
				y := spread * r.Normal()
				if equal {
					y = 0.25
				}
				tr.add(y, u*u, i, t, j)
			}
		}
	}
	if len(tr.table.Value) == 0 {
		tr.add(0.1, 1e-4, 0, 0, 0)
	}
	if unmetered {
		tr.table.SessionVariance = make([]float64, sessions)
		for j := range sessions {
			tr.table.SessionVariance[j] = 100 * float64(r.IntN(2))
		}
	}
	return tr.table, awkwardOptions(r, &tr.table, testers)
}

// awkwardOptions returns the service's model, the same without weights or floors, or
// one with fixed sessions or without known variances.
func awkwardOptions(r *seedrand.Stream, t *compare.Table, testers int) compare.Options {
	opt := serviceOptions()
	if r.IntN(2) == 0 {
		opt = opt.Few(testers)
	}
	switch r.IntN(6) {
	case 0:
		return compare.Options{Random: fiveTerms, Workers: 1}
	case 1:
		return compare.Options{Random: []compare.Term{compare.TesterPanel, compare.SessionPanel}, SessionFixed: true, Workers: 1}
	case 2:
		t.Variance = nil
		return compare.Options{Random: fiveTerms, Workers: 1}
	case 3:
		opt.Floor = compare.Theta{}
	case 4:
		opt.Random = fiveTerms[:4]
	}
	return opt
}

// checkAwkward fits the table of a seed and fails on a result that is not finite or
// leaves what the data can say; a refusal must be the documented one.
func checkAwkward(tb testing.TB, seed uint64) (converged bool) {
	tb.Helper()
	table, opt := drawAwkward(seed)
	f, err := compare.Estimate(context.Background(), table, opt)
	if err != nil {
		if !refusedRightly(err, table) {
			tb.Errorf("seed %d: %v", seed, err)
		}
		return true
	}
	lo, hi := extremes(table.Value)
	for l, v := range f.Theta {
		if limit := max(100*(hi-lo)*(hi-lo), opt.Floor[l], 1e-6); !(v >= 0 && v <= limit) {
			tb.Errorf("seed %d: variance of %s %v, want 0 to %v", seed, compare.Term(l), v, limit)
		}
	}
	if math.IsNaN(f.LogLikelihood) || math.IsInf(f.LogLikelihood, 0) {
		tb.Errorf("seed %d: log-likelihood %v", seed, f.LogLikelihood)
	}
	checkAwkwardPanels(tb, fmt.Sprintf("seed %d", seed), f, table)
	return f.Converged
}

// refusedRightly tells whether an error is the documented one: a residual of unknown size
// from values that do not vary.
func refusedRightly(err error, t compare.Table) bool {
	return errors.Is(err, compare.ErrModel) && t.Variance == nil && strings.Contains(err.Error(), "do not vary")
}

// roundingOfSE is how much of a standard error rounding may leave in a contrast: with
// sessions that are free to 100 beside known variances of 1e-8 the system has a
// condition of 1e10.
const roundingOfSE = 1e-7

func checkAwkwardPanels(tb testing.TB, what string, f *compare.Fit, table compare.Table) {
	tb.Helper()
	lo, hi := extremes(table.Value)
	reach := (hi-lo)*float64(len(f.Mu)) + 1e-9
	for i, mu := range f.Mu {
		for j := range i {
			if math.IsNaN(mu) || math.IsNaN(f.Mu[j]) {
				continue
			}
			c, err := f.Contrast(i, j)
			if err != nil || !(math.Abs(c.Estimate) <= reach+roundingOfSE*c.SE) || !(c.SE >= 0 && c.SE <= 100) || !(c.Dof >= 1 && c.Dof <= 1e6) {
				tb.Errorf("%s: contrast of %d and %d %+v, error %v", what, i, j, c, err)
			}
		}
		if se := f.SE(i); !math.IsNaN(mu) && !(se >= 0 && se <= 100) {
			tb.Errorf("%s: standard error of panel %d %v", what, i, se)
		}
	}
	for _, term := range []compare.Term{compare.TesterPanel, compare.SessionPanel, compare.Session, compare.Residual} {
		l := f.Level(term)
		for e := range l.Score {
			if w := l.Weight(e); !(w > 0 && w <= 1) || math.IsNaN(l.Score[e]) || math.IsNaN(l.Information[e]) {
				tb.Errorf("%s: %s %d has weight %v, score %v, information %v", what, term, e, w, l.Score[e], l.Information[e])
			}
		}
	}
	if _, err := f.MaxShifts(context.Background()); err != nil {
		tb.Errorf("%s: %v", what, err)
	}
}

func extremes(x []float64) (lo, hi float64) {
	lo, hi = x[0], x[0]
	for _, v := range x {
		lo, hi = min(lo, v), max(hi, v)
	}
	return lo, hi
}

// TestAwkward fits 600 small tables; nearly all must also settle.
func TestAwkward(t *testing.T) {
	t.Parallel()
	settled := 0
	const tables = 600
	for seed := range uint64(tables) {
		if checkAwkward(t, seed) {
			settled++
		}
	}
	t.Logf("%d of %d settled", settled, tables)
	if settled < tables*95/100 {
		t.Errorf("%d of %d fits settled, want 95 %%", settled, tables)
	}
}

func FuzzAwkward(f *testing.F) {
	f.Add(uint64(0))
	f.Add(uint64(99991))
	f.Fuzz(func(t *testing.T, seed uint64) { checkAwkward(t, seed) })
}
