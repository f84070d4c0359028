package ranks

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"

	"evensun/internal/seedrand"
)

// An Interval holds the lowest and highest rank that the data allow; rank 1 is the
// largest estimate.
type Interval struct {
	Lo, Hi int
}

// Ranks returns the rank of each member: 1 + the number of members with an
// estimate larger by more than 1e-12. Equal members share a rank.
func (f *Family) Ranks() []int {
	ranks := make([]int, f.Len())
	order := f.order()
	ahead := 0
	for _, i := range order {
		for f.estimates[order[ahead]] > f.estimates[i]+tieTolerance {
			ahead++
		}
		ranks[i] = ahead + 1
	}
	return ranks
}

// order returns the members from the largest estimate to the smallest, equal
// ones in the order given.
func (f *Family) order() []int {
	order := make([]int, f.Len())
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		if f.estimates[a] > f.estimates[b] {
			return -1
		}
		if f.estimates[a] < f.estimates[b] {
			return 1
		}
		return 0
	})
	return order
}

// RankIntervals returns the simultaneous interval of each member's rank at a
// critical value of the family:
//
//	lo = 1 + #{j : z_ji > critical},   hi = P - #{j : z_ij > critical}
//
// With the confidence of the critical value all true ranks are inside at once.
// Pairs beyond the triangle bound critical*(se_i + largest se) need no test, so
// that well separated long lists cost little more than sorting.
//
// Source: Mogstad et al. 2024, two-sided, one step.
func (f *Family) RankIntervals(critical float64) []Interval {
	out := make([]Interval, f.Len())
	for i := range out {
		out[i] = Interval{1, f.Len()}
	}
	f.eachApart(critical, func(better, worse int) {
		out[better].Hi--
		out[worse].Lo++
	}, func(better int, worse []int) {
		out[better].Hi -= len(worse)
		for _, j := range worse {
			out[j].Lo++
		}
	})
	return out
}

// eachApart calls pair for each two members told apart at the critical value, and
// rest with all that lie so far below a member that no test is needed.
func (f *Family) eachApart(critical float64, pair func(better, worse int), rest func(better int, worse []int)) {
	order := f.order()
	widest := 0.0
	for _, v := range f.variances {
		widest = max(widest, math.Sqrt(v))
	}
	for a, i := range order {
		bound := max(tieTolerance, critical*(math.Sqrt(f.variances[i])+widest)*(1+1e-12))
		for b := a + 1; b < len(order); b++ {
			j := order[b]
			if f.estimates[i]-f.estimates[j] > bound {
				rest(i, order[b:])
				break
			}
			if f.Studentised(i, j) > critical {
				pair(i, j)
			}
		}
	}
}

// scaleStrata is the number of equally likely values that stand for the distribution of
// the standard errors' scale.
const scaleStrata = 100

// BestProbabilities returns for each member the share of draws in which none is larger:
// the estimates plus errors of their covariance with Student's distribution of the
// family's degrees of freedom. It returns nil above SimulatedUpTo members or where the
// covariance has no root.
//
// Error: 0.008 at 4,000 draws, one standard deviation, at a probability of one half.
//
// Source: the share of draws is the probability of rank 1 of Mogstad et al. 2024, section
// 1, with the draws of their section 3.
func (f *Family) BestProbabilities(draws int, s *seedrand.Stream) []float64 {
	n := f.Len()
	if n == 0 || n > SimulatedUpTo || draws < 1 {
		return nil
	}
	shares := make([]float64, n)
	if n == 1 {
		shares[0] = 1
		return shares
	}
	sample, ok := f.sample(draws, s)
	if !ok {
		return nil
	}
	scales := f.scales()
	for k, x := range sample.rows {
		best, most := 0, math.Inf(-1)
		for i := range x {
			if drawn := f.estimates[i] + scales[k%scaleStrata]*x[i]; drawn > most {
				best, most = i, drawn
			}
		}
		shares[best] += 1 / float64(draws)
	}
	return shares
}

// scales are the middles of equally likely strata of sqrt(dof/chi-square).
func (f *Family) scales() [scaleStrata]float64 {
	var out [scaleStrata]float64
	for k := range out {
		out[k] = 1
		if f.dof < dofIsInfinite {
			out[k] = math.Sqrt(f.dof / distuv.ChiSquared{K: f.dof}.Quantile((float64(k)+0.5)/scaleStrata))
		}
	}
	return out
}

// PScores returns for each member the mean probability, over all others, that it
// is larger, with normal errors: 1 beats all for certain, 0 none, 0.5 on average.
// A family of one gets 0.5: there is nothing to say.
//
// Source: Ruecker and Schwarzer 2015, equation 2.
func (f *Family) PScores() []float64 {
	n := f.Len()
	scores := make([]float64, n)
	if n == 1 {
		scores[0] = 0.5
		return scores
	}
	certain := func(better, worse int) { scores[better]++ }
	for i := range n {
		for j := range i {
			z := f.Studentised(i, j)
			switch {
			case z > 8.5:
				certain(i, j)
			case z < -8.5:
				certain(j, i)
			default:
				p := normalCDF(z)
				scores[i] += p
				scores[j] += 1 - p
			}
		}
	}
	for i := range scores {
		scores[i] /= float64(n - 1)
	}
	return scores
}
