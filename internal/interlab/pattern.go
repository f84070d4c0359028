package interlab

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// A Pattern says how far a vector is from where it should be, all numbers at once.
type Pattern struct {
	Squared float64 // Mahalanobis distance squared
	Rank    int     // directions in which the vector can vary: degrees of freedom
	P       float64 // probability of a larger distance by chance, from chi-square
}

// Mahalanobis returns d' C^+ d of a deviation d with covariance C, C^+ the
// generalised inverse: directions with less than 1e-10 of the largest variance do
// not count, as scores that sum to 0. All NaN where the sizes differ, where a
// number is not finite or C is 0.
//
// Source: P. C. Mahalanobis, Proceedings of the National Institute of Sciences of
// India 2 (1936) 49-55.
func Mahalanobis(deviation []float64, covariance mat.Symmetric) Pattern {
	nothing := Pattern{math.NaN(), 0, math.NaN()}
	n := len(deviation)
	if n == 0 || covariance.SymmetricDim() != n || !allFinite(deviation, covariance) {
		return nothing
	}
	var eigen mat.EigenSym
	if !eigen.Factorize(covariance, true) {
		return nothing
	}
	values := eigen.Values(nil)
	var vectors mat.Dense
	eigen.VectorsTo(&vectors)
	out := Pattern{}
	for k, variance := range values {
		if !(variance > 1e-10*values[n-1]) {
			continue
		}
		along := mat.Dot(vectors.ColView(k), mat.NewVecDense(n, deviation))
		out.Squared += along * along / variance
		out.Rank++
	}
	if out.Rank == 0 {
		return nothing
	}
	out.P = ChiSquareTail(out.Squared, out.Rank)
	return out
}

func allFinite(deviation []float64, covariance mat.Symmetric) bool {
	for i, d := range deviation {
		sum := d
		for j := range deviation {
			sum += covariance.At(i, j)
		}
		if math.IsNaN(sum) || math.IsInf(sum, 0) {
			return false
		}
	}
	return true
}
