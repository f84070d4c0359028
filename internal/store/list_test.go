package store_test

import (
	"context"
	"slices"
	"testing"
	"time"

	"github.com/google/uuid"

	"evensun/internal/fieldtest"
	"evensun/internal/store"
)

// Walking pages while others write shows each session of the first page's moment
// once, and none that came later.
func TestPagesHoldStill(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	want := map[uuid.UUID]bool{}
	for range 7 {
		s := w.session(t, 1)
		w.save(t, s)
		want[s.ID] = true
	}
	p := store.Page{Size: 3}
	got := map[uuid.UUID]bool{}
	for pages := 1; ; pages++ {
		items, next, asOf, err := w.db.Sessions(t.Context(), store.SessionFilter{}, p)
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range items {
			if got[s.ID] || !want[s.ID] {
				t.Errorf("page %d shows %s again or though it came later", pages, s.ID)
			}
			got[s.ID] = true
		}
		w.save(t, w.session(t, 1))
		if next == nil {
			break
		}
		p.After, p.AsOf = next, asOf
	}
	if len(got) != len(want) {
		t.Errorf("all pages show %d sessions, want %d", len(got), len(want))
	}
}

func TestSessionFilters(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	a, b := w.session(t, 1), w.session(t, 2)
	b.Session.StartedAt = noon.Add(-24 * time.Hour)
	b.Session.Site.LatitudeDeg = 45
	b.Judged[1].Arrangement, b.Judged[1].State = fieldtest.Flat, fieldtest.Held
	w.save(t, a)
	w.save(t, sealed(t, b))
	cases := map[string]struct {
		filter store.SessionFilter
		want   []uuid.UUID
	}{
		"all, newest first": {store.SessionFilter{}, []uuid.UUID{b.ID, a.ID}},
		"tester":            {store.SessionFilter{TesterID: &w.reviewer.ID}, nil},
		"rig":               {store.SessionFilter{RigID: &w.rig.ID}, []uuid.UUID{b.ID, a.ID}},
		"panel model":       {store.SessionFilter{PanelModels: []string{slug, "x"}}, []uuid.UUID{b.ID, a.ID}},
		"other panel model": {store.SessionFilter{PanelModels: []string{"x"}}, nil},
		"from":              {store.SessionFilter{From: &noon}, []uuid.UUID{a.ID}},
		"to":                {store.SessionFilter{To: &noon}, []uuid.UUID{b.ID}},
		"arrangement":       {store.SessionFilter{Arrangements: []string{"flat"}}, []uuid.UUID{b.ID}},
		"state":             {store.SessionFilter{States: []string{"withdrawn"}}, nil},
		"near":              {store.SessionFilter{Near: &store.Near{LatitudeDeg: 38.6, LongitudeDeg: -106, DistanceKm: 12}}, []uuid.UUID{a.ID}},
		"not that near":     {store.SessionFilter{Near: &store.Near{LatitudeDeg: 38.6, LongitudeDeg: -106, DistanceKm: 11}}, nil},
	}
	for name, c := range cases {
		items, _, _, err := w.db.Sessions(t.Context(), c.filter, store.Page{})
		if err != nil {
			t.Fatal(err)
		}
		var got []uuid.UUID
		for _, s := range items {
			got = append(got, s.ID)
		}
		if !slices.Equal(got, c.want) {
			t.Errorf("%s: Sessions() = %v, want %v", name, got, c.want)
		}
	}
	items, _, _, err := w.db.Sessions(t.Context(), store.SessionFilter{}, store.Page{Size: 1})
	if err != nil || items[0].Readings != 2 || items[0].Held != 1 || !slices.Equal(items[0].PanelModels, []string{slug}) {
		t.Errorf("summary = %+v, %v, want 2 readings, 1 held, one model", items, err)
	}
}

func TestQueueByPriority(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	var want []uuid.UUID
	var all []fieldtest.Finding
	for _, priority := range []float64{10, 90, 50, 50, 70} {
		f := finding(t, "doubtful_rig", func(f *fieldtest.Finding) { f.RigID, f.Priority = &w.rig.ID, priority })
		all = append(all, f)
	}
	for _, i := range []int{1, 4, 2, 3, 0} {
		want = append(want, all[i].ID)
	}
	w.write(t, func(ctx context.Context, tx *store.Tx) error { return tx.AddFindings(ctx, all) })
	filter := store.FindingFilter{States: []string{"open"}, RigID: &w.rig.ID, ByPriority: true}
	var got []uuid.UUID
	for p := (store.Page{Size: 2}); ; {
		items, next, asOf, err := w.db.Findings(t.Context(), filter, p)
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range items {
			got = append(got, f.ID)
		}
		if next == nil {
			break
		}
		p.After, p.AsOf = next, asOf
	}
	if !slices.Equal(got, want) {
		t.Errorf("Findings(by priority) = %v, want %v", got, want)
	}
}

func TestReadingsAsATable(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	var want []uuid.UUID
	for range 3 {
		s := w.session(t, 3)
		s.Judged[1].Result, s.Judged[1].ResultReason = nil, pointer("no irradiance")
		w.save(t, s)
		for _, j := range s.Judged {
			want = append(want, *j.ID)
		}
	}
	var got []uuid.UUID
	for p := (store.Page{Size: 2}); ; {
		items, next, asOf, err := w.db.Readings(t.Context(), store.ReadingFilter{PanelModels: []string{slug}, States: []string{"counted"}}, p)
		if err != nil {
			t.Fatal(err)
		}
		for _, r := range items {
			got = append(got, r.ID)
		}
		if next == nil {
			break
		}
		p.After, p.AsOf = next, asOf
	}
	if !slices.Equal(got, want) {
		t.Errorf("Readings() by twos = %v, want %v", got, want)
	}
	results, _, _, err := w.db.Readings(t.Context(), store.ReadingFilter{WithResult: true}, store.Page{})
	if err != nil || len(results) != 6 || *results[0].StcPowerW != 188.5 || *results[0].AirTemperatureC != 24 {
		t.Errorf("Readings(with result) = %d, %v, want 6 with the session's weather", len(results), err)
	}
}
