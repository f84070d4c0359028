package sky_test

import (
	"math"
	"testing"
	"time"

	"evensun/internal/fieldtest"
	"evensun/internal/sky"
	"evensun/internal/sun"
)

// By hand, at the edges of the bins of the published table 1, on an upright plane
// with the sun overhead: D = DHI*((1-F1)/2 + F2), F1 = f11 + f12*Delta, F2 = f21 + f22*Delta.
func TestPerezBins(t *testing.T) {
	t.Parallel()
	site := sky.NewSite(45, 0)
	s := sky.SunAt(0, 180, 1361, &site)
	p := sky.NewPlane(90, 180, sky.CleanGlass)
	const dhi = 300.0
	delta := dhi * s.AirMass / 1361
	for _, c := range []struct{ from, to, f11, f12, f21, f22 float64 }{
		{1.000, 1.065, -0.008, 0.588, -0.060, 0.072}, {1.065, 1.230, 0.130, 0.683, -0.019, 0.066},
		{1.230, 1.500, 0.330, 0.487, 0.055, -0.064}, {1.500, 1.950, 0.568, 0.187, 0.109, -0.152},
		{1.950, 2.800, 0.873, -0.392, 0.226, -0.462}, {2.800, 4.500, 1.132, -1.237, 0.288, -0.823},
		{4.500, 6.200, 1.060, -1.600, 0.264, -1.127}, {6.200, 90, 0.678, -0.327, 0.156, -1.377},
	} {
		for _, epsilon := range []float64{c.from + 1e-6, c.to - 1e-6} {
			h := sky.Horizontal{DNIWM2: dhi * (epsilon - 1), DHIWM2: dhi}
			around := max(0, c.f11+c.f12*delta)
			want := max(0, dhi*((1-around)/2+c.f21+c.f22*delta))
			if got := sky.Perez(h, &s, &p); math.Abs(got-want) > 1e-6 {
				t.Errorf("Perez at epsilon %v = %v W/m2, want %v", epsilon, got, want)
			}
		}
	}
}

// Low sun: each model floors the cosine at its own published value.
func TestLowSun(t *testing.T) {
	t.Parallel()
	site := sky.NewSite(45, 0)
	facing := sky.NewPlane(90, 180, sky.CleanGlass)
	h := sky.Horizontal{GHIWM2: 20, DNIWM2: 136.1, DHIWM2: 18}
	s := sky.SunAt(89.5, 180, 1361, &site)
	cos := math.Sin(89.5 * math.Pi / 180)
	if got, want := sky.HayDavies(h, &s, &facing, 0).CircumsolarWM2, 18*0.1*cos/0.01745; math.Abs(got-want) > 1e-9 {
		t.Errorf("circumsolar light at 89.5 deg = %v W/m2, want %v", got, want)
	}
	b := sky.PerezBrightness(h, &s) // epsilon 2.78 at this zenith: the fifth bin
	z := 89.5 * math.Pi / 180
	f1, f2 := 0.873-0.392*b.Delta-0.362*z, 0.226-0.462*b.Delta+0.001*z
	want := 18 * ((1-f1)/2 + f1*cos/math.Cos(85*math.Pi/180) + f2)
	if b.Epsilon < 1.95 || b.Epsilon > 2.8 {
		t.Fatalf("epsilon %v, the hand calculation is for 1.95 to 2.8", b.Epsilon)
	}
	if got := sky.Perez(h, &s, &facing); math.Abs(got-want) > 1e-9 {
		t.Errorf("Perez at 89.5 deg = %v W/m2, want %v", got, want)
	}
	if got, want := sky.Erbs(50, &s).ClearnessIndex, 50/(1361*0.065); math.Abs(got-want) > 1e-12 {
		t.Errorf("clearness at 89.5 deg = %v, want %v", got, want)
	}
}

// The branches of Erbs by hand on both sides of their ends.
func TestErbsBranches(t *testing.T) {
	t.Parallel()
	site := sky.NewSite(45, 0)
	s := sky.SunAt(0, 180, 1000, &site)
	quartic := func(k float64) float64 {
		return 0.9511 - 0.1604*k + 4.388*k*k - 16.638*k*k*k + 12.336*k*k*k*k
	}
	for _, c := range []struct{ kt, want float64 }{
		{0.21, 1 - 0.09*0.21}, {0.22, 1 - 0.09*0.22}, {0.221, quartic(0.221)}, {0.23, quartic(0.23)},
		{0.79, quartic(0.79)}, {0.80, quartic(0.80)}, {0.801, 0.165}, {1.2, 0.165},
	} {
		if got := sky.Erbs(1000*c.kt, &s).DiffuseFraction; math.Abs(got-c.want) > 1e-12 {
			t.Errorf("Erbs at kt %v: diffuse fraction %v, want %v", c.kt, got, c.want)
		}
	}
}

// The bound turns the sun by twice the plane's uncertainty, on beam and circumsolar only.
func TestMostLenientTurnsTheSun(t *testing.T) {
	t.Parallel()
	s, _ := scene(time.Date(2024, 6, 20, 19, 0, 0, 0, time.UTC), 39.742, -104.99, 1600, 30, 180, 2, 0.2)
	l := sky.ClearSkyPlane(&s)
	turned := math.Cos((s.Plane.IncidenceDeg(&s.Sun) - 10) * math.Pi / 180)
	want := l.POAWM2() + (l.BeamWM2+l.CircumsolarWM2)*(turned/l.CosIncidence-1)
	if got := sky.MostLenientWM2(&s, 5); math.Abs(got-want) > 1e-9 {
		t.Errorf("MostLenientWM2 at 5 deg = %v, want %v", got, want)
	}
}

func TestModifierU(t *testing.T) {
	t.Parallel()
	for modifier, want := range map[float64]float64{1: 0.005, 0.9: 0.03, 0: 0.255} {
		if got := sky.ModifierU(modifier); math.Abs(got-want) > 1e-12 {
			t.Errorf("ModifierU(%v) = %v, want %v", modifier, got, want)
		}
	}
}

// Turbidity costs 2 % of the irradiance near noon and 20 % with the sun at 15 deg.
func TestTurbidityU(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		utc              string
		lat, lon, alt, b float64
		least, most      float64
	}{
		{"2024-06-20T19:00:00Z", 39.742, -104.99, 1600, 30, 0.018, 0.026},
		{"2024-12-21T12:00:00Z", 51.4779, -0.0015, 45, 60, 0.18, 0.24},
	} {
		at, err := time.Parse(time.RFC3339, c.utc)
		if err != nil {
			t.Fatal(err)
		}
		s, _ := scene(at, c.lat, c.lon, c.alt, c.b, 180, 3.5, 0.2)
		share := sky.TurbidityU(&s, sky.TurbidityOf(fieldtest.Clear, &s.Site)) / sky.ClearSkyPlane(&s).POAWM2()
		if share < c.least || share > c.most {
			t.Errorf("%s: turbidity leaves %.3f of the irradiance, want %v to %v", c.utc, share, c.least, c.most)
		}
	}
}

// Measured pressure may replace the standard one.
func TestPressureRatio(t *testing.T) {
	t.Parallel()
	site := sky.NewSite(45, 1600)
	site.PressureRatio = 0.8
	if s := sky.SunAt(60, 180, 1361, &site); math.Abs(s.AirMassAbsolute-0.8*sun.AirMass(60)) > 1e-12 {
		t.Errorf("absolute air mass %v, want 0.8 of %v", s.AirMassAbsolute, sun.AirMass(60))
	}
}
