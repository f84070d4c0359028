package sky_test

import (
	"math"
	"testing"

	"evensun/internal/sky"
)

// By hand in every bin of the published table 6 with the sun at 60 deg behind an upright
// plane, where the coefficients of the zenith angle count:
// D = DHI*((1-F1)/2 + F2), F1 = f11 + f12*Delta + f13*z, F2 = f21 + f22*Delta + f23*z.
func TestPerezZenith(t *testing.T) {
	t.Parallel()
	site := sky.NewSite(45, 0)
	s := sky.SunAt(60, 180, 1361, &site)
	p := sky.NewPlane(90, 0, sky.CleanGlass)
	const z = math.Pi / 3
	const k = 1.041 * z * z * z
	for _, c := range []struct{ epsilon, f11, f12, f13, f21, f22, f23 float64 }{
		{1.03, -0.008, 0.588, -0.062, -0.060, 0.072, -0.022}, {1.15, 0.130, 0.683, -0.151, -0.019, 0.066, -0.029},
		{1.40, 0.330, 0.487, -0.221, 0.055, -0.064, -0.026}, {1.70, 0.568, 0.187, -0.295, 0.109, -0.152, -0.014},
		{2.40, 0.873, -0.392, -0.362, 0.226, -0.462, 0.001}, {3.60, 1.132, -1.237, -0.412, 0.288, -0.823, 0.056},
		{5.30, 1.060, -1.600, -0.359, 0.264, -1.127, 0.131}, {8.00, 0.678, -0.327, -0.250, 0.156, -1.377, 0.251},
	} {
		for _, dhi := range []float64{60, 400} {
			delta := dhi * s.AirMass / 1361
			h := sky.Horizontal{DNIWM2: dhi * (c.epsilon - 1) * (1 + k), DHIWM2: dhi}
			around := max(0, c.f11+c.f12*delta+c.f13*z)
			want := max(0, dhi*((1-around)/2+c.f21+c.f22*delta+c.f23*z))
			if got := sky.Perez(h, &s, &p); math.Abs(got-want) > 1e-9 {
				t.Errorf("Perez of %v W/m2 at epsilon %v = %v W/m2, want %v", dhi, c.epsilon, got, want)
			}
		}
	}
}

// A nearly flat plane sees the ground by the limit of the formula, which grows with the
// tilt: on both sides of the change the share is the same a degree.
func TestNearlyFlatPlane(t *testing.T) {
	t.Parallel()
	perDeg := func(tiltDeg float64) float64 { return sky.MartinRuizDiffuse(tiltDeg, sky.CleanGlass).Ground / tiltDeg }
	if below, above := perDeg(0.057), perDeg(0.058); math.Abs(below/above-1) > 1e-4 {
		t.Errorf("the ground's modifier is %v a degree below 0.001 rad and %v above", below, above)
	}
	if got := sky.MartinRuizDiffuse(0, sky.CleanGlass).Ground; got != 0 {
		t.Errorf("a flat plane sees the ground by %v, want 0", got)
	}
}
