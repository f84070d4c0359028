package normalise_test

import (
	"encoding/json"
	"math"
	"os"
	"testing"

	"pgregory.net/rapid"

	"evensun/internal/fieldtest"
	"evensun/internal/limits"
	"evensun/internal/normalise"
)

// metered is a metered reading of the example's panel on a controller of the common
// class, with a thermocouple on its back.
func metered(tb testing.TB, volts, amps, poa, back float64) *normalise.Input {
	in := benchSession(tb, 1, true)
	plain(in)
	in.Rig.Cable = fieldtest.Cable{LengthM: ptr(0)}
	r := &in.Session.Readings[0]
	r.VoltageV, r.CurrentA, r.PowerW, r.BackTemperatureC = &volts, &amps, nil, &back
	r.Irradiance = fieldtest.Irradiance{POAWM2: &poa, Sensor: fieldtest.ReferenceCell}
	return in
}

// bounds are the ceilings of refusal of the example's panel, from the rules one by one and
// the uncertainties of the classes by hand.
func bounds(in *normalise.Input) (amps, volts, diodeW, sunW limits.Bounds) {
	set, r := limits.Default(), &in.Session.Readings[0]
	v, i, poa := *r.VoltageV, *r.CurrentA, *r.Irradiance.POAWM2
	uV := math.Sqrt(square(0.006*v) + square(0.002*v) + square(0.1/(2*root3)))
	uA := math.Sqrt(square(0.012*i) + square(0.003*i) + square(0.1/(2*root3)))
	uW := math.Hypot(i*uV, v*uA)
	uPOA := poa * math.Sqrt(square(0.03)+square(0.005)+square(0.003))
	cell := *r.BackTemperatureC + 3*poa/1000
	uCell := math.Sqrt(2 + square(2/root3*poa/1000))
	most := func(k float64) float64 { return limits.MeteredBound(k, poa, uPOA, math.NaN(), math.NaN(), 0) }
	hot, cold := cell+2*uCell, limits.ColdestCell(&set, cell, uCell, 24)
	plate := limits.NewNameplate()
	plate.PmaxW, plate.VocV, plate.IscA, plate.VmpV, plate.ImpA, plate.ToleranceHigh = 200, 24.2, 10.6, 20.2, 9.9, 0.05
	plate.GammaPerK, plate.BetaPerK, plate.AlphaPerK, plate.CellsInSeries, plate.Technology = -0.0035, -0.0029, 0.0005, 36, limits.MonoPERC
	amps = limits.CurrentAboveIsc(&set, 10.6, 0.0005, 0.05, most(2), most(3), hot, uA)
	volts = limits.VoltageAboveVoc(&set, 24.2, -0.0029, most(2), most(3), cold, uV)
	diodeW = limits.PowerAboveDiodeBound(&set, &plate, most(2), most(3), hot, cold, uW)
	sunW = limits.PowerAboveSun(&set, 0.95, limits.MonoPERC.EfficiencyLimit(), most(3), uW)
	return amps, volts, diodeW, sunW
}

func square(x float64) float64 { return x * x }

// TestNoAcceptedReadingBreaksALimit draws readings of the example's panel at random. One
// that no rule refuses lies below every ceiling, computed here anew; one above a ceiling
// is refused, unless the chain takes the value for a slip of the unit.
func TestNoAcceptedReadingBreaksALimit(t *testing.T) {
	t.Parallel()
	refused, accepted := 0, 0
	rapid.Check(t, func(rt *rapid.T) {
		in := metered(t, rapid.Float64Range(1, 32).Draw(rt, "volts"), rapid.Float64Range(0.1, 18).Draw(rt, "amps"),
			rapid.Float64Range(120, 1100).Draw(rt, "poa"), rapid.Float64Range(10, 75).Draw(rt, "back"))
		out := outcome(t, in, false)
		r := &in.Session.Readings[0]
		amps, volts, diodeW, sunW := bounds(in)
		broken := false
		for _, c := range []struct {
			x float64
			b limits.Bounds
		}{{*r.CurrentA, amps}, {*r.VoltageV, volts}, {*r.VoltageV * *r.CurrentA, diodeW}, {*r.VoltageV * *r.CurrentA, sunW}} {
			if s, _ := c.b.Above(c.x); s == limits.Reject {
				broken = true
			}
		}
		rejects := out.Worst() == fieldtest.Reject
		if broken && !rejects && out.Readings[0].Reason != "unit_slip" {
			rt.Errorf("%v V, %v A at %v W/m2, back %v C breaks a ceiling and is accepted: %+v", *r.VoltageV, *r.CurrentA, *r.Irradiance.POAWM2, *r.BackTemperatureC, out.Readings[0].Findings)
		}
		if rejects {
			refused++
		} else {
			accepted++
		}
	})
	if refused == 0 || accepted == 0 {
		t.Errorf("%d refused, %d accepted: the draw shows nothing", refused, accepted)
	}
}

// TestAcceptedPowerIsPossible draws readings around what the panel yields: an accepted one
// has a power at standard test conditions that its cells' area can have.
func TestAcceptedPowerIsPossible(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		poa, share := rapid.Float64Range(400, 1100).Draw(rt, "poa"), rapid.Float64Range(0.3, 2).Draw(rt, "share")
		in := metered(t, 18.5, share*9.9*poa/1000, poa, 40)
		out := outcome(t, in, false)
		r := out.Readings[0].Result
		if out.Worst() == fieldtest.Reject || r == nil {
			return
		}
		if least := r.StcPowerW - 3*r.StcPowerUW; least > 1000*0.95*1.05*limits.MonoPERC.EfficiencyLimit() {
			rt.Errorf("%v W at %v W/m2 is accepted with %v +- %v W at standard test conditions", 18.5**in.Session.Readings[0].CurrentA, poa, r.StcPowerW, r.StcPowerUW)
		}
	})
}

// FuzzJSON decodes bytes into a session and takes it through the chain: the outcome is
// sound, whatever the members hold.
func FuzzJSON(f *testing.F) {
	f.Add([]byte(design))
	for _, name := range sessionFiles(f) {
		raw, err := os.ReadFile(name)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(raw)
	}
	f.Add([]byte(`{"readings":[{}]}`))
	f.Add([]byte(`{"site":{"latitude_deg":1e300,"longitude_deg":-1e300,"altitude_m":1e300},"sky":{"linke_turbidity":-1e9},"readings":[{"power_w":1e-300,"voltage_v":-5,"current_a":0,"plane":{"tilt_deg":1e9,"azimuth_deg":-1e9}}]}`))
	f.Add([]byte(`{"rig":{"converter_efficiency":0,"cable":{"length_m":1,"cross_section_mm2":0}},"readings":[{"power_w":100,"power_read_at":"battery_side","irradiance":{"poa_w_m2":1000}}]}`))
	f.Add([]byte(`{"readings":[{"kind":"iv_sweep","sweep":{"voltage_v":[1,2],"current_a":[3]},"irradiance":{"poa_w_m2":1000}},{"arrangement":"covered","cover":{"sections_covered":9,"sections_total":0,"reference_label":"1"},"power_w":5}]}`))
	f.Fuzz(func(t *testing.T, raw []byte) {
		var s fieldtest.Session
		if json.Unmarshal(raw, &s) != nil || len(s.Readings) > 20 {
			return
		}
		assertSound(t, outcome(t, session(t, raw), true))
	})
}
