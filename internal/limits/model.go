package limits

import (
	"math"
	"strings"
)

// PanelModel appends to out what groups F and G doubt about a panel model. Fields
// are paths below the panel model, as "nameplate/gamma_pmax_per_k".
func PanelModel(set *Settings, n *NameplateInput, out *Report) {
	out.ready(ruleUnitSlip, 0)
	modelSlips(n, out)
	cells := EffectiveCells(set, n.Technology, n.VocV, n.CellsInSeries)
	f := fillInput{pmpW: n.PmaxW, vocV: n.VocV, iscA: n.IscA, cells: cells, cellC: stcC, u: set.UFillFactor, field: "nameplate/pmax_w"}
	f.check(set, n.Technology, out)
	e := efficiencyInput{powerW: n.PmaxW, uW: 0, field: "nameplate/pmax_w"}
	e.check(set, n, out)
	powerMismatch(n, out)
	order(n, out)
	coefficients(n, out)
	if n.Technology.Crystalline() {
		cellCount(set, n, out)
	}
	size(n, out)
}

// A ResultInput is the power at standard test conditions that a reading gave.
type ResultInput struct {
	PowerW, UPowerW float64
	Panel           NameplateInput
	LightKnown      bool // measured, or the sky was clear
}

// Result appends to out what is doubted about a result: more power than the area
// can yield, or a share of the rating that sound panels do not give. The field is
// "result/stc_power_w", below the reading.
func Result(set *Settings, in *ResultInput, out *Report) {
	cable, found := out.find(catalogue[ruleCableLoss].ID)
	if out.has(0, rulePowerAboveSun) || found && cable.Severity == Hold {
		return // said already of the power as it was read, or of the cable that most of it is reckoned to stay in
	}
	e := efficiencyInput{powerW: in.PowerW, uW: or(in.UPowerW, 0), field: "result/stc_power_w"}
	e.check(set, &in.Panel, out)
	if in.LightKnown && !out.has(0, ruleEfficiency) {
		in.shareOfRating(out)
	}
}

// ShareOfRatingRange returns the shares of the rated power beyond which a result is noted
// and held, each beyond u, the relative standard uncertainty of the result, twice for a
// note and three times for a hold: below 0.60 and 0.45, above 1.08 and 1.15.
//
// Source: common practice, no source; honest panels of folding fabric give 0.75 to 1.03
// of their rating.
func ShareOfRatingRange(u float64) Range {
	nan := math.NaN()
	return Range{Low: Bounds{0.60 - 2*u, 0.45 - 3*u, nan}, High: Bounds{1.08 + 2*u, 1.15 + 3*u, nan}}
}

// shareOfRating doubts a result by its share of the rating.
func (in *ResultInput) shareOfRating(out *Report) {
	pmax := in.Panel.PmaxW
	lacks := lack(in.PowerW, lacksPower) | lack(pmax, lacksPmax)
	if low, high := out.ready(ruleResultLow, lacks), out.ready(ruleResultHigh, lacks); !low || !high || !(pmax > 0) {
		return
	}
	share, u := in.PowerW/pmax, or(in.UPowerW, 0)/pmax
	s, limit, relation := ShareOfRatingRange(u).Outside(share)
	if s == OK {
		return
	}
	d := Doubt{Severity: s, Field: "result/stc_power_w", Value: in.PowerW, Limit: limit * pmax, Relation: relation, Unit: "W",
		Basis: []Input{given("pmax_w", pmax, 0), modelled("share_of_rating", share), modelled("u_share_of_rating", u)}}
	if share > 1 {
		out.add(d, ruleResultHigh, number(100*limit, 3)+" % of the rating, more than panels exceed theirs by", "Is the light read too low, or is it another panel or rating?")
		return
	}
	out.add(d, ruleResultLow, number(100*limit, 3)+" % of the rating, less than sound panels give", "Was part of it shaded, the load too small or the battery full, or is it another panel?")
}

type fillInput struct {
	pmpW, vocV, iscA, cells, cellC, u float64
	field                             string
}

func (f *fillInput) check(set *Settings, technology Technology, out *Report) {
	lacks := lack(f.pmpW, lacksPmax) | lack(f.vocV, lacksVoc) | lack(f.iscA, lacksIsc)
	if !out.ready(ruleFillFactor, lacks) {
		return
	}
	ff, ideal, _, r := FillFactor(set, technology, f.pmpW, f.vocV, f.iscA, f.cells, f.cellC, f.u)
	s, limit, relation := r.Outside(ff)
	if s == OK {
		return
	}
	product := f.vocV * f.iscA
	cells := given("cells_in_series", f.cells, 0)
	if cells.Origin == ByDefault {
		cells = Input{Name: "cells_in_series", Text: "not known", Origin: ByDefault}
	}
	out.add(Doubt{Severity: s, Field: f.field, Value: f.pmpW, Limit: limit * product, Relation: relation, Unit: "W",
		Basis: []Input{given("voc_v", f.vocV, 0), given("isc_a", f.iscA, 0), cells, modelled("fill_factor", ff), modelled("ideal_fill_factor", ideal)}},
		ruleFillFactor, number(100*limit, 4)+" % of Voc times Isc, the end of what such cells reach",
		"Are power, Voc and Isc of the same panel, and of one panel only?")
}

type efficiencyInput struct {
	powerW, uW float64
	field      string
}

func (e *efficiencyInput) check(set *Settings, n *NameplateInput, out *Report) {
	area := n.area()
	if !out.ready(ruleEfficiency, lack(e.powerW, lacksPower)|lack(area, lacksArea)) {
		return
	}
	efficiency, least, b := Efficiency(set, n.Technology, e.powerW, e.uW, area)
	s, limit := b.Above(least)
	if s == OK {
		return
	}
	guard := ""
	if e.uW > 0 {
		guard = " and three standard uncertainties of the result"
	}
	cure := "Check the area (m2) and the rated power."
	if Given(n.CellAreaM2) {
		cure = "Check the cell area (m2, all cell outlines together) and the power."
	}
	out.add(Doubt{Severity: s, Field: e.field, Value: e.powerW, Limit: limit*stcWM2*area + 3*e.uW, Relation: "<=", Unit: "W",
		Basis: []Input{given("area_m2", area, 0), modelled("efficiency", efficiency), modelled("efficiency_limit", limit), word("technology", string(n.Technology))}},
		ruleEfficiency, "what "+number(100*limit, 3)+" % of full sun on this area"+guard+" allow", cure)
}

func powerMismatch(n *NameplateInput, out *Report) {
	if !out.ready(rulePowerMismatch, lack(n.PmaxW, lacksPmax)|lack(n.VmpV, lacksMaximumPoint)|lack(n.ImpA, lacksReference)) {
		return
	}
	stepW, stepV, stepA := or(n.StepW, PrintedStep(n.PmaxW, 1)), or(n.StepV, PrintedStep(n.VmpV, 0.1)), or(n.StepA, PrintedStep(n.ImpA, 0.1))
	mismatch, rounding, b := PowerMismatch(n.PmaxW, n.VmpV, n.ImpA, stepW, stepV, stepA)
	s, limit := b.Above(mismatch)
	if s == OK {
		return
	}
	product := n.VmpV * n.ImpA
	relation, bound := "<=", product*(1+limit)
	if n.PmaxW < product {
		relation, bound = ">=", product*(1-limit)
	}
	out.add(Doubt{Severity: s, Field: "nameplate/pmax_w", Value: n.PmaxW, Limit: bound, Relation: relation, Unit: "W",
		Basis: []Input{given("vmp_v", n.VmpV, 0), given("imp_a", n.ImpA, 0), modelled("mismatch", mismatch), modelled("rounding", rounding)}},
		rulePowerMismatch, "what Vmp times Imp and rounding allow ("+number(product, 4)+" W)", "Copy Pmax, Vmp and Imp from the same label.")
}

func order(n *NameplateInput, out *Report) {
	voltage := lack(n.VmpV, lacksMaximumPoint) | lack(n.VocV, lacksVoc)
	current := lack(n.ImpA, lacksReference) | lack(n.IscA, lacksIsc)
	if voltage != 0 && current != 0 {
		out.ready(ruleOrder, voltage|current)
		return
	}
	out.ready(ruleOrder, 0)
	sv, lv, rv := VoltageRatio(n.Technology).Outside(n.VmpV / n.VocV)
	si, li, ri := CurrentRatio(n.Technology).Outside(n.ImpA / n.IscA)
	if sv == OK && si == OK {
		return
	}
	if sv >= si {
		out.add(Doubt{Severity: sv, Field: "nameplate/vmp_v", Value: n.VmpV, Limit: lv * n.VocV, Relation: rv, Unit: "V",
			Basis: []Input{given("voc_v", n.VocV, 0), modelled("voltage_ratio", n.VmpV/n.VocV)}},
			ruleOrder, "the usual share of Voc", orderCure(sv, n.VmpV > 0.90*n.VocV, "Vmp and Voc"))
		return
	}
	out.add(Doubt{Severity: si, Field: "nameplate/imp_a", Value: n.ImpA, Limit: li * n.IscA, Relation: ri, Unit: "A",
		Basis: []Input{given("isc_a", n.IscA, 0), modelled("current_ratio", n.ImpA/n.IscA)}},
		ruleOrder, "the usual share of Isc", orderCure(si, n.ImpA > 0.99*n.IscA, "Imp and Isc"))
}

// orderCure asks whether two values were swapped only where swapping could help.
func orderCure(s Severity, above bool, pair string) string {
	if s == Reject || above {
		return "Were " + pair + " swapped?"
	}
	return "Copy " + pair + " from the same label."
}

func coefficients(n *NameplateInput, out *Report) {
	if !out.ready(ruleCoefficients, lack(n.GammaPerK, lacksCoefficients)&lack(n.BetaPerK, lacksCoefficients)&lack(n.AlphaPerK, lacksCoefficients)) {
		return
	}
	worst := Doubt{Unit: "1/K"}
	slips, more := []Slip(nil), ""
	for _, k := range coefficientsOf(n) {
		s, limit, relation := CoefficientRange(k.which).Outside(k.value)
		if s == worst.Severity && s != OK {
			more += " The same holds for " + strings.TrimPrefix(k.field, "nameplate/") + "."
		}
		if s > worst.Severity {
			more = ""
			worst.Severity, worst.Field, worst.Value, worst.Limit, worst.Relation = s, k.field, k.value, limit, relation
			slips = k.slips()
		}
	}
	if worst.Severity == OK && n.Technology.Crystalline() && GammaAboveBeta(n.GammaPerK, n.BetaPerK) {
		worst.Severity, worst.Field, worst.Value, worst.Limit, worst.Relation = Note, "nameplate/gamma_pmax_per_k", n.GammaPerK, n.BetaPerK+0.0003, "<="
	}
	if worst.Severity == OK {
		return
	}
	worst.Basis = []Input{given("gamma_pmax_per_k", n.GammaPerK, 0), given("beta_voc_per_k", n.BetaPerK, 0), given("alpha_isc_per_k", n.AlphaPerK, 0)}
	limitIs, cure := "the end of what panels have", "Power and voltage fall with heat: gamma and beta are negative, as a fraction per K (-0.0035)."
	switch {
	case len(slips) > 0:
		cure = "It would be " + either(slips, "1/K") + ". Send it as a fraction per K."
	case worst.Severity == Note:
		limitIs, cure = "beta with its margin: in silicon the power loses at least as much with heat as the voltage", "Were gamma and beta swapped?"
	}
	out.add(worst, ruleCoefficients, limitIs, cure+more)
}

type coefficient struct {
	which   Coefficient
	value   float64
	field   string
	perUnit float64
	unit    string
}

func coefficientsOf(n *NameplateInput) [3]coefficient {
	return [3]coefficient{
		{Gamma, n.GammaPerK, "nameplate/gamma_pmax_per_k", n.PmaxW, "W/K"},
		{Beta, n.BetaPerK, "nameplate/beta_voc_per_k", n.VocV, "V/K"},
		{Alpha, n.AlphaPerK, "nameplate/alpha_isc_per_k", n.IscA, "A/K"},
	}
}

func (k *coefficient) slips() []Slip {
	r := CoefficientRange(k.which)
	return CoefficientSlips(k.value, r.Low.Hold, r.High.Hold, k.perUnit, k.unit)
}

func cellCount(set *Settings, n *NameplateInput, out *Report) {
	if !out.ready(ruleCells, lack(n.VocV, lacksVoc)|lack(n.CellsInSeries, lacksCells)) {
		return
	}
	perCell, use, s := CellCount(set, n.VocV, n.CellsInSeries)
	if s == OK {
		return
	}
	d := Doubt{Severity: s, Field: "nameplate/cells_in_series", Value: n.CellsInSeries, Unit: "1", Relation: "<=", Limit: math.Floor(n.VocV / 0.55),
		Basis: []Input{given("voc_v", n.VocV, 0), modelled("voltage_per_cell_v", perCell), modelled("cells_used", use)}}
	if perCell > set.VocPerCellV {
		d.Relation, d.Limit = ">=", math.Ceil(n.VocV/set.VocPerCellV)
	}
	cure := "Count the cells that the current passes one after the other; until then " + number(use, -1) + " are computed with."
	if use == n.CellsInSeries/2 {
		cure = "Half-cut cells counted twice? " + number(use, -1) + " in series are computed with."
	}
	out.add(d, ruleCells, "the count at which each cell of silicon has a usual voltage (here "+number(perCell, 3)+" V)", cure)
}

func size(n *NameplateInput, out *Report) {
	areas := lack(n.CellAreaM2, lacksArea) | lack(n.PanelAreaM2, lacksSize)
	mass := lack(n.MassKg, lacksSize) | lack(n.PanelAreaM2, lacksSize)
	if areas != 0 && mass != 0 {
		out.ready(ruleSize, areas|mass)
		return
	}
	out.ready(ruleSize, 0)
	share, areal := n.CellAreaM2/n.PanelAreaM2, n.MassKg/n.PanelAreaM2
	ss, ls, rs := CellShareRange().Outside(share)
	sm, lm, rm := ArealMassRange().Outside(areal)
	if ss == OK && sm == OK {
		return
	}
	if ss >= sm {
		out.add(Doubt{Severity: ss, Field: "size/cell_area_m2", Value: n.CellAreaM2, Limit: ls * n.PanelAreaM2, Relation: rs, Unit: "m2",
			Basis: []Input{given("panel_area_m2", n.PanelAreaM2, 0), modelled("cell_share", share)}},
			ruleSize, "the end of what cells take of a panel's area", "Are both areas in m2, the panel unfolded?")
		return
	}
	out.add(Doubt{Severity: sm, Field: "size/mass_kg", Value: n.MassKg, Limit: lm * n.PanelAreaM2, Relation: rm, Unit: "kg",
		Basis: []Input{given("panel_area_m2", n.PanelAreaM2, 0), modelled("areal_mass_kg_m2", areal)}},
		ruleSize, "the end of what a panel of this area weighs", "Is the mass in kg and the area in m2?")
}

// modelSlips reports mass and areas that make sense in another unit only;
// coefficients have their own rule, which names the unit.
func modelSlips(n *NameplateInput, out *Report) {
	if Given(n.PmaxW) && n.PmaxW > 0 {
		low, high := 0.008*n.PmaxW, 0.060*n.PmaxW
		out.slip("size/mass_kg", "kg", n.MassKg, low, high, UnitSlips(QuantityMass, n.MassKg, low, high))
		low, high = n.PmaxW/250, n.PmaxW/60
		out.slip("size/panel_area_m2", "m2", n.PanelAreaM2, low, high, UnitSlips(QuantityArea, n.PanelAreaM2, low, high))
		out.slip("size/cell_area_m2", "m2", n.CellAreaM2, low, high, UnitSlips(QuantityArea, n.CellAreaM2, low, high))
	}
	for _, k := range coefficientsOf(n) {
		r := CoefficientRange(k.which)
		out.slip(k.field, "1/K", k.value, r.Low.Hold, r.High.Hold, k.slips())
	}
}

// A RigInput is what slips are looked for in a rig; NaN: not stated.
type RigInput struct {
	CableLengthM float64 // one way
	CableMM2     float64 // copper cross-section
}

// Rig appends to out what is doubted about a rig: a cable in another unit. Fields
// are paths below the rig, as "cable/length_m".
func Rig(in *RigInput, out *Report) {
	out.ready(ruleUnitSlip, 0)
	out.slip("cable/length_m", "m", in.CableLengthM, 0.05, 30, lengthSlips(in.CableLengthM))
	out.slip("cable/cross_section_mm2", "mm2", in.CableMM2, 0.5, 16, UnitSlips(QuantityCrossSection, in.CableMM2, 0.5, 16))
}

// lengthSlips leaves out a length of zero: a reading at the panel itself.
func lengthSlips(lengthM float64) []Slip {
	if lengthM == 0 {
		return nil
	}
	return UnitSlips(QuantityLength, lengthM, 0.05, 30)
}
