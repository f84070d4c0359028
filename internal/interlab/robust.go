package interlab

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// madToSD makes the median absolute deviation of normal numbers their standard
// deviation, to the four decimals that are customary.
const madToSD = 1.4826

// Median returns the middle of the numbers, the mean of the two middle ones where
// their count is even; NaN of none.
func Median(x []float64) float64 {
	n := len(x)
	if n == 0 {
		return math.NaN()
	}
	sorted := slices.Sorted(slices.Values(x))
	return (sorted[(n-1)/2] + sorted[n/2]) / 2
}

// MAD returns 1.4826 times the median of |x - median|, a robust standard deviation.
func MAD(x []float64) float64 {
	m := Median(x)
	deviations := make([]float64, len(x))
	for i, v := range x {
		deviations[i] = math.Abs(v - m)
	}
	return madToSD * Median(deviations)
}

// ScaledIQR returns the interquartile range over 1.349, a robust standard
// deviation; quartiles by linear interpolation at 1 + (n-1)q. NaN of none.
func ScaledIQR(x []float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	sorted := slices.Sorted(slices.Values(x))
	return (interpolate(sorted, 0.75) - interpolate(sorted, 0.25)) / 1.349
}

func interpolate(sorted []float64, q float64) float64 {
	at := q * float64(len(sorted)-1)
	k := int(at)
	if k+1 == len(sorted) {
		return sorted[k]
	}
	return sorted[k] + (at-float64(k))*(sorted[k+1]-sorted[k])
}

// A Robust is a robust mean and standard deviation in the unit of the numbers.
type Robust struct {
	Mean, SD  float64
	Converged bool // whether the last step was below the tolerance
}

// mostSteps ends every robust iteration; they need 10 to 40.
const mostSteps = 1000

// AlgorithmA returns the robust mean and standard deviation of ISO 13528: from
// median and MAD, values are clipped at x* -+ 1.5 s*, then x* is their mean and s*
// 1.134 times their standard deviation, until neither changes by 1e-12. Half or
// more equal values give those and 0. NaN of none.
//
// Source: ISO 13528:2015, C.3.
func AlgorithmA(x []float64) Robust {
	return clipping(x, 1.5, func(squares, n float64) float64 { return 1.134 * math.Sqrt(squares/(n-1)) })
}

// HuberProposal2 returns Huber's joint estimate of mean and standard deviation:
// clipping at k standard deviations, whose effect on the variance of normal
// numbers is divided out. k is usually 1.5.
//
// Source: Huber 1981, section 6.4, with n-1 for n.
func HuberProposal2(x []float64, k float64) Robust {
	normal := distuv.UnitNormal
	in := 2*normal.CDF(k) - 1
	beta := in + k*k*(1-in) - 2*k*normal.Prob(k)
	return clipping(x, k, func(squares, n float64) float64 { return math.Sqrt(squares / (n - 1) / beta) })
}

// HuberMean returns Huber's estimate of the mean with the standard deviation held
// at MAD: the mean of values clipped at k of it. k is usually 1.345 or 1.5.
//
// Source: Huber 1981, section 3.2.
func HuberMean(x []float64, k float64) Robust {
	sd := MAD(x)
	return clipping(x, k, func(_, _ float64) float64 { return sd })
}

// clipping iterates clipped mean and scale; scale gets the sum of squares of the
// clipped values about their mean and their number.
func clipping(x []float64, k float64, scale func(squares, n float64) float64) Robust {
	r := Robust{Mean: Median(x), SD: MAD(x)}
	clipped := make([]float64, len(x))
	for range mostSteps {
		if !(r.SD > 0) {
			r.Converged = r.SD == 0
			return r
		}
		sum := 0.0
		for i, v := range x {
			clipped[i] = min(max(v, r.Mean-k*r.SD), r.Mean+k*r.SD)
			sum += clipped[i]
		}
		next := Robust{Mean: sum / float64(len(x)), SD: scale(squares(clipped), float64(len(x)))}
		small := 1e-12 * next.SD
		if math.Abs(next.Mean-r.Mean) <= small && math.Abs(next.SD-r.SD) <= small {
			next.Converged = true
			return next
		}
		r = next
	}
	return r
}

// Sn returns 1.1926 times the low median over i of the high median over j of
// |x_i - x_j|, with the correction for small samples: a robust standard deviation
// that needs no centre. NaN for fewer than two numbers. Cost n^2 log n.
//
// Source: Rousseeuw and Croux 1993; corrections of Croux and Rousseeuw 1992.
func Sn(x []float64) float64 {
	n := len(x)
	if n < 2 {
		return math.NaN()
	}
	outer, inner := make([]float64, n), make([]float64, n)
	for i := range x {
		for j := range x {
			inner[j] = math.Abs(x[i] - x[j])
		}
		slices.Sort(inner)
		outer[i] = inner[n/2]
	}
	slices.Sort(outer)
	return 1.1926 * snCorrection(n) * outer[(n+1)/2-1]
}

func snCorrection(n int) float64 {
	small := [...]float64{0.743, 1.851, 0.954, 1.351, 0.993, 1.198, 1.005, 1.131}
	switch {
	case n < 10:
		return small[n-2]
	case n%2 == 1:
		return float64(n) / (float64(n) - 0.9)
	}
	return 1
}

// Qn returns 2.21914 times the k-th smallest |x_i - x_j|, k = h(h-1)/2 with
// h = n/2 + 1, corrected for small samples: a robust standard deviation of high
// efficiency. NaN for fewer than two numbers. Cost n^2 log n.
//
// Source: Rousseeuw and Croux 1993; corrections as in robustbase 0.95, those below
// 13 numbers from memory.
func Qn(x []float64) float64 {
	n := len(x)
	if n < 2 {
		return math.NaN()
	}
	differences := make([]float64, 0, n*(n-1)/2)
	for i := range x {
		for j := range i {
			differences = append(differences, math.Abs(x[i]-x[j]))
		}
	}
	slices.Sort(differences)
	h := n/2 + 1
	return 2.21914 * qnCorrection(n) * differences[h*(h-1)/2-1]
}

func qnCorrection(n int) float64 {
	small := [...]float64{0.399356, 0.99365, 0.51321, 0.84401, 0.61220, 0.85877, 0.66993, 0.87344, 0.72014, 0.88906, 0.75743}
	m := float64(n)
	switch {
	case n <= 12:
		return small[n-2]
	case n%2 == 1:
		return 1 / ((1.60188+(-2.1284-5.172/m)/m)/m + 1)
	}
	return 1 / ((3.67561+(1.9654+(6.987-77/m)/m)/m)/m + 1)
}

// HuberWeight returns min(1, k/|r|), the weight of a residual of r standard
// deviations; k is usually 1.345.
func HuberWeight(r, k float64) float64 {
	if math.Abs(r) <= k {
		return 1
	}
	return k / math.Abs(r)
}

// HampelWeight returns the three-part weight of a residual of r standard
// deviations: 1 up to a, a/|r| up to b, falling to 0 at c.
//
// Source: Hampel et al. 1986, section 2.6.
func HampelWeight(r, a, b, c float64) float64 {
	r = math.Abs(r)
	switch {
	case r <= a:
		return 1
	case r <= b:
		return a / r
	case r < c:
		return a * (c - r) / ((c - b) * r)
	case math.IsNaN(r):
		return r
	}
	return 0
}

// BisquareWeight returns (1 - (r/c)^2)^2, 0 beyond c; c is usually 4.685.
//
// Source: A. E. Beaton, J. W. Tukey, Technometrics 16 (1974) 147-185.
func BisquareWeight(r, c float64) float64 {
	if math.Abs(r) > c {
		return 0
	}
	u := 1 - (r/c)*(r/c)
	return u * u
}
