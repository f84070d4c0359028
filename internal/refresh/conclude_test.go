package refresh_test

import (
	"testing"

	"evensun/internal/fieldtest"
	"evensun/internal/refresh"
	"evensun/internal/store"
)

// cover adds a covered reading of the panel's first unit, which keeps a share of power and
// voltage with one of four sections in the dark.
func (w *world) cover(t *testing.T, s *store.SessionWrite, p int, kept, volts float64, state fieldtest.ReadingState) {
	t.Helper()
	w.reading(t, s, s.Session.StartedAt, p, 160*kept)
	i := len(s.Judged) - 1
	j, r := &s.Judged[i], &s.Session.Readings[i]
	j.Arrangement, r.Arrangement, j.State = fieldtest.Covered, fieldtest.Covered, state
	r.Cover = &fieldtest.Cover{SectionsCovered: 1, SectionsTotal: 4, ReferenceLabel: "1"}
	j.Result.Retention = &fieldtest.Retention{
		Measure: fieldtest.ShadeRetention, Value: kept, U: 0.01, CoverClass: "0.25", ReferenceLabel: "1",
		SectionsCovered: pointer(1), SectionsTotal: pointer(4), Transmission: pointer(0.0), VoltageRatio: &volts,
	}
}

// Conclusions are published with the rankings, from the readings of all testers that
// count, and served by any replica.
func TestConclusionsArePublished(t *testing.T) {
	t.Parallel()
	w := newWorld(t, 3, 2)
	m := fieldtest.PanelModel{Slug: w.slugs[0], Construction: fieldtest.Construction{WiringClaimed: "series", Sections: pointer(4)}}
	early := w.once(t)
	if c, err := early.Conclusions(t.Context(), &m); err != nil || c.Wiring.Conclusion != "undecided" || c.WiringClaimed != "series" || *c.Wiring.Decides.SectionsTotal != 4 {
		t.Fatalf("before any reading: %+v, %v", c, err)
	}
	for tester := range w.testers {
		s := w.session(t, tester, []int{0, 1}, nil)
		w.cover(t, &s, 0, 0.745, 1.0, fieldtest.Counted)
		w.cover(t, &s, 1, 0.73, 0.73, fieldtest.Held)
		w.save(t, sealed(t, s))
	}
	r := w.once(t)
	for name, worker := range map[string]*refresh.Worker{"the one that computed": r, "another": early} {
		c, err := worker.Conclusions(t.Context(), &m)
		if err != nil || c.Wiring.Conclusion != "parallel" || c.Wiring.Readings != 3 || c.Wiring.Testers != 3 || c.ComputedThrough != r.Through() {
			t.Errorf("%s: %+v, %v", name, c, err)
		}
		if c.Shade[0].Kept == nil || c.Shade[0].Readings != 3 || c.Shade[1].Kept != nil || len(c.Sessions) != 3 || len(c.Sessions[0].Panels) != 2 {
			t.Errorf("%s: shade %+v, sessions %+v", name, c.Shade, c.Sessions)
		}
	}
	other := fieldtest.PanelModel{Slug: w.slugs[1]}
	if c, err := r.Conclusions(t.Context(), &other); err != nil || c.Wiring.Readings != 0 {
		t.Errorf("held readings are concluded from: %+v, %v", c.Wiring, err)
	}
}
