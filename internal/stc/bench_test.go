package stc_test

import (
	"math"
	"testing"
	"time"

	"evensun/internal/stc"
)

// BenchmarkPower reports the cost of a translated reading in units of one
// logarithm, timed in turn in one run.
func BenchmarkPower(b *testing.B) {
	low := stc.DefaultLowLight()
	var logarithm, ours time.Duration
	sum := 0.0
	for b.Loop() {
		start := time.Now()
		for i := range 100 {
			sum += math.Log(800 + float64(i))
		}
		done := time.Now()
		for i := range 100 {
			sum += stc.SimplePower(150, stc.Conditions{PoaWM2: 800 + float64(i), CellC: 45}, -0.0035, low.Efficiency(800+float64(i)))
		}
		logarithm, ours = logarithm+done.Sub(start), ours+time.Since(done)
	}
	if math.IsNaN(sum) {
		b.Error("no power")
	}
	b.ReportMetric(float64(ours)/float64(logarithm), "x-log")
}

// BenchmarkTranslateSweep moves a sweep of 55 points and finds its maximum.
func BenchmarkTranslateSweep(b *testing.B) {
	at := fieldConditions[0]
	s, q := sweepOf(at, 55), panelProcedures(panelA(at).ShortCircuitA())[2]
	b.ReportAllocs()
	for b.Loop() {
		moved, err := stc.TranslateSweep(s, stc.Standard(), q)
		if err != nil {
			b.Fatal(err)
		}
		if _, err := moved.Maximum(); err != nil {
			b.Fatal(err)
		}
	}
}
