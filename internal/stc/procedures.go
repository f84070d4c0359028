package stc

import (
	"fmt"
	"math"
)

// A Point is one point of a current-voltage curve.
type Point struct{ VoltageV, CurrentA float64 }

// PowerW returns voltage times current in W.
func (p Point) PowerW() float64 { return p.VoltageV * p.CurrentA }

// A Procedure moves a point of a curve from one set of conditions to another.
// Procedure1, Procedure2 and Procedure4 do; procedure 3 needs two sweeps, see
// Between.
type Procedure interface {
	// Method returns the procedure's name.
	Method() Method
	// Translate returns where a point of the curve lies under other conditions.
	Translate(p Point, from, to Conditions) Point
	// Check returns a *Refusal where a coefficient is missing or senseless.
	Check() error
}

// Procedure1 is procedure 1 of IEC 60891 with absolute coefficients. It has no
// logarithm of light, so it is meant for changes of light of at most about 20 %
// (from memory of the standard).
type Procedure1 struct {
	IscA         float64 // short-circuit current of the same sweep, A
	AlphaAPerK   float64 // of the short-circuit current, A/K
	BetaVPerK    float64 // of the open-circuit voltage, V/K, negative
	SeriesOhm    float64 // internal series resistance
	KappaOhmPerK float64 // curve correction factor
}

// Method returns MethodProcedure1.
func (Procedure1) Method() Method { return MethodProcedure1 }

// Translate returns the point under the conditions to:
//
//	I2 = I1 + Isc1 (G2/G1 - 1) + alpha (T2-T1)
//	V2 = V1 - Rs (I2-I1) - kappa I2 (T2-T1) + beta (T2-T1)
//
// Not its own inverse: there and back moves a point by some 0.3 %.
//
// Error: up to 1.6 % with kappa 0, within 0.02 % with fitted factors, on four
// exact single-diode curves.
//
// Source: IEC 60891:2021, equations 1 and 2, from open implementations.
func (q Procedure1) Translate(p Point, from, to Conditions) Point {
	dT := to.CellC - from.CellC
	current := p.CurrentA + q.IscA*(to.PoaWM2/from.PoaWM2-1) + q.AlphaAPerK*dT
	voltage := p.VoltageV - q.SeriesOhm*(current-p.CurrentA) - q.KappaOhmPerK*current*dT + q.BetaVPerK*dT
	return Point{VoltageV: voltage, CurrentA: current}
}

// Check refuses a current of 0, a series resistance of 0, a kappa of 0 and
// anything that is not a number. kappa 0 stands for "not determined": without it
// simple scaling is better.
func (q Procedure1) Check() error {
	m := q.Method()
	switch {
	case !finite(q.IscA, q.AlphaAPerK, q.BetaVPerK, q.SeriesOhm, q.KappaOhmPerK):
		return refuse(m, ReasonInput, "a coefficient is not a number")
	case q.IscA <= 0:
		return refuse(m, ReasonMissing, "needs the short-circuit current of the same sweep")
	case q.SeriesOhm <= 0 || q.KappaOhmPerK == 0:
		return refuse(m, ReasonMissing, "needs series resistance and kappa of the panel type; without them simple_power is better")
	case q.BetaVPerK >= 0:
		return refuse(m, ReasonInput, fmt.Sprintf("beta %v V/K is not negative", q.BetaVPerK))
	}
	return nil
}

// Procedure2 is procedure 2 of IEC 60891 (2021) with relative coefficients.
type Procedure2 struct {
	VocSTCV      float64 // open-circuit voltage at standard conditions, V
	AlphaPerK    float64 // of the short-circuit current, 1/K
	BetaPerK     float64 // of the open-circuit voltage, 1/K, negative
	B1, B2       float64 // of the open-circuit voltage with light: 0.03 to 0.07, about 0
	SeriesOhm    float64 // Rs' at 25 C
	KappaOhmPerK float64 // kappa'
}

// Method returns MethodProcedure2.
func (Procedure2) Method() Method { return MethodProcedure2 }

// Translate returns the point under the conditions to:
//
//	f(G) = 1 + B1 ln(1000/G) + B2 ln^2(1000/G)
//	I2 = I1 (G2/G1) (1 + alpha (T2-25))/(1 + alpha (T1-25))
//	V2 = V1 + Voc (beta (f(G2)(T2-25) - f(G1)(T1-25)) + 1/f(G2) - 1/f(G1))
//	     - R1 (I2-I1) - kappa' I2 (T2-T1),   R1 = Rs' + kappa' (T1-25)
//
// It is its own inverse.
//
// Error: up to 1.5 % with kappa' 0, within 0.12 % with fitted factors, on four
// exact single-diode curves.
//
// Source: IEC 60891:2021, procedure 2; the form for a target other than standard
// conditions is our algebra.
func (q Procedure2) Translate(p Point, from, to Conditions) Point {
	warm1, warm2 := from.CellC-25, to.CellC-25
	f1, f2 := q.light(from.PoaWM2), q.light(to.PoaWM2)
	current := p.CurrentA * (to.PoaWM2 / from.PoaWM2) * (1 + q.AlphaPerK*warm2) / (1 + q.AlphaPerK*warm1)
	series := q.SeriesOhm + q.KappaOhmPerK*warm1
	voltage := p.VoltageV + q.VocSTCV*(q.BetaPerK*(f2*warm2-f1*warm1)+1/f2-1/f1) -
		series*(current-p.CurrentA) - q.KappaOhmPerK*current*(to.CellC-from.CellC)
	return Point{VoltageV: voltage, CurrentA: current}
}

func (q Procedure2) light(poaWM2 float64) float64 {
	l := math.Log(1000 / poaWM2)
	return 1 + (q.B1+q.B2*l)*l
}

// Check refuses a missing open-circuit voltage, series resistance or kappa', a
// beta that is not negative and anything that is not a number.
func (q Procedure2) Check() error {
	m := q.Method()
	switch {
	case !finite(q.VocSTCV, q.AlphaPerK, q.BetaPerK, q.B1, q.B2, q.SeriesOhm, q.KappaOhmPerK):
		return refuse(m, ReasonInput, "a coefficient is not a number")
	case q.VocSTCV <= 0:
		return refuse(m, ReasonMissing, "needs the open-circuit voltage at standard conditions")
	case q.SeriesOhm <= 0 || q.KappaOhmPerK == 0:
		return refuse(m, ReasonMissing, "needs series resistance and kappa of the panel type; without them simple_power is better")
	case q.BetaPerK >= 0:
		return refuse(m, ReasonInput, fmt.Sprintf("beta %v/K is not negative", q.BetaPerK))
	}
	return nil
}

// Procedure4 is procedure 4 of IEC 60891 (2021), for crystalline silicon: the
// temperature coefficient of the voltage at any point of the curve follows from
// the band gap.
type Procedure4 struct {
	IscA          float64 // short-circuit current of the same sweep, A
	AlphaAPerK    float64 // of the short-circuit current, A/K
	SeriesOhm     float64 // from the slope of the same sweep near open circuit
	CellsInSeries int     // real cells in series: half cells in parallel count once
	Technology    string  // API name; must be crystalline
}

// Method returns MethodProcedure4.
func (Procedure4) Method() Method { return MethodProcedure4 }

// bandV is the voltage of a silicon cell towards which all curves of a cell run
// as it cools.
const bandV = 1.232

// Translate returns the point under the conditions to:
//
//	I2' = I1 + Isc1 (G2/G1 - 1);   Vt = V1 - Rs (I2'-I1)
//	V2 = Vt + (T2-T1)/(T1+273.15) (Vt - 1.232 Nc);   I2 = I2' + alpha (T2-T1)
//
// Error: within 0.37 % on four exact single-diode curves. A cell count of 72 for
// 60 shifts a measured module by 2 %.
//
// Source: Hishikawa et al. (2018); form from an open implementation.
func (q Procedure4) Translate(p Point, from, to Conditions) Point {
	dT := to.CellC - from.CellC
	current := p.CurrentA + q.IscA*(to.PoaWM2/from.PoaWM2-1)
	voltage := p.VoltageV - q.SeriesOhm*(current-p.CurrentA)
	voltage += dT / (from.CellC + 273.15) * (voltage - bandV*float64(q.CellsInSeries))
	return Point{VoltageV: voltage, CurrentA: current + q.AlphaAPerK*dT}
}

// Check refuses any technology but crystalline silicon, a missing current, cell
// count or series resistance and anything that is not a number.
func (q Procedure4) Check() error {
	m := q.Method()
	switch {
	case !Crystalline(q.Technology):
		return refuse(m, ReasonTechnology, fmt.Sprintf("knows crystalline silicon only, not technology %q", q.Technology))
	case !finite(q.IscA, q.AlphaAPerK, q.SeriesOhm):
		return refuse(m, ReasonInput, "a coefficient is not a number")
	case q.IscA <= 0 || q.SeriesOhm <= 0 || q.CellsInSeries <= 0:
		return refuse(m, ReasonMissing, "needs short-circuit current, series resistance and the number of cells in series")
	}
	return nil
}

func finite(values ...float64) bool {
	for _, v := range values {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return false
		}
	}
	return true
}

// checkConditions refuses light that is not positive and temperatures at which
// no panel works.
func checkConditions(m Method, cs ...Conditions) error {
	for _, c := range cs {
		if !(c.PoaWM2 > 0) || !(c.PoaWM2 <= 2500) || !(c.CellC >= -60) || !(c.CellC <= 150) {
			return refuse(m, ReasonInput, fmt.Sprintf("no translation for %v W/m2 and %v C", c.PoaWM2, c.CellC))
		}
	}
	return nil
}

// TranslatePoint returns where one point lies under other conditions, or a
// *Refusal if the procedure lacks a coefficient or the conditions make no sense.
func TranslatePoint(p Point, from, to Conditions, by Procedure) (Point, error) {
	if err := by.Check(); err != nil {
		return Point{}, err
	}
	if err := checkConditions(by.Method(), from, to); err != nil {
		return Point{}, err
	}
	return by.Translate(p, from, to), nil
}
