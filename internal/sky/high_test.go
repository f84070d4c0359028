package sky_test

import (
	"testing"

	"evensun/internal/sky"
)

// TestHighSite writes down what the model does high up: the share of the light above the
// air that reaches level ground under an overhead sun grows past what air can let through.
func TestHighSite(t *testing.T) {
	t.Parallel()
	last := 0.0
	for _, c := range []struct{ altitudeM, share float64 }{{0, 0.74}, {1000, 0.81}, {2000, 0.87}, {3000, 0.92}, {4000, 0.98}} {
		site := sky.NewSite(0, c.altitudeM)
		s := sky.SunAt(0, 180, 1361, &site)
		got := sky.ClearSky(&site, &s, 3.5).GHIWM2 / 1361
		if !(got > last) || got < c.share-0.03 || got > c.share+0.03 {
			t.Errorf("share at %v m = %.3f, want %v within 0.03 and more than below", c.altitudeM, got, c.share)
		}
		last = got
	}
}
