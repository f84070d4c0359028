package intake_test

import (
	"testing"

	"github.com/google/uuid"

	"evensun/internal/fieldtest"
	"evensun/internal/intake"
	"evensun/internal/store"
)

// openFindings counts findings that wait for a reviewer.
func (d *desk) openFindings(t testing.TB, id uuid.UUID) int {
	t.Helper()
	list, _, _, err := d.db.Findings(t.Context(), store.FindingFilter{SessionID: &id, States: []string{"open", "asked"}}, store.Page{Size: 1000})
	if err != nil {
		t.Fatal(err)
	}
	return len(list)
}

// Twenty revisions that change words leave as many items in the queue as one, and a
// withdrawal none.
func TestRevisionsDoNotBuryTheQueue(t *testing.T) {
	t.Parallel()
	d := newDesk(t, false)
	s := session(t, 0)
	r := d.submit(t, s)
	before := d.openFindings(t, *r.ID)
	for i := range 20 {
		s.Note += "."
		d.revise(t, *r.ID, i+1, s)
	}
	if got := d.openFindings(t, *r.ID); got != before || got == 0 {
		t.Errorf("%d findings are open after 20 revisions, %d were before", got, before)
	}
	if _, _, err := d.in.Withdraw(t.Context(), d.tester, *r.ID, 21, misread, intake.SubmitOptions{}); err != nil {
		t.Fatal(err)
	}
	if got := d.openFindings(t, *r.ID); got != 0 {
		t.Errorf("%d findings of a withdrawn session are open", got)
	}
	d.whole(t)
}

// What a reviewer has decided on a revision that was replaced stays as it was decided.
func TestDecisionsOnReplacedRevisionsStay(t *testing.T) {
	t.Parallel()
	d := newDesk(t, false)
	r := d.submit(t, session(t, 0))
	d.verdict(t, r.Findings[0].ID, fieldtest.Exclude)
	d.revise(t, *r.ID, 1, session(t, 1))
	f, err := d.db.Finding(t.Context(), r.Findings[0].ID)
	if err != nil || f.State != fieldtest.FindingExcluded {
		t.Errorf("the decided finding is %s, %v", f.State, err)
	}
	d.whole(t)
}

// A withdrawal is taken back by who withdrew, or by a reviewer: readings and doubts are as
// they were.
func TestAWithdrawalIsTakenBack(t *testing.T) {
	t.Parallel()
	d := newDesk(t, false)
	stranger := d.join(t, "Passer-by", true, fieldtest.RoleTester)
	r := d.submit(t, session(t, 0))
	asked := d.raise(t, fieldtest.Finding{Severity: fieldtest.Hold, ReadingID: r.Readings[1].ID, SessionID: r.ID, TesterID: &d.tester.TesterID})
	d.verdict(t, r.Findings[0].ID, fieldtest.Keep)
	d.verdict(t, asked, fieldtest.Exclude)
	restore := func(who fieldtest.Caller) error {
		_, _, err := d.in.Restore(t.Context(), who, *r.ID, 1, misread, intake.SubmitOptions{})
		return err
	}
	if err := restore(d.tester); kindOf(err) != fieldtest.IllegalTransition {
		t.Errorf("Restore() of a session that counts = %v", err)
	}
	for _, by := range []fieldtest.Caller{d.tester, d.reviewer} {
		if _, _, err := d.in.Withdraw(t.Context(), by, *r.ID, 1, misread, intake.SubmitOptions{}); err != nil {
			t.Fatal(err)
		}
		if err := restore(stranger); kindOf(err) != fieldtest.Forbidden {
			t.Errorf("Restore() by a stranger = %v", err)
		}
		if by.Role == fieldtest.RoleReviewer {
			if err := restore(d.tester); kindOf(err) != fieldtest.Forbidden {
				t.Errorf("Restore() by the tester of what a reviewer withdrew = %v", err)
			}
		}
		if err := restore(by); err != nil {
			t.Fatal(err)
		}
		want := []fieldtest.ReadingState{fieldtest.Counted, fieldtest.Excluded, fieldtest.Counted}
		for i, got := range d.states(t, *r.ID) {
			if got != want[i] {
				t.Errorf("after %s restored it, reading %d is %s, want %s", by.Role, i, got, want[i])
			}
		}
		d.whole(t)
	}
}

// Doubts that waited for a reviewer wait again once a session is restored.
func TestRestoredDoubtsWaitAgain(t *testing.T) {
	t.Parallel()
	d := newDesk(t, false)
	r := d.submit(t, session(t, 0))
	d.verdict(t, r.Findings[0].ID, fieldtest.Ask)
	if _, _, err := d.in.Withdraw(t.Context(), d.tester, *r.ID, 1, misread, intake.SubmitOptions{}); err != nil {
		t.Fatal(err)
	}
	if _, _, err := d.in.Restore(t.Context(), d.tester, *r.ID, 1, misread, intake.SubmitOptions{}); err != nil {
		t.Fatal(err)
	}
	f, err := d.db.Finding(t.Context(), r.Findings[0].ID)
	if err != nil || f.State != fieldtest.FindingAsked || !all(d.states(t, *r.ID), fieldtest.Held) {
		t.Errorf("the finding is %s (%v), readings %v; want asked and held", f.State, err, d.states(t, *r.ID))
	}
	d.whole(t)
}

// A reviewer with readings of a panel model does not withdraw those of others.
func TestAReviewerDoesNotWithdrawRivals(t *testing.T) {
	t.Parallel()
	d := newDesk(t, true)
	rival := d.join(t, "Measuring Reviewer", true, fieldtest.RoleReviewer)
	mine := *d.submit(t, session(t, 0)).ID
	withdraw := func() error {
		_, _, err := d.in.Withdraw(t.Context(), rival, mine, 1, misread, intake.SubmitOptions{DryRun: true})
		return err
	}
	if err := withdraw(); err != nil {
		t.Errorf("without own readings: %v", err)
	}
	if _, _, err := d.in.Submit(t.Context(), rival, session(t, 1), intake.SubmitOptions{}); err != nil {
		t.Fatal(err)
	}
	if err := withdraw(); kindOf(err) != fieldtest.Forbidden {
		t.Errorf("with own readings of the panel model: %v", err)
	}
}
