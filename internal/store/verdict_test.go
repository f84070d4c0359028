package store_test

import (
	"context"
	"slices"
	"sync"
	"testing"

	"github.com/google/uuid"

	"evensun/internal/fieldtest"
	"evensun/internal/store"
	"evensun/internal/storetest"
)

func TestVerdictsMoveReadings(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	s := w.session(t, 2)
	a, b := finding(t, "current_above_isc", nil), finding(t, "too_cold", nil)
	s.Judged[0].Findings = []fieldtest.Finding{a, b}
	s.Judged[0].State = fieldtest.Held
	w.save(t, s)
	steps := []struct {
		finding uuid.UUID
		verdict fieldtest.Decision
		want    fieldtest.ReadingState
	}{
		{a.ID, fieldtest.Keep, fieldtest.Held}, // b is still open
		{b.ID, fieldtest.Keep, fieldtest.Counted},
		{a.ID, fieldtest.Exclude, fieldtest.Excluded},
		{a.ID, fieldtest.Ask, fieldtest.Held},
		{a.ID, fieldtest.Keep, fieldtest.Counted},
	}
	for i, step := range steps {
		w.mustVerdict(t, step.finding, step.verdict)
		if got := w.states(t, s.ID); got[0] != step.want || got[1] != fieldtest.Counted {
			t.Errorf("step %d, %s: states %v, want %s and counted", i, step.verdict, got, step.want)
		}
	}
	f, err := w.db.Finding(t.Context(), a.ID)
	if err != nil || len(f.Verdicts) != 4 || f.State != fieldtest.FindingKept || f.Verdicts[0].Sequence >= f.Verdicts[1].Sequence {
		t.Errorf("Finding() = %s with %d verdicts, %v, want kept with 4 in order", f.State, len(f.Verdicts), err)
	}
}

// A doubt about a rig, a tester or a model holds the readings of many sessions.
func TestDoubtsReachAllTheirReadings(t *testing.T) {
	t.Parallel()
	cases := map[string]func(*world, *fieldtest.Finding){
		"rig":    func(w *world, f *fieldtest.Finding) { f.RigID = &w.rig.ID },
		"tester": func(w *world, f *fieldtest.Finding) { f.TesterID = &w.tester.ID },
		"model":  func(_ *world, f *fieldtest.Finding) { f.PanelModel = pointer(slug) },
		"tester's model": func(w *world, f *fieldtest.Finding) {
			f.TesterID, f.PanelModel = &w.tester.ID, pointer(slug)
		},
	}
	for name, about := range cases {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			w := newWorld(t)
			one, two := w.session(t, 1), w.session(t, 2)
			w.save(t, one)
			w.save(t, two)
			f := finding(t, "agreement", func(f *fieldtest.Finding) { about(w, f) })
			w.write(t, func(ctx context.Context, tx *store.Tx) error {
				return tx.AddFindings(ctx, []fieldtest.Finding{f})
			})
			for _, step := range []struct {
				verdict fieldtest.Decision
				want    fieldtest.ReadingState
			}{{"", fieldtest.Held}, {fieldtest.Exclude, fieldtest.Excluded}, {fieldtest.Keep, fieldtest.Counted}} {
				if step.verdict != "" {
					w.mustVerdict(t, f.ID, step.verdict)
				}
				for _, got := range append(w.states(t, one.ID), w.states(t, two.ID)...) {
					if got != step.want {
						t.Errorf("after %q a reading is %s, want %s", step.verdict, got, step.want)
					}
				}
			}
		})
	}
}

// Findings of an audit about a tester's tilted and about the same tester's covered readings
// of one panel model are two, and a verdict on one reaches its own readings alone.
func TestVerdictReachesOneArrangement(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	s := w.session(t, 4)
	for i, class := range []string{"", "0.25", "0.33"} {
		if class == "" {
			continue
		}
		s.Session.Readings[i].Arrangement, s.Judged[i].Arrangement = fieldtest.Covered, fieldtest.Covered
		s.Judged[i].Result.Retention = &fieldtest.Retention{Measure: fieldtest.ShadeRetention, Value: 0.5, U: 0.02, CoverClass: class}
	}
	s.Session.Readings[3].Arrangement, s.Judged[3].Arrangement = fieldtest.Flat, fieldtest.Flat
	w.save(t, sealed(t, s))
	about := func(a fieldtest.Arrangement, class *string) fieldtest.Finding {
		return finding(t, "outlier", func(f *fieldtest.Finding) {
			f.Severity, f.TesterID, f.PanelModel, f.Arrangement, f.CoverClass = fieldtest.Note, &w.tester.ID, pointer(slug), &a, class
		})
	}
	tilted, quarter, flat := about(fieldtest.Tilted, nil), about(fieldtest.Covered, pointer("0.25")), about(fieldtest.Flat, nil)
	audit(t, w, tilted, quarter, flat)
	steps := []struct {
		finding uuid.UUID
		verdict fieldtest.Decision
		want    [4]fieldtest.ReadingState // tilted, a quarter covered, a third covered, flat
	}{
		{quarter.ID, fieldtest.Exclude, [4]fieldtest.ReadingState{fieldtest.Counted, fieldtest.Excluded, fieldtest.Counted, fieldtest.Counted}},
		{tilted.ID, fieldtest.Exclude, [4]fieldtest.ReadingState{fieldtest.Excluded, fieldtest.Excluded, fieldtest.Counted, fieldtest.Counted}},
		{quarter.ID, fieldtest.Keep, [4]fieldtest.ReadingState{fieldtest.Excluded, fieldtest.Counted, fieldtest.Counted, fieldtest.Counted}},
		{flat.ID, fieldtest.Exclude, [4]fieldtest.ReadingState{fieldtest.Excluded, fieldtest.Counted, fieldtest.Counted, fieldtest.Excluded}},
	}
	for _, step := range steps {
		w.mustVerdict(t, step.finding, step.verdict)
		if got := w.states(t, s.ID); !slices.Equal(got, step.want[:]) {
			t.Errorf("after %s states are %v, want %v", step.verdict, got, step.want)
		}
	}
	f, err := w.db.Finding(t.Context(), quarter.ID)
	if err != nil || f.Arrangement == nil || *f.Arrangement != fieldtest.Covered || f.CoverClass == nil || *f.CoverClass != "0.25" {
		t.Errorf("Finding() = %+v, %v; want one about covered readings of class 0.25", f, err)
	}
}

func TestNobodyDecidesOnOwnData(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	s := w.session(t, 1)
	f := finding(t, "too_cold", nil)
	s.Judged[0].Findings = []fieldtest.Finding{f}
	w.save(t, s)
	_, err := w.try(t, func(ctx context.Context, tx *store.Tx) error {
		return tx.AddVerdict(ctx, store.VerdictWrite{ID: storetest.NewID(t), FindingID: f.ID, Verdict: fieldtest.Keep, Reviewer: w.tester.ID})
	})
	refusal(t, err, fieldtest.Forbidden)
	refusal(t, w.verdict(t, storetest.NewID(t), fieldtest.Keep), fieldtest.NotFound)
}

// Two verdicts at once on two holds of one reading: the later sees the earlier.
func TestVerdictRace(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	for range 5 {
		s := w.session(t, 1)
		a, b := finding(t, "current_above_isc", nil), finding(t, "too_cold", nil)
		s.Judged[0].Findings, s.Judged[0].State = []fieldtest.Finding{a, b}, fieldtest.Held
		w.save(t, s)
		var wg sync.WaitGroup
		for _, id := range []uuid.UUID{a.ID, b.ID} {
			wg.Go(func() {
				if err := w.verdict(t, id, fieldtest.Keep); err != nil {
					t.Errorf("AddVerdict() = %v", err)
				}
			})
		}
		wg.Wait()
		if got := w.states(t, s.ID); got[0] != fieldtest.Counted {
			t.Errorf("both holds kept at once: reading is %s, want counted", got[0])
		}
	}
}

func audit(t *testing.T, w *world, findings ...fieldtest.Finding) {
	t.Helper()
	if err := w.db.ReplaceAuditFindings(t.Context(), 1, []string{"outlier"}, findings); err != nil {
		t.Fatal(err)
	}
}

func TestAuditFindingsComeAndGo(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	s := w.session(t, 2)
	w.save(t, s)
	raised := func() fieldtest.Finding {
		return finding(t, "outlier", func(f *fieldtest.Finding) { f.ReadingID = s.Judged[0].ID })
	}
	first := raised()
	audit(t, w, first)
	check := func(when string, state fieldtest.FindingState, reading fieldtest.ReadingState) {
		t.Helper()
		f, err := w.db.Finding(t.Context(), first.ID)
		if err != nil || f.State != state {
			t.Errorf("%s: finding is %s, %v, want %s", when, f.State, err, state)
		}
		if got := w.states(t, s.ID); got[0] != reading || got[1] != fieldtest.Counted {
			t.Errorf("%s: readings are %v, want %s and counted", when, got, reading)
		}
	}
	check("raised", fieldtest.FindingOpen, fieldtest.Held)
	head, err := w.db.LedgerHead(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	audit(t, w, raised())
	check("raised again under another id", fieldtest.FindingOpen, fieldtest.Held)
	if now, err := w.db.LedgerHead(t.Context()); err != nil || now != head {
		t.Errorf("an audit that changes nothing moves the ledger from %v to %v, %v", head, now, err)
	}
	audit(t, w)
	check("no longer raised", fieldtest.FindingObsolete, fieldtest.Counted)
	audit(t, w, raised())
	check("raised anew", fieldtest.FindingOpen, fieldtest.Held)
	w.mustVerdict(t, first.ID, fieldtest.Exclude)
	audit(t, w)
	check("excluded and therefore not raised", fieldtest.FindingExcluded, fieldtest.Excluded)
	o, _, err := w.db.Observations(t.Context(), fieldtest.Tilted)
	if err != nil || o[0].State != fieldtest.Excluded || o[1].State != fieldtest.Counted {
		t.Errorf("Observations() = %+v, %v, want the first excluded alone", o, err)
	}
	refusal(t, obsoleteVerdict(t, w, s), fieldtest.IllegalTransition)
}

func obsoleteVerdict(t *testing.T, w *world, s store.SessionWrite) error {
	t.Helper()
	f := finding(t, "outlier", func(f *fieldtest.Finding) { f.ReadingID = s.Judged[1].ID })
	audit(t, w, f)
	audit(t, w)
	return w.verdict(t, f.ID, fieldtest.Keep)
}

func TestStandingDoubts(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	rig := finding(t, "doubtful_rig", func(f *fieldtest.Finding) { f.RigID = &w.rig.ID })
	model := finding(t, "doubtful_model", func(f *fieldtest.Finding) { f.PanelModel = pointer(slug) })
	other := finding(t, "doubtful_model", func(f *fieldtest.Finding) { f.PanelModel = pointer("other") })
	w.write(t, func(ctx context.Context, tx *store.Tx) error {
		return tx.AddFindings(ctx, []fieldtest.Finding{rig, model, other})
	})
	got, err := w.db.StandingDoubts(t.Context(), w.tester.ID, w.rig.ID, 1, []string{slug})
	if err != nil {
		t.Fatal(err)
	}
	var ids []uuid.UUID
	for _, f := range got {
		ids = append(ids, f.ID)
	}
	if len(ids) != 2 || !slices.Contains(ids, rig.ID) || !slices.Contains(ids, model.ID) {
		t.Errorf("StandingDoubts() = %v, want those on the rig and the model", ids)
	}
}
