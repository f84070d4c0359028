package intake_test

import (
	"context"
	"testing"

	"github.com/google/uuid"

	"evensun/internal/fieldtest"
	"evensun/internal/intake"
	"evensun/internal/store"
	"evensun/internal/storetest"
)

// states returns the states of a stored session's readings.
func (d *desk) states(t testing.TB, id uuid.UUID) []fieldtest.ReadingState {
	t.Helper()
	kept, err := d.db.Session(t.Context(), id)
	if err != nil {
		t.Fatal(err)
	}
	var states []fieldtest.ReadingState
	for i := range kept.Readings {
		states = append(states, kept.Readings[i].State)
	}
	return states
}

func (d *desk) verdict(t testing.TB, finding uuid.UUID, decision fieldtest.Decision) {
	t.Helper()
	if _, _, err := d.in.Verdict(t.Context(), d.reviewer, finding, decision, "looked at it", intake.SubmitOptions{}); err != nil {
		t.Fatal(err)
	}
}

func all(states []fieldtest.ReadingState, want fieldtest.ReadingState) bool {
	for _, s := range states {
		if s != want {
			return false
		}
	}
	return len(states) > 0
}

// raise stores a finding, as an audit does.
func (d *desk) raise(t testing.TB, f fieldtest.Finding) uuid.UUID {
	t.Helper()
	f.ID, f.Rule, f.Relation, f.Unit, f.State, f.CreatedAt, f.Basis = storetest.NewID(t), "outlier", "<=", "1", fieldtest.FindingOpen, now, map[string]any{"method": "1"}
	f.Reason, f.Pointer, f.Band = "Stands apart from the others.", "#", "medium"
	_, _, err := d.db.Write(t.Context(), store.Idempotency{}, false, func(ctx context.Context, tx *store.Tx) (store.Response, error) {
		return store.Response{Status: 201}, tx.AddFindings(ctx, []fieldtest.Finding{f})
	})
	if err != nil {
		t.Fatal(err)
	}
	return f.ID
}

// What stands against a rig, a model or a tester reaches the readings that come later
// in the way in which it reaches those that were there.
func TestStandingDoubtsReachNewReadings(t *testing.T) {
	t.Parallel()
	about := map[string]func(d *desk, rig uuid.UUID, f *fieldtest.Finding){
		"rig":    func(_ *desk, rig uuid.UUID, f *fieldtest.Finding) { f.RigID = &rig },
		"model":  func(_ *desk, _ uuid.UUID, f *fieldtest.Finding) { named := slug; f.PanelModel = &named },
		"tester": func(d *desk, _ uuid.UUID, f *fieldtest.Finding) { f.TesterID = &d.tester.TesterID },
	}
	cases := []struct {
		severity fieldtest.Severity
		decision fieldtest.Decision
		want     fieldtest.ReadingState
	}{
		{fieldtest.Hold, "", fieldtest.Held},
		{fieldtest.Hold, fieldtest.Ask, fieldtest.Held},
		{fieldtest.Hold, fieldtest.Keep, fieldtest.Counted},
		{fieldtest.Hold, fieldtest.Exclude, fieldtest.Excluded},
		{fieldtest.Note, "", fieldtest.Counted},
		{fieldtest.Note, fieldtest.Ask, fieldtest.Counted},
		{fieldtest.Note, fieldtest.Exclude, fieldtest.Excluded},
	}
	for name, of := range about {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			d := newDesk(t, true)
			first := d.submit(t, session(t, 0))
			kept, err := d.db.Session(t.Context(), *first.ID)
			if err != nil {
				t.Fatal(err)
			}
			for i, c := range cases {
				f := fieldtest.Finding{Severity: c.severity}
				of(d, kept.RigID, &f)
				id := d.raise(t, f)
				if c.decision != "" {
					d.verdict(t, id, c.decision)
				}
				s := session(t, i+1)
				s.Rig = fieldtest.SessionRig{ID: &kept.RigID}
				later := d.submit(t, s)
				if !all(d.states(t, *later.ID), c.want) || !all(d.states(t, *first.ID), c.want) || later.Readings[0].State != c.want {
					t.Errorf("%s, %q: first %v, later %v, receipt %s; want %s", c.severity, c.decision, d.states(t, *first.ID), d.states(t, *later.ID), later.Readings[0].State, c.want)
				}
				d.verdict(t, id, fieldtest.Keep)
			}
		})
	}
}

// A doubt about one of two models in a session leaves the readings of the other alone.
func TestADoubtOnAModelLeavesOtherModelsAlone(t *testing.T) {
	t.Parallel()
	d := newDesk(t, true)
	d.submit(t, withNewModel(t, 0, "halden-loft"))
	named := "halden-loft"
	d.raise(t, fieldtest.Finding{Severity: fieldtest.Hold, PanelModel: &named})
	s := session(t, 1)
	s.Readings[1].Panel.Model = named
	states := d.states(t, *d.submit(t, s).ID)
	if states[0] != fieldtest.Counted || states[1] != fieldtest.Held || states[2] != fieldtest.Counted {
		t.Errorf("states %v, want only the second held", states)
	}
}

// A doubt about flat readings alone leaves tilted ones of the same session alone.
func TestADoubtOnAnArrangementLeavesOthersAlone(t *testing.T) {
	t.Parallel()
	d := newDesk(t, true)
	first := d.submit(t, session(t, 0))
	flat := fieldtest.Flat
	d.raise(t, fieldtest.Finding{Severity: fieldtest.Hold, TesterID: &d.tester.TesterID, Arrangement: &flat})
	s := session(t, 1)
	s.Readings[1].Arrangement = flat
	later := d.submit(t, s)
	stored := d.states(t, *later.ID)
	for i, want := range []fieldtest.ReadingState{fieldtest.Counted, fieldtest.Held, fieldtest.Counted} {
		if stored[i] != want || later.Readings[i].State != want {
			t.Errorf("reading %d is %s, in the receipt %s; want %s", i, stored[i], later.Readings[i].State, want)
		}
	}
	if !all(d.states(t, *first.ID), fieldtest.Counted) {
		t.Errorf("tilted readings are %v, want counted", d.states(t, *first.ID))
	}
}

// Two holds on one reading: it counts when both are kept, and one exclusion decides.
func TestVerdictsOnTwoDoubtsAboutOneReading(t *testing.T) {
	t.Parallel()
	d := newDesk(t, false)
	r := d.submit(t, session(t, 0))
	whole := r.Findings[0].ID // new_tester, on the session
	one := d.raise(t, fieldtest.Finding{Severity: fieldtest.Hold, ReadingID: r.Readings[0].ID, SessionID: r.ID, TesterID: &d.tester.TesterID})
	steps := []struct {
		finding       uuid.UUID
		decision      fieldtest.Decision
		first, second fieldtest.ReadingState
	}{
		{whole, fieldtest.Keep, fieldtest.Held, fieldtest.Counted},
		{one, fieldtest.Keep, fieldtest.Counted, fieldtest.Counted},
		{one, fieldtest.Ask, fieldtest.Held, fieldtest.Counted},
		{one, fieldtest.Exclude, fieldtest.Excluded, fieldtest.Counted},
		{whole, fieldtest.Ask, fieldtest.Excluded, fieldtest.Held},
		{one, fieldtest.Keep, fieldtest.Held, fieldtest.Held},
		{whole, fieldtest.Exclude, fieldtest.Excluded, fieldtest.Excluded},
		{whole, fieldtest.Keep, fieldtest.Counted, fieldtest.Counted},
	}
	for i, step := range steps {
		d.verdict(t, step.finding, step.decision)
		if got := d.states(t, *r.ID); got[0] != step.first || got[1] != step.second {
			t.Errorf("step %d, %s: %v, want %s and %s", i, step.decision, got, step.first, step.second)
		}
	}
}

// A reviewer who measures decides on everything but that.
func TestNobodyJudgesOwnReadings(t *testing.T) {
	t.Parallel()
	d := newDesk(t, false)
	both := d.tester
	both.Role = fieldtest.RoleReviewer
	r := d.submit(t, session(t, 0))
	before := d.head(t)
	for _, decision := range []fieldtest.Decision{fieldtest.Keep, fieldtest.Exclude, fieldtest.Ask} {
		if _, _, err := d.in.Verdict(t.Context(), both, r.Findings[0].ID, decision, "mine is fine", intake.SubmitOptions{}); kindOf(err) != fieldtest.Forbidden {
			t.Errorf("%s on own data: %v", decision, err)
		}
	}
	if _, _, err := d.in.Verdict(t.Context(), d.reviewer, storetest.NewID(t), fieldtest.Keep, "what?", intake.SubmitOptions{}); kindOf(err) != fieldtest.NotFound {
		t.Errorf("on a finding that is not there: %v", err)
	}
	if _, _, err := d.in.Verdict(t.Context(), d.reviewer, r.Findings[0].ID, fieldtest.Keep, "try", intake.SubmitOptions{DryRun: true}); err != nil {
		t.Errorf("dry run: %v", err)
	}
	if d.head(t) != before || !all(d.states(t, *r.ID), fieldtest.Held) {
		t.Errorf("the ledger moved or readings did: %v", d.states(t, *r.ID))
	}
}

var misread = intake.Reason{Code: "mistyped_reading", Text: "misread"}

// A revision takes the place of what it revises, which stays readable; what is stale or
// withdrawn is not revised.
func TestRevisionsFollowEachOther(t *testing.T) {
	t.Parallel()
	d := newDesk(t, true)
	first := d.submit(t, session(t, 0))
	revise := func(ifRevision, n int) error {
		response, _, err := d.in.Revise(t.Context(), d.tester, *first.ID, ifRevision, misread, session(t, n), intake.SubmitOptions{})
		if err == nil {
			conforms(t, "Receipt", response.Body)
		}
		return err
	}
	if err := revise(1, 1); err != nil {
		t.Fatal(err)
	}
	before := d.head(t)
	for _, stale := range []int{1, 3} {
		if err := revise(stale, 2); kindOf(err) != fieldtest.PreconditionFailed {
			t.Errorf("revising revision %d of 2: %v", stale, err)
		}
	}
	if d.head(t) != before {
		t.Error("a refused revision moved the ledger")
	}
	old, err := d.db.SessionRevision(t.Context(), *first.ID, 1)
	if err != nil || old.State != fieldtest.SessionSuperseded || *old.Session.Readings[0].Irradiance.POAWM2 != 912 {
		t.Errorf("revision 1: %s, %v", old.State, err)
	}
	for i := range old.Readings {
		if old.Readings[i].State != fieldtest.Superseded || *old.Readings[i].ID != *first.Readings[i].ID {
			t.Errorf("reading %d of revision 1 is %s", i, old.Readings[i].State)
		}
	}
	kept, err := d.db.Session(t.Context(), *first.ID)
	if err != nil || kept.Revision != 2 || *kept.Session.Readings[0].Irradiance.POAWM2 != 913 || kept.TesterID != d.tester.TesterID || !all(d.states(t, *first.ID), fieldtest.Counted) {
		t.Errorf("revision %d, %v, states %v", kept.Revision, err, d.states(t, *first.ID))
	}
	if _, _, err := d.in.Withdraw(t.Context(), d.tester, *first.ID, 2, misread, intake.SubmitOptions{}); err != nil {
		t.Fatal(err)
	}
	if err := revise(2, 3); kindOf(err) != fieldtest.IllegalTransition {
		t.Errorf("revising a withdrawn session: %v", err)
	}
}

// Its owner or a reviewer withdraws a session, nobody else; it stays on record.
func TestWhoWithdraws(t *testing.T) {
	t.Parallel()
	d := newDesk(t, true)
	stranger := d.join(t, "Passer-by", true, fieldtest.RoleTester)
	for i, who := range []fieldtest.Caller{d.tester, d.reviewer} {
		id := *d.submit(t, session(t, i)).ID
		if _, _, err := d.in.Withdraw(t.Context(), stranger, id, 1, misread, intake.SubmitOptions{}); kindOf(err) != fieldtest.Forbidden {
			t.Errorf("by a stranger: %v", err)
		}
		if _, _, err := d.in.Withdraw(t.Context(), who, id, 2, misread, intake.SubmitOptions{}); kindOf(err) != fieldtest.PreconditionFailed {
			t.Errorf("%s, a revision that is not there: %v", who.Role, err)
		}
		if _, _, err := d.in.Withdraw(t.Context(), who, id, 1, misread, intake.SubmitOptions{DryRun: true}); err != nil || !all(d.states(t, id), fieldtest.Counted) {
			t.Errorf("%s, dry run: %v, states %v", who.Role, err, d.states(t, id))
		}
		if _, _, err := d.in.Withdraw(t.Context(), who, id, 1, misread, intake.SubmitOptions{}); err != nil {
			t.Fatal(err)
		}
		kept, err := d.db.Session(t.Context(), id)
		if err != nil || kept.State != fieldtest.SessionWithdrawn || !all(d.states(t, id), fieldtest.Superseded) {
			t.Errorf("%s: withdrawn session is %s (%v), readings %v", who.Role, kept.State, err, d.states(t, id))
		}
		if _, _, err := d.in.Withdraw(t.Context(), who, id, 1, misread, intake.SubmitOptions{}); kindOf(err) != fieldtest.IllegalTransition {
			t.Errorf("%s, a second time: %v", who.Role, err)
		}
	}
}
