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
	emRatio(l Term) float64
	likelihoodNow() float64 // NaN where unknown
	tolerance() float64     // of the Newton decrement
}

// A search maximises an objective.
type search struct {
	objective
	active, present [slots]bool // variances to estimate, in the model at all
	held            [slots]bool // keep their start
	floor           vec
	scale           float64 // spread of the values
	limit           int     // iterations
}

// progress is what the iteration reports.
type progress struct {
	theta      vec
	iterations int
	converged  bool
	atBound    [slots]bool
	step       float64     // largest relative step of the last iteration
	ai         [][]float64 // average information over free
	free       []Term
	releases   [slots]int
	falls      [slots]int // steps in a row that were stopped at the lowest
	negligible float64    // variances below it count as 0
}

// estimate maximises the likelihood from a start; the engine is left evaluated
// and measured at the result.
func (e *search) run(ctx context.Context, start vec) (*progress, error) {
	pr := &progress{theta: e.clip(start), negligible: e.negligible(start)}
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
		if pr.iterations >= e.limit {
			return pr, e.measure()
		}
	}
}

// clip raises a theta to its floors and clears terms that are not estimated.
func (e *search) clip(theta vec) vec {
	for l := range slots {
		if !e.present[l] || !e.active[l] && !e.held[l] {
			theta[l] = 0
		}
		if e.present[l] && !e.held[l] {
			theta[l] = max(theta[l], e.floor[l])
		}
	}
	return theta
}

func (e *search) negligible(start vec) float64 {
	total := 0.0
	for _, v := range start {
		total += v
	}
	return 1e-8 * max(total, e.scale)
}

// improve makes one step; done when the step would be negligible.
func (e *search) improve(pr *progress) (done bool, err error) {
	g := e.gradient()
	if e.boundStep(pr, g) {
		if err := e.evaluate(pr.theta); err != nil {
			return false, err
		}
		if err := e.measure(); err != nil {
			return false, err
		}
		g = e.gradient()
	}
	if len(pr.free) == 0 {
		pr.converged = true
		return true, nil
	}
	pr.ai, err = e.averageInformation(pr.free)
	if err != nil {
		return false, err
	}
	step, decrement, ok := newton(pr.ai, listed(g, pr.free))
	if ok {
		pr.step = relative(step, pr)
		if decrement < e.tolerance() && pr.step < 1e-5 {
			pr.converged = true
			return true, nil
		}
		if done, err := e.tryNewton(pr, e.project(pr, g, step)); done || err != nil {
			return false, err
		}
	}
	return false, e.multiplicative(pr)
}

// boundStep decides which variances move: those below the negligible with a
// falling likelihood go to their limit, those at a limit with a rising one leave it.
// It tells whether theta changed.
func (e *search) boundStep(pr *progress, g vec) (changed bool) {
	before := pr.theta
	pr.free = pr.free[:0]
	for l := range slots {
		if !e.active[l] {
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
	if !chol.Factorize(s) || chol.Cond() > 1e13 {
		return nil, nil, false
	}
	return chol, scale, true
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

// project holds the variances that the step would take too low at their lowest
// and solves for the others.
func (e *search) project(pr *progress, g vec, step []float64) []float64 {
	fixed := make([]bool, len(step))
	for {
		fresh := false
		for i, l := range pr.free {
			if low := e.lowest(pr, l) - pr.theta[l]; !fixed[i] && step[i] < low {
				fixed[i], fresh = true, true
				step[i] = low
			}
		}
		if !fresh {
			break
		}
		step = solveRest(pr.ai, listed(g, pr.free), step, fixed)
	}
	for i, l := range pr.free {
		pr.falls[l]++
		if !fixed[i] {
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

// tryNewton takes the step, no variance to less than a tenth of itself, halved
// until the likelihood (where it is known) does not fall; false after five halvings.
func (e *search) tryNewton(pr *progress, step []float64) (bool, error) {
	before := e.likelihoodNow()
	for share := 1.0; share > 1.0/40; share /= 2 {
		next := pr.theta
		for i, l := range pr.free {
			next[l] = max(next[l]+share*step[i], e.lowest(pr, l))
		}
		if err := e.evaluate(next); err != nil {
			return false, err
		}
		if math.IsNaN(e.likelihoodNow()) && !math.IsNaN(before) {
			continue
		}
		if !(e.likelihoodNow() < before-1e-9*math.Abs(before)) {
			pr.theta = next
			return true, nil
		}
	}
	return false, nil
}

// multiplicative makes a monotone step theta_l *= sqrt(sum s^2 / sum v).
//
// Source: H. Zhou et al., J. Comput. Graph. Stat. 28 (2019) 350-361 (from memory).
func (e *search) multiplicative(pr *progress) error {
	largest := 0.0
	for _, l := range pr.free {
		next := max(pr.theta[l]*e.emRatio(l), e.floor[l])
		largest = max(largest, math.Abs(next-pr.theta[l])/pr.theta[l])
		pr.theta[l] = next
	}
	pr.step = largest
	return e.evaluate(pr.theta)
}
