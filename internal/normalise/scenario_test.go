package normalise_test

import (
	"testing"
	"time"

	"evensun/internal/fieldtest"
	"evensun/internal/normalise"
	"evensun/internal/stc"
)

func ptr(x float64) *float64 { return &x }

// TestScenarios varies the first reading of the example the way testers do and holds
// each to where its light and heat come from, or to why it has no result.
func TestScenarios(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name   string
		change func(in *normalise.Input, r *fieldtest.Reading)
		origin fieldtest.Origin
		heat   string
		reason string
	}{
		{"as it is", func(*normalise.Input, *fieldtest.Reading) {}, fieldtest.OriginMeasured, "back_temperature", ""},
		{"only volts and amperes", func(_ *normalise.Input, r *fieldtest.Reading) { r.PowerW = nil }, fieldtest.OriginMeasured, "back_temperature", ""},
		{"only power", func(_ *normalise.Input, r *fieldtest.Reading) { r.VoltageV, r.CurrentA = nil, nil }, fieldtest.OriginMeasured, "back_temperature", ""},
		{"light on level ground only", func(_ *normalise.Input, r *fieldtest.Reading) {
			r.Irradiance = fieldtest.Irradiance{GHIWM2: ptr(930), Sensor: fieldtest.SiliconPyranometer}
		}, fieldtest.OriginFromGHI, "back_temperature", ""},
		{"a phone is no meter", func(_ *normalise.Input, r *fieldtest.Reading) { r.Irradiance.Sensor = fieldtest.Phone }, fieldtest.OriginClearSky, "back_temperature", ""},
		{"no meter under clouds", func(in *normalise.Input, r *fieldtest.Reading) {
			in.Session.Sky.Condition, r.Irradiance = fieldtest.BrokenCloud, fieldtest.Irradiance{}
		}, "", "", "sky_not_clear"},
		{"no meter, sun low", func(_ *normalise.Input, r *fieldtest.Reading) {
			at := time.Date(2026, 6, 14, 12, 20, 0, 0, time.UTC)
			r.TakenAt, r.Irradiance = &at, fieldtest.Irradiance{}
		}, "", "", "sun_too_low"},
		{"no meter, plane unknown", func(in *normalise.Input, r *fieldtest.Reading) {
			in.Session.Plane.AzimuthDeg, r.Irradiance = nil, fieldtest.Irradiance{}
		}, "", "", "plane_unknown"},
		{"no tracker", func(in *normalise.Input, _ *fieldtest.Reading) { in.Rig.Kind = fieldtest.PWMController }, "", "", "not_a_tracker"},
		{"open circuit", func(_ *normalise.Input, r *fieldtest.Reading) { r.Kind = fieldtest.OpenCircuit }, "", "", "no_power"},
		{"flat on the ground", func(_ *normalise.Input, r *fieldtest.Reading) {
			r.Arrangement, r.BackTemperatureC = fieldtest.Flat, nil
		}, fieldtest.OriginMeasured, "king_mean_flat", ""},
		{"air only", func(_ *normalise.Input, r *fieldtest.Reading) { r.BackTemperatureC = nil }, fieldtest.OriginMeasured, "king_open_rack_polymer", ""},
		{"too dark", func(_ *normalise.Input, r *fieldtest.Reading) { r.Irradiance.POAWM2 = ptr(80) }, "", "", "irradiance_too_low"},
		{"not for the rankings", func(_ *normalise.Input, r *fieldtest.Reading) {
			r.Irradiance.POAWM2, r.PowerW, r.CurrentA = ptr(350), ptr(60), ptr(3.3)
		}, fieldtest.OriginMeasured, "back_temperature", "irradiance_too_low"},
	} {
		in := benchSession(t, 1, true)
		c.change(in, &in.Session.Readings[0])
		got := outcome(t, in, true).Readings[0]
		if got.Reason != c.reason || (got.Result != nil) != (c.origin != "") {
			t.Errorf("%s: reason %q, result %v, want reason %q", c.name, got.Reason, got.Result != nil, c.reason)
			continue
		}
		if got.Result != nil && (got.Result.IrradianceOrigin != c.origin || got.Result.CellMethod != c.heat) {
			t.Errorf("%s: light %s, heat %s, want %s, %s", c.name, got.Result.IrradianceOrigin, got.Result.CellMethod, c.origin, c.heat)
		}
	}
}

// TestRefusedMethods asks by name for procedures that need what no session states.
func TestRefusedMethods(t *testing.T) {
	t.Parallel()
	for _, method := range []stc.Method{stc.MethodProcedure1, stc.MethodProcedure2, stc.MethodProcedure3, stc.MethodProcedure4} {
		opts := normalise.Defaults()
		opts.Method = method
		_, err := normalise.Session(t.Context(), benchSession(t, 1, true), opts)
		if refusal, ok := err.(*stc.Refusal); !ok || refusal.Method != method || refusal.Detail == "" {
			t.Errorf("%s on one point: error %v, want a refusal that says what is missing", method, err)
		}
	}
}
