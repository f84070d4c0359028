package sky_test

import (
	"testing"
	"time"

	"evensun/internal/sky"
	"evensun/internal/sun"
)

var sink float64

func BenchmarkClearSkyPlane(b *testing.B) {
	s, _ := scene(time.Date(2024, 6, 20, 19, 0, 0, 0, time.UTC), 39.742, -104.99, 1600, 30, 180, 3, 0.2)
	for b.Loop() {
		sink = sky.ClearSkyPlane(&s).EffectiveWM2
	}
}

// Another tilt needs another plane.
func BenchmarkClearSkyPlaneNewTilt(b *testing.B) {
	s, _ := scene(time.Date(2024, 6, 20, 19, 0, 0, 0, time.UTC), 39.742, -104.99, 1600, 30, 180, 3, 0.2)
	for b.Loop() {
		s.Plane = sky.NewPlane(33, 180, sky.CleanGlass)
		sink = sky.ClearSkyPlane(&s).EffectiveWM2
	}
}

// BenchmarkSession50 is the sun and the sky of a session of 50 readings, all setting
// up included, and the same readings each by the full algorithm, timed in turn.
func BenchmarkSession50(b *testing.B) {
	from := time.Date(2024, 6, 20, 19, 0, 0, 0, time.UTC)
	var quick, full time.Duration
	for b.Loop() {
		start := time.Now()
		session50(from)
		middle := time.Now()
		for i := range 50 {
			sink = sun.Position(from.Add(time.Duration(i)*time.Minute), sun.At(39.742, -104.99, 1600)).ZenithDeg
		}
		quick, full = quick+middle.Sub(start), full+time.Since(middle)
	}
	b.ReportMetric(float64(quick.Nanoseconds())/float64(b.N)/50, "ns/reading")
	b.ReportMetric(float64(full)/float64(quick), "x-cheaper-than-full-positions")
}

func session50(from time.Time) {
	place, site := sun.At(39.742, -104.99, 1600), sky.NewSite(39.742, 1600)
	track := sun.NewTrack(place, from, from.Add(time.Hour))
	s := sky.Scene{Site: site, Plane: sky.NewPlane(30, 180, sky.CleanGlass), LinkeTurbidity: 3.5, GroundAlbedo: 0.2}
	for i := range 50 {
		at := from.Add(time.Duration(i) * time.Minute)
		s.Sun = sky.NewSun(track.At(at), track.ExtraterrestrialWM2(at), &site)
		sink = sky.ClearSkyPlane(&s).EffectiveWM2
	}
}
