package celltemp

import (
	"math"
	"time"
)

// Time constants of the warming after a panel is unfolded. A fabric panel has about a
// third of the heat capacity of glass and is steady in 2 to 4 minutes instead of 7 to
// 15; three time constants are 95 % of the way (common practice from the mass by
// area, no source).
const (
	FabricTimeConstant = time.Minute
	GlassTimeConstant  = 4 * time.Minute
)

// WarmUpEnough is the time in the sun after which a panel counts as steady.
const WarmUpEnough = 5 * time.Minute

// Warming returns the temperature in C of a panel some time after it met the sun:
//
//	T(t) = Tend + (Tstart - Tend)*exp(-t/tau)
//
// startC is the temperature at first (often that of the air), steadyC where it goes,
// after the time in the sun and constant tau; both must not be negative. A tau of 0
// is a panel without heat capacity.
//
// Error: one time constant for a layered panel and steady weather: some kelvins
// underway.
//
// Source: Newton's law of cooling.
func Warming(startC, steadyC float64, after, constant time.Duration) float64 {
	if constant <= 0 {
		return steadyC
	}
	if after < 0 {
		after = 0
	}
	return steadyC + (startC-steadyC)*math.Exp(-float64(after)/float64(constant))
}

// TransientUK returns the standard uncertainty in K that is added in quadrature for a
// panel that may not be steady: 0 after five minutes in the sun, 5 before, 3 where the
// time is not known (nil). Common practice, no source.
func TransientUK(warmUp *time.Duration) float64 {
	switch {
	case warmUp == nil:
		return 3
	case *warmUp < WarmUpEnough:
		return 5
	}
	return 0
}

// DriftUK is TransientUK for a back temperature seen to change, in K a minute: 5 when
// it moves faster than 1 K/min either way, else 0.
func DriftUK(backKPerMin float64) float64 {
	if math.Abs(backKPerMin) > 1 {
		return 5
	}
	return 0
}
