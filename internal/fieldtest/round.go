package fieldtest

import "math"

// Significant rounds a number to the six significant digits of all that is published:
// more than any field meter resolves. What cannot be scaled stays as it is.
func Significant(x float64) float64 {
	if x == 0 || math.IsNaN(x) || math.IsInf(x, 0) {
		return x
	}
	scale := math.Pow(10, 5-math.Floor(math.Log10(math.Abs(x))))
	if math.IsInf(scale, 0) || scale == 0 {
		return x
	}
	return math.Round(x*scale) / scale
}
