package compare

import (
	"context"
	"fmt"
)

func estimateCrossed(ctx context.Context, t Table, opt Options) (*Fit, error) {
	if opt.Robust != nil || opt.CapSessions > 0 || opt.MaxShare > 0 || opt.Unchecked != nil {
		return nil, fmt.Errorf("%w: weights, caps and shares need sessions nested in testers", ErrModel)
	}
	c, err := newCrossed(t, opt)
	if err != nil {
		return nil, err
	}
	s := c.search()
	start := blindStart(s.active, s.scale, c.u2)
	if opt.Start != nil {
		copy(start[:], opt.Start[:])
	}
	if err := checkVaries(opt, c.u2, s.scale); err != nil {
		return nil, err
	}
	pr, err := s.run(ctx, start)
	if err != nil {
		return nil, err
	}
	f := newFit(pr, c.coef[c.cols-c.panels:], c.present)
	f.LogLikelihood, f.Readings, f.blocks, f.solver = c.logLik, len(c.y), max(2, levels(t.Tester)), c
	for i := range opt.Groupings {
		f.Groupings = append(f.Groupings, pr.theta[int(terms)+i])
	}
	return f, nil
}

func (c *crossed) search() *search {
	s := &search{objective: c, scale: pooledVariance(c.y, c.panel, c.panels), limit: c.opt.maxIterations()}
	for l := range terms {
		s.present[l] = c.opt.has(l)
		s.held[l] = c.opt.Hold || c.opt.fixed(l)
		s.active[l] = s.present[l] && !s.held[l]
		s.floor[l] = c.opt.Floor[l]
	}
	for i := range c.opt.Groupings {
		s.present[int(terms)+i], s.active[int(terms)+i] = true, !c.opt.Hold
	}
	s.prior = c.opt.Priors.squares(s.active)
	spread := max(squaredRange(c.y, c.panel, c.panels), mean(c.u2))
	var groupings [][]int32
	for _, f := range c.factors {
		groupings = append(groupings, f.codes)
	}
	s.least = leastSpread(c.y, c.panel, c.panels, groupings...)
	s.floor[Residual] = max(s.floor[Residual], leastResidual(c.opt, c.u2, s.least))
	s.setCeilings(spread)
	return s
}
