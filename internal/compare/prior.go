package compare

import "math"

// Priors are the expected standard deviations of the terms before any data, in the unit of
// the values: each is the mean of a half-normal distribution. 0: no prior.
type Priors [terms]float64

// PracticePriors returns the usual spreads of logarithms of normalised power: sd 2 % between
// testers, 3 % between sessions, 1.2 % between testers' opinions of a panel, 0.8 % between
// cells, 0.6 % between repeats, 1 % of drift in 30 minutes; none between units, which
// opinions hold where each tester has one. Common practice, no source.
func PracticePriors() Priors {
	return Priors{Tester: 0.02, Session: 0.03, TesterPanel: 0.012, SessionPanel: 0.008, Residual: 0.006, Drift: 0.01}
}

// What 1 to 4 testers with priors show:
//
// 6 panels, 4 sessions of 4 panels a tester, 400 trials ("-run FewTesters -v -trials 400");
// lists wrong: a true difference outside the simultaneous intervals of package ranks:
//
//	         spreads as expected               twice as large
//	testers  levels  contrasts  lists wrong    levels  contrasts  lists wrong
//	1        0.994   0.999      0 of 380       0.910   0.930      8 of 380
//	2        0.984   0.972      4 of 400       0.905   0.923      31 of 400
//	3        0.969   0.968      10 of 400      0.910   0.938      28 of 400
//	4        0.961   0.955      18 of 400      0.903   0.941      30 of 400

// FewTesterDof returns the least degrees of freedom of contrasts, levels and families of a
// fit with priors by so many testers: testers + 4. Satterthwaite's would be fewer, as he
// takes a variance that one or two testers show for one that may be of any size.
//
// Source: the simulation of TestFewTesters, no other: with 1 to 4 testers and spreads as
// expected 96 to 99 % of levels and contrasts lie in their 95 % intervals, with spreads twice
// as large 90 to 94 %.
func FewTesterDof(testers int) float64 { return float64(testers) + 4 }

// leastDof is 0 without priors.
func (f *Fit) leastDof() float64 {
	if f.pr.prior == (vec{}) {
		return 0
	}
	return FewTesterDof(f.blocks)
}

// FamilyDof returns the degrees of freedom for all pairwise comparisons of a list of panels
// at once: the median of those of at most 64 contrasts between panels evenly far apart in
// the list, or infinite for fewer than two panels.
func (f *Fit) FamilyDof(panels []int) float64 {
	var dofs []float64
	step := max(1, len(panels)/familyContrasts)
	for k := 0; k+step < len(panels); k += step {
		if c, err := f.Contrast(panels[k], panels[k+step]); err == nil {
			dofs = append(dofs, c.Dof)
		}
	}
	if len(dofs) == 0 {
		return math.Inf(1)
	}
	return median(dofs)
}

const familyContrasts = 64

// squares returns the squared scales s^2 of the half-normal distributions of the terms that
// are estimated: their mean is s sqrt(2/pi).
func (p Priors) squares(active [slots]bool) vec {
	var out vec
	for l, mean := range p {
		if active[l] {
			out[l] = mean * mean * math.Pi / 2
		}
	}
	return out
}

// With a prior of scale s the search climbs the posterior density of ln(sigma),
//
//	lR + ln(sigma) - sigma^2/(2 s^2) = lR + ln(theta)/2 - theta/(2 s^2)
//
// whose maximum is s^2 where the data say nothing and never 0. Taken on the scale of
// ln(sigma) the half-normal density keeps variances off their limit at 0, as the gamma prior
// of Y. Chung et al., Psychometrika 78 (2013) 685-709 (from memory), does; the last term
// keeps the variance between two testers, of which the likelihood says little, finite.

// height returns what the search climbs at the theta last evaluated.
func (e *search) height(theta vec) float64 {
	h := e.likelihoodNow()
	for l, s2 := range e.prior {
		if s2 > 0 {
			h += (math.Log(theta[l]) - theta[l]/s2) / 2
		}
	}
	return h
}

// slope returns the gradient of height.
func (e *search) slope(theta vec) vec {
	g := e.gradient()
	for l, s2 := range e.prior {
		if s2 > 0 {
			g[l] += (1/theta[l] - 1/s2) / 2
		}
	}
	return g
}

// addPriors adds the information of the priors on the free variances, 1/(2 theta^2): that of
// one observed effect.
func (pr *progress) addPriors(information [][]float64) {
	for i, l := range pr.free {
		if pr.prior[l] > 0 {
			information[i][i] += 1 / (2 * pr.theta[l] * pr.theta[l])
		}
	}
}

// ratio returns the factor of the monotone step of one variance.
func (e *search) ratio(l Term, theta float64) float64 {
	if e.prior[l] == 0 {
		return e.emRatio(l)
	}
	ss, vv := e.sums(l)
	return math.Sqrt((ss + 1/theta) / (vv + 1/e.prior[l]))
}

// outset begins at the prior's own variance where a start has none.
func (e *search) outset(start vec) vec {
	for l, s2 := range e.prior {
		if start[l] < s2/1e6 {
			start[l] = s2
		}
	}
	return start
}
