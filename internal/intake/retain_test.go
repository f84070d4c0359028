package intake_test

import (
	"slices"
	"testing"

	"github.com/google/uuid"

	"evensun/internal/fieldtest"
	"evensun/internal/intake"
	"evensun/internal/storetest"
)

// revise stores the next revision of a session.
func (d *desk) revise(t testing.TB, id uuid.UUID, revision int, s fieldtest.Session) fieldtest.Receipt {
	t.Helper()
	response, _, err := d.in.Revise(t.Context(), d.tester, id, revision, misread, s, intake.SubmitOptions{})
	if err != nil {
		t.Fatal(err)
	}
	return receiptOf(t, response)
}

// audited makes findings those of an audit by the rule outlier.
func (d *desk) audited(t testing.TB, findings ...fieldtest.Finding) {
	t.Helper()
	for i := range findings {
		f := &findings[i]
		if f.ID == uuid.Nil {
			f.ID = storetest.NewID(t)
		}
		f.Rule, f.Relation, f.Unit, f.State, f.Reason, f.Pointer, f.Band = "outlier", "<=", "1", fieldtest.FindingOpen, "Stands apart.", "#", "medium"
		f.TesterID = &d.tester.TesterID
	}
	if err := d.db.ReplaceAuditFindings(t.Context(), 1, []string{"outlier"}, findings); err != nil {
		t.Fatal(err)
	}
}

// reworded is a session in which only words are others; mended has another reading.
func reworded(s fieldtest.Session) fieldtest.Session {
	s.Note, s.ClientRef = "the north lawn, not the south", "field-15"
	return s
}

func mended(s fieldtest.Session) fieldtest.Session {
	s.Readings = slices.Clone(s.Readings)
	powerW := *s.Readings[0].PowerW - 1
	s.Readings[0].PowerW = &powerW
	return s
}

// What a reviewer decided about a whole session holds for its next revision while only
// words changed, and is open again as soon as something measured did. That goes for what
// intake doubts and for what an audit does.
func TestADecisionOnASessionHoldsUntilWhatWasMeasuredChanges(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name     string
		audit    fieldtest.Severity // empty: new_tester, a hold of intake
		decision fieldtest.Decision
		retained fieldtest.ReadingState
		opened   fieldtest.ReadingState
	}{
		{"intake, excluded", "", fieldtest.Exclude, fieldtest.Excluded, fieldtest.Held},
		{"intake, kept", "", fieldtest.Keep, fieldtest.Counted, fieldtest.Held},
		{"intake, asked", "", fieldtest.Ask, fieldtest.Held, fieldtest.Held},
		{"a note of an audit, excluded", fieldtest.Note, fieldtest.Exclude, fieldtest.Excluded, fieldtest.Counted},
		{"a hold of an audit, excluded", fieldtest.Hold, fieldtest.Exclude, fieldtest.Excluded, fieldtest.Held},
		{"a hold of an audit, kept", fieldtest.Hold, fieldtest.Keep, fieldtest.Counted, fieldtest.Held},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			d := newDesk(t, c.audit != "")
			s := session(t, 0)
			s.Note = "the south lawn"
			r := d.submit(t, s)
			if c.audit != "" {
				d.audited(t, fieldtest.Finding{SessionID: r.ID, Severity: c.audit})
			}
			of := func() fieldtest.Finding {
				t.Helper()
				kept, err := d.db.Session(t.Context(), *r.ID)
				if err != nil || len(kept.Findings) != 1 {
					t.Fatalf("findings %+v, %v, want one", kept.Findings, err)
				}
				return kept.Findings[0]
			}
			d.verdict(t, of().ID, c.decision)
			decided := of().State
			for revision := 1; revision <= 2; revision++ { // a decision that was retained is retained again
				again := d.revise(t, *r.ID, revision, reworded(s))
				f := of()
				if f.State != decided || len(f.Verdicts) != 1 || !all(d.states(t, *r.ID), c.retained) || again.Readings[0].State != c.retained {
					t.Errorf("other words: finding %s with %d verdicts, readings %v, want %s with one and %s", f.State, len(f.Verdicts), d.states(t, *r.ID), decided, c.retained)
				}
			}
			d.whole(t)
			d.revise(t, *r.ID, 3, mended(s))
			if f := of(); f.State != fieldtest.FindingOpen || !all(d.states(t, *r.ID), c.opened) {
				t.Errorf("another reading: finding %s, readings %v, want open and %s", f.State, d.states(t, *r.ID), c.opened)
			}
			d.whole(t)
			if c.audit != "" { // the audit finds it still so: it stays open
				d.audited(t, fieldtest.Finding{SessionID: r.ID, Severity: c.audit})
			}
			d.verdict(t, of().ID, fieldtest.Exclude)
			if !all(d.states(t, *r.ID), fieldtest.Excluded) {
				t.Errorf("decided anew, readings are %v", d.states(t, *r.ID))
			}
			d.whole(t)
		})
	}
}

// A reading that a reviewer excluded does not come back with a corrected note; one that is
// corrected itself does, and another reading's correction does not touch it.
func TestADecisionOnAReadingHoldsUntilItChanges(t *testing.T) {
	t.Parallel()
	d := newDesk(t, true)
	s := session(t, 0)
	r := d.submit(t, s)
	outlier := func(i int) fieldtest.Finding {
		kept, err := d.db.Session(t.Context(), *r.ID)
		if err != nil {
			t.Fatal(err)
		}
		one := kept.Readings[i]
		return fieldtest.Finding{SessionID: r.ID, ReadingID: one.ID, Label: &one.Label, PanelModel: one.PanelModel, Severity: fieldtest.Note}
	}
	first := []fieldtest.Finding{outlier(0), outlier(1)}
	d.audited(t, first...)
	d.verdict(t, first[0].ID, fieldtest.Exclude)
	d.verdict(t, first[1].ID, fieldtest.Exclude)
	d.revise(t, *r.ID, 1, reworded(s))
	if want := []fieldtest.ReadingState{fieldtest.Excluded, fieldtest.Excluded, fieldtest.Counted}; !slices.Equal(d.states(t, *r.ID), want) {
		t.Errorf("other words: readings are %v, want %v", d.states(t, *r.ID), want)
	}
	d.whole(t)
	d.audited(t, outlier(0), outlier(1)) // known again
	d.whole(t)
	d.revise(t, *r.ID, 2, mended(s))
	if want := []fieldtest.ReadingState{fieldtest.Counted, fieldtest.Excluded, fieldtest.Counted}; !slices.Equal(d.states(t, *r.ID), want) {
		t.Errorf("the first reading corrected: readings are %v, want %v", d.states(t, *r.ID), want)
	}
	kept, err := d.db.Session(t.Context(), *r.ID)
	if err != nil || len(kept.Readings[1].Findings) != 1 || len(kept.Readings[1].Findings[0].Verdicts) != 1 {
		t.Errorf("findings of the second reading: %+v, %v, want one with the verdict that it retains", kept.Readings[1].Findings, err)
	}
	d.whole(t)
	moved := s
	moved.Plane.TiltDeg = nil
	d.revise(t, *r.ID, 3, moved)
	if !all(d.states(t, *r.ID), fieldtest.Counted) && !all(d.states(t, *r.ID), fieldtest.Held) {
		t.Errorf("another plane for all: readings are %v, want no decision left", d.states(t, *r.ID))
	}
	d.whole(t)
}

// A verdict that falls at any point of a submission or a revision, from before doubts are
// read to just before the write, leaves no reading in a state that does not follow from it.
func TestAVerdictUnderASubmission(t *testing.T) {
	t.Parallel()
	for _, revise := range []bool{false, true} {
		for at := 1; at <= 5; at++ {
			d := newDesk(t, true)
			rig := d.rig(t, session(t, 0).Rig.Rig)
			s := withRig(session(t, 0), rig)
			r := d.submit(t, s)
			doubt := fieldtest.Finding{Severity: fieldtest.Note, RigID: &rig}
			if revise {
				doubt = fieldtest.Finding{Severity: fieldtest.Note, SessionID: r.ID}
			}
			doubt.ID = storetest.NewID(t)
			d.audited(t, doubt)
			calls := 0
			in := intake.New(d.db, func() (uuid.UUID, error) {
				if calls++; calls == at {
					d.verdict(t, doubt.ID, fieldtest.Exclude)
				}
				return uuid.NewV7()
			}, clock)
			var err error
			if revise {
				_, _, err = in.Revise(t.Context(), d.tester, *r.ID, 1, misread, reworded(s), intake.SubmitOptions{})
			} else {
				_, _, err = in.Submit(t.Context(), d.tester, withRig(session(t, 1), rig), intake.SubmitOptions{})
			}
			if err != nil {
				t.Fatalf("verdict at id %d: %v", at, err)
			}
			for _, one := range d.sessions(t) {
				if calls >= at && !all(d.states(t, one.ID), fieldtest.Excluded) {
					t.Errorf("revision %v, verdict at id %d: readings are %v", revise, at, d.states(t, one.ID))
				}
			}
			d.whole(t)
		}
	}
}
