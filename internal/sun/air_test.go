package sun_test

import (
	"math"
	"testing"
	"time"

	"evensun/internal/reftest"
	"evensun/internal/sun"
)

type airCase struct {
	Zenith    float64 `json:"apparent_zenith_deg"`
	Altitude  float64 `json:"altitude_m"`
	Day       int     `json:"day_of_year"`
	Elevation float64 `json:"true_elevation_deg"`
	Pressure  float64 `json:"pressure_pa"`
	Air       float64 `json:"air_temperature_c"`
}

func TestAir(t *testing.T) {
	t.Parallel()
	for _, m := range []struct {
		model, output string
		f             func(airCase) float64
	}{
		{"kasten_young_1989", "air_mass_relative", func(c airCase) float64 { return sun.AirMass(c.Zenith) }},
		{"isa_pressure", "pressure_pa", func(c airCase) float64 { return sun.StandardPressure(c.Altitude) }},
		{"spencer_1971", "extraterrestrial_w_m2", func(c airCase) float64 { return sun.Extraterrestrial(c.Day) }},
		{"spa_refraction", "refraction_deg", func(c airCase) float64 { return sun.Refraction(c.Elevation, c.Pressure, c.Air) }},
		{"absolute", "air_mass_absolute", func(c airCase) float64 {
			return sun.AirMass(c.Zenith) * sun.StandardPressure(c.Altitude) / sun.StandardPressurePa
		}},
	} {
		for _, c := range reftest.Cases[airCase](t, "physics/airmass.json", m.model) {
			t.Run(c.Name, func(t *testing.T) { c.Check(t, m.output, m.f(c.In)) })
		}
	}
}

// Spencer's series and the distance of the full algorithm are two roads to one number.
func TestExtraterrestrialAgainstDistance(t *testing.T) {
	t.Parallel()
	for n := range 366 {
		at := time.Date(2024, 1, 1, 12, 0, 0, 0, time.UTC).AddDate(0, 0, n)
		r := sun.Geocentric(at, sun.DefaultDeltaTS).DistanceAU
		got, want := sun.Extraterrestrial(sun.DayOfYear(at)), sun.SolarConstantWM2/(r*r)
		if math.Abs(got/want-1) > 0.0012 {
			t.Errorf("Extraterrestrial on %v = %v W/m2, want %v from the distance within 0.12 %%", at, got, want)
		}
	}
}

func FuzzAirMass(f *testing.F) {
	f.Add(60.0)
	f.Fuzz(func(t *testing.T, z float64) {
		z = reftest.Fold(z, 0, 89)
		am := sun.AirMass(z)
		if sun.AirMass(z+1) <= am {
			t.Errorf("air mass falls from %v to %v at %v deg", am, sun.AirMass(z+1), z)
		}
		if secant := 1 / math.Cos(z*rad); am > secant {
			t.Errorf("AirMass(%v) = %v, above that of flat air, %v", z, am, secant)
		}
	})
}
