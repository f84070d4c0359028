package compare

import (
	"context"
	"fmt"
	"math"
	"sync"
)

// A Fit is the result for one table and model.
type Fit struct {
	Theta         Theta     // variance of each term
	AtBound       []Term    // terms whose variance is at its lower limit
	LogLikelihood float64   // lR (or ML) in the convention of lme4; NaN above DenseLimit
	Mu            []float64 // estimate of each panel; NaN for a code without readings
	Converged     bool      // false: weights or variances still moved, or a variance is not bounded by the data
	Passes        int       // robust passes; 0 without weights
	Iterations    int
	LastStep      float64 // largest relative step of the last iteration
	Readings      int
	Groupings     []float64 // variance of each of Options.Groupings
	Notes         []string  // what could not be told apart, in words

	pr          *progress
	e           *engine // nil for a crossed fit
	solver      solver
	blocks      int     // testers
	whole, part *memory // of a robust fit; part: of its capped data

	observe sync.Once
}

// A solver answers questions about the panels' covariance at the fit.
type solver interface {
	derivatives(l []map[int]float64) (v []float64, g []vec, err error) // of at most maxRHS combinations
	covariance(i, j int) float64
	denseC() bool
	halfLogDetXX() float64
	observe(pr *progress)
}

// Estimate fits the model to the table.
func Estimate(ctx context.Context, t Table, opt Options) (*Fit, error) {
	if err := t.check(); err != nil {
		return nil, err
	}
	if len(opt.Groupings) > 0 || !t.nested() {
		return estimateCrossed(ctx, t, opt)
	}
	if err := checkVaries(opt, t.Variance, pooledVariance(t.Value, t.Panel, t.Panels())); err != nil {
		return nil, err
	}
	if opt.Robust != nil {
		return estimateRobust(ctx, t, opt)
	}
	e, err := newEngine(t, opt)
	if err != nil {
		return nil, err
	}
	if opt.CapSessions > 0 {
		return estimateCapped(ctx, t, opt, e)
	}
	pr, err := e.search().run(ctx, e.start())
	if err != nil {
		return nil, err
	}
	return e.capped(pr)
}

func (e *engine) start() vec {
	if e.opt.Start != nil {
		return e.opt.Start.vec()
	}
	if e.opt.After != nil {
		return e.opt.After.Theta.vec()
	}
	return e.blindStart()
}

func (e *engine) fit(pr *progress) *Fit {
	f := newFit(pr, e.mu, e.d.present)
	f.LogLikelihood, f.Readings, f.blocks = e.logLik, e.d.n, e.d.blocks()
	f.Notes = append(f.Notes, e.notes...)
	f.e, f.solver = e, e
	e.opt.After = nil // or each fit would keep all those before it
	return f
}

// capped returns the fit after the shares are bounded.
func (e *engine) capped(pr *progress) (*Fit, error) {
	raised, err := e.capShares()
	if err == nil && raised {
		err = e.measure()
	}
	if err != nil {
		return nil, err
	}
	return e.fit(pr), nil
}

func newFit(pr *progress, mu []float64, present []bool) *Fit {
	f := &Fit{Theta: pr.theta.theta(), Mu: append([]float64(nil), mu...), Converged: pr.converged,
		Iterations: pr.iterations, LastStep: pr.step, pr: pr}
	for i, here := range present {
		if !here {
			f.Mu[i] = math.NaN()
		}
	}
	for l := range terms {
		if pr.atBound[l] {
			f.AtBound = append(f.AtBound, l)
		}
		if pr.silent[l] {
			f.Notes = append(f.Notes, fmt.Sprintf("the data say nothing of the variance of %s; it is at its lower limit", l))
		}
		if pr.atCeiling[l] {
			f.Notes = append(f.Notes, fmt.Sprintf("the data do not bound the variance of %s from above", l))
		}
	}
	return f
}
