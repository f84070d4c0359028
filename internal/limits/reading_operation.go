package limits

import "math"

func (c *check) runOperation() {
	switch c.in.Kind {
	case OperatingPoint:
		c.runOperatingPoint()
	case OpenCircuit:
		if !c.covered {
			c.openCircuitLow()
		}
	}
	c.resolutionCoarse()
}

func (c *check) runOperatingPoint() {
	in := c.in
	tracks := in.Rig.Tracks()
	if tracks && !c.covered && in.PowerReadAt != BatterySide {
		c.offMaximum()
	}
	if !c.covered && (in.Rig == MPPTController || in.Rig == PWMController) { // a covered panel that collapses is the result
		c.headroom()
	}
	c.notTracker()
	c.clipped()
	if tracks && !c.covered {
		c.throttled()
	}
	c.cableLoss()
}

// voltageRatio is the terminal voltage over the expected Vmp. Without beta both
// lenient bounds are tried and the one closer to 1 counts.
func (c *check) voltageRatio() float64 {
	in, n := c.in, &c.panel
	vmp := or(n.VmpV, c.set.VmpOfVoc*c.vocV)
	light := c.litWM2()
	if Given(n.BetaPerK) {
		return OffMaximumPower(in.VoltageV, in.CurrentA, in.CableOhm, vmp, n.BetaPerK+c.set.BetaVmpPerK, in.CellC, light)
	}
	a := OffMaximumPower(in.VoltageV, in.CurrentA, in.CableOhm, vmp, c.set.BetaColdPerK+c.set.BetaVmpPerK, in.CellC, light)
	b := OffMaximumPower(in.VoltageV, in.CurrentA, in.CableOhm, vmp, c.set.BetaWarmPerK+c.set.BetaVmpPerK, in.CellC, light)
	if (a-1)*(b-1) <= 0 {
		return 1
	}
	if math.Abs(a-1) < math.Abs(b-1) {
		return a
	}
	return b
}

// leastNormalisedWM2 is the light below which nothing is normalised.
const leastNormalisedWM2 = 100

func (c *check) offMaximum() {
	in, n := c.in, &c.panel
	vmp := or(n.VmpV, c.set.VmpOfVoc*c.vocV)
	if !c.ready(ruleOffMaximum, lack(in.VoltageV, lacksVoltage)|lack(vmp, lacksMaximumPoint)|lack(in.CellC, lacksCell)) {
		return
	}
	if c.litWM2() < leastNormalisedWM2 {
		return // Vmp falls with the light, which the expected one leaves out; there will be no result
	}
	r := c.voltageRatio()
	s, limit := OffMaximumLimits(Given(n.VmpV)).Above(math.Abs(r - 1))
	if s == OK {
		return
	}
	expected := (in.VoltageV + or(in.CurrentA, 0)*or(in.CableOhm, 0)) / r
	if !(expected > 0) { // a cell temperature that its own rule refuses
		return
	}
	relation, bound := "<=", expected*(1+limit)
	cure := "Tracker not settled, battery full, or load too small?"
	if r < 1 {
		relation, bound = ">=", expected*(1-limit)
		cure = "Tracker not settled, panel partly shaded, or a load that pulls the voltage down?"
	}
	c.out.add(Doubt{Severity: s, Field: "voltage_v", Value: expected * r, Limit: bound, Relation: relation, Unit: "V",
		Basis: []Input{given("vmp_v", n.VmpV, vmp), given("beta_voc_per_k", n.BetaPerK, c.set.BetaWarmPerK), c.cellBasis("cell_temperature_c", in.CellC),
			given("cable_resistance_ohm", in.CableOhm, 0), modelled("voltage_ratio", r)}},
		ruleOffMaximum, "the edge of the maximum power point at this temperature, cable drop included", cure)
}

func (c *check) headroom() {
	in := c.in
	if !c.ready(ruleHeadroom, lack(in.VoltageV, lacksVoltage)|lack(in.BatteryVoltageV, lacksBattery)) {
		return
	}
	distance, b := HeadroomConflict(c.set, in.Rig, in.VoltageV, in.BatteryVoltageV, c.uVoltageV)
	s, limit := b.Below(in.VoltageV)
	relation := ">="
	if in.Rig == PWMController {
		s, _ = b.Above(distance)
		limit = in.BatteryVoltageV + c.set.HeadroomV - b.Hold
		if in.VoltageV > limit {
			limit, relation = limit+2*b.Hold, "<="
		}
	}
	if s == OK {
		return
	}
	d := Doubt{Severity: s, Field: "voltage_v", Value: in.VoltageV, Limit: limit, Relation: relation, Unit: "V", Basis: []Input{
		given("battery_voltage_v", in.BatteryVoltageV, 0), given("u_voltage_v", in.UVoltageV, c.uVoltageV), word("rig_kind", string(in.Rig))}}
	c.out.add(d, ruleHeadroom, "what a "+rigName(in.Rig)+" on a battery of "+number(in.BatteryVoltageV, 4)+" V can hold the panel at",
		"Was the battery voltage noted as the panel's, or is the rig of another kind?")
}

// rigName is the kind of rig in words.
func rigName(kind RigKind) string {
	switch kind {
	case MPPTController:
		return "tracking controller"
	case PWMController:
		return "PWM controller"
	}
	return string(kind)
}

func (c *check) notTracker() {
	in, n := c.in, &c.panel
	if !c.ready(ruleNotTracker, 0) || in.Rig.Tracks() {
		return
	}
	ge := c.geHold
	if c.metered {
		ge = in.POAWM2
	}
	compare, s := NotATracker(in.Rig, or(n.IscA, n.ImpA), ge, in.VoltageV)
	d := Doubt{Severity: s, Field: "power_w", Value: c.powerW, Limit: compare, Relation: "=", Unit: "W",
		Basis: []Input{word("rig_kind", string(in.Rig)), given("isc_a", n.IscA, 0), modelled("irradiance_w_m2", ge), given("voltage_v", in.VoltageV, 0)}}
	d.Reason = "A " + rigName(in.Rig) + " does not look for the maximum power point: the power says something about the rig, not about the panel, and is not ranked."
	if Given(compare) && Given(c.powerW) {
		d.Reason += " At this voltage the panel's current would give " + number(compare, 4) + " W, and " + number(c.powerW, 4) + " W came."
	}
	d.Reason += " Use a tracking controller, an electronic load or a sweep."
	c.out.add(d, ruleNotTracker, "", "")
}

func (c *check) clipped() {
	in := c.in
	if !Given(in.MaxPowerW) && !Given(in.MaxCurrentA) {
		c.ready(ruleClipped, lacksControllerLimit)
		return
	}
	share := ClippedByController(c.set, c.powerW, in.MaxPowerW, in.MaxCurrentA, in.BatteryVoltageV, in.ConverterEfficiency)
	lacks := lack(c.powerW, lacksPower)
	if lacks == 0 {
		lacks = lack(share, lacksBattery)
	}
	if !c.ready(ruleClipped, lacks) {
		return
	}
	s, limit := ClippedLimits().Above(share)
	if s == OK {
		return
	}
	c.out.add(Doubt{Severity: s, Field: c.powerField(), Value: c.powerW, Limit: c.powerW / share * limit, Relation: "<=", Unit: "W",
		Basis: []Input{given("max_power_w", in.MaxPowerW, 0), given("max_current_a", in.MaxCurrentA, 0), given("battery_voltage_v", in.BatteryVoltageV, 0),
			given("converter_efficiency", in.ConverterEfficiency, c.set.ConverterEfficiency), modelled("share_of_limit", share)}},
		ruleClipped, number(100*limit, 3)+" % of what this controller lets through", "The panel may have offered more: measure it on a larger controller.")
}

func (c *check) throttled() {
	in, n := c.in, &c.panel
	poa := in.POAWM2
	if !c.metered && in.Sky == Clear {
		poa = in.ClearPOAWM2
	}
	lacks := lack(in.VoltageV, lacksVoltage) | lack(c.powerW, lacksPower) | lack(in.Panel.VocV, lacksVoc) |
		lack(n.PmaxW, lacksPmax) | lack(poa, lacksPOA) | lack(in.CellC, lacksCell)
	if !c.ready(ruleThrottled, lacks) {
		return
	}
	gamma := n.GammaPerK
	if !Given(gamma) {
		gamma = n.Technology.GammaPerK() - c.set.GammaSpread
		if in.CellC < stcC {
			gamma += 2 * c.set.GammaSpread
		}
	}
	ofVoc, ofPower, s := ThrottledByBattery(in.VoltageV, c.powerW, n.PmaxW, n.VocV, lenientBeta(c.set, n.BetaPerK, in.CellC), gamma, in.CellC, poa)
	expected := n.PmaxW * poa / stcWM2 * (1 + gamma*(in.CellC-stcC))
	if s == OK || !(expected > 0) { // dark, or a temperature that its own rule refuses
		return
	}
	c.out.add(Doubt{Severity: s, Field: c.powerField(), Value: c.powerW, Limit: 0.7 * expected, Relation: ">=", Unit: "W",
		Basis: []Input{c.vocBasis(), given("pmax_w", n.PmaxW, 0), c.poaInput(poa), c.cellBasis("cell_temperature_c", in.CellC),
			modelled("share_of_voc", ofVoc), modelled("share_of_expected_power", ofPower)}},
		ruleThrottled, "70 % of what the rating promises, and the voltage stands at "+number(100*ofVoc, 3)+" % of Voc",
		"The load takes less than the panel offers: battery full or absorbing? Add a load and read again.")
}

func (c *check) openCircuitLow() {
	in := c.in
	poa, u := in.POAWM2, c.uPOAWM2
	if !c.metered && in.Sky == Clear {
		poa, u = 0.8*in.ClearPOAHighTLWM2, 0
	}
	if !c.ready(ruleOpenCircuitLow, lack(in.VoltageV, lacksVoltage)|lack(in.Panel.VocV, lacksVoc)|lack(poa, lacksPOA)|lack(in.CellC, lacksCell)) {
		return
	}
	s, limit := OpenCircuitLow(c.set, c.vocV, c.panel.BetaPerK, poa, u, in.CellC, or(in.UCellK, 0), c.uVoltageV).Below(in.VoltageV)
	if s == OK {
		return
	}
	c.out.add(Doubt{Severity: s, Field: "voltage_v", Value: in.VoltageV, Limit: limit, Relation: ">=", Unit: "V",
		Basis: []Input{c.vocBasis(), given("beta_voc_per_k", c.panel.BetaPerK, c.set.BetaColdPerK), c.poaInput(poa),
			c.cellBasis("hottest_cell_c", c.hotC), given("u_voltage_v", in.UVoltageV, c.uVoltageV)}},
		ruleOpenCircuitLow, "the least open-circuit voltage of this panel in this light and heat", "Part of it shaded, a bypassed string, or another panel model?")
}

func (c *check) cableLoss() {
	in := c.in
	if !c.ready(ruleCableLoss, lack(in.CableOhm, lacksCable)|lack(in.CurrentA, lacksCurrent)|lack(c.powerW, lacksPower)) {
		return
	}
	loss, share := CableLoss(in.CurrentA, in.CableOhm, c.powerW)
	s, limit := CableLossLimits().Above(share)
	if s == OK {
		return
	}
	total := c.powerW + loss
	c.out.add(Doubt{Severity: s, Field: c.powerField(), Value: loss, Limit: limit * total, Relation: "<=", Unit: "W",
		Basis: []Input{given("cable_resistance_ohm", in.CableOhm, 0), given("current_a", in.CurrentA, 0), modelled("loss_share", share)}},
		ruleCableLoss, number(100*limit, 3)+" % of the panel's power, lost in the cable", "Use a shorter or thicker cable, or read at the panel.")
}

func (c *check) resolutionCoarse() {
	in := c.in
	lacks := lack(in.StepV, lacksResolution) & lack(in.StepA, lacksResolution) & lack(in.StepW, lacksResolution)
	if !c.ready(ruleResolution, lacks) {
		return
	}
	worst := c.coarsest()
	s, limit := ResolutionCoarse(worst.step).Below(worst.value)
	if s == OK {
		return
	}
	c.out.add(Doubt{Severity: s, Field: worst.field, Value: worst.value, Limit: limit, Relation: ">=", Unit: worst.unit,
		Basis: []Input{given("resolution", worst.step, 0)}},
		ruleResolution, "the least that steps of "+number(worst.step, 3)+" "+worst.unit+" show well enough", "Measure in more light or with a finer display.")
}

// A shown value is a number on a display with the step that it was read to.
type shown struct {
	value, step float64
	field, unit string
}

func (x shown) share() float64 { return x.step / x.value }

// coarsest returns the value that limits the result: of an operating point the power, or
// of voltage and current the coarser, whichever of the two ways to the power is finer.
func (c *check) coarsest() shown {
	in := c.in
	worst := func(a, b shown) shown {
		if b.value > 0 && Given(b.step) && !(a.value > 0 && a.share() >= b.share()) {
			return b
		}
		return a
	}
	voltage := shown{in.VoltageV, TypedStep(in.VoltageV, in.StepV), "voltage_v", "V"}
	current := shown{in.CurrentA, TypedStep(in.CurrentA, in.StepA), "current_a", "A"}
	power := shown{in.PowerW, TypedStep(in.PowerW, in.StepW), "power_w", "W"}
	product := worst(worst(shown{}, voltage), current)
	switch {
	case !(power.value > 0) || !Given(power.step):
		return product
	case !(in.VoltageV > 0) || !(in.CurrentA > 0) || in.PowerReadAt == BatterySide:
		return power
	case power.share() < product.share():
		return power
	}
	return product
}

// manyPairs is by how much the guard band of one pair of points must be wider for the
// largest rise of n pairs: of 44 flat pairs of honest noise one in two sweeps has a rise
// beyond 2 standard deviations. The chance of a false doubt about the sweep then is that
// of one pair at k = 2, 2.3 %. A handful of pairs keeps the k of all rules.
func manyPairs(n int) float64 {
	const onePair, handful = 0.02275, 8
	if n <= handful {
		return 1
	}
	return math.Sqrt2 * math.Erfinv(1-2*onePair/float64(n)) / kHold
}

func (c *check) sweep() {
	in := c.in
	c.ready(ruleSweep, 0)
	rise, b := SweepNotMonotonic(in.SweepCurrentA, in.USweepCurrentA*manyPairs(len(in.SweepCurrentA)-1), in.StepA)
	if s, limit := b.Above(rise); s != OK {
		c.out.add(Doubt{Severity: s, Field: "sweep/current_a", Value: rise, Limit: limit, Relation: "<=", Unit: "A",
			Basis: []Input{given("u_current_a", in.USweepCurrentA, 0), given("resolution_a", in.StepA, 0)}},
			ruleSweep, "the largest rise of current with voltage that noise and display explain", "The light changed during the sweep, or points are out of order.")
	}
	u := or(in.UFillFactorOfSweep, c.set.UFillFactor)
	f := fillInput{pmpW: c.powerW, vocV: in.SweepVocV, iscA: in.SweepIscA, cells: c.panel.CellsInSeries, cellC: or(in.CellC, stcC), u: u, field: "sweep"}
	f.check(c.set, c.panel.Technology, c.out)
}
