package sky_test

import (
	"math"
	"testing"

	"evensun/internal/sky"
)

// With the sun on the horizon nothing comes from it: the clear sky is dark, and all of a
// measured irradiance is diffuse, however bright.
func TestSunOnTheHorizon(t *testing.T) {
	t.Parallel()
	site := sky.NewSite(45, 0)
	s := sky.SunAt(90, 180, 1361, &site)
	s.Up = 0
	if got := sky.ClearSky(&site, &s, 3); got != (sky.Horizontal{}) {
		t.Errorf("ClearSky = %+v, want none", got)
	}
	split := sky.Erbs(40, &s)
	if split.DNIWM2 != 0 || split.DHIWM2 != 40 || split.DiffuseFraction != 1 {
		t.Errorf("Erbs = %+v, want all diffuse", split)
	}
	if got := sky.Haurwitz(90.01); got != 0 {
		t.Errorf("Haurwitz below the horizon = %v, want 0", got)
	}
}

// The clearness index is no more than 1, however much a cloud's edge adds.
func TestClearnessIsClipped(t *testing.T) {
	t.Parallel()
	site := sky.NewSite(45, 0)
	s := sky.SunAt(0, 180, 1000, &site)
	if got := sky.Erbs(1300, &s).ClearnessIndex; got != 1 {
		t.Errorf("clearness of 1300 of 1000 W/m2 = %v, want 1", got)
	}
	if got := sky.Erbs(0, &s).ClearnessIndex; got != 0 {
		t.Errorf("clearness of no light = %v, want 0", got)
	}
}

// The middle of what a panel's own shadow leaves, 0.5 to 0.8 of the ground's light.
func TestSelfShade(t *testing.T) {
	t.Parallel()
	if got, want := sky.SelfShade, (0.5+0.8)/2; math.Abs(got-want) > 1e-12 {
		t.Errorf("SelfShade = %v, want %v", got, want)
	}
}
