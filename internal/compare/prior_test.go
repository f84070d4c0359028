package compare_test

import (
	"context"
	"fmt"
	"math"
	"testing"

	"evensun/internal/compare"
	"evensun/internal/ranks"
	"evensun/internal/seedrand"
)

// fewWorld is a start: few testers with some sessions of each, and the spreads of its terms.
type fewWorld struct {
	testers, sessions, panels, each int
	sd                              compare.Priors
}

func (w fewWorld) draw(seed uint64) trial {
	r := seedrand.New(seed)
	var tr trial
	for range w.panels {
		tr.truth = append(tr.truth, 0.05*r.Normal())
	}
	session := 0
	for t := range w.testers {
		bias, opinion := w.sd[compare.Tester]*r.Normal(), make([]float64, w.panels)
		for i := range opinion {
			opinion[i] = w.sd[compare.TesterPanel] * r.Normal()
		}
		for range w.sessions {
			hour := w.sd[compare.Session] * r.Normal()
			for _, i := range choose(r, w.panels, w.each) {
				cell := w.sd[compare.SessionPanel] * r.Normal()
				for range 2 {
					u := 0.008 + 0.022*r.Uniform()
					tr.add(tr.truth[i]+bias+hour+opinion[i]+cell+w.sd[compare.Residual]*r.Normal()+u*r.Normal(), u*u, i, t, session)
				}
			}
			session++
		}
	}
	return tr
}

func fewOptions() compare.Options {
	opt := serviceOptions()
	opt.Priors = compare.PracticePriors()
	return opt
}

// A fewTally counts what intervals hold over trials. Errors of one trial go together:
// shares are by trial, with their own standard error.
type fewTally struct {
	trials, families, missed int
	level, contrast          shares
}

// shares sums one share of each trial.
type shares struct{ n, sum, squares float64 }

func (s *shares) add(hits, of int) {
	x := float64(hits) / float64(of)
	s.n, s.sum, s.squares = s.n+1, s.sum+x, s.squares+x*x
}

func (s *shares) mean() float64 { return s.sum / s.n }

// se is the standard error of the mean.
func (s *shares) se() float64 {
	return math.Sqrt(max(0, s.squares/s.n-s.mean()*s.mean()) / s.n)
}

func (a *fewTally) add(tb testing.TB, tr trial, seed uint64) {
	tb.Helper()
	f, err := compare.Estimate(context.Background(), tr.table, fewOptions())
	if err != nil {
		tb.Fatal(err)
	}
	var here []int
	for i, mu := range f.Mu {
		if !math.IsNaN(mu) {
			here = append(here, i)
		}
	}
	holds := func(c compare.Contrast, err error, truth float64) int {
		if err != nil {
			tb.Fatal(err)
		}
		if lo, hi := c.Interval(0.95); lo <= truth && truth <= hi {
			return 1
		}
		return 0
	}
	levels, contrasts, pairs, most := 0, 0, 0, 0.0
	for k, i := range here {
		c, err := f.Absolute(i)
		levels += holds(c, err, tr.truth[i])
		for _, j := range here[:k] {
			c, err := f.Contrast(i, j)
			contrasts += holds(c, err, tr.truth[i]-tr.truth[j])
			pairs++
			most = max(most, math.Abs(c.Estimate-tr.truth[i]+tr.truth[j])/c.SE)
		}
	}
	a.trials++
	a.level.add(levels, len(here))
	a.contrast.add(contrasts, pairs)
	if len(here) < len(f.Mu) {
		return
	}
	family, err := ranks.New(f.Mu, f.Covariance(), f.FamilyDof(here))
	if err != nil {
		tb.Fatal(err)
	}
	a.families++
	if most > family.CriticalValue(0.95, 1000, seedrand.New(seed)) {
		a.missed++
	}
}

// TestFewTesters checks what intervals of 1 to 4 testers hold, on fixed seeds: where spreads
// are as expected at least 95 % of levels and contrasts, where they are twice as large 88 %,
// less two standard errors; and that the list of all pairs is wrong in at most 5 %, plus
// what chance adds once in a thousand.
func TestFewTesters(t *testing.T) {
	t.Parallel()
	count := max(60, *trials)
	for _, testers := range []int{1, 2, 3, 4} {
		for _, c := range []struct {
			times, least, most float64
		}{{1, 0.95, 0.05}, {2, 0.88, 0.12}} {
			t.Run(fmt.Sprintf("%d testers, %g times the spread", testers, c.times), func(t *testing.T) {
				t.Parallel()
				w := fewWorld{testers: testers, sessions: 4, panels: 6, each: 4, sd: compare.PracticePriors()}
				for l := range w.sd {
					w.sd[l] *= c.times
				}
				var a fewTally
				for i := range count {
					a.add(t, w.draw(61000+uint64(i)), uint64(i))
				}
				t.Logf("%d trials: level %.3f (%.3f), contrast %.3f (%.3f), family wrong %d of %d",
					a.trials, a.level.mean(), a.level.se(), a.contrast.mean(), a.contrast.se(), a.missed, a.families)
				if a.level.mean() < c.least-2*a.level.se() || a.contrast.mean() < c.least-2*a.contrast.se() {
					t.Errorf("coverage of levels %.3f, of contrasts %.3f, want %.2f", a.level.mean(), a.contrast.mean(), c.least)
				}
				if n := float64(a.families); float64(a.missed) > c.most*n+3.1*math.Sqrt(c.most*(1-c.most)*n) {
					t.Errorf("%d of %d lists wrong, want %.0f %%", a.missed, a.families, 100*c.most)
				}
			})
		}
	}
}

// Where the data say nothing of a variance it is that of the prior, pi/2 times the squared
// mean.
func TestPriorAlone(t *testing.T) {
	t.Parallel()
	w := fewWorld{testers: 1, sessions: 4, panels: 6, each: 4, sd: compare.PracticePriors()}
	f, err := compare.Estimate(t.Context(), w.draw(3).table, fewOptions())
	if err != nil {
		t.Fatal(err)
	}
	if !f.Converged || len(f.Notes) > 0 {
		t.Errorf("converged %v, notes %q", f.Converged, f.Notes)
	}
	near(t, "variance between testers", f.Theta[compare.Tester], 0.02*0.02*math.Pi/2, 1e-9)
	near(t, "variance of opinions", f.Theta[compare.TesterPanel], 0.012*0.012*math.Pi/2, 1e-9)
	c, err := f.Absolute(0)
	if err != nil {
		t.Fatal(err)
	}
	if c.SE < 0.025 || c.Dof != 5 {
		t.Errorf("level known to %g with %g degrees of freedom", c.SE, c.Dof)
	}
}

// The variances are where likelihood and priors together are highest.
func TestPriorsAtTheirMaximum(t *testing.T) {
	t.Parallel()
	w := fewWorld{testers: 3, sessions: 4, panels: 6, each: 4, sd: compare.PracticePriors()}
	table := w.draw(4).table
	opt := compare.Options{Random: fiveTerms, Priors: compare.PracticePriors()}
	f, err := compare.Estimate(t.Context(), table, opt)
	if err != nil {
		t.Fatal(err)
	}
	height := func(theta compare.Theta) float64 {
		held, err := compare.Estimate(t.Context(), table, compare.Options{Random: fiveTerms, Start: &theta, Hold: true})
		if err != nil {
			t.Fatal(err)
		}
		sum := held.LogLikelihood
		for l, mean := range opt.Priors {
			if scale := mean * math.Sqrt(math.Pi/2); theta[l] > 0 {
				sum += math.Log(math.Sqrt(theta[l])) - theta[l]/(2*scale*scale)
			}
		}
		return sum
	}
	for _, l := range fiveTerms {
		up, down := f.Theta, f.Theta
		up[l] *= 1.001
		down[l] /= 1.001
		slope := (height(up) - height(down)) / (2 * math.Log(1.001))
		near(t, "slope by "+l.String(), slope, 0, 1e-4)
	}
}

// With eight testers the prior is hardly felt.
func TestPriorsOfMany(t *testing.T) {
	t.Parallel()
	tr := drawTrial(41003, false)
	opt := compare.Options{Random: fiveTerms}
	without := mustFit(t, tr.table, opt)
	opt.Priors = compare.PracticePriors()
	with := mustFit(t, tr.table, opt)
	for i := range with.Mu {
		near(t, "mu", with.Mu[i], without.Mu[i], 0.1*without.SE(i))
		near(t, "se", with.SE(i), without.SE(i), 0.15*without.SE(i))
	}
}

// FamilyDof is the median over pairs of neighbours in the list.
func TestFamilyDof(t *testing.T) {
	t.Parallel()
	f := mustFit(t, drawTrial(41003, false).table, compare.Options{Random: fiveTerms})
	if got := f.FamilyDof([]int{4}); !math.IsInf(got, 1) {
		t.Errorf("of one panel %g", got)
	}
	a, _ := f.Contrast(1, 5)
	b, _ := f.Contrast(5, 2)
	near(t, "of three panels", f.FamilyDof([]int{1, 5, 2}), (a.Dof+b.Dof)/2, 1e-9*a.Dof)
}
