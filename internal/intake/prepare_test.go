package intake_test

import (
	"math"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"evensun/internal/fieldtest"
	"evensun/internal/intake"
)

// A drawn session has what the contract lets through, members left out at random.
func drawnSession(t *rapid.T) fieldtest.Session {
	maybe := func(name string, lo, hi float64) *float64 {
		if !rapid.Bool().Draw(t, name+" is given") {
			return nil
		}
		x := rapid.Float64Range(lo, hi).Draw(t, name)
		return &x
	}
	s := fieldtest.Session{StartedAt: time.Date(2026, 6, 14, 17, 0, 0, 0, time.UTC)}
	s.Site.LatitudeDeg = rapid.Float64Range(-90, 90).Draw(t, "latitude")
	s.Site.LongitudeDeg = rapid.Float64Range(-180, 180).Draw(t, "longitude")
	s.Site.AltitudeM = maybe("altitude", -430, 8850)
	if rapid.Bool().Draw(t, "rounding is given") {
		step := rapid.SampledFrom([]float64{0, 0.01, 0.1}).Draw(t, "rounding")
		s.Site.PlaceRoundingDeg = &step
	}
	for range rapid.IntRange(1, 4).Draw(t, "readings") {
		var r fieldtest.Reading
		r.Label = rapid.SampledFrom([]string{"", "A", "7"}).Draw(t, "label")
		r.Arrangement = rapid.SampledFrom([]fieldtest.Arrangement{"", fieldtest.Flat, fieldtest.Covered}).Draw(t, "arrangement")
		r.Panel.Model = slug
		r.VoltageV, r.CurrentA, r.PowerW = maybe("voltage", 0, 100), maybe("current", 0, 50), maybe("power", 0, 2000)
		r.Irradiance.POAWM2, r.BackTemperatureC = maybe("irradiance", 0, 1500), maybe("back temperature", -40, 110)
		if rapid.Bool().Draw(t, "instant is given") {
			at := s.StartedAt.Add(time.Duration(rapid.IntRange(0, 3600).Draw(t, "second")) * time.Second)
			r.TakenAt = &at
		}
		s.Readings = append(s.Readings, r)
	}
	return s
}

// What is prepared once is prepared: hashes of a session do not depend on how often it
// went through.
func TestPrepareTwiceIsPrepareOnce(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		once := intake.Prepare(drawnSession(t))
		if diff := cmp.Diff(once, intake.Prepare(once)); diff != "" {
			t.Errorf("prepared again (-once +twice):\n%s", diff)
		}
	})
}

// A place moves by at most half the rounding in each direction, onto a multiple of it;
// without rounding it stays.
func TestPrepareMovesAPlaceByHalfTheRoundingAtMost(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		s := drawnSession(t)
		step, altitudeStepM := 0.1, 10.0
		if s.Site.PlaceRoundingDeg != nil {
			step = *s.Site.PlaceRoundingDeg
		}
		if step == 0 {
			altitudeStepM = 0
		}
		got := intake.Prepare(s).Site
		if *got.PlaceRoundingDeg != step {
			t.Errorf("rounding %g became %g", step, *got.PlaceRoundingDeg)
		}
		holdsRounded(t, "latitude", s.Site.LatitudeDeg, got.LatitudeDeg, step)
		holdsRounded(t, "longitude", s.Site.LongitudeDeg, got.LongitudeDeg, step)
		if s.Site.AltitudeM != nil {
			holdsRounded(t, "altitude", *s.Site.AltitudeM, *got.AltitudeM, altitudeStepM)
		} else if got.AltitudeM != nil {
			t.Errorf("an altitude of %g m came from nowhere", *got.AltitudeM)
		}
	})
}

func holdsRounded(t *rapid.T, what string, from, to, step float64) {
	if step == 0 {
		if to != from {
			t.Errorf("%s %g became %g without rounding", what, from, to)
		}
		return
	}
	if moved := math.Abs(to - from); moved > step/2*(1+1e-9) {
		t.Errorf("%s %g became %g, moved by more than half of %g", what, from, to, step)
	}
	if n := to / step; math.Abs(n-math.Round(n)) > 1e-6 {
		t.Errorf("%s %g became %g, not a multiple of %g", what, from, to, step)
	}
}

// Nothing that was measured changes, and what was submitted stays as it was.
func TestPrepareLeavesWhatWasMeasured(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		s := drawnSession(t)
		before := s
		before.Readings = append([]fieldtest.Reading(nil), s.Readings...)
		prepared := intake.Prepare(s)
		if diff := cmp.Diff(before, s); diff != "" {
			t.Errorf("the argument changed (-before +after):\n%s", diff)
		}
		for i := range prepared.Readings {
			got := prepared.Readings[i]
			if got.Label == "" || got.Kind == "" || got.Arrangement == "" || got.Panel.Specimen == "" {
				t.Errorf("reading %d lacks a default: %+v", i, got)
			}
			want := s.Readings[i]
			got.Label, got.Kind, got.Arrangement, got.Panel = want.Label, want.Kind, want.Arrangement, want.Panel
			if diff := cmp.Diff(want, got); diff != "" {
				t.Errorf("reading %d (-submitted +prepared):\n%s", i, diff)
			}
			if want.Arrangement != "" && prepared.Readings[i].Arrangement != want.Arrangement {
				t.Errorf("reading %d: arrangement %s became %s", i, want.Arrangement, prepared.Readings[i].Arrangement)
			}
		}
	})
}
