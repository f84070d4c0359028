package diode

import "math"

// A section is a number of equal cells in series with a bypass diode across
// them or none (bypassV +Inf).
type section struct {
	cell    Cell
	cells   float64
	bypassV float64
}

// volts returns the voltage of the section at a current and its slope.
func (s section) volts(currentA float64) (volts, slopeOhm float64) {
	x, slopeS := s.cell.solve(currentA)
	v := s.cells * (x - currentA*s.cell.SeriesOhm)
	if v <= -s.bypassV {
		return -s.bypassV, 0
	}
	return v, s.cells * (1/slopeS - s.cell.SeriesOhm)
}

// A chain is sections in series, at most two kinds of them, behind a blocking
// diode or none (blockingV 0).
type chain struct {
	lit, covered           section
	litCount, coveredCount float64
	blocking               bool
	blockingV              float64
}

// volts returns the voltage of the chain before its blocking diode, and its slope.
func (c chain) volts(currentA float64) (volts, slopeOhm float64) {
	if c.litCount > 0 {
		v, slope := c.lit.volts(currentA)
		volts, slopeOhm = c.litCount*v, c.litCount*slope
	}
	if c.coveredCount > 0 {
		v, slope := c.covered.volts(currentA)
		volts, slopeOhm = volts+c.coveredCount*v, slopeOhm+c.coveredCount*slope
	}
	return volts, slopeOhm
}

// amps returns the current of the chain at a voltage of 0 or more.
func (c chain) amps(voltageV float64) float64 {
	if !c.blocking {
		return c.ampsBefore(voltageV)
	}
	return math.Max(0, c.ampsBefore(voltageV+c.blockingV))
}

func (c chain) ampsBefore(voltageV float64) float64 {
	if c.coveredCount == 0 {
		return c.lit.cell.CurrentA(voltageV / (c.litCount * c.lit.cells))
	}
	if c.litCount == 0 {
		return c.covered.cell.CurrentA(voltageV / (c.coveredCount * c.covered.cells))
	}
	high := math.Max(c.lit.cell.PhotocurrentA, c.covered.cell.PhotocurrentA)
	low := 0.0
	for step := 0.01 * high; step < 1e6*high; step *= 4 {
		v, _ := c.volts(low)
		if v >= voltageV {
			break
		}
		high, low = low, low-step
	}
	return rising(low, high, (low+high)/2, func(i float64) (float64, float64) {
		v, slope := c.volts(i)
		return voltageV - v, -slope
	})
}

// A circuit is chains in parallel: one with covered sections, and others.
type circuit struct {
	chains []chain
	counts []float64
	openV  float64 // no chain delivers above
}

func (c circuit) powerW(voltageV float64) float64 {
	var amps float64
	for k, one := range c.chains {
		amps += c.counts[k] * one.amps(voltageV)
	}
	return voltageV * amps
}

// peaks returns the local maxima of power over voltage in rising order of
// voltage, each to 1e-7 of the open-circuit voltage.
func (c circuit) peaks() []PowerPoint {
	const steps = 120
	var grid [steps + 1]float64
	for k := range grid {
		grid[k] = c.powerW(c.openV * float64(k) / steps)
	}
	var found []PowerPoint
	for k := 1; k < steps; k++ {
		if grid[k] > 0 && grid[k] >= grid[k-1] && grid[k] > grid[k+1] {
			found = append(found, c.refine(c.openV*float64(k-1)/steps, c.openV*float64(k+1)/steps))
		}
	}
	return found
}

// refine narrows a bracket of one local maximum by golden section.
func (c circuit) refine(low, high float64) PowerPoint {
	const golden = 0.6180339887498949
	a, b := high-golden*(high-low), low+golden*(high-low)
	pa, pb := c.powerW(a), c.powerW(b)
	for high-low > 1e-7*c.openV {
		if pa > pb {
			high, b, pb = b, a, pa
			a = high - golden*(high-low)
			pa = c.powerW(a)
		} else {
			low, a, pa = a, b, pb
			b = low + golden*(high-low)
			pb = c.powerW(b)
		}
	}
	if pa > pb {
		b, pb = a, pa
	}
	return PowerPoint{VoltageV: b, CurrentA: pb / b, PowerW: pb}
}
