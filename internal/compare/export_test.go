package compare

import (
	"context"
	"errors"
	"math"
	"slices"
)

// SetAdditions evaluates a held model with robust additions, for the oracle: add
// gets a fixed pattern by sorted index, which Additions maps back to rows.
func EstimateWithAdditions(t Table, opt Options, pattern func(i int) float64) (*Fit, [][4]float64, error) {
	e, err := newEngine(t, opt)
	if err != nil {
		return nil, nil, err
	}
	fill := func(x []float64) {
		for i := range x {
			x[i] = pattern(i)
		}
	}
	fill(e.add.group)
	fill(e.add.cell)
	fill(e.add.session)
	fill(e.add.reading)
	rows := make([][4]float64, e.d.n)
	for j := range e.d.sessions() {
		for c := e.d.sessStart[j]; c < e.d.sessStart[j+1]; c++ {
			for k := e.d.cellStart[c]; k < e.d.cellStart[c+1]; k++ {
				rows[e.d.order[k]] = [4]float64{e.add.group[e.d.opGroup[e.d.cellOp[c]]], e.add.cell[c], e.add.session[j], e.add.reading[k]}
			}
		}
	}
	pr, err := e.search().run(context.Background(), opt.Start.vec())
	if err != nil {
		return nil, nil, err
	}
	return e.fit(pr), rows, nil
}

// Derivatives returns gradient and average information of all terms at a fit.
func Derivatives(f *Fit) ([]float64, [][]float64) {
	var all []Term
	for l := range terms {
		all = append(all, l)
	}
	ai, err := f.e.averageInformation(all)
	if err != nil {
		return nil, nil
	}
	g := f.e.gradient()
	return g[:], ai
}

// CrossedDerivatives returns gradient and average information of the crossed path.
func CrossedDerivatives(t Table, random []Term, theta Theta, ml bool) ([]float64, [][]float64) {
	c, err := newCrossed(t, Options{Random: random, ML: ml})
	if err != nil {
		return nil, nil
	}
	if err := c.evaluate(theta.vec()); err != nil {
		return nil, nil
	}
	if err := c.measure(); err != nil {
		return nil, nil
	}
	ai, err := c.averageInformation(random)
	if err != nil {
		return nil, nil
	}
	g := c.gradient()
	return g[:], ai
}

// OpinionInformation returns the information of every tester x panel pair, in the order
// of its level.
func OpinionInformation(f *Fit) []float64 { return f.e.groupInformation() }

// Settle evaluates a fit once more and returns the largest change of an estimate.
func Settle(f *Fit) (float64, error) {
	err := f.e.settle(f.pr.theta)
	largest := 0.0
	for i, mu := range f.e.mu {
		if !math.IsNaN(f.Mu[i]) {
			largest = max(largest, math.Abs(mu-f.Mu[i]))
		}
	}
	return largest, err
}

// LocalAgainstFull raises some additions of every tester of a fit in turn and returns the
// largest difference, in parts of the largest value, between the statistics that his block
// finds by itself and those of evaluating and measuring everything anew.
func LocalAgainstFull(f *Fit, raise float64) (largest float64, err error) {
	e, d := f.e, f.e.d
	for t := range d.blocks() {
		local := e.localBlock(t, e.blockCov(), newScratch(d))
		groups, cell := d.groupsOf(t), d.sessStart[d.testStart[t]]
		e.add.group[groups.lo] += raise
		e.add.cell[cell] += raise
		local.renew()
		near := e.blockStatistics(t)
		if err := errors.Join(e.evaluate(f.pr.theta), e.measure()); err != nil {
			return 0, err
		}
		for l, want := range e.blockStatistics(t) {
			for i, v := range want {
				largest = max(largest, math.Abs(near[l][i]-v)/largestOf(want))
			}
		}
		e.add.group[groups.lo] -= raise
		e.add.cell[cell] -= raise
		if err := errors.Join(e.evaluate(f.pr.theta), e.measure()); err != nil {
			return 0, err
		}
	}
	return largest, nil
}

func largestOf(x []float64) float64 {
	largest := 0.0
	for _, v := range x {
		largest = max(largest, math.Abs(v))
	}
	return largest
}

// blockStatistics returns scores and informations of the effects of a block, a list each.
func (e *engine) blockStatistics(t int) [][]float64 {
	d := e.d
	hours := span{d.testStart[t], d.testStart[t+1]}
	spans := map[Term]span{Tester: {int32(t), int32(t) + 1}, TesterPanel: d.groupsOf(t), Session: hours, SessionPanel: {d.sessStart[hours.lo], d.sessStart[hours.hi]}}
	var out [][]float64
	for _, l := range []Term{Tester, TesterPanel, Session, SessionPanel} {
		in := spans[l]
		out = append(out, slices.Clone(e.ls.s[l][in.lo:in.hi]), slices.Clone(e.ls.v[l][in.lo:in.hi]))
	}
	return out
}

// KeepsAfter tells whether a fit holds on to the one that it went on from.
func KeepsAfter(f *Fit) bool { return f.e.opt.After != nil }

// SolveFrom solves for the estimates of a fit above its DenseLimit from a start that is the
// same everywhere and returns their largest change.
func SolveFrom(f *Fit, start float64) (float64, error) {
	e, from := f.e, make([]float64, f.e.d.panels)
	for i := range from {
		from[i] = start
	}
	mu, err := e.nrm.solve(e.nrm.gather(e.st.m, 1), 1, from)
	largest := 0.0
	for i, v := range mu {
		largest = max(largest, math.Abs(v-e.mu[i])) // NaN stays
	}
	return largest, err
}
