package sun

import (
	"math"
	"testing"
	"time"
)

// A sum of powers has the derivatives of the polynomial and of the wave it is made of.
func TestSumPowers(t *testing.T) {
	t.Parallel()
	const m, day = 1.3, 1.0 / 365250 // millennia, and a day in millennia
	constant := func(c float64) []periodic { return []periodic{{c, 0, 0}} }
	got := sumPowers([][]periodic{constant(7), constant(5), constant(3), constant(2)}, m)
	wantJet(t, "7 + 5m + 3m2 + 2m3", got, jet{7 + 5*m + 3*m*m + 2*m*m*m, (5 + 6*m + 6*m*m) * day, (6 + 12*m) * day * day})

	sin, cos := math.Sincos(0.4 + 20*m)
	got = sumPowers([][]periodic{{{3, 0.4, 20}}}, m)
	wantJet(t, "3 cos(0.4 + 20m)", got, jet{3 * cos, -60 * sin * day, -1200 * cos * day * day})
}

func wantJet(t *testing.T, name string, got, want jet) {
	t.Helper()
	for _, c := range [][2]float64{{got.value, want.value}, {got.perDay, want.perDay}, {got.perDay2, want.perDay2}} {
		if math.Abs(c[0]-c[1]) > 1e-12*math.Abs(c[1]) {
			t.Errorf("%s = %+v, want %+v", name, got, want)
			return
		}
	}
}

func TestJetAt(t *testing.T) {
	t.Parallel()
	if got, want := (jet{2, 3, 5}).at(0.5), 2+3*0.5+5*0.5*0.5/2; got != want {
		t.Errorf("jet at 0.5 = %v, want %v", got, want)
	}
}

// The derivatives of nutation are those that differences of its values give.
func TestNutationDerivatives(t *testing.T) {
	t.Parallel()
	const h = 0.02 // days
	at := func(days float64) (longitude, obliquity jet) { return sumNutation(days / daysPerCentury) }
	for days := -3000.0; days <= 3000; days += 501.3 {
		l, o := at(days)
		lBefore, oBefore := at(days - h)
		lAfter, oAfter := at(days + h)
		for _, c := range [][3]jet{{lBefore, l, lAfter}, {oBefore, o, oAfter}} {
			perDay := (c[2].value - c[0].value) / (2 * h)
			perDay2 := (c[2].value - 2*c[1].value + c[0].value) / (h * h)
			if math.Abs(c[1].perDay-perDay) > 1e-8 || math.Abs(c[1].perDay2-perDay2) > 1e-8 {
				t.Errorf("day %v: %+v, want %v a day and %v a day squared", days, c[1], perDay, perDay2)
			}
		}
	}
}

// The sun is lifted down to where its upper limb leaves the horizon, 0.26667 + 0.5667 deg
// (report, equation 42), and not below.
func TestRefractionEndsAtTheHorizon(t *testing.T) {
	t.Parallel()
	factor := airFactor(101000, 10)
	for _, e := range []float64{-0.8333, -0.83337} {
		if got := refraction(e, factor); got < 0.6 {
			t.Errorf("refraction(%v) = %v deg, want the lift of the horizon", e, got)
		}
	}
	for _, e := range []float64{-0.8334, -0.835, -2} {
		if got := refraction(e, factor); got != 0 {
			t.Errorf("refraction(%v) = %v deg, want 0 below the horizon", e, got)
		}
	}
}

func TestTurn(t *testing.T) {
	t.Parallel()
	for angle, want := range map[float64]float64{0: 0, 10: 10, 360: 0, -10: 350, 725: 5, -725: 355} {
		if got := turn(angle); got != want {
			t.Errorf("turn(%v) = %v, want %v", angle, got, want)
		}
	}
}

// Overhead there is no direction on the ground, and due north is 0, not 360.
func TestAnglesAtTheEnds(t *testing.T) {
	t.Parallel()
	equator := horizon{cosLat: 1}
	if a := equator.angles(0, 0, 1); a.East != 0 || a.North != 0 || a.Up != 1 || a.ZenithDeg != 0 {
		t.Errorf("sun overhead = %+v, want straight up", a)
	}
	if a := equator.angles(0, math.Sin(0.3), math.Cos(0.3)); a.AzimuthDeg != 0 {
		t.Errorf("sun in the north at %v deg, want 0", a.AzimuthDeg)
	}
}

// A track of TrackSpan still has its parabolas.
func TestTrackSpanIsCovered(t *testing.T) {
	t.Parallel()
	from := time.Date(2025, 3, 20, 0, 0, 0, 0, time.UTC)
	if tr := NewTrack(At(10, 20, 0), from, from.Add(TrackSpan)); tr.span != TrackSpan {
		t.Errorf("span %v, want %v", tr.span, TrackSpan)
	}
}
