package normalise_test

import (
	"testing"

	"evensun/internal/fieldtest"
	"evensun/internal/normalise"
)

// TestOwnWeather gives one reading its own air and wind: they stand over the session's,
// each alone, and a slip in them is the reading's.
func TestOwnWeather(t *testing.T) {
	t.Parallel()
	cell := func(session, own fieldtest.Weather) (float64, []fieldtest.Finding) {
		in := benchSession(t, 1, false)
		in.Session.Weather, in.Session.Readings[0].Weather = session, own
		r := outcome(t, in, false).Readings[0]
		return r.Result.CellC, r.Findings
	}
	both := func(air, wind float64) fieldtest.Weather {
		return fieldtest.Weather{AirTemperatureC: &air, WindSpeedMS: &wind}
	}
	want, _ := cell(both(30, 3), fieldtest.Weather{})
	for _, c := range []struct {
		name         string
		session, own fieldtest.Weather
		slips        int
	}{
		{"both", both(10, 1), both(30, 3), 0},
		{"air alone", both(10, 3), fieldtest.Weather{AirTemperatureC: ptr(30)}, 0},
		{"wind alone", both(30, 1), fieldtest.Weather{WindSpeedMS: ptr(3)}, 0},
		{"air in deg F", both(10, 3), fieldtest.Weather{AirTemperatureC: ptr(86)}, 1},
	} {
		got, findings := cell(c.session, c.own)
		near(t, c.name+": cell", got, want, 1e-9)
		slips := 0
		for _, f := range findings {
			if f.Rule == "unit_slip" && f.Pointer == "#/readings/0/weather/air_temperature_c" {
				slips++
			}
		}
		if slips != c.slips {
			t.Errorf("%s: %d slips of the reading's air, want %d: %+v", c.name, slips, c.slips, findings)
		}
	}
}

// TestCoverClass holds the classes of covered shares to 0.04 about a quarter, a third and
// a half.
func TestCoverClass(t *testing.T) {
	t.Parallel()
	for share, want := range map[float64]string{0.25: "0.25", 0.22: "0.25", 0.28: "0.25", 0.3: "0.33", 0.333: "0.33", 0.37: "0.33", 0.5: "0.50", 0.54: "0.50", 0.2: "", 0.42: "", 0.6: "", 1: "", 0: ""} {
		if got := normalise.CoverClass(share); got != want {
			t.Errorf("CoverClass(%v) = %q, want %q", share, got, want)
		}
	}
}

// TestFlatMetered compares flat with tilted by a meter in each plane: the parts for sun and
// heat times what is left are the quotient of the powers.
func TestFlatMetered(t *testing.T) {
	t.Parallel()
	in := pairSession(t, 4, layFlat)
	for i, poa := range []float64{1000, 930} {
		in.Session.Readings[i].Irradiance = fieldtest.Irradiance{POAWM2: &poa, Sensor: fieldtest.ReferenceCell}
	}
	r := outcome(t, in, false).Readings[1].Result.Retention
	if r == nil || r.Measure != fieldtest.FlatRetention {
		t.Fatalf("retention %+v, want flat-retention", r)
	}
	near(t, "sun part", *r.SunPart, 0.93, 1e-9)
	near(t, "sun, heat and rest", *r.SunPart**r.HeatPart**r.Rest, 141.0/152, 1e-9)
}

// TestLevelMeterUnderARear lights the rear by what a level meter shows.
func TestLevelMeterUnderARear(t *testing.T) {
	t.Parallel()
	rear := func(ghi float64) float64 {
		in := benchSession(t, 1, false)
		in.Panels[0].Construction.Bifaciality = ptr(0.7)
		in.Session.Readings[0].Irradiance = fieldtest.Irradiance{GHIWM2: &ghi, Sensor: fieldtest.SiliconPyranometer}
		return stepNamed(outcome(t, in, true).Readings[0].Derivation, "effective_irradiance").Outputs["rear_w_m2"].(float64)
	}
	near(t, "rear by half the light", rear(480), rear(960)/2, 1e-9)
}
