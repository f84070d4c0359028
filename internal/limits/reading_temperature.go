package limits

import "math"

func (c *check) runTemperature() {
	if c.in.CellMeasured {
		c.cellTemperature()
	}
	if !c.in.WeatherChecked {
		checkWeather(&WeatherInput{AirC: c.in.AirC, WindMS: c.in.WindMS}, c.out)
	}
	if c.yields {
		c.transient()
	}
}

func (c *check) cellTemperature() {
	in := c.in
	if !c.ready(ruleCellTemperature, lack(in.CellC, lacksCell)) {
		return
	}
	u := or(in.UCellK, 0)
	low := math.NaN()
	if c.metered && !c.covered {
		low = in.POAWM2
	}
	high := c.geHold
	if c.metered {
		high = in.POAWM2
	}
	s, limit, relation := CellTemperature(in.AirC, high, low, in.WindMS, u, in.WarmUpMin).Outside(in.CellC)
	if s == OK {
		return
	}
	wind := 0.0
	if relation == ">=" {
		wind = 10
	}
	basis := append([]Input{given("air_temperature_c", in.AirC, stcC), given("wind_speed_m_s", in.WindMS, wind),
		given("u_cell_temperature_k", in.UCellK, u), given("warm_up_min", in.WarmUpMin, 0)}, c.lightBasis(s)...)
	field := "back_temperature_c"
	if !Given(in.BackC) {
		field = "voltage_v"
	}
	c.out.add(Doubt{Severity: s, Field: field, Value: in.CellC, Limit: limit, Relation: relation, Unit: "Cel", Basis: basis},
		ruleCellTemperature, "the cell temperature that air, light and wind can explain", cellCure(relation))
}

func cellCure(relation string) string {
	if relation == ">=" {
		return "Did the sensor lose contact, or was the panel just unfolded?"
	}
	return "Did the sun reach the sensor, or is the value in degrees Fahrenheit?"
}

// A WeatherInput is the weather of a session or reading; NaN: not measured.
type WeatherInput struct {
	AirC   float64 // air temperature in the shade, C
	WindMS float64 // wind at the panel, m/s
}

// Weather appends to out what is doubted about the weather of a session, slips
// first, and returns the weather with the suggested values of the slips: what to
// give to the readings of the session, so that one slip is not doubted again in
// each of them. Fields are paths below the session or reading, as
// "weather/air_temperature_c".
func Weather(in *WeatherInput, out *Report) WeatherInput {
	fixed := *in
	before := len(out.Doubts)
	out.ready(ruleUnitSlip, 0)
	weatherSlips(&fixed, out)
	slipped := len(out.Doubts)
	checkWeather(in, out)
	if slipped == before {
		return fixed
	}
	var again Report
	checkWeather(&fixed, &again)
	out.keepOnly(slipped, &again)
	return fixed
}

func checkWeather(in *WeatherInput, out *Report) {
	if out.ready(ruleAirTemperature, lack(in.AirC, lacksAir)) {
		if s, limit, relation := AirTemperature().Outside(in.AirC); s != OK {
			out.add(Doubt{Severity: s, Field: "weather/air_temperature_c", Value: in.AirC, Limit: limit, Relation: relation, Unit: "Cel"},
				ruleAirTemperature, "the end of what air can be where panels are measured", "A thermometer in the sun reads high; measure in the shade.")
		}
	}
	if out.ready(ruleWind, lack(in.WindMS, lacksWind)) {
		if s, limit, relation := WindSpeed().Outside(in.WindMS); s != OK {
			out.add(Doubt{Severity: s, Field: "weather/wind_speed_m_s", Value: in.WindMS, Limit: limit, Relation: relation, Unit: "m/s"},
				ruleWind, "the end of what a folding panel stands in", "Wind is in metres per second.")
		}
	}
}

func (c *check) transient() {
	in := c.in
	if !c.ready(ruleTransient, 0) {
		return
	}
	added, s := ThermalTransient(in.WarmUpMin, in.RateKPerMin)
	if s == OK {
		return
	}
	d := Doubt{Severity: s, Field: "warm_up_min", Unit: "min", Basis: []Input{given("warm_up_min", in.WarmUpMin, 0),
		given("temperature_rate_k_per_min", in.RateKPerMin, 0), modelled("added_u_cell_temperature_k", added)}}
	widened := "The cell temperature counts " + number(added, 3) + " K less sure."
	switch {
	case in.WarmUpMin < 5:
		d.Value, d.Limit, d.Relation = in.WarmUpMin, 5, ">="
		d.Reason = "The panel lay in the sun for " + number(in.WarmUpMin, 3) + " min; it takes 5 or more to come to rest. " + widened
	case math.Abs(in.RateKPerMin) > 1:
		d.Field, d.Unit, d.Value, d.Limit, d.Relation = "back_temperature_c", "K/min", math.Abs(in.RateKPerMin), 1, "<="
		d.Reason = "The panel's temperature still moves by more than 1 K a minute. " + widened
	}
	c.out.add(d, ruleTransient, "", "")
}
