// Code generated for a test. DO NOT EDIT.

package tiny

// Made is left alone.
func Made(x float64) float64 { return 3 * x }
