package limits

import (
	"math"
	"slices"
)

// Reading appends to out what groups A to D and G doubt about one reading, and
// which rules ran or lacked an input.
//
// Slips come first: a value that makes sense in another unit only is reported as
// such, and every other doubt that vanishes with the suggested value is left out.
// Nothing is ever converted silently. A reading without doubt costs no memory.
func Reading(set *Settings, in *ReadingInput, out *Report) {
	before := len(out.Doubts)
	c := check{set: set, in: in, out: out}
	c.ready(ruleUnitSlip, 0)
	c.prepare()
	if !c.suspicious() {
		c.run()
		return
	}
	fixed := *in
	c.slips(&fixed)
	slipped := len(out.Doubts)
	c.run()
	if slipped == before {
		return
	}
	var again Report
	second := check{set: set, in: &fixed, out: &again}
	second.prepare()
	second.run()
	out.keepOnly(slipped, &again)
}

// keepOnly drops the doubts from index first on whose rule again does not have.
// Where again doubts the same value, its limit is the better one: it was computed
// without the slip.
func (r *Report) keepOnly(first int, again *Report) {
	kept := r.Doubts[:first]
	for _, d := range r.Doubts[first:] {
		better, found := again.find(d.Rule)
		if !found {
			continue
		}
		if better.Field == d.Field && better.Value == d.Value {
			d = better
		}
		kept = append(kept, d)
	}
	r.Doubts = kept
}

func (r *Report) find(rule string) (Doubt, bool) {
	for _, d := range r.Doubts {
		if d.Rule == rule {
			return d, true
		}
	}
	return Doubt{}, false
}

// check is one reading with what several rules share.
type check struct {
	set *Settings
	in  *ReadingInput
	out *Report

	metered          bool
	covered          bool
	yields           bool    // the reading can have a result: operating point or sweep
	uVoltageV        float64 // standard uncertainties with their defaults
	uCurrentA        float64
	uPOAWM2          float64
	uPlaneDeg        float64
	powerW           float64 // on the panel side
	uPowerW          float64
	geHold, geReject float64 // effective irradiance bounds, W/m2
	hotC, lowC       float64
	coldC            float64
	vocV             float64 // stated, or the most that so many cells can have
	panel            NameplateInput
	iHold, iReject   float64 // ceilings of current and voltage before the guard band
	vHold, vReject   float64
}

func (c *check) prepare() {
	in, set := c.in, c.set
	c.metered = Given(in.POAWM2)
	c.covered = in.Arrangement == CoveredPanel
	c.yields = in.Kind == OperatingPoint || in.Kind == IVSweep
	c.panel = in.Panel
	c.panel.CellsInSeries = EffectiveCells(set, in.Panel.Technology, in.Panel.VocV, in.Panel.CellsInSeries)
	c.vocV = or(in.Panel.VocV, set.VocPerCellV*in.Panel.CellsInSeries)
	c.panel.VocV = c.vocV
	c.uVoltageV = or(in.UVoltageV, set.UVoltage*in.VoltageV)
	c.uCurrentA = or(in.UCurrentA, set.UCurrent*in.CurrentA)
	c.uPOAWM2 = or(in.UPOAWM2, set.UPOA*in.POAWM2)
	c.uPlaneDeg = or(in.UPlaneDeg, set.UPlaneDeg)
	c.power()
	c.light()
	c.temperatures()
	n := &c.panel
	c.iHold, c.iReject = currentCeiling(set, n.IscA, n.AlphaPerK, n.ToleranceHigh, c.geHold, c.geReject, c.hotC)
	c.vHold, c.vReject = voltageCeiling(set, n.VocV, n.BetaPerK, c.geHold, c.geReject, c.coldC)
}

// power brings the power to the panel side, with its standard uncertainty.
func (c *check) power() {
	in := c.in
	switch {
	case Given(in.PanelPowerW):
		c.powerW, c.uPowerW = in.PanelPowerW, or(in.UPanelPowerW, c.set.UPower*in.PanelPowerW)
	case !Given(in.PowerW):
		c.powerW = in.VoltageV * in.CurrentA
		c.uPowerW = math.Hypot(in.CurrentA*c.uVoltageV, in.VoltageV*c.uCurrentA)
	case in.PowerReadAt == BatterySide:
		eta := or(in.ConverterEfficiency, c.set.ConverterEfficiency)
		c.powerW = in.PowerW/eta + or(in.ConverterSelfW, c.set.ConverterSelfW)
		u := or(in.UPowerW, c.set.UPower*in.PowerW) / eta
		c.uPowerW = math.Sqrt(u*u + sq(c.set.UConverter*c.powerW) + sq(c.set.UConverterW))
	default:
		c.powerW, c.uPowerW = in.PowerW, or(in.UPowerW, c.set.UPower*in.PowerW)
	}
}

func sq(x float64) float64 { return x * x }

func (c *check) light() {
	in, set := c.in, c.set
	uRear := or(in.URearWM2, set.URear*in.RearWM2)
	if c.metered {
		c.geHold = MeteredBound(kHold, in.POAWM2, c.uPOAWM2, in.Panel.Bifaciality, in.RearWM2, uRear)
		c.geReject = MeteredBound(kReject, in.POAWM2, c.uPOAWM2, in.Panel.Bifaciality, in.RearWM2, uRear)
		return
	}
	c.geHold = UnmeteredBound(set, in.Sky, false, in.ClearPOALimitWM2, in.Panel.Bifaciality, in.RearWM2, uRear)
	c.geReject = UnmeteredBound(set, in.Sky, true, in.ClearPOALimitWM2, in.Panel.Bifaciality, in.RearWM2, uRear)
}

func (c *check) temperatures() {
	in, u := c.in, or(c.in.UCellK, 0)
	measured := math.NaN()
	if in.CellMeasured {
		measured = in.CellC
	}
	c.coldC = ColdestCell(c.set, measured, u, in.AirC)
	c.hotC, c.lowC = c.set.HottestC, c.set.ColdestC
	if Given(in.CellC) {
		c.hotC, c.lowC = in.CellC+2*u, in.CellC-2*u
	}
}

// run applies the rules in the order sky, temperatures, nameplate, operation.
func (c *check) run() {
	before := len(c.out.Doubts)
	c.runSky()
	dark := c.out.has(before, ruleSunBelowHorizon)
	c.runTemperature()
	c.runNameplate()
	c.runOperation()
	if len(c.in.SweepCurrentA) > 0 {
		c.sweep()
	}
	if dark {
		c.out.dropWhatDarknessExplains(before)
	}
	c.out.dropWhatTurningExplains(before, c.metered)
}

// dropWhatTurningExplains leaves out what follows from a sun behind the panel: the light
// of a clear sky on that plane, and without a meter all that was reckoned with it. A
// doubt that is graver than the one about the plane stays.
func (r *Report) dropWhatTurningExplains(first int, metered bool) {
	turned := OK
	for _, d := range r.Doubts[first:] {
		if d.Rule == catalogue[ruleSunBehindPanel].ID {
			turned = d.Severity
		}
	}
	if turned == OK {
		return
	}
	r.drop(first, func(d Doubt) bool { return d.Severity <= turned && explainedByTurning(d.Rule, metered) })
}

func explainedByTurning(rule string, metered bool) bool {
	if metered {
		return isOneOf(rule, ruleAboveClearSky)
	}
	return isOneOf(rule, ruleCurrentAboveIsc, rulePowerAboveRating, rulePowerAboveDiode, rulePowerAboveSun)
}

// has tells whether a rule doubted something from index first on.
func (r *Report) has(first int, rule ruleIndex) bool {
	for _, d := range r.Doubts[first:] {
		if d.Rule == catalogue[rule].ID {
			return true
		}
	}
	return false
}

// dropWhatDarknessExplains leaves of the doubts from index first on those that stand
// even at another hour: with the sun below the horizon any light, current or power is
// above its bound, and one reason is enough.
func (r *Report) dropWhatDarknessExplains(first int) {
	r.drop(first, func(d Doubt) bool {
		return isOneOf(d.Rule, ruleSunTooLow, ruleIrradianceTooLow, ruleAboveClearSky, ruleCurrentAboveIsc, rulePowerAboveRating, rulePowerAboveDiode,
			rulePowerAboveSun, ruleCellTemperature, ruleOffMaximum)
	})
}

// drop leaves out the doubts from index first on that something else explains.
func (r *Report) drop(first int, explained func(Doubt) bool) {
	kept := slices.DeleteFunc(r.Doubts[first:], explained)
	r.Doubts = r.Doubts[:first+len(kept)]
}

func isOneOf(rule string, list ...ruleIndex) bool {
	return slices.ContainsFunc(list, func(one ruleIndex) bool { return rule == catalogue[one].ID })
}

// ready records that a rule runs, or which inputs it lacks.
func (c *check) ready(rule ruleIndex, lacks missing) bool {
	return c.out.ready(rule, lacks)
}

func (r *Report) ready(rule ruleIndex, lacks missing) bool {
	if lacks != 0 {
		r.skipped[rule] |= lacks
		return false
	}
	r.ran[rule] = true
	return true
}

// add appends a doubt; limitIs says in words what the limit is, cure what to do.
func (r *Report) add(d Doubt, rule ruleIndex, limitIs, cure string) {
	d.Rule, d.Source = catalogue[rule].ID, catalogue[rule].Source
	d.Value, d.Limit = finite(d.Value), finite(d.Limit)
	if d.Reason == "" {
		d.Reason = sentence(&d, limitIs, cure)
	}
	r.Doubts = append(r.Doubts, d)
}

// finite keeps a number that JSON can carry.
func finite(x float64) float64 {
	switch {
	case math.IsNaN(x):
		return 0
	case x > math.MaxFloat64:
		return math.MaxFloat64
	case x < -math.MaxFloat64:
		return -math.MaxFloat64
	}
	return x
}
