package celltemp

import "math"

// WarmUpEnoughMin is the time in the sun, in minutes, after which a panel counts as
// steady: a fabric panel has about a third of the heat capacity of glass, with a time
// constant near 1 minute instead of 4, and three time constants are 95 % of the way
// (common practice from the mass by area, no source).
const WarmUpEnoughMin = 5

// Standard uncertainties in K that a panel adds which may not be steady (common
// practice, no source).
const (
	UnsteadyUK       = 5 // warm-up too short, or the back seen to change
	UnstatedWarmUpUK = 3 // warm-up not known
)

// FastKPerMin is the change of a back's temperature, K/min, above which the panel is
// not steady (common practice, no source).
const FastKPerMin = 1

// TransientUK returns the standard uncertainty in K that is added in quadrature for a
// panel that may not be steady: 5 before five minutes in the sun or where the back
// changes by more than 1 K/min either way, 3 where the time is not known (nil), else 0.
//
// warmUpMin is 0 or more, backKPerMin the change of the back, nil where not known.
//
// Error: the figures are the statement.
//
// Source: common practice, no source.
func TransientUK(warmUpMin, backKPerMin *float64) float64 {
	switch {
	case warmUpMin != nil && *warmUpMin < WarmUpEnoughMin, backKPerMin != nil && math.Abs(*backKPerMin) > FastKPerMin:
		return UnsteadyUK
	case warmUpMin == nil:
		return UnstatedWarmUpUK
	}
	return 0
}
