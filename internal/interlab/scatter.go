package interlab

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// MandelH returns (mean - grand mean)/s of each of three or more means, the
// between-tester consistency; nil for fewer or where they are all equal.
//
// Source: ISO 5725-2, 7.3.1.
func MandelH(means []float64) []float64 {
	if len(means) < 3 {
		return nil
	}
	mean, sd := stat.MeanStdDev(means, nil)
	if sd == 0 {
		return nil
	}
	h := make([]float64, len(means))
	for i, m := range means {
		h[i] = (m - mean) / sd
	}
	return h
}

// MandelHLimit returns the value that |h| of one of p testers exceeds with
// probability alpha: (p-1) t/sqrt(p (t^2+p-2)), t = t(1-alpha/2; p-2). p is 3 or
// more; NaN otherwise.
//
// Source: Wilrich 2013.
func MandelHLimit(p int, alpha float64) float64 {
	if p < 3 || !inside(alpha) {
		return math.NaN()
	}
	n := float64(p)
	t := -student(n - 2).Quantile(alpha / 2)
	return (n - 1) * t / math.Sqrt(n*(t*t+n-2))
}

// TooConsistent returns the probability that readings scatter as little as they do,
// or less, if their claimed standard uncertainties hold: the lower tail of
// chi-square at X = sum (y - mean)^2/u^2 over cells, each about its own weighted
// mean, and the degrees of freedom, readings less cells. A small probability says
// that the uncertainty is overstated or that the readings were not all taken.
// uncertainties has the shape of readings; dof is 0 and the probability NaN
// without any repeat, or where an uncertainty is not positive.
func TooConsistent(readings, uncertainties [][]float64) (probability float64, dof int) {
	x := 0.0
	for c, y := range readings {
		if len(y) < 2 {
			continue
		}
		if len(uncertainties[c]) != len(y) || !(slices.Min(uncertainties[c]) > 0) {
			return math.NaN(), 0
		}
		x += weightedSquares(y, uncertainties[c])
		dof += len(y) - 1
	}
	if dof == 0 {
		return math.NaN(), 0
	}
	return distuv.ChiSquared{K: float64(dof)}.CDF(x), dof
}

// weightedSquares returns sum (y - mean)^2/u^2 about the mean weighted by 1/u^2.
func weightedSquares(y, u []float64) float64 {
	weights := make([]float64, len(y))
	for k, uk := range u {
		weights[k] = 1 / (uk * uk)
	}
	mean := stat.Mean(y, weights)
	sum := 0.0
	for k, v := range y {
		sum += weights[k] * (v - mean) * (v - mean)
	}
	return sum
}
