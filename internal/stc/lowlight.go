package stc

import "math"

// LowLight describes how the efficiency of a panel depends on the light, at
// constant temperature. The zero value is an efficiency of 1 everywhere.
type LowLight struct{ K1, K2 float64 }

// DefaultLowLight returns k1 and k2 of crystalline silicon from Chatzipanagi et
// al. (2025); the panel's temperature coefficient stays its own.
//
// Error: see budget.LowLightShare. Source: Chatzipanagi et al. (2025), k1 and k2 of
// crystalline silicon; table not checked.
func DefaultLowLight() LowLight { return LowLight{K1: -0.006756, K2: -0.016444} }

// Efficiency returns the efficiency at poaWM2 over that at 1000 W/m2:
//
//	e = 1 + k1 L + k2 L^2,  L = ln(G/1000)
//
// poaWM2 is 50 to 1400 W/m2. NaN for a negative irradiance.
//
// Error: over 13 measured crystalline modules 0.7, 1.6, 2.8, 4.6 % (one standard
// deviation) at 800, 600, 400, 200 W/m2.
//
// Source: Huld et al. (2011), equation 1, without its temperature terms.
func (l LowLight) Efficiency(poaWM2 float64) float64 { return l.AtLogarithm(LogSuns(poaWM2)) }

// AtLogarithm is Efficiency of L (-2.5 to 0.5), for callers that hold the logarithm.
//
// Error and source: those of Efficiency.
func (l LowLight) AtLogarithm(logSuns float64) float64 { return 1 + (l.K1+l.K2*logSuns)*logSuns }

// LogSuns returns ln(G/1000) of an irradiance in W/m2; NaN where it is negative, -Inf
// where it is 0.
//
// Error: to rounding. Source: definition, Huld et al. (2011), equation 1.
func LogSuns(poaWM2 float64) float64 { return math.Log(poaWM2 / 1000) }
