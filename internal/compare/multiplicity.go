package compare

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
