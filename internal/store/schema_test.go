package store_test

import (
	"context"
	"fmt"
	"testing"

	"evensun/internal/fieldtest"
	"evensun/internal/store"
	"evensun/internal/storetest"
)

// The tables take the ends of every range of the API and nothing past them.
func TestRangesOfReadings(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	cases := []struct {
		name   string
		lo, hi float64
		set    func(*store.SessionWrite, *float64)
	}{
		{"latitude_deg", -90, 90, func(s *store.SessionWrite, x *float64) { s.Session.Site.LatitudeDeg = *x }},
		{"longitude_deg", -180, 180, func(s *store.SessionWrite, x *float64) { s.Session.Site.LongitudeDeg = *x }},
		{"altitude_m", -430, 6000, func(s *store.SessionWrite, x *float64) { s.Session.Site.AltitudeM = x }},
		{"tilt_deg", 0, 90, onReading(func(r *fieldtest.Reading, x *float64) { r.Plane.TiltDeg = x })},
		{"azimuth_deg", 0, 360, onReading(func(r *fieldtest.Reading, x *float64) { r.Plane.AzimuthDeg = x })},
		{"voltage_v", 0, 1500, onReading(func(r *fieldtest.Reading, x *float64) { r.VoltageV = x })},
		{"current_a", 0, 100, onReading(func(r *fieldtest.Reading, x *float64) { r.CurrentA = x })},
		{"power_w", 0, 10000, onReading(func(r *fieldtest.Reading, x *float64) { r.PowerW = x })},
		{"poa_w_m2", 0, 2500, onReading(func(r *fieldtest.Reading, x *float64) { r.Irradiance.POAWM2 = x })},
		{"rear_w_m2", 0, 1500, onReading(func(r *fieldtest.Reading, x *float64) { r.Irradiance.RearWM2 = x })},
		{"ghi_w_m2", 0, 2500, onReading(func(r *fieldtest.Reading, x *float64) { r.Irradiance.GHIWM2 = x })},
		{"air_temperature_c", -100, 150, onReading(func(r *fieldtest.Reading, x *float64) { r.Weather.AirTemperatureC = x })},
		{"back_temperature_c", -100, 250, onReading(func(r *fieldtest.Reading, x *float64) { r.BackTemperatureC = x })},
		{"wind_speed_m_s", 0, 120, onReading(func(r *fieldtest.Reading, x *float64) { r.Weather.WindSpeedMS = x })},
		{"relative_humidity_percent", 0, 100, onReading(func(r *fieldtest.Reading, x *float64) { r.Weather.RelativeHumidityPercent = x })},
		{"warm_up_min", 0, 1440, onReading(func(r *fieldtest.Reading, x *float64) { r.WarmUpMin = x })},
	}
	for _, c := range cases {
		step := (c.hi - c.lo) * 1e-9
		for x, want := range map[float64]bool{c.lo: true, c.hi: true, c.lo - step: false, c.hi + step: false} {
			s := w.session(t, 1)
			c.set(&s, pointer(x))
			s = sealed(t, s)
			_, err := w.try(t, func(_ context.Context, tx *store.Tx) error { return tx.SaveSession(s) })
			if (err == nil) != want {
				t.Errorf("%s = %v: %v, want stored %v", c.name, x, err, want)
			}
		}
	}
}

func onReading(set func(*fieldtest.Reading, *float64)) func(*store.SessionWrite, *float64) {
	return func(s *store.SessionWrite, x *float64) { set(&s.Session.Readings[0], x) }
}

// Every value of an enumeration that the words know can be stored.
func TestEnumerationsFit(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	for _, a := range []fieldtest.Arrangement{fieldtest.Tilted, fieldtest.Flat, fieldtest.Covered} {
		for _, k := range []fieldtest.Kind{fieldtest.OperatingPoint, fieldtest.OpenCircuit, fieldtest.ShortCircuit, fieldtest.IVSweep} {
			s := w.session(t, 1)
			s.Judged[0].Arrangement, s.Judged[0].Kind = a, k
			w.save(t, s)
		}
	}
	for i, tech := range []fieldtest.Technology{"", fieldtest.MonoPERC, fieldtest.TOPCon, fieldtest.Heterojunction, fieldtest.BackContact,
		fieldtest.Poly, fieldtest.CIGS, fieldtest.Amorphous, fieldtest.PerovskiteTandem, fieldtest.UnknownTechnology} {
		m := newModel(t, fmt.Sprintf("model-%d", i), w.tester.ID)
		m.Construction.Technology = tech
		w.write(t, func(_ context.Context, tx *store.Tx) error { return tx.CreatePanelModel(&m) })
	}
	for _, kind := range []fieldtest.RigKind{fieldtest.MPPTController, fieldtest.PWMController, fieldtest.PowerStation, fieldtest.Microinverter,
		fieldtest.ElectronicLoad, fieldtest.Resistor, fieldtest.OtherRig} {
		for _, side := range []fieldtest.Side{fieldtest.PanelSide, fieldtest.BatterySide, fieldtest.UnknownSide} {
			r := fieldtest.StoredRig{ID: storetest.NewID(t), TesterID: w.tester.ID, Rig: fieldtest.Rig{Kind: kind, PowerReadAt: side}}
			w.write(t, func(_ context.Context, tx *store.Tx) error { return tx.CreateRig(&r) })
		}
	}
}
