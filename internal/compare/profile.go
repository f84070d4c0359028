package compare

import (
	"context"
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// A Profile is what the likelihood says of one variance.
type Profile struct {
	Estimate     float64
	Lower, Upper float64 // where the likelihood falls by half a chi-square quantile; Upper may be +Inf
	Ratio        float64 // likelihood ratio against 0, 2 (l - l0)
	PZero        float64 // of variance 0: half of chi-square with 1 degree of freedom
}

const profileDoublings = 40

// ProfileVariance refits with the variance of a term held at trial values. It
// needs a table within DenseLimit and no robust weights.
//
// Source: S. Self, K.-Y. Liang, J. Am. Stat. Assoc. 82 (1987) 605-610, for PZero.
func ProfileVariance(ctx context.Context, t Table, opt Options, term Term, level float64) (Profile, error) {
	if opt.Robust != nil || !opt.has(term) || opt.fixed(term) || !(level > 0 && level < 1) {
		return Profile{}, fmt.Errorf("%w: no profile of %v with these options", ErrModel, term)
	}
	best, err := Estimate(ctx, t, opt)
	if err != nil {
		return Profile{}, err
	}
	if math.IsNaN(best.LogLikelihood) {
		return Profile{}, fmt.Errorf("%w: no likelihood above %d panels", ErrModel, opt.denseLimit())
	}
	p := &profiler{ctx: ctx, t: t, opt: opt, term: term, best: best}
	p.opt.Fixed = append(append([]Term(nil), opt.Fixed...), term)
	p.fall = distuv.ChiSquared{K: 1}.Quantile(level) / 2
	out := Profile{Estimate: best.Theta[term], Upper: math.Inf(1)}
	out.Ratio = max(0, 2*(best.LogLikelihood-p.at(opt.Floor[term])))
	out.PZero = distuv.ChiSquared{K: 1}.Survival(out.Ratio) / 2
	if out.Ratio == 0 {
		out.PZero = 1
	}
	out.Lower, out.Upper = p.lower(out.Estimate, opt.Floor[term]), p.upper(out.Estimate)
	return out, p.err
}

type profiler struct {
	ctx  context.Context
	t    Table
	opt  Options
	term Term
	best *Fit
	fall float64
	err  error
}

// at returns the likelihood with the variance held at v.
func (p *profiler) at(v float64) float64 {
	start := p.best.Theta
	start[p.term] = v
	opt := p.opt
	opt.Start = &start
	f, err := Estimate(p.ctx, p.t, opt)
	if err != nil {
		p.err = err
		return math.NaN()
	}
	return f.LogLikelihood
}

// above tells by how much the likelihood at v is above the limit.
func (p *profiler) above(v float64) float64 { return p.at(v) - p.best.LogLikelihood + p.fall }

func (p *profiler) lower(estimate, floor float64) float64 {
	if p.above(floor) >= 0 {
		return floor
	}
	return p.root(floor, estimate, func(v float64) float64 { return -p.above(v) })
}

func (p *profiler) upper(estimate float64) float64 {
	scale := 0.0
	for _, v := range p.best.Theta {
		scale = max(scale, v)
	}
	high := max(2*estimate, 1e-6*scale)
	for range profileDoublings {
		if !(p.above(high) > 0) {
			return p.root(estimate, high, p.above)
		}
		high *= 2
	}
	return math.Inf(1)
}

// root bisects a falling function to 1e-7 of the upper end.
func (p *profiler) root(lo, hi float64, f func(float64) float64) float64 {
	for tol := 1e-7 * hi; hi-lo > tol && p.err == nil; {
		mid := (lo + hi) / 2
		if f(mid) > 0 {
			lo = mid
		} else {
			hi = mid
		}
	}
	return (lo + hi) / 2
}
