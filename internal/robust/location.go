package robust

import (
	"math"
	"slices"
)

// Median returns the middle of the numbers in their unit, whatever their range, the mean of
// the two middle ones where their count is even; NaN of none.
//
// Error: rounding.
//
// Source: a definition, no table or equation.
func Median(x []float64) float64 {
	n := len(x)
	if n == 0 {
		return math.NaN()
	}
	sorted := slices.Sorted(slices.Values(x))
	return (sorted[(n-1)/2] + sorted[n/2]) / 2
}

// mostSteps ends every robust iteration; they need 10 to 40.
const mostSteps = 1000

// BisquareWeight returns the weight (1 - (r/c)^2)^2, without unit and from 0 to 1, of a
// residual r in standard deviations (any number); 0 beyond c, above 0 and usually 4.685.
//
// Error: rounding.
//
// Source: A. E. Beaton, J. W. Tukey, Technometrics 16 (1974) 147-185, the biweight; its
// equation number is not known to us.
func BisquareWeight(r, c float64) float64 {
	if math.Abs(r) > c {
		return 0
	}
	u := 1 - (r/c)*(r/c)
	return u * u
}
