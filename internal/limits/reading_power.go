package limits

import "math"

func (c *check) runNameplate() {
	c.currentAboveIsc()
	c.voltageAboveVoc()
	if c.in.Kind != OpenCircuit && c.in.Kind != ShortCircuit {
		c.powerAboveRating()
		c.powerAboveDiode()
		c.powerAboveSun()
	}
	if c.in.Kind == OperatingPoint {
		c.powerNotVI()
	}
	if c.in.Kind != OpenCircuit {
		c.currentConflict()
	}
}

func (c *check) currentAboveIsc() {
	in, n := c.in, &c.panel
	if in.Kind == OpenCircuit && !Given(in.CurrentA) {
		return
	}
	if !c.ready(ruleCurrentAboveIsc, lack(in.CurrentA, lacksCurrent)|lack(n.IscA, lacksIsc)) {
		return
	}
	b := guarded(c.iHold, c.iReject, c.uCurrentA)
	s, limit := b.Above(in.CurrentA)
	if s == OK {
		return
	}
	basis := append([]Input{given("isc_a", n.IscA, 0), given("alpha_isc_per_k", n.AlphaPerK, c.set.AlphaPerK),
		c.cellBasis("hottest_cell_c", c.hotC), given("u_current_a", in.UCurrentA, c.uCurrentA)}, c.lightBasis(s)...)
	c.out.add(Doubt{Severity: s, Field: "current_a", Value: in.CurrentA, Limit: limit, Relation: "<=", Unit: "A", Basis: basis},
		ruleCurrentAboveIsc, "the most that this panel's Isc allows in this light", c.tooMuch("the current", in.CurrentA, n.IscA*c.litWM2()/stcWM2))
}

// tooMuch names the likely cause of an electrical value above its ceiling; one is what one
// panel usually gives in this light.
func (c *check) tooMuch(what string, value, one float64) string {
	poa := c.in.POAWM2
	switch {
	case c.exchanged():
		return "With voltage and current exchanged both fit this panel: was it " + number(c.in.CurrentA, 4) + " V and " + number(c.in.VoltageV, 4) + " A?"
	case c.metered && poa > 0 && poa < 2:
		return "The irradiance of " + number(poa, 4) + " W/m2 looks like kW/m2: " + number(1000*poa, 4) + " W/m2?"
	case c.metered && poa > 20 && poa < 150 && c.in.ClearPOAWM2 > 4*poa:
		return "The irradiance of " + number(poa, 4) + " W/m2 looks like mW/cm2: " + number(10*poa, 4) + " W/m2?"
	case c.metered && value > 1.6*one && value < 2.4*one:
		return "That is about twice what one such panel gives in this light: were two connected? A reading is of one panel. Or was the meter shaded?"
	case c.metered:
		return "Check the irradiance (was the meter in the plane of the panel, unshaded?), the panel model and the decimal point of " + what + "."
	}
	return "The light is reckoned for this time, place and plane of a clear sky: check those (offset from UTC, signs, azimuth), the panel model, the decimal point of " +
		what + ", and whether two panels were connected; an irradiance meter would settle it."
}

func (c *check) tooMuchPower() string {
	return c.tooMuch("the power", c.powerW, c.panel.PmaxW*c.litWM2()/stcWM2)
}

// exchanged tells whether voltage and current fit the panel when they are exchanged.
func (c *check) exchanged() bool {
	v, i := c.in.CurrentA, c.in.VoltageV
	return v > 0.5*c.vocV && v < c.vHold && i < c.iHold && i > 0
}

// litWM2 is the light on the panel as measured, else that of a clear sky.
func (c *check) litWM2() float64 { return or(c.in.POAWM2, c.in.ClearPOAWM2) }

func (c *check) voltageAboveVoc() {
	in, n := c.in, &c.panel
	if in.Kind == ShortCircuit && !Given(in.VoltageV) {
		return
	}
	if !c.ready(ruleVoltageAboveVoc, lack(in.VoltageV, lacksVoltage)|lack(c.vocV, lacksVoc)) {
		return
	}
	b := guarded(c.vHold, c.vReject, c.uVoltageV)
	s, limit := b.Above(in.VoltageV)
	if s == OK {
		return
	}
	basis := append([]Input{c.vocBasis(), given("beta_voc_per_k", n.BetaPerK, lenientBeta(c.set, n.BetaPerK, c.coldC)),
		c.cellBasis("coldest_cell_c", c.coldC), given("u_voltage_v", in.UVoltageV, c.uVoltageV)}, c.lightBasis(s)...)
	cure := "Check the panel model and its Voc."
	switch {
	case c.exchanged():
		cure = c.tooMuch("the voltage", in.VoltageV, n.VocV)
	case in.VoltageV > 1.4*c.vocV && in.VoltageV < 2.3*c.vocV: // at maximum power two stand at 1.5 to 1.7 Voc
		cure = "That is about what two panels in series give. A reading is of one panel."
	}
	c.out.add(Doubt{Severity: s, Field: "voltage_v", Value: in.VoltageV, Limit: limit, Relation: "<=", Unit: "V", Basis: basis},
		ruleVoltageAboveVoc, "the most that this panel's Voc allows with cells this cold", cure)
}

func (c *check) powerAboveRating() {
	n := &c.panel
	if !c.ready(rulePowerAboveRating, lack(c.powerW, lacksPower)|lack(n.PmaxW, lacksPmax)) {
		return
	}
	b := PowerAboveRating(c.set, n.PmaxW, n.ToleranceHigh, n.GammaPerK, n.Technology, c.geHold, c.lowC, c.uPowerW)
	s, limit := b.Above(c.powerW)
	if s == OK {
		return
	}
	basis := append([]Input{given("pmax_w", n.PmaxW, 0), given("tolerance_upper", n.ToleranceHigh, c.set.PowerTolerance),
		given("gamma_pmax_per_k", n.GammaPerK, lenientGamma(c.set, n.GammaPerK, n.Technology, c.lowC)),
		c.cellBasis("coldest_cell_c", c.lowC), modelled("u_power_w", c.uPowerW)}, c.lightBasis(s)...)
	c.out.add(c.powerDoubt(s, limit, basis), rulePowerAboveRating, "the most that the rating promises in this light", c.tooMuchPower())
}

func (c *check) powerDoubt(s Severity, limit float64, basis []Input) Doubt {
	if c.in.PowerReadAt == BatterySide && Given(c.in.PowerW) {
		basis = append(basis, given("power_read_w", c.in.PowerW, 0), word("power_read_at", string(BatterySide)))
	}
	return Doubt{Severity: s, Field: c.powerField(), Value: c.powerW, Limit: limit, Relation: "<=", Unit: "W", Basis: basis}
}

// powerField is the member that a power came from: without a stated power, the
// current.
func (c *check) powerField() string {
	if Given(c.in.PowerW) || Given(c.in.PanelPowerW) {
		return "power_w"
	}
	return "current_a"
}

func (c *check) powerAboveDiode() {
	n := &c.panel
	if !c.ready(rulePowerAboveDiode, lack(c.powerW, lacksPower)|lack(n.IscA, lacksIsc)|lack(c.in.Panel.VocV, lacksVoc)) {
		return
	}
	// From 15 thermal voltages a cell on, the ideal fill factor exceeds 0.75: a power
	// below that needs no logarithms.
	thermalV := n.CellsInSeries * kOverQ * (c.coldC + kelvin0C)
	if c.powerW < 0.75*c.iHold*c.vHold && !(c.vHold <= 15*thermalV) {
		return
	}
	b := diodeBound(c.set, n, c.iHold, c.iReject, c.vHold, c.vReject, c.coldC, c.uPowerW)
	s, limit := b.Above(c.powerW)
	if s == OK {
		return
	}
	basis := append([]Input{given("isc_a", n.IscA, 0), c.vocBasis(), c.cellsBasis(), c.cellBasis("hottest_cell_c", c.hotC),
		c.cellBasis("coldest_cell_c", c.coldC), modelled("u_power_w", c.uPowerW)}, c.lightBasis(s)...)
	c.out.add(c.powerDoubt(s, limit, basis), rulePowerAboveDiode, "the most that any diode with this Isc and Voc delivers in this light", c.tooMuchPower())
}

func (c *check) powerAboveSun() {
	n := &c.panel
	area := n.area()
	if !c.ready(rulePowerAboveSun, lack(c.powerW, lacksPower)|lack(area, lacksArea)) {
		return
	}
	s, limit := PowerAboveSun(c.set, area, n.Technology.EfficiencyLimit(), c.geReject, c.uPowerW).Above(c.powerW)
	if s == OK {
		return
	}
	basis := append([]Input{given("area_m2", area, 0), modelled("efficiency_limit", n.Technology.EfficiencyLimit()),
		modelled("u_power_w", c.uPowerW)}, c.lightBasis(s)...)
	c.out.add(c.powerDoubt(s, limit, basis), rulePowerAboveSun, "the most that cells of this area and kind can make of this light", c.tooMuchPower())
}

func (c *check) powerNotVI() {
	in := c.in
	if !c.ready(rulePowerNotVI, lack(in.PowerW, lacksPower)|lack(in.VoltageV, lacksVoltage)|lack(in.CurrentA, lacksCurrent)) {
		return
	}
	u := math.Sqrt(sq(c.uPowerW) + sq(in.CurrentA*c.uVoltageV) + sq(in.VoltageV*c.uCurrentA))
	powerW := c.powerW
	switch {
	case in.PowerReadAt == UnknownSide:
		u = math.Hypot(u, 0.025*powerW)
	case in.PowerReadAt != BatterySide:
		powerW = in.PowerW
		if in.OneDisplay {
			u = c.set.USameDisplay * math.Abs(powerW)
		}
	}
	p := PowerNotVTimesI(in.VoltageV, in.CurrentA, powerW, in.StepV, in.StepA, in.StepW, u)
	if p.Verdict != OK {
		c.powerNotVIDoubt(powerW, p)
	}
}

func (c *check) powerNotVIDoubt(powerW float64, p Product) {
	in := c.in
	vi := in.VoltageV * in.CurrentA
	basis := []Input{given("power_w", powerW, 0), given("voltage_v", in.VoltageV, 0), given("current_a", in.CurrentA, 0),
		modelled("v_times_i_w", vi), modelled("rounding_bound_w", p.RoundingW)}
	cure := "Were all three read at the same moment and on the same side of the controller?"
	units := UnitSlips(QuantityPower, in.PowerW, 0.98*vi, 1.02*vi)
	switch {
	case len(units) > 0:
		cure = "It would be " + either(units, "W") + ", and then all three agree."
	case len(DigitSlips(in.PowerW, vi)) > 0:
		cure = digitCure("the power", DigitSlips(in.PowerW, vi), "W")
	case in.VoltageV != 0 && len(DigitSlips(in.CurrentA, powerW/in.VoltageV)) > 0:
		cure = digitCure("the current", DigitSlips(in.CurrentA, powerW/in.VoltageV), "A")
	case in.CurrentA != 0 && len(DigitSlips(in.VoltageV, powerW/in.CurrentA)) > 0:
		cure = digitCure("the voltage", DigitSlips(in.VoltageV, powerW/in.CurrentA), "V")
	}
	v, l := compared(p.DifferenceW, p.LimitW)
	reason := "Voltage times current is " + number(vi, 4) + " W; the power of " + number(powerW, 4) + " W is " + v +
		" W away from it, more than the " + l + " W that display steps and meter errors explain. " + cure
	c.out.add(Doubt{Severity: p.Verdict, Field: "power_w", Value: p.DifferenceW, Limit: p.LimitW, Relation: "<=", Unit: "W", Reason: reason, Basis: basis},
		rulePowerNotVI, "", "")
}

func digitCure(what string, slips []Slip, unit string) string {
	return "With " + what + " as " + number(slips[0].Converted, 6) + " " + unit + " all three agree: was it " + slips[0].Unit + "?"
}

func (c *check) currentConflict() {
	in, n := c.in, &c.panel
	reference, currentA, lacks := c.referenceCurrent()
	if !c.ready(ruleCurrentConflict, lacks|lack(in.POAWM2, lacksPOA)|lack(currentA, lacksCurrent)) || !(currentA > 0) {
		return
	}
	ge := in.POAWM2 + rearBound(0, n.Bifaciality, in.RearWM2, 0)
	k := CurrentIrradianceConflict(c.set, currentA, reference, n.AlphaPerK, in.CellC, ge, c.uPOAWM2/ge, c.uCurrentA/currentA)
	if k.Verdict == OK || !(ge > 0 && k.ImpliedWM2 > 0) { // a ratio of impossible numbers says nothing; other rules name them
		return
	}
	c.currentConflictDoubt(k, ge, reference, currentA)
}

func (c *check) currentConflictDoubt(k Conflict, ge, reference, currentA float64) {
	in := c.in
	basis := []Input{given("poa_w_m2", ge, 0), given("u_poa_w_m2", in.UPOAWM2, c.uPOAWM2), given("current_a", currentA, 0),
		given("reference_current_a", reference, 0), given("alpha_isc_per_k", c.panel.AlphaPerK, c.set.AlphaPerK),
		c.cellBasis("cell_temperature_c", in.CellC), modelled("z", k.Z)}
	d := Doubt{Severity: k.Verdict, Field: c.poaField(), Value: ge, Limit: k.ImpliedWM2, Relation: ">=", Unit: "W/m2", Basis: basis}
	c.out.add(d, ruleCurrentConflict, "the irradiance that this panel's current stands for", "Meter shaded, tilted away or dirty, or another panel model?")
}

// referenceCurrent returns the nameplate current that the reading compares with
// and the current to compare: Isc for a short circuit or a sweep, Imp close to the
// maximum power point.
func (c *check) referenceCurrent() (referenceA, currentA float64, lacks missing) {
	in, n := c.in, &c.panel
	switch in.Kind {
	case ShortCircuit:
		return n.IscA, in.CurrentA, lack(n.IscA, lacksIsc)
	case IVSweep:
		return n.IscA, in.SweepIscA, lack(n.IscA, lacksIsc)
	}
	lacks = lack(n.ImpA, lacksReference) | lack(n.VmpV, lacksMaximumPoint) | lack(in.VoltageV, lacksVoltage) | lack(in.CellC, lacksCell)
	if lacks == 0 && math.Abs(c.voltageRatio()-1) > 0.05 {
		return n.ImpA, 0, 0
	}
	return n.ImpA, in.CurrentA, lacks
}
