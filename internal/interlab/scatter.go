package interlab

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// Cochran returns the largest of the variances over their sum; NaN for fewer than
// two or where all are 0.
//
// Source: ISO 5725-2, 7.3.3.
func Cochran(variances []float64) float64 {
	if len(variances) < 2 {
		return math.NaN()
	}
	sum := 0.0
	for _, v := range variances {
		sum += v
	}
	if !(sum > 0) {
		return math.NaN()
	}
	return slices.Max(variances) / sum
}

// CochranLimit returns the value that Cochran's ratio of p variances of n readings
// each exceeds with probability alpha,
//
//	1/(1 + (p-1)/F),   F = F(1 - alpha/p; n-1, (p-1)(n-1))
//
// p and n are 2 or more; NaN otherwise.
func CochranLimit(p, n int, alpha float64) float64 {
	if p < 2 || n < 2 || !inside(alpha) {
		return math.NaN()
	}
	others := float64(p - 1)
	dof := float64(n - 1)
	// F above its 1 - alpha/p quantile is 1/F below the alpha/p quantile of the
	// reversed degrees of freedom, which keeps the digits of a small alpha.
	reversed := distuv.F{D1: others * dof, D2: dof}.Quantile(alpha / float64(p))
	return 1 / (1 + others*reversed)
}

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

// MandelK returns s_i/s_r of each tester's readings, the within-tester
// consistency, s_r pooled over all testers with two readings or more; NaN for a
// tester with one reading, nil where s_r is 0 or has no value.
//
// Source: ISO 5725-2, 7.3.1.
func MandelK(readings [][]float64) []float64 {
	sr := PrecisionOf(readings).Repeatability
	if !(sr > 0) {
		return nil
	}
	k := make([]float64, len(readings))
	for i, x := range readings {
		k[i] = math.NaN()
		if len(x) > 1 {
			k[i] = stat.StdDev(x, nil) / sr
		}
	}
	return k
}

// MandelKLimit returns the value that k of one of p testers with n readings each
// exceeds with probability alpha: sqrt(p/(1+(p-1) F)), F = F(alpha; (p-1)(n-1), n-1).
// p and n are 2 or more; NaN otherwise.
//
// Source: Wilrich 2013.
func MandelKLimit(p, n int, alpha float64) float64 {
	if p < 2 || n < 2 || !inside(alpha) {
		return math.NaN()
	}
	others, dof := float64(p-1), float64(n-1)
	f := distuv.F{D1: others * dof, D2: dof}.Quantile(alpha)
	return math.Sqrt(float64(p) / (1 + others*f))
}

// Precision is what repeated readings by several testers say, in their unit.
type Precision struct {
	Mean            float64 // of all readings
	Repeatability   float64 // s_r, standard deviation within a tester
	Between         float64 // s_L, of testers' biases; 0 where the scatter within explains all
	Reproducibility float64 // s_R = sqrt(s_r^2 + s_L^2)
	MeanCount       float64 // readings a tester, weighted as the analysis of variance asks
}

// PrecisionOf returns the precision of readings, one list a tester; empty lists
// are left out. All members but Mean are NaN with fewer than two testers or
// without any repeat.
//
// Source: ISO 5725-2, 7.4.5, for unequal numbers of readings.
func PrecisionOf(readings [][]float64) Precision {
	var total, squaredCounts, sum, within, testers float64
	for _, x := range readings {
		if len(x) == 0 {
			continue
		}
		n := float64(len(x))
		testers, total, squaredCounts = testers+1, total+n, squaredCounts+n*n
		sum += n * stat.Mean(x, nil)
		within += squares(x)
	}
	nan := math.NaN()
	mean := sum / total
	if testers < 2 || total == testers {
		return Precision{mean, nan, nan, nan, nan}
	}
	between := 0.0
	for _, x := range readings {
		if len(x) > 0 {
			d := stat.Mean(x, nil) - mean
			between += float64(len(x)) * d * d
		}
	}
	count := (total - squaredCounts/total) / (testers - 1)
	r2 := within / (total - testers)
	l2 := max(0, (between/(testers-1)-r2)/count)
	return Precision{mean, math.Sqrt(r2), math.Sqrt(l2), math.Sqrt(r2 + l2), count}
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
