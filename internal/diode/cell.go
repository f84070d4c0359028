package diode

import "math"

// A Breakdown says how a cell conducts in reverse.
type Breakdown struct {
	Share    float64 // share ab of the shunt current that avalanches, 0 or more
	VoltageV float64 // breakdown voltage Vbr, below 0
	Exponent float64 // m, above 0
}

// SiliconBreakdown returns share 0.002, -15 V and exponent 3.4, for crystalline
// cells with contacts on both sides. Back-contact cells break down near -3.5 to
// -6 V. All of these are common practice, no source.
func SiliconBreakdown() Breakdown {
	return Breakdown{Share: 0.002, VoltageV: -15, Exponent: 3.4}
}

// Check returns nil or a *RangeError.
func (b Breakdown) Check() error {
	return firstFault(
		atLeast("Share", b.Share, 0),
		above("-VoltageV", -b.VoltageV, 0),
		within("Exponent", b.Exponent, 0.1, 20),
	)
}

// A Cell is one cell with its reverse characteristic, at a junction voltage x:
//
//	I = IL - I0*(exp(x/a) - 1) - x/Rsh*(1 + ab*(1 - x/Vbr)^-m)
//
// Source: J. Bishop, Solar Cells 25 (1988) 73-89, eq. 10.
type Cell struct {
	Curve
	Breakdown
}

// Cell returns one of n equal cells in series whose curve together is c; n need
// not be whole. A curve or breakdown outside its range gives NaN later on.
func (c Curve) Cell(n float64, b Breakdown) Cell {
	return Cell{Curve{c.PhotocurrentA, c.SaturationA, c.SeriesOhm / n, c.ShuntOhm / n, c.DiodeV / n}, b}
}

// Shaded returns the cell with its photocurrent times transmission (0 to 1). The
// shunt is left as it is: whether it scales with light inside a string is unknown.
func (c Cell) Shaded(transmission float64) Cell {
	c.PhotocurrentA *= transmission
	return c
}

// VoltageV returns the terminal voltage in V at a current that may exceed what
// the cell generates; it is then negative, and never below Vbr less the drop in
// Rs. NaN for an unsound cell or a current that is no number.
func (c Cell) VoltageV(currentA float64) float64 {
	if !c.sound() || math.IsNaN(currentA) || math.IsInf(currentA, 0) {
		return math.NaN()
	}
	x, _ := c.solve(currentA)
	return x - currentA*c.SeriesOhm
}

// CurrentA returns the current in A at a terminal voltage, negative beyond open
// circuit. NaN for an unsound cell or a voltage that is no number.
func (c Cell) CurrentA(voltageV float64) float64 {
	if !c.sound() || math.IsNaN(voltageV) || math.IsInf(voltageV, 0) {
		return math.NaN()
	}
	low := math.Min(c.Breakdown.VoltageV, voltageV)
	high := math.Max(0, voltageV) + c.SeriesOhm*(c.PhotocurrentA+c.SaturationA)
	start := voltageV + c.SeriesOhm*c.Curve.CurrentA(voltageV)
	if voltageV < 0 { // breakdown current may hold the junction well above voltageV
		low, high = c.Breakdown.VoltageV, math.Max(high, 0)
		start = math.Max(start, 0.999*low)
	}
	x := rising(low, high, start, func(x float64) (float64, float64) {
		i, slope := c.junction(x)
		return x - c.SeriesOhm*i - voltageV, 1 - c.SeriesOhm*slope
	})
	i, slope := c.junction(x)
	if -slope*c.SeriesOhm > 1 { // the junction is steep, the drop in Rs is not
		return (x - voltageV) / c.SeriesOhm
	}
	return i
}

func (c Cell) sound() bool {
	return c.Curve.sound() && c.Breakdown.Check() == nil
}

// junction returns the current at a junction voltage above Vbr, and its slope.
func (c Cell) junction(x float64) (currentA, slopeS float64) {
	grown := c.SaturationA * math.Exp(math.Min(x/c.DiodeV, 700))
	room := math.Max(1-x/c.Breakdown.VoltageV, 1e-12)
	avalanche := c.Share * math.Pow(room, -c.Exponent)
	shuntS := 1 / c.ShuntOhm
	i := c.PhotocurrentA - (grown - c.SaturationA) - x*shuntS*(1+avalanche)
	slope := -grown/c.DiodeV - shuntS*(1+avalanche) - x*shuntS*avalanche*c.Exponent/(room*c.Breakdown.VoltageV)
	return i, slope
}

// solve returns the junction voltage at a current and the slope of I there.
func (c Cell) solve(currentA float64) (x, slopeS float64) {
	low, high := c.Breakdown.VoltageV, 0.0
	start := c.Curve.junctionV(currentA)
	if currentA <= c.PhotocurrentA {
		low, high = 0, start+1e-9*math.Abs(start)
	} else {
		start = math.Max(start, c.avalancheV(currentA))
	}
	x = rising(low, high, start, func(x float64) (float64, float64) {
		i, slope := c.junction(x)
		slopeS = slope
		return currentA - i, -slope
	})
	return x, slopeS
}

// avalancheV returns the junction voltage at which the avalanche alone, at full
// breakdown voltage, would carry what the light does not: a start for solve that
// stays off the pole at Vbr, where a Newton step is tiny and means nothing.
func (c Cell) avalancheV(currentA float64) float64 {
	carried := c.Share * -c.Breakdown.VoltageV / c.ShuntOhm
	room := math.Pow(carried/(currentA-c.PhotocurrentA), 1/c.Exponent)
	return c.Breakdown.VoltageV * (1 - math.Max(1e-6, math.Min(room, 1)))
}

// rising returns the zero between low and high of a rising function that returns
// its value and slope: Newton steps from start, bisection where they leave the
// bracket or do not shrink. A Newton step below 1e-9 of x is the last, the next
// one would be of the order of its square. At most 200 steps.
func rising(low, high, start float64, f func(float64) (float64, float64)) float64 {
	x := math.Max(low, math.Min(start, high))
	before := high - low
	for range 200 {
		value, slope := f(x)
		if value > 0 {
			high = x
		} else {
			low = x
		}
		step := value / slope
		next := x - step
		newton := next >= low && next <= high && math.Abs(step) <= 0.7*before
		if !newton {
			next = low + (high-low)/2
		}
		before = math.Abs(next - x)
		x = next
		if newton && before <= 1e-9*math.Abs(x) || before <= 1e-15*math.Abs(x) {
			break
		}
	}
	return x
}
