package intake_test

import (
	"testing"

	"evensun/internal/fieldtest"
	"evensun/internal/intake"
)

// keptSessions submits sessions of a new tester and has a reviewer keep each.
func (d *desk) keptSessions(t testing.TB, n int) []fieldtest.Receipt {
	t.Helper()
	var kept []fieldtest.Receipt
	for i := range n {
		r := d.submit(t, session(t, i))
		d.verdict(t, r.Findings[0].ID, fieldtest.Keep)
		kept = append(kept, r)
	}
	return kept
}

// Three kept sessions let a tester's readings count; a withdrawal of one takes that back.
func TestTrustIsLostWithTheSessionsItRestsOn(t *testing.T) {
	t.Parallel()
	d := newDesk(t, false)
	kept := d.keptSessions(t, 3)
	if r := d.submit(t, session(t, 3)); r.Readings[0].State != fieldtest.Counted {
		t.Errorf("after three kept sessions a reading is %s", r.Readings[0].State)
	}
	if _, _, err := d.in.Withdraw(t.Context(), d.tester, *kept[0].ID, 1, misread, intake.SubmitOptions{}); err != nil {
		t.Fatal(err)
	}
	if r := d.submit(t, session(t, 4)); r.Readings[0].State != fieldtest.Held {
		t.Errorf("after one of them was withdrawn a reading is %s, want held", r.Readings[0].State)
	}
}

// A kept session whose values move is to be kept again; one whose words change is not.
func TestAKeptSessionThatMovesIsKeptAgain(t *testing.T) {
	t.Parallel()
	d := newDesk(t, false)
	kept := d.keptSessions(t, 3)
	words := session(t, 0)
	words.Note = "typing error mended"
	if r := d.revise(t, *kept[0].ID, 1, words); r.Readings[0].State != fieldtest.Counted {
		t.Errorf("after other words a reading is %s, want counted", r.Readings[0].State)
	}
	moved := session(t, 10)
	if r := d.revise(t, *kept[0].ID, 2, moved); r.Readings[0].State != fieldtest.Held {
		t.Errorf("after other values a reading is %s, want held", r.Readings[0].State)
	}
	if r := d.submit(t, session(t, 5)); r.Readings[0].State != fieldtest.Held {
		t.Errorf("with two kept sessions a new reading is %s, want held", r.Readings[0].State)
	}
}

// A reviewer does not decide on a panel model that they have readings of.
func TestAReviewerDoesNotDecideOnTheirPanels(t *testing.T) {
	t.Parallel()
	d := newDesk(t, true)
	rival := d.join(t, "Measuring Reviewer", true, fieldtest.RoleReviewer)
	d.submit(t, session(t, 0))
	named := slug
	doubt := d.raise(t, fieldtest.Finding{Severity: fieldtest.Note, PanelModel: &named})
	decide := func() error {
		_, _, err := d.in.Verdict(t.Context(), rival, doubt, fieldtest.Exclude, "others are wrong", intake.SubmitOptions{DryRun: true})
		return err
	}
	if err := decide(); err != nil {
		t.Errorf("without own readings: %v", err)
	}
	if _, _, err := d.in.Submit(t.Context(), rival, session(t, 1), intake.SubmitOptions{}); err != nil {
		t.Fatal(err)
	}
	if err := decide(); kindOf(err) != fieldtest.Forbidden {
		t.Errorf("with own readings of the panel model: %v", err)
	}
	d.verdict(t, doubt, fieldtest.Exclude) // by another
}
