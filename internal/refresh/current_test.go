package refresh_test

import (
	"context"
	"encoding/json"
	"errors"
	"testing"
	"time"

	"evensun/internal/fieldtest"
	"evensun/internal/refresh"
	"evensun/internal/store"
	"evensun/internal/storetest"
)

func TestCompare(t *testing.T) {
	t.Parallel()
	w := newWorld(t, 3, 4)
	w.fill(t, 3)
	r := w.once(t)
	c, err := r.Compare(t.Context(), fieldtest.StcPower, "", []string{"panel-3", "panel-0"})
	if err != nil {
		t.Fatal(err)
	}
	p := c.Pairs[0]
	if want := 0.89 / 0.80; p.Ratio < want*0.97 || p.Ratio > want*1.03 || !p.ToldApart || p.Basis != "same_session" || p.DirectRatio == nil {
		t.Errorf("pair = %+v, want a ratio near %v, told apart in the same session", p, want)
	}
	for name, slugs := range map[string][]string{"one": {"panel-0"}, "none": nil, "unknown": {"panel-0", "no-such"}} {
		_, err := r.Compare(t.Context(), fieldtest.StcPower, "", slugs)
		if refused, ok := errors.AsType[*fieldtest.Refusal](err); !ok || refused.Kind != fieldtest.InvalidParameter {
			t.Errorf("%s: Compare(%v) = %v, want a refusal", name, slugs, err)
		}
	}
}

// Another replica, which has computed nothing, answers from the store; and follows what
// the first publishes later.
func TestOtherReplicaFollows(t *testing.T) {
	t.Parallel()
	w := newWorld(t, 3, 3)
	w.fill(t, 2)
	first := w.once(t)
	other := refresh.New(w.db, refresh.Options{})
	pair := []string{"panel-2", "panel-0"}
	before, err := other.Compare(t.Context(), fieldtest.StcPower, "", pair)
	if err != nil || before.ComputedThrough < first.Through() {
		t.Fatalf("Compare() of the other replica = %+v, %v, want through %d", before, err, first.Through())
	}
	sequence := w.save(t, w.session(t, 0, []int{0, 1, 2}, nil))
	same, err := other.Compare(t.Context(), fieldtest.StcPower, "", pair)
	if err != nil || same.ComputedThrough != before.ComputedThrough {
		t.Errorf("Compare() before the next publication covers %d, %v, want %d as published", same.ComputedThrough, err, before.ComputedThrough)
	}
	if err := first.Once(t.Context()); err != nil {
		t.Fatal(err)
	}
	after, err := other.Compare(t.Context(), fieldtest.StcPower, "", pair)
	if err != nil || after.ComputedThrough < sequence {
		t.Errorf("Compare() after it covers %d, %v, want %d or more", after.ComputedThrough, err, sequence)
	}
}

func TestFilteredIsARefit(t *testing.T) {
	t.Parallel()
	w := newWorld(t, 3, 3)
	w.fill(t, 3)
	r := w.once(t)
	day := noon.Add(4 * 24 * time.Hour) // sessions are a day apart, from day 1 on
	for _, c := range []struct {
		name     string
		filter   refresh.Filter
		readings int // of panel-0, two a session
		unranked bool
	}{
		{"nothing", refresh.Filter{}, 18, false},
		{"longer ago than all", refresh.Filter{To: &noon}, 0, false},
		{"from", refresh.Filter{From: &day}, 12, false},
		{"to", refresh.Filter{To: &day}, 6, false},
		{"rig kind", refresh.Filter{RigKinds: []string{"resistor"}}, 0, false},
		{"own rig kind", refresh.Filter{RigKinds: []string{"mppt_controller"}}, 18, false},
		{"metered", refresh.Filter{Metered: true}, 18, false},
		{"near one tester", refresh.Filter{Near: &store.Near{LatitudeDeg: 38.5, LongitudeDeg: -106, DistanceKm: 50}}, 6, false},
		{"near two testers", refresh.Filter{Near: &store.Near{LatitudeDeg: 38.5, LongitudeDeg: -106, DistanceKm: 120}}, 12, false},
		{"panels", refresh.Filter{Panels: []string{"panel-0", "panel-2"}}, 18, false},
		{"four testers needed", refresh.Filter{MinTesters: 4}, 18, true},
		{"no such component", refresh.Filter{Component: 9}, 0, false},
	} {
		row, err := r.Filtered(t.Context(), fieldtest.StcPower, c.filter)
		if err != nil {
			t.Errorf("%s: Filtered() = %v", c.name, err)
			continue
		}
		var list fieldtest.Ranking
		if err := json.Unmarshal(row.Body, &list); err != nil {
			t.Fatal(err)
		}
		got := 0
		for _, e := range list.Entries {
			if e.PanelModel == "panel-0" {
				got = e.Readings
			}
		}
		for _, u := range list.Unranked {
			if u.PanelModel == "panel-0" && c.unranked {
				got = u.Readings
			}
		}
		if got != c.readings || c.unranked && len(list.Entries) > 0 {
			t.Errorf("%s: panel-0 has %d readings in %d entries, want %d", c.name, got, len(list.Entries), c.readings)
		}
		if none := len(list.Entries)+len(list.Unranked) == 0; none != (list.Headline == "No reading passes the filter." || list.Headline == "There is no such group of panels.") {
			t.Errorf("%s: %d entries, headline %q", c.name, len(list.Entries), list.Headline)
		}
		again, err := r.Filtered(t.Context(), fieldtest.StcPower, c.filter)
		if err != nil || string(again.Body) != string(row.Body) {
			t.Errorf("%s: asked twice, the answers differ (%v)", c.name, err)
		}
	}
	if _, err := r.Filtered(t.Context(), "no-such-measure", refresh.Filter{}); err == nil {
		t.Error("Filtered() of an unknown measure = nil, want a refusal")
	}
}

// The audit finds a swapped label, a reviewer keeps it, and from then on its weight is 1.
func TestKeptFindingGetsItsWeightBack(t *testing.T) {
	t.Parallel()
	w := newWorld(t, 4, 4)
	w.fill(t, 3)
	swapped := w.session(t, 1, []int{0, 1, 2, 3}, map[int]float64{2: 0.85})
	w.save(t, swapped)
	r := w.once(t)
	rule := []string{"panel_off_in_session"}
	found, _, _, err := w.db.Findings(t.Context(), store.FindingFilter{Rules: rule, States: []string{"open"}}, store.Page{})
	if err != nil || len(found) != 1 || found[0].PanelModel == nil || *found[0].PanelModel != "panel-2" {
		t.Fatalf("findings = %+v, %v, want one about panel-2", found, err)
	}
	weight := func() float64 {
		results, err := r.PanelResults(t.Context(), "panel-2")
		if err != nil {
			t.Fatal(err)
		}
		least := 1.0
		for _, c := range results.Contributions {
			if c.SessionID == swapped.ID {
				least = min(least, c.RobustWeight)
			}
		}
		return least
	}
	if got := weight(); got > 0.1 {
		t.Errorf("least robust weight before the verdict = %v, want 0.1 or less", got)
	}
	doubted := entryOf(t, w.ranking(t, fieldtest.StcPower, ""), "panel-2").Estimate
	w.write(t, func(ctx context.Context, tx *store.Tx) error {
		return tx.AddVerdict(ctx, store.VerdictWrite{ID: storetest.NewID(t), FindingID: found[0].ID, Verdict: fieldtest.Keep, Reviewer: w.reviewer.ID})
	})
	if err := r.Once(t.Context()); err != nil {
		t.Fatal(err)
	}
	if got := weight(); got != 1 {
		t.Errorf("least robust weight after keep = %v, want 1", got)
	}
	if kept := entryOf(t, w.ranking(t, fieldtest.StcPower, ""), "panel-2").Estimate; kept >= doubted {
		t.Errorf("estimate after keep = %v W, want less than %v W", kept, doubted)
	}
	f, err := w.db.Finding(t.Context(), found[0].ID)
	if err != nil || f.State != fieldtest.FindingKept {
		t.Errorf("finding after the next audit = %s, %v, want kept", f.State, err)
	}
}

// A finding that nothing raises any more becomes obsolete.
func TestWithdrawnCauseMakesFindingObsolete(t *testing.T) {
	t.Parallel()
	w := newWorld(t, 4, 4)
	w.fill(t, 3)
	bad := w.session(t, 1, []int{0, 1, 2, 3}, map[int]float64{2: 0.8})
	w.save(t, bad)
	r := w.once(t)
	w.write(t, func(ctx context.Context, tx *store.Tx) error {
		return tx.WithdrawSession(ctx, store.WithdrawalWrite{SessionID: bad.ID, Reason: "The panel was shaded.", By: bad.TesterID})
	})
	if err := r.Once(t.Context()); err != nil {
		t.Fatal(err)
	}
	found, _, _, err := w.db.Findings(t.Context(), store.FindingFilter{SessionID: &bad.ID}, store.Page{})
	if err != nil || len(found) == 0 {
		t.Fatalf("findings = %+v, %v, want those raised before", found, err)
	}
	for _, f := range found {
		if f.State != fieldtest.FindingObsolete {
			t.Errorf("finding %s = %s, want obsolete", f.Rule, f.State)
		}
	}
}

func TestAgreement(t *testing.T) {
	t.Parallel()
	w := newWorld(t, 4, 3)
	w.fill(t, 3)
	r := w.once(t)
	a, err := r.Agreement(t.Context(), w.testers[2].ID)
	if err != nil || a.Testers != 4 || a.ZPrime == nil || a.En == nil || a.H == nil || len(a.Panels) != 3 {
		t.Errorf("Agreement() = %+v, %v, want all numbers and 3 panels", a, err)
	}
	none, err := r.Agreement(t.Context(), w.reviewer.ID)
	if err != nil || none.ZPrime != nil || len(none.Panels) != 0 || none.TesterID != w.reviewer.ID {
		t.Errorf("Agreement() of a tester without readings = %+v, %v, want no numbers", none, err)
	}
}
