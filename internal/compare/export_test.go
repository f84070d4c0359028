package compare

import (
	"context"
	"math"
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
