package stc

// Conditions are what a panel sees: light and its own temperature.
type Conditions struct {
	PoaWM2 float64 // effective irradiance on the plane of the panel, W/m2
	CellC  float64 // cell temperature, C
}

// Standard returns standard test conditions, 1000 W/m2 and 25 C.
func Standard() Conditions { return Conditions{PoaWM2: 1000, CellC: 25} }

// Simple scales a power by light and temperature. The zero LowLight assumes an
// efficiency that does not change with light.
type Simple struct {
	GammaPerK float64 // relative temperature coefficient of power, -0.006 to -0.001
	LowLight  LowLight
}

// Power returns the power in W at standard conditions of a panel that delivers
// powerW at its terminals, at its maximum power point, under the given
// conditions:
//
//	P_stc = P 1000/G / ((1 + gamma (Tc-25)) e(G))
//
// A tracker's reading is divided by TrackerFactor first. NaN in gives NaN out;
// irradiance 0 gives Inf or NaN.
//
// Error: 0.3 %, one standard deviation, between 400 and 1200 W/m2 and 5 and
// 75 C for a known curve; at most 0.23 % on four exact single-diode curves. The
// panel's own gamma and e(G) are larger errors (package budget).
//
// Source: common form; checked in testdata/reference/physics/translation.json.
func (s Simple) Power(powerW float64, at Conditions) float64 {
	return powerW * (1000 / at.PoaWM2) / ((1 + s.GammaPerK*(at.CellC-25)) * s.LowLight.Efficiency(at.PoaWM2))
}

// LowestRankableWM2 is the irradiance below which a translated power is shown
// but not ranked (common practice, no source).
const LowestRankableWM2 = 400

// Near tells whether conditions are close enough to standard ones for Simple to
// keep its error: 400 to 1200 W/m2 and 5 to 75 C.
func (c Conditions) Near() bool {
	return c.PoaWM2 >= LowestRankableWM2 && c.PoaWM2 <= 1200 && c.CellC >= 5 && c.CellC <= 75
}
