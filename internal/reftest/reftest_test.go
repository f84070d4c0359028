package reftest_test

import (
	"math"
	"testing"

	"evensun/internal/reftest"
)

func TestCases(t *testing.T) {
	type in struct {
		ZenithDeg float64 `json:"apparent_zenith_deg"`
	}
	cases := reftest.Cases[in](t, "physics/airmass.json", "kasten_young_1989")
	if len(cases) != 11 {
		t.Fatalf("got %d cases, want the 11 of the file", len(cases))
	}
	want, tol := cases[1].Want("air_mass_relative")
	if want != 1.15399223336 || tol != 1e-5 || cases[1].In.ZenithDeg != 30 {
		t.Errorf("case 1: want %v within %v at %v deg", want, tol, cases[1].In.ZenithDeg)
	}
}

func TestFold(t *testing.T) {
	for _, x := range []float64{0, 5, -3, 1e300, math.NaN(), math.Inf(-1), math.SmallestNonzeroFloat64} {
		if got := reftest.Fold(x, 2, 7); got < 2 || got > 7 || math.IsNaN(got) {
			t.Errorf("Fold(%v, 2, 7) = %v, want inside", x, got)
		}
	}
}
