package interlab

import (
	"math"
	"slices"
)

// BenjaminiHochberg returns adjusted p-values: rejecting those up to q keeps the
// expected share of false alarms among the rejected at q, for independent or
// positively dependent tests. The order is that of p; NaN stays NaN and counts not.
//
// Source: Benjamini and Hochberg 1995, section 3.1.
func BenjaminiHochberg(p []float64) []float64 {
	return fromLargest(p, 1)
}

// BenjaminiYekutieli returns adjusted p-values as BenjaminiHochberg, for any
// dependence: larger by the sum of 1/k over the number of tests.
//
// Source: Y. Benjamini, D. Yekutieli, Annals of Statistics 29 (2001) 1165-1188.
func BenjaminiYekutieli(p []float64) []float64 {
	sum := 0.0
	for k := range ascending(p) {
		sum += 1 / float64(k+1)
	}
	return fromLargest(p, sum)
}

// fromLargest returns min over larger p of factor n p/rank, at most 1.
func fromLargest(p []float64, factor float64) []float64 {
	order := ascending(p)
	out := nans(len(p))
	lowest := 1.0
	for k := len(order) - 1; k >= 0; k-- {
		lowest = min(lowest, factor*float64(len(order))*p[order[k]]/float64(k+1))
		out[order[k]] = lowest
	}
	return out
}

// Holm returns adjusted p-values: rejecting those up to alpha keeps the
// probability of any false alarm at alpha, whatever the dependence. The order is
// that of p; NaN stays NaN and counts not.
//
// Source: Holm 1979.
func Holm(p []float64) []float64 {
	order := ascending(p)
	out := nans(len(p))
	highest := 0.0
	for k, i := range order {
		highest = max(highest, min(1, float64(len(order)-k)*p[i]))
		out[i] = highest
	}
	return out
}

// Hommel returns adjusted p-values that are never larger than Holm's, for
// independent or positively dependent tests. Cost n^2.
//
// Source: G. Hommel, Biometrika 75 (1988) 383-386, in the form of S. P. Wright,
// Biometrics 48 (1992) 1005-1013.
func Hommel(p []float64) []float64 {
	order := ascending(p)
	n := len(order)
	adjusted := make([]float64, n)
	for k := range adjusted {
		adjusted[k] = simes(p, order, n)
	}
	for m := n - 1; m >= 2; m-- {
		hommelStep(p, order, adjusted, m)
	}
	out := nans(len(p))
	for k, i := range order {
		out[i] = min(1, max(adjusted[k], p[i]))
	}
	return out
}

// simes returns min over the m largest of m p/rank within them.
func simes(p []float64, order []int, m int) float64 {
	lowest := math.Inf(1)
	for k := 1; k <= m; k++ {
		lowest = min(lowest, float64(m)*p[order[len(order)-m+k-1]]/float64(k))
	}
	return lowest
}

func hommelStep(p []float64, order []int, adjusted []float64, m int) {
	first := len(order) - m + 1 // how many are not among the m-1 largest
	lowest := math.Inf(1)
	for k := 2; k <= m; k++ {
		lowest = min(lowest, float64(m)*p[order[len(order)-m+k-1]]/float64(k))
	}
	for k := range adjusted {
		one := p[order[min(k, first-1)]]
		adjusted[k] = max(adjusted[k], min(float64(m)*one, lowest))
	}
}

// ascending returns the positions of the numbers from the smallest, without NaN.
func ascending(p []float64) []int {
	var order []int
	for i, v := range p {
		if !math.IsNaN(v) {
			order = append(order, i)
		}
	}
	slices.SortStableFunc(order, func(a, b int) int {
		if p[a] < p[b] {
			return -1
		}
		if p[a] > p[b] {
			return 1
		}
		return 0
	})
	return order
}

func nans(n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = math.NaN()
	}
	return out
}
