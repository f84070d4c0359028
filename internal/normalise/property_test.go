package normalise_test

import (
	"encoding/json"
	"math"
	"strings"
	"testing"
	"time"

	"evensun/internal/fieldtest"
	"evensun/internal/normalise"
)

func outcome(tb testing.TB, in *normalise.Input, derivation bool) *normalise.Outcome {
	tb.Helper()
	opts := normalise.Defaults()
	opts.Derivation = derivation
	out, err := normalise.Session(tb.Context(), in, opts)
	if err != nil {
		tb.Fatal(err)
	}
	return out
}

// TestMoreLightLessPower claims more and more light for one metered power: the power
// at standard test conditions must fall.
func TestMoreLightLessPower(t *testing.T) {
	t.Parallel()
	last := math.Inf(1)
	for poa := 300.0; poa <= 1300; poa += 50 {
		in := benchSession(t, 1, true)
		in.Session.Readings[0].Irradiance.POAWM2 = &poa
		got := outcome(t, in, false).Readings[0].Result.StcPowerW
		if !(got < last) {
			t.Errorf("power at %v W/m2 claimed = %v, want below the %v of less light", poa, got, last)
		}
		last = got
	}
}

// TestOrder turns a session's readings round: every reading keeps its result.
func TestOrder(t *testing.T) {
	t.Parallel()
	for _, metered := range []bool{true, false} {
		in := benchSession(t, 9, metered)
		straight := outcome(t, in, false)
		readings := in.Session.Readings
		for i, j := 0, len(readings)-1; i < j; i, j = i+1, j-1 {
			readings[i], readings[j] = readings[j], readings[i]
		}
		turned := outcome(t, in, false)
		for i := range readings {
			a, b := straight.Readings[i].Result, turned.Readings[len(readings)-1-i].Result
			near(t, "power in another order", b.StcPowerW, a.StcPowerW, 1e-9*a.StcPowerW)
			near(t, "u in another order", b.StcPowerUW, a.StcPowerUW, 1e-9*a.StcPowerW)
		}
		in.Session.Readings, in.Panels = readings[:1], in.Panels[:1]
		in.Session.EndedAt = nil
		alone := outcome(t, in, false).Readings[0].Result
		near(t, "power alone", alone.StcPowerW, turned.Readings[0].Result.StcPowerW, 1e-6*alone.StcPowerW)
	}
}

// TestWeatherSlip gives the air in degrees Fahrenheit: one doubt of the session, and
// results as if it had been given in C.
func TestWeatherSlip(t *testing.T) {
	t.Parallel()
	in := benchSession(t, 3, false)
	want := outcome(t, in, false).Readings[0].Result.CellC
	fahrenheit := *in.Session.Weather.AirTemperatureC*1.8 + 32
	in.Session.Weather.AirTemperatureC = &fahrenheit
	out := outcome(t, in, false)
	if len(out.Session) != 1 || out.Session[0].Rule != "unit_slip" || out.Session[0].Pointer != "#/weather/air_temperature_c" {
		t.Errorf("findings of the session = %+v, want one unit_slip at the air", out.Session)
	}
	near(t, "cell temperature", out.Readings[0].Result.CellC, want, 0.01)
}

// TestCautions reads the cautions of the example: each id once, the closing text last.
func TestCautions(t *testing.T) {
	t.Parallel()
	in := session(t, []byte(design))
	in.Panels[1] = in.Panels[0]
	in.Session.Note = "light rain at the end"
	lists := [][]fieldtest.Caution{outcome(t, in, false).Cautions, normalise.PanelModelCautions(in.Panels[0]), normalise.RigCautions(&in.Rig)}
	for _, list := range lists {
		seen := map[string]bool{}
		for _, c := range list {
			if seen[c.ID] || c.Text == "" || strings.Contains(c.Text, "NaN") {
				t.Errorf("caution %+v is repeated, empty or no sentence", c)
			}
			seen[c.ID] = true
		}
		if len(list) == 0 || list[len(list)-1].ID != "general" {
			t.Errorf("cautions end with %+v, want the closing text", list)
		}
	}
	if has := func(id string) bool {
		for _, c := range lists[0] {
			if c.ID == id {
				return true
			}
		}
		return false
	}; !has("battery") || !has("storm_and_water") {
		t.Errorf("cautions = %+v, want battery and storm_and_water among them", lists[0])
	}
}

// FuzzSession moves the numbers of the example: results stay finite and positive, the
// interval encloses the value, and JSON can carry all of it.
func FuzzSession(f *testing.F) {
	f.Add(18.1, 8.42, 152.0, 912.0, 47.5, 24.0, 38.5, -106.0, 35.0, 180.0, int64(0), uint8(0))
	f.Add(0.0, 0.0, 0.0, 0.0, -40.0, -60.0, 90.0, 180.0, 90.0, 360.0, int64(86400*180), uint8(255))
	f.Add(1e6, 1e6, 1e9, 3000.0, 200.0, 130.0, -90.0, 0.0, 0.0, 0.0, int64(3600*8), uint8(13))
	f.Add(18.1, 8420.0, 152.0, 1e-9, 47.5, 75.0, -33.0, 18.0, 30.0, 10.0, int64(3600*12), uint8(37))
	f.Fuzz(func(t *testing.T, volts, amps, watts, poa, back, air, lat, lon, tilt, azimuth float64, seconds int64, bits uint8) {
		for _, x := range []float64{volts, amps, watts, poa, back, air, lat, lon, tilt, azimuth} {
			if math.IsNaN(x) || math.IsInf(x, 0) {
				t.Skip("the contract lets no such number through")
			}
		}
		in := session(t, []byte(design))
		in.Panels[1] = in.Panels[0]
		in.Session.Site.LatitudeDeg, in.Session.Site.LongitudeDeg = math.Mod(lat, 90), math.Mod(lon, 180)
		in.Session.Plane.TiltDeg, in.Session.Plane.AzimuthDeg = held(tilt, 90), held(azimuth, 360)
		in.Session.Weather.AirTemperatureC = &air
		at := in.Session.StartedAt.Add(time.Duration(seconds%(366*86400)) * time.Second)
		r := &in.Session.Readings[0]
		r.TakenAt, r.VoltageV, r.CurrentA, r.PowerW, r.BackTemperatureC, r.Irradiance.POAWM2 = &at, &volts, &amps, &watts, &back, &poa
		leaveOut(in, bits)
		assertSound(t, outcome(t, in, true))
	})
}

func held(x, modulus float64) *float64 {
	y := math.Abs(math.Mod(x, modulus))
	return &y
}

// leaveOut drops what the bits say and varies the arrangement.
func leaveOut(in *normalise.Input, bits uint8) {
	r := &in.Session.Readings[0]
	if bits&1 != 0 {
		r.PowerW = nil
	}
	if bits&2 != 0 {
		r.VoltageV, r.CurrentA = nil, nil
	}
	if bits&4 != 0 {
		r.BackTemperatureC = nil
	}
	if bits&8 != 0 {
		r.Irradiance.GHIWM2, r.Irradiance.POAWM2 = r.Irradiance.POAWM2, nil
	}
	if bits&16 != 0 {
		r.Arrangement = fieldtest.Flat
	}
	if bits&32 != 0 {
		in.Session.Site.AltitudeM = nil
	}
	if bits&64 != 0 {
		in.Rig.PowerReadAt = fieldtest.BatterySide
	}
	if bits&128 != 0 {
		in.Session.Sky.Condition, r.Irradiance = fieldtest.Clear, fieldtest.Irradiance{}
	}
}

// assertSound holds an outcome to what every outcome must be.
func assertSound(t *testing.T, out *normalise.Outcome) {
	t.Helper()
	if _, err := json.Marshal(out); err != nil {
		t.Errorf("an outcome that JSON cannot carry: %v", err)
	}
	for i, r := range out.Readings {
		if r.Result == nil {
			if r.Reason == "" {
				t.Errorf("reading %d has neither result nor reason", i)
			}
			continue
		}
		p := r.Result
		if !(p.StcPowerW > 0 && p.StcPowerUW > 0 && p.StcPowerLoW < p.StcPowerW && p.StcPowerHiW > p.StcPowerW) {
			t.Errorf("reading %d: power %v, u %v, interval %v to %v", i, p.StcPowerW, p.StcPowerUW, p.StcPowerLoW, p.StcPowerHiW)
		}
	}
}
