package compare

import (
	"fmt"
	"math"
	"slices"
)

// How a fit is computed.
//
// Readings, cells, sessions and testers are absorbed in turn, exactly; what is left
// is one system H mu = h of the panels. Restricted likelihood is climbed by average
// information. Score z'Py and information z'Pz of every effect come out of the same
// pass and serve as gradient, robust weight and audit statistic. Up to DenseLimit
// panels H is factored and its inverse, Cov(mu), held; above, conjugate gradients and seeded
// random probes take over, in a form that leaves to chance only what the panels of
// one tester share with all others.
//
// Weights first settle at the variances of a median polish. Then robust weights and
// variances share their passes over the data: each pass reweighs at the
// statistics of the last and leaves the variances one step. From the third pass on, each
// tester's block then settles its own weights, the panels following as all other data
// hold them. Where opinions contradict each other in pairs, more than one set of weights
// is at rest: there the last digits decide which of two is believed.
//
// A variance of which the data say nothing, as that of the only tester, stays at its
// lower limit, and none grows beyond a hundred times what the values could show: small
// and odd tables give finite results, with Converged false and a note where something is
// left open. Groupings that cross (each tester in each session) go to
// a dense Schur complement. Sums are taken in a fixed order whatever the number of
// goroutines: the same table gives the same bits on one kind of machine.

// An engine evaluates the likelihood of one design and improves theta.
type engine struct {
	d      *design
	opt    Options
	active [slots]bool // terms of the model whose variance is estimated
	anchor []bool
	rank   int // columns of X
	st     *state
	nrm    *normal
	ls     *levelStats
	add    *additions
	rowOf  func(o int) (at, m int)
	notes  []string
	probes []probeBatch // of the last measure, above DenseLimit

	mu     []float64
	rss    float64
	logLik float64 // NaN where ln|H| is not known
}

func newEngine(t Table, opt Options) (*engine, error) {
	if err := checkModel(t, opt); err != nil {
		return nil, err
	}
	d, err := newDesign(t, opt.has(Drift))
	if err != nil {
		return nil, err
	}
	e := &engine{d: d, opt: opt, add: newAdditions(d)}
	e.findAnchors()
	e.findActive(t.Variance != nil)
	e.st = newState(d, opt.SessionFixed, opt.workers())
	e.nrm = newNormal(d, e.anchor, d.panels <= opt.denseLimit(), opt.workers())
	e.ls = newLevelStats(d, e.active)
	e.rowOf = d.ops()
	return e, nil
}

func checkModel(t Table, opt Options) error {
	if t.Tester == nil && (opt.has(Tester) || opt.has(TesterPanel) || opt.has(Specimen)) {
		return fmt.Errorf("%w: tester terms need a tester column", ErrModel)
	}
	if opt.SessionFixed && (opt.has(Tester) || opt.has(Session)) {
		return fmt.Errorf("%w: fixed sessions leave nothing for a tester or session variance", ErrModel)
	}
	if t.Variance == nil && !opt.has(Residual) {
		return fmt.Errorf("%w: without known variances the residual must be estimated", ErrModel)
	}
	if opt.Hold && opt.Start == nil {
		return fmt.Errorf("%w: nothing to hold without a start", ErrModel)
	}
	return nil
}

// findAnchors fixes absent panels and, with fixed sessions, one panel of every
// component at 0, and counts the columns of X.
func (e *engine) findAnchors() {
	d := e.d
	e.anchor = make([]bool, d.panels)
	for i, here := range d.present {
		e.anchor[i] = !here
		if here {
			e.rank++
		}
	}
	if !e.opt.SessionFixed {
		return
	}
	seen := map[int32]bool{}
	for i, root := range d.components() {
		if d.present[i] && !seen[root] {
			seen[root], e.anchor[i] = true, true
		}
	}
	e.rank += d.sessions() - len(seen)
}

// components returns for every panel the smallest panel reachable by shared sessions.
func (d *design) components() []int32 {
	parent := make([]int32, d.panels)
	for i := range parent {
		parent[i] = int32(i)
	}
	root := func(i int32) int32 {
		for parent[i] != i {
			parent[i] = parent[parent[i]]
			i = parent[i]
		}
		return i
	}
	for j := range d.sessions() {
		first := root(d.opPanel[d.cellOp[d.sessStart[j]]])
		for c := d.sessStart[j] + 1; c < d.sessStart[j+1]; c++ {
			other := root(d.opPanel[d.cellOp[c]])
			parent[max(first, other)] = min(first, other)
			first = min(first, other)
		}
	}
	for i := range parent {
		parent[i] = root(int32(i))
	}
	return parent
}

// findActive drops terms whose levels are those of another term, so that their
// variances could not be told apart.
func (e *engine) findActive(known bool) {
	for l := range terms {
		e.active[l] = e.opt.has(l) && !e.opt.fixed(l) && !e.opt.Hold
	}
	order := []Term{Tester, Session, TesterPanel, Specimen, SessionPanel, Residual}
	if !known {
		order = []Term{Residual, Tester, Session, TesterPanel, Specimen, SessionPanel}
	}
	for i, l := range order {
		for _, k := range order[:i] {
			if e.active[l] && e.active[k] && e.d.sameGrouping(l, k) {
				e.active[l] = false
				e.notes = append(e.notes, fmt.Sprintf("%s and %s cannot be told apart; all of it is called %s", l, k, k))
			}
		}
	}
}

// evaluate absorbs at theta and solves for the panels.
func (e *engine) evaluate(theta vec) error {
	e.st.absorb(theta, e.add)
	lnH := math.NaN()
	if e.nrm.dense() {
		if !e.nrm.assembleDense(e.st.big) {
			return fmt.Errorf("%w: H is not positive definite at %v", ErrModel, theta)
		}
		lnH = e.nrm.chol.LogDet()
	} else {
		e.nrm.assembleSparse(e.st.big, e.rowOf)
	}
	h := e.nrm.gather(e.st.m, 1)
	mu, err := e.nrm.solve(h, 1, e.mu)
	if err != nil {
		return err
	}
	e.mu, e.rss = mu, e.st.y
	for i := range mu {
		e.rss -= h[i] * mu[i]
	}
	e.logLik = e.likelihood(lnH)
	return nil
}

// likelihood returns lR (lML with ML) in the convention without ln|X'X|.
func (e *engine) likelihood(lnH float64) float64 {
	n := float64(e.d.n)
	if e.opt.ML {
		return -(n*math.Log(2*math.Pi) + e.st.logDet + e.rss) / 2
	}
	return -((n-float64(e.rank))*math.Log(2*math.Pi) + e.st.logDet + lnH + e.rss) / 2
}

// measure fills s and v of every level at the evaluated theta.
func (e *engine) measure() error {
	e.st.score(e.mu, e.ls, e.opt.has(Residual))
	if e.opt.ML {
		e.st.inform(nil, e.ls)
		return nil
	}
	if !e.nrm.dense() {
		if err := e.drawProbes(); err != nil {
			return err
		}
		e.st.inform(e.blockCov(), e.ls)
		return nil
	}
	if err := e.nrm.invertDense(); err != nil {
		return err
	}
	e.st.inform(e.blockCov(), e.ls)
	return nil
}

// gradient returns d lR / d theta.
func (e *engine) gradient() vec {
	var g vec
	for l := range terms {
		if !e.opt.has(l) {
			continue
		}
		ss, vv := e.sums(l)
		g[l] = (ss - vv) / 2
	}
	return g
}

// emRatio returns the factor of the monotone step of one variance.
func (e *engine) emRatio(l Term) float64 {
	ss, vv := e.sums(l)
	if vv <= 0 {
		return 1
	}
	return math.Sqrt(ss / vv)
}

// sums returns the sum of squared scores and that of informations of a level.
func (e *engine) sums(l Term) (ss, vv float64) {
	for i, s := range e.ls.s[l] {
		if l == Residual {
			ss += e.ls.s2e[i]
		} else {
			ss += s * s
		}
		vv += e.ls.v[l][i]
	}
	return ss, vv
}

func (e *engine) likelihoodNow() float64 { return e.logLik }

// search returns the maximiser of this engine's likelihood.
func (e *engine) search() *search {
	s := &search{objective: e, active: e.active, scale: e.scale(), least: e.leastSpread(), limit: e.opt.maxIterations()}
	for l := range terms {
		s.present[l] = e.opt.has(l)
		s.held[l] = e.opt.Hold || e.opt.fixed(l)
		s.floor[l] = e.opt.Floor[l]
	}
	s.prior = e.opt.Priors.squares(s.active)
	spread := e.spread()
	s.floor[Residual] = max(s.floor[Residual], leastResidual(e.opt, e.d.u2, s.least))
	s.setCeilings(spread)
	return s
}

// leastResidual keeps readings without a known variance from having none at all: 1e-10
// of the smallest spread that the values show, 0 where every variance is known.
func leastResidual(opt Options, u2 []float64, least float64) float64 {
	if opt.has(Residual) && (len(u2) == 0 || slices.Contains(u2, 0)) {
		return 1e-10 * least
	}
	return 0
}

// checkVaries refuses to estimate a residual of unknown size from values that do not vary.
func checkVaries(opt Options, u2 []float64, scale float64) error {
	if scale == 0 && leastResidual(opt, u2, 1) > 0 {
		return fmt.Errorf("%w: the values of each panel do not vary", ErrModel)
	}
	return nil
}

// spread returns the largest variance that the values could show: the squared range of
// a panel's values or, where that is more, the mean known variance.
func (e *engine) spread() float64 {
	panel := make([]int32, e.d.n)
	e.eachReading(func(k, i int) { panel[k] = int32(i) })
	return max(squaredRange(e.d.y, panel, e.d.panels), mean(e.d.u2))
}

func squaredRange(y []float64, panel []int32, panels int) float64 {
	lo, hi := make([]float64, panels), make([]float64, panels)
	for i := range lo {
		lo[i], hi[i] = math.Inf(1), math.Inf(-1)
	}
	for k, i := range panel {
		lo[i], hi[i] = min(lo[i], y[k]), max(hi[i], y[k])
	}
	widest := 0.0
	for i := range lo {
		widest = max(widest, hi[i]-lo[i])
	}
	return widest * widest
}

// leastSpread returns the smallest variance, above 0, that the values show about the means of
// panels, sessions or cells, the panels' medians taken off before.
func (e *engine) leastSpread() float64 {
	d := e.d
	panel := make([]int32, d.n)
	e.eachReading(func(k, i int) { panel[k] = int32(i) })
	return leastSpread(d.y, panel, d.panels, d.grouping(Session), d.grouping(SessionPanel))
}

func leastSpread(y []float64, panel []int32, panels int, groupings ...[]int32) float64 {
	of := make([][]float64, panels)
	for k, i := range panel {
		of[i] = append(of[i], y[k])
	}
	middle := make([]float64, panels)
	for i, values := range of {
		middle[i] = median(values)
	}
	rest := make([]float64, len(y))
	for k, i := range panel {
		rest[k] = y[k] - middle[i]
	}
	least := pooledVariance(y, panel, panels)
	for _, codes := range groupings {
		if groups := levels(codes); groups < len(y) {
			if v := pooledVariance(rest, codes, groups); v > 0 {
				least = min(least, v)
			}
		}
	}
	return least
}

func mean(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v / float64(len(x))
	}
	return sum
}

// tolerance returns the Newton decrement, in squared standard errors of theta, that
// ends the search: with many readings those errors are small themselves.
func (e *engine) tolerance() float64 {
	if e.d.n <= manyReadings {
		return exactTolerance
	}
	return 1e-8
}

const (
	exactTolerance = 1e-12
	manyReadings   = 10000
)

// scale returns the pooled variance of the values about their panels' means.
func (e *engine) scale() float64 {
	panel := make([]int32, e.d.n)
	e.eachReading(func(k, i int) { panel[k] = int32(i) })
	return pooledVariance(e.d.y, panel, e.d.panels)
}

func pooledVariance(y []float64, panel []int32, panels int) float64 {
	sum, count := make([]float64, panels), make([]float64, panels)
	for k, i := range panel {
		sum[i] += y[k]
		count[i]++
	}
	total := 0.0
	for k, i := range panel {
		r := y[k] - sum[i]/count[i]
		total += r * r
	}
	return total / float64(max(1, len(y)-panels))
}

func (e *engine) eachReading(f func(k, panel int)) {
	d := e.d
	for c := range d.cells() {
		for k := d.cellStart[c]; k < d.cellStart[c+1]; k++ {
			f(int(k), int(d.opPanel[d.cellOp[c]]))
		}
	}
}

func (e *engine) blindStart() vec { return blindStart(e.active, e.scale(), e.d.u2) }

// blindStart shares the spread of the values among the terms, 4 parts each for
// tester, session and tester x panel, 1 for the others.
func blindStart(active [slots]bool, scale float64, u2 []float64) vec {
	shares := Theta{4, 4, 4, 1, 1, 1, 1}.vec()
	sum, known := 0.0, mean(u2)
	for l := range slots {
		if l >= terms {
			shares[l] = 1
		}
		if active[l] {
			sum += shares[l]
		}
	}
	scale = max(scale-known, 0.1*scale)
	var theta vec
	for l := range slots {
		if active[l] {
			theta[l] = scale * shares[l] / sum
		}
	}
	return theta
}
