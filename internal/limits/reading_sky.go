package limits

func (c *check) runSky() {
	c.aboveClearSky()
	if Given(c.in.GHIWM2) {
		c.horizontalImpossible()
	}
	c.sunBelowHorizon()
	c.sunBehindPanel()
	if c.in.Sky == Clear {
		c.belowClearSky()
		if c.in.TiltDeg > 0 && !c.in.POAFromGHI {
			c.horizontalForPlane()
		}
	}
	if c.yields {
		c.sunTooLow()
		if c.in.Arrangement != FlatPanel {
			c.irradianceTooLow()
		}
	}
}

// poaDoubt is a doubt about the measured irradiance.
func (c *check) poaDoubt(s Severity, limit float64, relation string, basis ...Input) Doubt {
	if c.in.POAFromGHI {
		basis = append(basis, given("ghi_w_m2", c.in.GHIWM2, 0))
	}
	return Doubt{Severity: s, Field: c.poaField(), Value: c.in.POAWM2, Limit: limit, Relation: relation, Unit: "W/m2", Basis: basis}
}

// modelledZenithDeg is the end of the clear-sky model's range: of the light of dawn and
// dusk it knows nothing, only its floor of 50 W/m2 says what cannot be.
const modelledZenithDeg = 88

func (c *check) aboveClearSky() {
	in := c.in
	if !c.ready(ruleAboveClearSky, lack(in.POAWM2, lacksPOA)|lack(in.ClearPOATL2WM2, lacksClearSky)) {
		return
	}
	b := IrradianceAboveClearSky(c.set, in.ClearPOATL2WM2, c.uPOAWM2)
	b.Note, b.Hold = b.Note+LowSunMarginWM2(in.ApparentZenithDeg), b.Hold+LowSunMarginWM2(in.ApparentZenithDeg)
	s, limit := b.Above(in.POAWM2)
	if s == OK || s != Reject && in.ApparentZenithDeg > modelledZenithDeg {
		return
	}
	cure := "A cloud edge or bright ground can do that for moments."
	if s != Note {
		cure = "Only moments beside a cloud get near that: check the meter, its unit, tilt and azimuth, and the time."
	}
	d := c.poaDoubt(s, limit, "<=", modelled("clear_sky_poa_tl2_w_m2", in.ClearPOATL2WM2), given("u_poa_w_m2", in.UPOAWM2, c.uPOAWM2))
	c.out.add(d, ruleAboveClearSky, "what a very clear sky and the meter's error allow here at this time", cure)
}

func (c *check) horizontalImpossible() {
	in := c.in
	if !c.ready(ruleHorizontalImpossible, lack(in.ApparentZenithDeg, lacksSun)|lack(in.ExtraterrestrialWM2, lacksSun)) {
		return
	}
	s, limit := HorizontalIrradianceImpossible(in.ApparentZenithDeg, in.ExtraterrestrialWM2).Above(in.GHIWM2)
	if s == OK {
		return
	}
	basis := []Input{modelled("apparent_zenith_deg", in.ApparentZenithDeg), modelled("extraterrestrial_w_m2", in.ExtraterrestrialWM2)}
	c.out.add(Doubt{Severity: s, Field: "irradiance/ghi_w_m2", Value: in.GHIWM2, Limit: limit, Relation: "<=", Unit: "W/m2", Basis: basis},
		ruleHorizontalImpossible, "the limit for a horizontal plane with the sun this high", "Was the meter tilted, or the time zone wrong?")
}

func (c *check) sunBelowHorizon() {
	in := c.in
	if !c.ready(ruleSunBelowHorizon, lack(in.ApparentZenithDeg, lacksSun)) {
		return
	}
	which, limit := SunBelowHorizon(in.ApparentZenithDeg, in.POAWM2, c.powerW, in.CurrentA, in.Panel.PmaxW, in.Panel.IscA)
	if which < 0 {
		return
	}
	d := Doubt{Severity: Reject, Limit: limit, Relation: "<=", Basis: []Input{modelled("apparent_zenith_deg", in.ApparentZenithDeg)}}
	switch which {
	case 0:
		d.Field, d.Value, d.Unit = c.poaField(), in.POAWM2, "W/m2"
	case 1:
		d.Field, d.Value, d.Unit = c.powerField(), c.powerW, "W"
		if d.Field == "current_a" {
			d.Value, d.Limit, d.Unit = in.CurrentA, limit/in.VoltageV, "A"
		}
	case 2:
		d.Field, d.Value, d.Unit = "current_a", in.CurrentA, "A"
	}
	c.out.add(d, ruleSunBelowHorizon, "all there can be with the sun below the horizon (zenith angle "+number(in.ApparentZenithDeg, 4)+" deg)",
		"Was a local time sent as UTC, or the sign of the longitude lost?")
}

func (c *check) sunBehindPanel() {
	in := c.in
	lacks := lack(in.IncidenceDeg, lacksPlane) | lack(in.TiltDeg, lacksPlane) | lack(in.ApparentZenithDeg, lacksSun) | lack(in.ExtraterrestrialWM2, lacksSun)
	poa, u := in.POAWM2, c.uPOAWM2
	implied := !c.metered
	if implied {
		poa = stcWM2 * in.CurrentA / in.Panel.IscA
		u = poa * (c.uCurrentA/in.CurrentA + c.set.USpread)
		lacks |= lack(poa, lacksPOA)
	}
	if !c.ready(ruleSunBehindPanel, lacks) || !(in.IncidenceDeg-2*c.uPlaneDeg > 90) || in.ApparentZenithDeg > 90 {
		return // below the horizon the sun is behind nothing: sun_below_horizon speaks
	}
	_, b := SunBehindPanel(in.IncidenceDeg, c.uPlaneDeg, in.TiltDeg, in.ApparentZenithDeg, in.ExtraterrestrialWM2, in.GroundAlbedo, u)
	s, limit := b.Above(poa)
	if s == OK {
		return
	}
	d := c.poaDoubt(s, limit, "<=", modelled("incidence_deg", in.IncidenceDeg), given("tilt_deg", in.TiltDeg, 0),
		given("u_plane_deg", in.UPlaneDeg, c.uPlaneDeg), modelled("apparent_zenith_deg", in.ApparentZenithDeg), given("ground_albedo", in.GroundAlbedo, 0.3))
	if implied {
		d.Field, d.Unit = "current_a", "A"
		d.Value, d.Limit = in.CurrentA, limit*in.Panel.IscA/stcWM2
	}
	c.out.add(d, ruleSunBehindPanel, "all that sky and ground send to a panel with the sun behind it", c.turnedCure())
}

func (c *check) turnedCure() string {
	switch {
	case c.in.IncidenceTurnedDeg < 90:
		return "With the azimuth turned by 180 deg the sun is in front: it is the direction the panel faces, 180 for south."
	case c.in.IncidenceMagneticDeg < 90:
		return "With a magnetic azimuth the sun is in front: state azimuth_reference magnetic."
	}
	return "Check azimuth (from true north, clockwise), tilt and time."
}

func (c *check) belowClearSky() {
	in := c.in
	if !c.ready(ruleBelowClearSky, lack(in.POAWM2, lacksPOA)|lack(in.ClearPOAHighTLWM2, lacksClearSky)) {
		return
	}
	b := IrradianceBelowClearSky(in.ClearPOAHighTLWM2, c.uPOAWM2)
	b.Note, b.Hold = b.Note-LowSunMarginWM2(in.ApparentZenithDeg), b.Hold-LowSunMarginWM2(in.ApparentZenithDeg)
	s, limit := b.Below(in.POAWM2)
	if s == OK {
		return
	}
	d := c.poaDoubt(s, limit, ">=", modelled("clear_sky_poa_tl_high_w_m2", in.ClearPOAHighTLWM2), given("u_poa_w_m2", in.UPOAWM2, c.uPOAWM2))
	c.out.add(d, ruleBelowClearSky, "the least that a clear sky sends to this plane", "Shade or dust on the meter, another tilt, or a sky that was not clear?")
}

func (c *check) horizontalForPlane() {
	in := c.in
	if !c.ready(ruleHorizontalForPlane, lack(in.POAWM2, lacksPOA)|lack(in.ClearGHIWM2, lacksClearSky)|lack(in.ClearPOAWM2, lacksClearSky)) {
		return
	}
	_, _, s := HorizontalTakenForPlane(in.POAWM2, in.ClearGHIWM2, in.ClearPOAWM2)
	if s == OK {
		return
	}
	relation := ">="
	if in.POAWM2 > in.ClearPOAWM2 {
		relation = "<="
	}
	d := c.poaDoubt(s, in.ClearPOAWM2, relation, modelled("clear_sky_ghi_w_m2", in.ClearGHIWM2), modelled("clear_sky_poa_w_m2", in.ClearPOAWM2))
	c.out.add(d, ruleHorizontalForPlane, "what the clear sky sends to this plane, and fits the horizontal",
		"If the meter lay flat, send the value as ghi_w_m2.")
}

func (c *check) sunTooLow() {
	if !c.ready(ruleSunTooLow, lack(c.in.ApparentZenithDeg, lacksSun)) {
		return
	}
	elevation := 90 - c.in.ApparentZenithDeg
	s, limit := SunTooLow().Below(elevation)
	if s == OK {
		return
	}
	c.out.add(Doubt{Severity: s, Field: "taken_at", Value: elevation, Limit: limit, Relation: ">=", Unit: "deg",
		Basis: []Input{modelled("apparent_zenith_deg", c.in.ApparentZenithDeg)}},
		ruleSunTooLow, "the elevation of the sun that a comparison needs", "Measure nearer to noon.")
}

func (c *check) irradianceTooLow() {
	poa, field := c.in.POAWM2, c.poaField()
	if !c.metered && (c.in.Sky == Clear || c.in.Sky == ThinHaze || c.in.Sky == Haze) {
		poa, field = c.in.ClearPOAWM2, "taken_at"
	}
	if !c.ready(ruleIrradianceTooLow, lack(poa, lacksPOA)) {
		return
	}
	b, normalised := IrradianceTooLow(poa)
	s, limit := b.Below(poa)
	sunLow, _ := SunTooLow().Below(90 - c.in.ApparentZenithDeg)
	if s == OK || !c.metered && sunLow != OK {
		return // without a meter a low sun leaves no result that could be too dim
	}
	effect := "The result is shown, not ranked."
	if !normalised {
		effect = "Below 100 W/m2 nothing is normalised."
	}
	c.out.add(Doubt{Severity: s, Field: field, Value: poa, Limit: limit, Relation: ">=", Unit: "W/m2", Basis: []Input{c.poaInput(poa)}},
		ruleIrradianceTooLow, "the light that a ranking needs", effect)
}

func (c *check) poaInput(poa float64) Input {
	if c.metered {
		return given("poa_w_m2", poa, 0)
	}
	return modelled("poa_w_m2", poa)
}
