package normalise

import (
	"math"

	"evensun/internal/celltemp"
	"evensun/internal/fieldtest"
)

// stepOfTemperature tells how hot the cells were, by which evidence, and why by no other.
func (r *reading) stepOfTemperature(d *steps) {
	p := &r.point
	in := numbers("poa_w_m2", p.poaWM2, "back_temperature_c", r.backC, "air_temperature_c", p.airC, "wind_speed_m_s", p.windMS, "open_circuit_voltage_v", r.openV)
	if isGiven(r.openV) {
		in["voc_stc_v"], in["voc_stc_of"], in["open_circuit_poa_w_m2"] = r.thermometer.VocSTCV, vocOwner(r.vocFrom), r.openWM2
	}
	module := p.moduleC()
	if r.tempMethod == string(celltemp.ByVoc) {
		module = missing
	}
	out := numbers("method", r.tempMethod, "module_c", module, "cell_c", p.cellC(), "u_cell_k", r.cellU)
	out["not_used"] = r.notUsed()
	d.add("cell_temperature", r.tempMethod, r.sourceOfTemperature(), in, out)
}

// notUsed lists the evidence that was not taken, each with the reason. The uncertainties
// include the warm-up, as that of the one taken does.
func (r *reading) notUsed() []map[string]any {
	list := []map[string]any{}
	transient := r.transientK()
	for _, c := range celltemp.Candidates(r.heat()) {
		if string(c.Method) == r.tempMethod {
			continue
		}
		u := math.Hypot(c.UK, transient)
		other := numbers("method", string(c.Method), "cell_c", c.CellC, "u_cell_k", u)
		other["reason"] = r.whyNot(&c, u)
		list = append(list, other)
	}
	return list
}

// whyNot says why a kind of evidence was not taken.
func (r *reading) whyNot(c *celltemp.Estimate, u float64) string {
	switch {
	case isGiven(c.UK) && u > r.cellU:
		return "less certain"
	case isGiven(c.UK):
		return "hardly more certain, and lower in the order of preference"
	case c.Method == celltemp.ByBack:
		return "no sensor on the panel"
	case r.kind != fieldtest.OperatingPoint && r.kind != fieldtest.IVSweep:
		return "an open-circuit voltage is not looked for in a reading without power"
	case !isGiven(r.rated.betaPerK):
		return "the nameplate has no temperature coefficient of voltage"
	}
	return "no open-circuit voltage of this unit within 10 minutes to compare with a known one"
}

func (r *reading) sourceOfTemperature() string {
	switch celltemp.Method(r.tempMethod) {
	case celltemp.ByBack:
		return "D. King, W. Boyson, J. Kratochvil, SAND2004-3535 (2004), equation 12"
	case celltemp.ByVoc:
		return "IEC 60904-5 in idea: the panel as its own thermometer, with the Voc of " + vocOwner(r.vocFrom)
	case celltemp.ByKingFlat:
		return "SAND2004-3535 (2004), equation 11: mean of open rack and insulated back"
	}
	return "SAND2004-3535 (2004), equations 11 and 12, polymer back on an open rack"
}

func vocOwner(from string) string {
	if from == vocOfNameplate {
		return "the nameplate"
	}
	return from
}
