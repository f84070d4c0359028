package sun_test

import (
	"testing"
	"time"

	"evensun/internal/sun"
)

var sink float64

func BenchmarkPosition(b *testing.B) {
	site, at := sun.At(39.742, -104.99, 1600), time.Date(2024, 6, 20, 19, 0, 0, 0, time.UTC)
	for b.Loop() {
		sink = sun.Position(at, site).ZenithDeg
	}
}

func BenchmarkNewTrack(b *testing.B) {
	site, at := sun.At(39.742, -104.99, 1600), time.Date(2024, 6, 20, 19, 0, 0, 0, time.UTC)
	for b.Loop() {
		tr := sun.NewTrack(site, at, at.Add(2*time.Hour))
		sink = tr.At(at).ZenithDeg
	}
}

func BenchmarkTrackAt(b *testing.B) {
	site, from := sun.At(39.742, -104.99, 1600), time.Date(2024, 6, 20, 19, 0, 0, 0, time.UTC)
	tr := sun.NewTrack(site, from, from.Add(2*time.Hour))
	at := from.Add(17 * time.Minute)
	for b.Loop() {
		sink = tr.At(at).ZenithDeg
	}
}
