package limits

import "math"

// suspicious tells cheaply whether any value lies outside its plausible range, so
// that slips are worth looking for.
func (c *check) suspicious() bool {
	in := c.in
	if !in.WeatherChecked && (outside(in.AirC, -40, 50) || outside(in.WindMS, 0, 17)) {
		return true
	}
	low, high := backRange(in.AirC)
	if outside(in.BackC, low, high) || c.metered && in.POAWM2 > 1.25*in.ClearPOATL2WM2 {
		return true
	}
	return in.CurrentA > c.currentTop() || in.PowerW > c.powerTop()
}

// backRange is the plausible range of a back temperature in C.
func backRange(airC float64) (low, high float64) {
	if Given(airC) {
		return airC - 7, airC + 60
	}
	return -40, 110
}

// currentTop is the hold bound of the current; NaN without Isc.
func (c *check) currentTop() float64 { return c.iHold + kHold*c.uCurrentA }

func (c *check) powerTop() float64 {
	n := &c.panel
	return PowerAboveRating(c.set, n.PmaxW, n.ToleranceHigh, n.GammaPerK, n.Technology, c.geHold, c.lowC, c.uPowerW).Hold
}

// slips reports every unit slip and puts the suggested values into fixed.
func (c *check) slips(fixed *ReadingInput) {
	in := c.in
	if !in.WeatherChecked {
		w := WeatherInput{AirC: in.AirC, WindMS: in.WindMS}
		weatherSlips(&w, c.out)
		fixed.AirC, fixed.WindMS = w.AirC, w.WindMS
	}
	low, high := backRange(fixed.AirC)
	if x, ok := c.out.slip("back_temperature_c", "Cel", in.BackC, low, high, UnitSlips(QuantityTemperature, in.BackC, low, high)); ok {
		fixed.BackC, fixed.CellC = x, in.CellC+x-in.BackC
	}
	if c.irradianceSlip(fixed) {
		return // the bounds of current and power were reckoned with it
	}
	c.currentSlip(fixed)
	c.powerSlip(fixed)
}

// irradianceSlip looks for a light too bright for the sky, and for one so dim that the
// panel's current or power stands above its bound while another unit would explain both.
func (c *check) irradianceSlip(fixed *ReadingInput) bool {
	in := c.in
	low, top := 0.0, 1.25*in.ClearPOATL2WM2
	if !c.metered || in.POAFromGHI {
		return false
	}
	if in.CurrentA > c.currentTop() || in.PowerW > c.powerTop() {
		low = leastShare * in.ClearPOATL2WM2
	}
	if !outside(in.POAWM2, low, top) {
		return false
	}
	x, ok := c.out.slip(c.poaField(), "W/m2", in.POAWM2, low, top, UnitSlips(QuantityIrradiance, in.POAWM2, max(low, in.POAWM2), top))
	if ok {
		fixed.POAWM2, fixed.UPOAWM2 = x, in.UPOAWM2*x/in.POAWM2
	}
	return ok
}

// leastShare is the share of a clear sky's light below which no panel gives a current
// that would be too much for the light (common practice, no source).
const leastShare = 0.02

// currentSlip looks for milliamperes and for slips of the pen. A conversion counts
// only when it lands between a twentieth and the whole of the bound: any current
// could otherwise be explained as milliamperes.
func (c *check) currentSlip(fixed *ReadingInput) {
	in, top := c.in, c.iHold
	if !(in.CurrentA > c.currentTop()) {
		return
	}
	slips := plausible(UnitSlips(QuantityCurrent, in.CurrentA, 0, top), top)
	if in.VoltageV > 0 && Given(in.PowerW) {
		slips = append(slips, plausible(DigitSlips(in.CurrentA, c.powerW/in.VoltageV), top)...)
	}
	if x, ok := c.out.slip("current_a", "A", in.CurrentA, 0, top, slips); ok {
		fixed.CurrentA = x
		fixed.UCurrentA = in.UCurrentA * x / in.CurrentA
	}
}

func (c *check) powerSlip(fixed *ReadingInput) {
	in, top := c.in, c.powerTop()-kHold*c.uPowerW
	if !(in.PowerW > c.powerTop()) {
		return
	}
	slips := plausible(UnitSlips(QuantityPower, in.PowerW, 0, top), top)
	if vi := in.VoltageV * in.CurrentA; Given(vi) && in.PowerReadAt != BatterySide {
		slips = append(slips, plausible(DigitSlips(in.PowerW, vi), top)...)
	}
	if x, ok := c.out.slip("power_w", "W", in.PowerW, 0, top, slips); ok {
		f := x / in.PowerW
		fixed.PowerW, fixed.UPowerW = x, in.UPowerW*f
		fixed.PanelPowerW, fixed.UPanelPowerW = in.PanelPowerW*f, in.UPanelPowerW*f
	}
}

// plausible keeps the slips that land between a twentieth and the whole of top.
func plausible(slips []Slip, top float64) []Slip {
	kept := slips[:0]
	for _, s := range slips {
		if s.Converted >= top/20 && s.Converted <= top {
			kept = append(kept, s)
		}
	}
	return kept
}

// weatherSlips reports slips of air temperature and wind and corrects w.
func weatherSlips(w *WeatherInput, out *Report) {
	if x, ok := out.slip("weather/air_temperature_c", "Cel", w.AirC, -40, 50, UnitSlips(QuantityTemperature, w.AirC, -40, 50)); ok {
		w.AirC = x
	}
	if x, ok := out.slip("weather/wind_speed_m_s", "m/s", w.WindMS, 0, 17, UnitSlips(QuantityWind, w.WindMS, 0, 17)); ok {
		w.WindMS = x
	}
}

// slip reports a value that makes sense in another unit and returns the first
// suggestion.
func (r *Report) slip(field, unit string, value, low, high float64, slips []Slip) (suggested float64, found bool) {
	if len(slips) == 0 {
		return value, false
	}
	r.ready(ruleUnitSlip, 0)
	limit, relation := high, "<="
	if value < low {
		limit, relation = low, ">="
	}
	basis := []Input{given("plausible_from", low, 0), given("plausible_to", high, 0)}
	for i := range basis {
		basis[i].Origin = FromModel
	}
	for _, s := range slips {
		name := "as_" + s.Unit
		if s.OfDigits {
			name = "as_intended"
		}
		basis = append(basis, modelled(name, s.Converted))
	}
	v, _ := compared(value, limit)
	d := Doubt{Severity: Hold, Field: field, Value: value, Limit: limit, Relation: relation, Unit: unit, Basis: basis}
	d.Reason = v + unitWord(unit) + " is not plausible here; it would be " + either(slips, unit) + ". Send the value in" + unitName(unit) + "; what is stored stays as it was sent."
	if !Given(low) || math.IsInf(low, 0) {
		d.Basis = basis[1:]
	}
	r.add(d, ruleUnitSlip, "", "")
	return slips[0].Converted, true
}

func unitName(unit string) string {
	switch unit {
	case "Cel":
		return " degrees Celsius"
	case "1/K":
		return " 1/K"
	}
	return " " + unit
}
