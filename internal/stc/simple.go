package stc

// Conditions are what a panel sees: light and its own temperature.
type Conditions struct {
	PoaWM2 float64 // effective irradiance on the plane of the panel, W/m2
	CellC  float64 // cell temperature, C
}

// Standard returns standard test conditions, 1000 W/m2 and 25 C.
//
// Error: none. Source: definition, IEC TS 61836.
func Standard() Conditions { return Conditions{PoaWM2: 1000, CellC: 25} }

// SimplePower returns the power in W at standard conditions of a panel that delivers
// powerW at its terminals, at its maximum power point, under the given conditions:
//
//	P_stc = P 1000/G / ((1 + gamma (Tc-25)) e(G))
//
// gammaPerK is the relative temperature coefficient of power (-0.006 to -0.001 1/K),
// efficiency is e(G), see LowLight. A tracker's reading is divided by its factor first.
// NaN in gives NaN out; irradiance 0 gives Inf or NaN.
//
// Error: 0.3 %, one standard deviation, between 400 and 1200 W/m2 and 5 and 75 C for a
// known curve; at most 0.23 % on four exact single-diode curves. The panel's own gamma
// and e(G) are larger errors (package budget).
//
// Source: common practice for the form; checked in testdata/reference/physics/translation.json.
func SimplePower(powerW float64, at Conditions, gammaPerK, efficiency float64) float64 {
	temperature := 1 + gammaPerK*(at.CellC-25)
	return powerW * 1000 / at.PoaWM2 / (temperature * efficiency)
}

// LowestRankableWM2 is the irradiance below which a translated power is shown
// but not ranked (common practice, no source).
const LowestRankableWM2 = 400
