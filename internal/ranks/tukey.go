package ranks

import "math"

// dofIsInfinite is the number of degrees of freedom from which the standard error
// counts as known; the distributions then differ by less than 1e-8.
const dofIsInfinite = 1e8

// RangeProbability returns the probability that the studentised range of groups
// independent normal means is at most q: the range of the means over an
// independent standard error with dof degrees of freedom,
//
//	integral over s of f(s; dof) W(q s),
//	W(w) = k integral of phi(z) (Phi(z) - Phi(z-w))^(k-1) dz
//
// groups is 2 or more, dof 1 or more (+Inf: known standard error); NaN otherwise.
//
// Error: below 1e-10 absolute for dof up to 1e6 and 20,000 groups. Both integrals
// are trapezoid sums over functions that are analytic and vanish at both ends.
//
// Source: M. D. Copenhaver, B. Holland, Journal of Statistical Computation and
// Simulation 30 (1988) 1-15, for the double integral.
func RangeProbability(q float64, groups int, dof float64) float64 {
	if groups < 2 || !(dof >= 1) || math.IsNaN(q) {
		return math.NaN()
	}
	if q <= 0 {
		return 0
	}
	if dof >= dofIsInfinite {
		return rangeOfNormals(q, groups)
	}
	step := min(0.1, 0.4/math.Sqrt(dof))
	above, weightAbove := halfScale(q, groups, dof, step, step)
	below, weightBelow := halfScale(q, groups, dof, 0, -step)
	return min(1, (above+below)/(weightAbove+weightBelow))
}

// halfScale returns the sum of W(q s) weighted by the density of ln s, and the sum
// of the weights, over ln s = from, from + step, ... until the density is gone.
// The density has its mode at ln s = 0, where it is scaled to 1.
func halfScale(q float64, groups int, dof, from, step float64) (sum, weights float64) {
	for logS := from; ; logS += step {
		logDensity := dof * (logS - math.Expm1(2*logS)/2)
		if logDensity < -37 {
			return sum, weights
		}
		density := math.Exp(logDensity)
		weights += density
		if w := q * math.Exp(logS); w > 1e-9 { // W(w) < w: nothing to add below
			sum += density * rangeOfNormals(w, groups)
		}
	}
}

// rangeOfNormals returns W(w), the probability that the range of groups standard
// normal numbers is at most w.
func rangeOfNormals(w float64, groups int) float64 {
	const step, end = 1.0 / 8, 8.5
	sum, others := 0.0, float64(groups-1)
	for z := -end; z <= end; z += step {
		within := normalCDF(z) - normalCDF(z-w)
		sum += math.Exp(-z*z/2) * math.Pow(within, others)
	}
	return min(1, float64(groups)*sum*step/math.Sqrt(2*math.Pi))
}

// RangeQuantile returns the q that the studentised range of groups means with dof
// degrees of freedom exceeds with probability 1 - p. Arguments as in
// RangeProbability, p in [0, 1); NaN outside.
//
// Error: 1e-9 relative for p from 0.5 to 0.999. Two groups give sqrt(2) times
// Student's two-sided quantile, which the tests use as an exact check.
//
// Source: the root of RangeProbability.
func RangeQuantile(p float64, groups int, dof float64) float64 {
	if groups < 2 || !(dof >= 1) || !(p >= 0 && p < 1) {
		return math.NaN()
	}
	return rootOfRising(func(q float64) float64 { return RangeProbability(q, groups, dof) - p })
}

// rootOfRising returns the x >= 0 where a function that rises from f(0) <= 0
// passes 0: an upper end by doubling, then false position, Illinois form, with a
// halving wherever that stalls. It ends after 1,100 evaluations at most.
func rootOfRising(f func(float64) float64) float64 {
	lo, hi := 0.0, 1.0
	fLo, fHi := f(lo), f(hi)
	for fHi < 0 && hi < math.MaxFloat64/2 {
		lo, fLo = hi, fHi
		hi *= 2
		fHi = f(hi)
	}
	for side, i := 0, 0; i < 60 && hi-lo > 1e-12*hi; i++ {
		x := lo + (hi-lo)*fLo/(fLo-fHi)
		if i%8 == 7 || !(x > lo && x < hi) {
			x = lo + (hi-lo)/2
		}
		fx := f(x)
		if fx == 0 {
			return x
		}
		if fx < 0 {
			lo, fLo = x, fx
			if side < 0 {
				fHi /= 2
			}
			side = -1
			continue
		}
		hi, fHi = x, fx
		if side > 0 {
			fLo /= 2
		}
		side = 1
	}
	return lo + (hi-lo)/2
}

// normalCDF returns the probability that a standard normal number is below x.
func normalCDF(x float64) float64 {
	return math.Erfc(-x/math.Sqrt2) / 2
}
