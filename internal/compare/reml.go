package compare

import (
	"context"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// An objective is a likelihood with its derivatives at the theta last evaluated.
type objective interface {
	evaluate(theta vec) error
	measure() error // prepares gradient, averageInformation and emRatio
	gradient() vec
	averageInformation(list []Term) ([][]float64, error)
	sums(l Term) (ss, vv float64) // of squared scores and informations of a term
	emRatio(l Term) float64
	likelihoodNow() float64 // NaN where unknown
	tolerance() float64     // of the Newton decrement
}

// A search maximises an objective.
type search struct {
	objective
	active, present [slots]bool // variances to estimate, in the model at all
	held            [slots]bool // keep their start
	floor, ceiling  vec
	prior           vec     // squared scales of half-normal priors on the sds; 0: none
	scale           float64 // pooled variance of the values about their panels' means
	least           float64 // the smallest variance that groups of readings show, above 0
	spread          float64 // the largest variance that they could show
	limit           int     // iterations
	slack           float64 // decrement at which a step is left to the caller; 0: none
}

// progress is what the iteration reports.
type progress struct {
	theta      vec
	next       vec  // where a step leads that was left to the caller
	left       bool // there is one
	iterations int
	converged  bool
	atBound    [slots]bool
	atCeiling  [slots]bool
	silent     [slots]bool // the data say nothing of the variance: it stays at its floor
	stuck      bool        // no step could be evaluated
	decrement  float64     // what the last Newton step promised, in squared standard errors
	step       float64     // largest relative step of the last iteration
	ai         [][]float64 // average information over free
	free       []Term
	releases   [slots]int
	falls      [slots]int // steps in a row that were stopped at the lowest
	negligible float64    // variances below it count as 0
	prior      vec        // of the search
}

// onward returns where to go on from: theta, or where the step leads that was left.
func (pr *progress) onward() vec {
	if pr.left {
		return pr.next
	}
	return pr.theta
}

// estimate maximises the likelihood from a start; the engine is left evaluated
// and measured at the result.
func (e *search) run(ctx context.Context, start vec) (*progress, error) {
	pr := &progress{theta: e.clip(e.outset(start)), negligible: e.negligible(start), prior: e.prior}
	if err := e.evaluate(pr.theta); err != nil {
		return nil, err
	}
	for pr.iterations = 1; ; pr.iterations++ {
		if err := ctx.Err(); err != nil {
			return nil, fmt.Errorf("estimate variances, iteration %d: %w", pr.iterations, err)
		}
		if err := e.measure(); err != nil {
			return nil, err
		}
		done, err := e.improve(pr)
		if done || err != nil {
			return pr, err
		}
		if pr.iterations >= e.limit || pr.stuck {
			return pr, e.measure()
		}
	}
}

// setCeilings bounds every variance by a hundred times what the values could show, a
// drift, which minutes may magnify, by a million times.
func (e *search) setCeilings(spread float64) {
	e.spread = spread
	for l := range slots {
		e.ceiling[l] = max(100*spread, e.floor[l])
	}
	e.ceiling[Drift] = max(1e6*spread, e.floor[Drift])
}

// clip brings a theta between its floors and ceilings and clears terms that are not
// estimated.
func (e *search) clip(theta vec) vec {
	for l := range slots {
		if !e.present[l] || !e.active[l] && !e.held[l] {
			theta[l] = 0
		}
		if e.present[l] && !e.held[l] {
			theta[l] = min(max(theta[l], e.floor[l]), e.ceiling[l])
		}
	}
	return theta
}

// negligible returns the variance below which one counts as 0: 1e-8 of the smallest spread
// that the values show, so that one session in another unit, whose variance is a million
// times that of all else, hides no other. Numbers hold 1e-14 of the largest.
func (e *search) negligible(start vec) float64 {
	total := 0.0
	for _, v := range start {
		total += v
	}
	return max(1e-8*e.least, 1e-14*max(total, e.scale))
}

// improve makes one step; done when the step would be negligible, or was taken and the
// next one would be: with many readings the average information is within some per cent
// of the observed one, and each step's decrement some thousandths of the last.
func (e *search) improve(pr *progress) (done bool, err error) {
	g := e.slope(pr.theta)
	if e.boundStep(pr, g) {
		if err := e.evaluate(pr.theta); err != nil {
			return false, err
		}
		if err := e.measure(); err != nil {
			return false, err
		}
		g = e.slope(pr.theta)
	}
	if len(pr.free) == 0 {
		pr.decrement = 0
		pr.converged = !anyOf(pr.atCeiling)
		return true, nil
	}
	pr.ai, err = e.averageInformation(pr.free)
	if err != nil {
		return false, err
	}
	pr.addPriors(pr.ai)
	if e.silence(pr) {
		return false, e.evaluate(pr.theta)
	}
	step, decrement, ok := newton(pr.ai, listed(g, pr.free))
	if ok {
		pr.step, pr.decrement = relative(step, pr), decrement
		if decrement < e.tolerance() && pr.step < 1e-5 {
			pr.converged = !anyOf(pr.atCeiling)
			return true, nil
		}
		if decrement < e.slack {
			pr.converged = !anyOf(pr.atCeiling)
			pr.next, pr.left = e.moved(pr, e.project(pr, g, step), 1), true
			return true, nil
		}
		if e.tryNewton(pr, e.project(pr, g, step)) {
			pr.converged = decrement < 1e3*e.tolerance() && e.tolerance() > exactTolerance && !anyOf(pr.atCeiling)
			if pr.converged {
				return true, e.measure()
			}
			return false, nil
		}
	}
	return false, e.multiplicative(pr)
}

func anyOf(x [slots]bool) bool {
	for _, v := range x {
		if v {
			return true
		}
	}
	return false
}

// silence puts the variances of which the data say nothing at their floor, as that of
// the tester where there is one: their information on any variance that the values
// could show is nil but for rounding.
func (e *search) silence(pr *progress) (changed bool) {
	for i, l := range pr.free {
		if pr.ai[i][i]*e.spread*e.spread > 1e-10 {
			continue
		}
		pr.silent[l], pr.atBound[l], changed = true, true, true
		pr.theta[l] = e.floor[l]
	}
	return changed
}

// boundStep decides which variances move: those below the negligible with a
// falling likelihood go to their limit, those at a limit with a rising one leave it.
// Those at their ceiling with a rising likelihood stay there.
// It tells whether theta changed.
func (e *search) boundStep(pr *progress, g vec) (changed bool) {
	before := pr.theta
	pr.free = pr.free[:0]
	for l := range slots {
		if !e.active[l] || pr.silent[l] {
			continue
		}
		if pr.atCeiling[l] = pr.theta[l] >= e.ceiling[l] && g[l] > 0 && e.ceiling[l] > e.floor[l]; pr.atCeiling[l] {
			continue
		}
		low := e.floor[l]
		atLimit := pr.theta[l] <= max(low, 0)
		small := low == 0 && pr.theta[l] < pr.negligible
		if (atLimit || small) && (g[l] <= 0 || pr.releases[l] > 3) {
			pr.theta[l], pr.atBound[l] = low, true
			continue
		}
		if pr.atBound[l] {
			pr.atBound[l] = false
			pr.releases[l]++
		}
		if pr.theta[l] == 0 {
			pr.theta[l] = 10 * pr.negligible
		}
		pr.free = append(pr.free, l)
	}
	return pr.theta != before
}

func listed(g vec, list []Term) []float64 {
	out := make([]float64, len(list))
	for i, l := range list {
		out[i] = g[l]
	}
	return out
}

// newton solves AI step = g; decrement is g'step.
func newton(ai [][]float64, g []float64) (step []float64, decrement float64, ok bool) {
	chol, scale, ok := factorScaled(ai)
	if !ok {
		return nil, 0, false
	}
	x, b := mat.NewVecDense(len(g), nil), mat.NewVecDense(len(g), nil)
	for i := range g {
		b.SetVec(i, g[i]*scale[i])
	}
	if err := chol.SolveVecTo(x, b); err != nil {
		return nil, 0, false
	}
	step = make([]float64, len(g))
	for i := range g {
		step[i] = x.AtVec(i) * scale[i]
		decrement += step[i] * g[i]
	}
	return step, decrement, true
}

// ridge is added to a singular information scaled to unit diagonal: where the data say
// something of a sum of variances only, a step then moves the sum.
const ridge = 1e-7

// factorScaled factors a matrix scaled to unit diagonal.
func factorScaled(a [][]float64) (*mat.Cholesky, []float64, bool) {
	scale := make([]float64, len(a))
	for i := range a {
		if !(a[i][i] > 0) {
			return nil, nil, false
		}
		scale[i] = 1 / math.Sqrt(a[i][i])
	}
	s := mat.NewSymDense(len(a), nil)
	for i := range a {
		for j := range i + 1 {
			s.SetSym(i, j, a[i][j]*scale[i]*scale[j])
		}
	}
	chol := new(mat.Cholesky)
	if chol.Factorize(s) && chol.Cond() < 1e12 {
		return chol, scale, true
	}
	for i := range a {
		s.SetSym(i, i, 1+ridge)
	}
	return chol, scale, chol.Factorize(s)
}

func relative(step []float64, pr *progress) float64 {
	largest := 0.0
	for i, l := range pr.free {
		largest = max(largest, math.Abs(step[i])/max(pr.theta[l], pr.negligible))
	}
	return largest
}

// lowest returns how far one step may take a variance: to a tenth of itself, to its
// floor, or, the third time in a row, to 0.
func (e *search) lowest(pr *progress, l Term) float64 {
	if e.floor[l] == 0 && pr.falls[l] >= 2 {
		return 0
	}
	return max(0.1*pr.theta[l], e.floor[l])
}

// within returns a new value of a variance between its lowest and its ceiling.
func (e *search) within(pr *progress, l Term, v float64) float64 {
	return min(max(v, e.lowest(pr, l)), max(e.ceiling[l], pr.theta[l]))
}

// project holds the variances that the step would take too low or too high at their
// lowest or highest and solves for the others.
func (e *search) project(pr *progress, g vec, step []float64) []float64 {
	fixed := make([]bool, len(step))
	for {
		fresh := false
		for i, l := range pr.free {
			if within := e.within(pr, l, pr.theta[l]+step[i]) - pr.theta[l]; !fixed[i] && step[i] != within {
				if math.Abs(within-step[i]) > 1e-12*math.Abs(step[i]) {
					fixed[i], fresh = true, true
				}
				step[i] = within
			}
		}
		if !fresh {
			break
		}
		step = solveRest(pr.ai, listed(g, pr.free), step, fixed)
	}
	for i, l := range pr.free {
		pr.falls[l]++
		if !fixed[i] || step[i] > 0 {
			pr.falls[l] = 0
		}
	}
	return step
}

// solveRest returns the step with the fixed elements kept and AI step = g for the
// rest; unchanged where that system is singular.
func solveRest(ai [][]float64, g, step []float64, fixed []bool) []float64 {
	var rest []int
	for i, f := range fixed {
		if !f {
			rest = append(rest, i)
		}
	}
	a, b := make([][]float64, len(rest)), make([]float64, len(rest))
	for r, i := range rest {
		a[r], b[r] = make([]float64, len(rest)), g[i]
		for c, j := range rest {
			a[r][c] = ai[i][j]
		}
		for j, f := range fixed {
			if f {
				b[r] -= ai[i][j] * step[j]
			}
		}
	}
	if len(rest) == 0 {
		return step
	}
	part, _, ok := newton(a, b)
	for r, i := range rest {
		if ok {
			step[i] = part[r]
		}
	}
	return step
}

// moved returns where a share of a step leads.
func (e *search) moved(pr *progress, step []float64, share float64) vec {
	next := pr.theta
	for i, l := range pr.free {
		next[l] = e.within(pr, l, next[l]+share*step[i])
	}
	return next
}

// tryNewton takes the step, no variance to less than a tenth of itself, halved
// until it can be evaluated and the likelihood (where it is known) does not fall;
// false after five halvings.
func (e *search) tryNewton(pr *progress, step []float64) bool {
	before := e.height(pr.theta)
	for share := 1.0; share > 1.0/40; share /= 2 {
		next := e.moved(pr, step, share)
		if err := e.evaluate(next); err != nil || math.IsNaN(e.height(next)) && !math.IsNaN(before) {
			continue
		}
		if !(e.height(next) < before-1e-9*math.Abs(before)) {
			pr.theta = next
			return true
		}
	}
	return false
}

// multiplicative makes a monotone step theta_l *= sqrt(sum s^2 / sum v); where that
// cannot be evaluated either, theta stays and the search is stuck.
//
// Source: H. Zhou et al., J. Comput. Graph. Stat. 28 (2019) 350-361 (from memory).
func (e *search) multiplicative(pr *progress) error {
	largest, next := 0.0, pr.theta
	for _, l := range pr.free {
		next[l] = min(max(pr.theta[l]*e.ratio(l, pr.theta[l]), e.floor[l]), e.ceiling[l])
		largest = max(largest, math.Abs(next[l]-pr.theta[l])/pr.theta[l])
	}
	if err := e.evaluate(next); err != nil || math.IsNaN(largest) {
		pr.stuck = true
		return e.evaluate(pr.theta)
	}
	pr.step, pr.theta = largest, next
	return nil
}
