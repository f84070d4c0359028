package budget_test

import "math"

// A working is the point at which closed-form sensitivities are wanted.
type working struct {
	TerminalW     float64 // power at the panel's terminals, cable loss included
	CableW        float64 // of that, the loss in the cable: I^2 R
	PoaWM2        float64 // effective irradiance of the translation
	CellC         float64 // cell temperature
	AirC          float64 // air temperature; used where the cell temperature is modelled
	WindMS        float64 // wind; used where the cell temperature is modelled
	GammaPerK     float64 // relative temperature coefficient of power, negative
	K1, K2        float64 // low light: e = 1 + K1 ln(G/1000) + K2 ln^2(G/1000)
	BackToCellK   float64 // cell above back at 1000 W/m2
	WindA, WindBW float64 // King's a and b_w: back = air + G exp(a + b_w W)
}

// sensitivities holds d ln P_stc / dx for the inputs of the measurement model;
// a relative input has the unit 1.
type sensitivities struct {
	Indicated      float64 // relative error of the indicated power
	Resistance     float64 // relative error of the cable's resistance
	Current        float64 // relative error of the current in the cable term
	Tracker        float64 // relative error of the tracker factor
	Metered        float64 // relative error of a metered irradiance, cell temperature from the back
	Estimated      float64 // relative error of an estimated irradiance, cell temperature modelled from it
	CellPerK       float64 // error of the cell, back or air temperature, 1/K
	GammaPerPerK   float64 // error of gamma, K
	BackToCellPerK float64 // error of the cell-above-back step at 1000 W/m2, 1/K
	WindPerMS      float64 // error of the wind, s/m
	LowLight       float64 // absolute error of e(G)
	Method         float64 // relative error of the translation itself
}

// at returns the closed-form relative sensitivities of the simple translation
//
//	P_stc = P_term/m * 1000/G / ((1 + gamma (Tc-25)) e(G))
//
// at a working point, with D = 1 + gamma (Tc-25), L = ln(G/1000):
//
//	indicated   (P_term - I^2 R)/P_term       resistance  I^2 R/P_term
//	current     2 I^2 R/P_term                tracker     -1
//	metered G   -1 - gamma dT (G/1000)/D - (k1 + 2 k2 L)/e
//	estimated G -1 - gamma (Tc-Ta)/D - (k1 + 2 k2 L)/e
//	Tc          -gamma/D                      gamma       -(Tc-25)/D
//	dT          -gamma (G/1000)/D             wind        -gamma b_w G exp(a + b_w W)/D
//	e           -1/e                          method      1
//
// An irradiance that reads high makes a modelled cell hot as well; the two
// errors partly cancel, which is why G and Tc must not be budgeted as if each
// came from elsewhere.
//
// Error: exact derivatives; against the differences of Budget.Move they leave out
// the second order, below 0.2 % of the sensitivity for an input of 4 %.
//
// Source: differentiation by hand; FuzzSensitivities compares with differences.
func (w working) at() sensitivities {
	d := 1 + w.GammaPerK*(w.CellC-25)
	l := math.Log(w.PoaWM2 / 1000)
	e := 1 + (w.K1+w.K2*l)*l
	bend := (w.K1 + 2*w.K2*l) / e
	cable := w.CableW / w.TerminalW
	g := w.PoaWM2 / 1000
	return sensitivities{
		Indicated: 1 - cable, Resistance: cable, Current: 2 * cable, Tracker: -1,
		Metered:        -1 - w.GammaPerK*w.BackToCellK*g/d - bend,
		Estimated:      -1 - w.GammaPerK*(w.CellC-w.AirC)/d - bend,
		CellPerK:       -w.GammaPerK / d,
		GammaPerPerK:   -(w.CellC - 25) / d,
		BackToCellPerK: -w.GammaPerK * g / d,
		WindPerMS:      -w.GammaPerK * w.WindBW * w.PoaWM2 * math.Exp(w.WindA+w.WindBW*w.WindMS) / d,
		LowLight:       -1 / e, Method: 1,
	}
}
