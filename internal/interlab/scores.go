package interlab

import "math"

// A Prediction is a normal distribution: what a label says a value should be.
type Prediction struct {
	Mean, SD float64
}

// LogLikelihoodRatio returns ln of how many times more likely a value is under
// another label than under the claimed one; positive speaks for the other. Its
// exponential above 1000 is a sign of a swapped label (common practice, no source).
//
// Source: the ratio of two normal densities.
func LogLikelihoodRatio(value float64, claimed, other Prediction) float64 {
	return other.logDensity(value) - claimed.logDensity(value)
}

// logDensity returns the logarithm of the density, less the constant ln sqrt(2 pi).
func (p Prediction) logDensity(x float64) float64 {
	z := (x - p.Mean) / p.SD
	return -z*z/2 - math.Log(p.SD)
}
