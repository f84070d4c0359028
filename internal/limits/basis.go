package limits

// given is an input as the tester or the nameplate states it, or the default that
// stands in.
func given(name string, x, fallback float64) Input {
	if Given(x) {
		return Input{Name: name, Value: finite(x), Origin: FromTester}
	}
	return Input{Name: name, Value: finite(fallback), Origin: ByDefault}
}

func modelled(name string, x float64) Input {
	return Input{Name: name, Value: finite(x), Origin: FromModel}
}

func word(name, text string) Input { return Input{Name: name, Text: text, Origin: FromTester} }

// lightBasis says what the irradiance bounds were made of.
func (c *check) lightBasis(severity Severity) []Input {
	in := c.in
	var b []Input
	switch {
	case c.metered && in.POAFromGHI:
		b = append(b, given("ghi_w_m2", in.GHIWM2, 0), modelled("poa_w_m2", in.POAWM2), modelled("u_poa_w_m2", c.uPOAWM2))
	case c.metered:
		b = append(b, given("poa_w_m2", in.POAWM2, 0), given("u_poa_w_m2", in.UPOAWM2, c.uPOAWM2))
	case Given(in.ClearPOALimitWM2):
		b = append(b, modelled("clear_sky_poa_w_m2", in.ClearPOALimitWM2), word("sky_condition", string(in.Sky)))
	default:
		b = append(b, given("poa_w_m2", in.POAWM2, c.set.RecordWM2))
	}
	if in.Panel.Bifaciality > 0 && Given(in.RearWM2) {
		rear := modelled("rear_w_m2", in.RearWM2)
		if in.RearMeasured {
			rear.Origin = FromTester
		}
		b = append(b, given("bifaciality", in.Panel.Bifaciality, 0), rear)
	}
	ge := c.geHold
	if severity == Reject {
		ge = c.geReject
	}
	return append(b, modelled("irradiance_bound_w_m2", ge))
}

// cellBasis names a bound on the cell temperature and where it comes from.
func (c *check) cellBasis(name string, x float64) Input {
	i := modelled(name, x)
	switch {
	case c.in.CellMeasured:
		i.Origin = FromTester
	case !Given(c.in.CellC) && !Given(c.in.AirC):
		i.Origin = ByDefault
	}
	return i
}

func (c *check) vocBasis() Input {
	if Given(c.in.Panel.VocV) {
		return given("voc_v", c.in.Panel.VocV, 0)
	}
	return Input{Name: "voc_v", Value: finite(c.vocV), Origin: ByDefault}
}

func (c *check) cellsBasis() Input {
	i := given("cells_in_series", c.panel.CellsInSeries, 0)
	if i.Origin == ByDefault {
		return Input{Name: "cells_in_series", Text: "not known", Origin: ByDefault}
	}
	if c.panel.CellsInSeries != c.in.Panel.CellsInSeries {
		i.Origin = FromModel
	}
	return i
}

func (c *check) poaField() string {
	if c.in.POAFromGHI {
		return "irradiance/ghi_w_m2"
	}
	return "irradiance/poa_w_m2"
}
