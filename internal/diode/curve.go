package diode

import "math"

// A Curve is the current-voltage curve of cells in series at one irradiance and
// one temperature, as the single-diode circuit:
//
//	I = IL - I0*(exp((V + I*Rs)/a) - 1) - (V + I*Rs)/Rsh
//
// All methods return NaN on a curve that Check refuses, and for a NaN or
// infinite argument.
//
// Source: W. De Soto, S. Klein, W. Beckman, Improvement and validation of a
// model for photovoltaic array performance, Solar Energy 80 (2006) 78-88, eq. 1.
type Curve struct {
	PhotocurrentA float64 // IL, at least 0
	SaturationA   float64 // I0, above 0
	SeriesOhm     float64 // Rs, at least 0
	ShuntOhm      float64 // Rsh, above 0; +Inf is a panel without a shunt
	DiodeV        float64 // a = n*Nc*k*T/q, above 0
}

// A PowerPoint is a point of a curve and the power there.
type PowerPoint struct {
	VoltageV float64
	CurrentA float64
	PowerW   float64
}

// Check returns nil for a curve that a circuit can have, else a *RangeError
// that names the first parameter outside its range.
func (c Curve) Check() error {
	return firstFault(
		atLeast("PhotocurrentA", c.PhotocurrentA, 0),
		above("SaturationA", c.SaturationA, 0),
		atLeast("SeriesOhm", c.SeriesOhm, 0),
		aboveOrInfinite("ShuntOhm", c.ShuntOhm, 0),
		above("DiodeV", c.DiodeV, 0),
	)
}

// sound is Check without the message, for the inner loops.
func (c Curve) sound() bool {
	return c.PhotocurrentA >= 0 && c.PhotocurrentA <= math.MaxFloat64 &&
		c.SaturationA > 0 && c.SaturationA <= math.MaxFloat64 &&
		c.SeriesOhm >= 0 && c.SeriesOhm <= math.MaxFloat64 &&
		c.ShuntOhm > 0 && c.DiodeV > 0 && c.DiodeV <= math.MaxFloat64
}

// CurrentA returns the current in A at the terminal voltage voltageV, negative
// beyond open circuit and above short circuit below 0 V.
//
// Error: 1e-10 relative of the photocurrent, from rounding.
//
// Source: A. Jain, A. Kapoor, Exact analytical solutions of the parameters of
// real solar cells using Lambert W-function, Solar Energy Materials & Solar
// Cells 81 (2004) 269-277, eq. 3, here with the logarithm of the argument of W.
func (c Curve) CurrentA(voltageV float64) float64 {
	if !c.sound() || math.IsInf(voltageV, 0) || math.IsNaN(voltageV) {
		return math.NaN()
	}
	shuntS := 1 / c.ShuntOhm
	if c.SeriesOhm < 1e-200 { // W would be a subnormal number
		return c.PhotocurrentA - c.SaturationA*math.Expm1(voltageV/c.DiodeV) - voltageV*shuntS
	}
	divider := 1 + shuntS*c.SeriesOhm
	source := c.PhotocurrentA + c.SaturationA
	y := math.Log(c.SaturationA) + math.Log(c.SeriesOhm/(c.DiodeV*divider)) +
		(c.SeriesOhm*source+voltageV)/(c.DiodeV*divider)
	return (source-voltageV*shuntS)/divider - c.DiodeV/c.SeriesOhm*LambertWExp(y)
}

// VoltageV returns the terminal voltage in V at the current currentA. Above
// short circuit it is negative; with a shunt of +Inf and a current that only
// breakdown could carry it is -Inf, because the circuit has no such point.
//
// Error: 1e-12 relative of the open-circuit voltage, from rounding.
//
// Source: Jain & Kapoor 2004, eq. 4. The junction voltage comes from ln W, not
// from the difference of two numbers of the size Rsh*IL.
func (c Curve) VoltageV(currentA float64) float64 {
	if !c.sound() || math.IsInf(currentA, 0) || math.IsNaN(currentA) {
		return math.NaN()
	}
	return c.junctionV(currentA) - currentA*c.SeriesOhm
}

// junctionV returns the voltage V + I*Rs across the diode at a current.
func (c Curve) junctionV(currentA float64) float64 {
	surplus := c.PhotocurrentA - currentA
	if c.ShuntOhm > 1e9*c.DiodeV/c.SaturationA || math.IsInf(c.ShuntOhm, 1) {
		return c.unshuntedV(surplus)
	}
	scale := math.Log(c.SaturationA) + math.Log(c.ShuntOhm/c.DiodeV)
	y := scale + (surplus+c.SaturationA)*(c.ShuntOhm/c.DiodeV)
	w := LambertWExp(y)
	if w > 1 {
		return c.DiodeV * (math.Log(w) - scale)
	}
	return (surplus+c.SaturationA)*c.ShuntOhm - c.DiodeV*w
}

// unshuntedV is junctionV where the shunt carries less than rounding.
func (c Curve) unshuntedV(surplusA float64) float64 {
	if surplusA > -c.SaturationA {
		return c.DiodeV * math.Log1p(surplusA/c.SaturationA)
	}
	return (surplusA + c.SaturationA) * c.ShuntOhm
}

// ShortCircuitA returns the short-circuit current Isc in A: CurrentA at 0 V.
func (c Curve) ShortCircuitA() float64 { return c.CurrentA(0) }

// OpenCircuitV returns the open-circuit voltage Voc in V: VoltageV at 0 A.
func (c Curve) OpenCircuitV() float64 { return c.VoltageV(0) }

// MaximumPower returns the point of the curve between 0 V and open circuit with
// the most power. In the dark all three members are 0.
//
// The curve is written with the junction voltage x = V + I*Rs as parameter, so
// that I(x) and V(x) = x - I(x)*Rs are explicit, and Newton's method finds
// the one zero of d(V*I)/dx between 0 and Voc; power is concave in V, so there
// is no other. One exponential a step, no memory allocated.
//
// Error: power 1e-13, voltage and current 1e-10 relative (they are less well
// determined than the power, whose slope is zero there).
//
// Source: De Soto et al. 2006, eqs. 7 and 8 (the condition dP/dV = 0).
func (c Curve) MaximumPower() PowerPoint {
	if !c.sound() {
		return PowerPoint{math.NaN(), math.NaN(), math.NaN()}
	}
	if c.PhotocurrentA == 0 {
		return PowerPoint{}
	}
	open := c.junctionV(0)
	low, high := 0.0, open
	x := open - c.DiodeV*math.Log1p(open/c.DiodeV)
	for range 100 {
		slope, bend := c.powerSlope(x)
		if slope > 0 {
			low = x
		} else {
			high = x
		}
		next := x - slope/bend
		if !(next > low && next < high) {
			next = low + (high-low)/2
		}
		if math.Abs(next-x) <= 1e-15*open {
			break
		}
		x = next
	}
	return c.pointAt(x)
}

// powerSlope returns dP/dx and d2P/dx2 at the junction voltage x.
func (c Curve) powerSlope(x float64) (slope, bend float64) {
	grown := c.SaturationA * math.Exp(x/c.DiodeV)
	i := c.PhotocurrentA - (grown - c.SaturationA) - x/c.ShuntOhm
	di := -grown/c.DiodeV - 1/c.ShuntOhm
	ddi := -grown / (c.DiodeV * c.DiodeV)
	slope = i + x*di - 2*c.SeriesOhm*i*di
	bend = 2*di + x*ddi - 2*c.SeriesOhm*(di*di+i*ddi)
	return slope, bend
}

// pointAt returns the point of the curve with the junction voltage x.
func (c Curve) pointAt(x float64) PowerPoint {
	i := c.PhotocurrentA - c.SaturationA*math.Expm1(x/c.DiodeV) - x/c.ShuntOhm
	v := x - i*c.SeriesOhm
	return PowerPoint{VoltageV: v, CurrentA: i, PowerW: v * i}
}

// FillFactor returns Pmax/(Isc*Voc), between 0 and 1; NaN in the dark.
func (c Curve) FillFactor() float64 {
	return c.MaximumPower().PowerW / (c.ShortCircuitA() * c.OpenCircuitV())
}
