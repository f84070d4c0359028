package store_test

import (
	"context"
	"errors"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"evensun/internal/fieldtest"
	"evensun/internal/ledger"
	"evensun/internal/store"
)

func TestSessionComesBackAsStored(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	s := w.session(t, 3)
	s.Session.ClientRef = "field-14"
	s.Judged[1].Result, s.Judged[1].ResultReason = nil, pointer("no irradiance")
	s.Judged[1].State = fieldtest.Held
	s.Judged[1].Findings = []fieldtest.Finding{finding(t, "current_above_isc", nil)}
	s.Findings = []fieldtest.Finding{finding(t, "new_tester", func(f *fieldtest.Finding) { f.Severity = fieldtest.Note })}
	s = sealed(t, s)
	sequence := w.save(t, s)
	got, err := w.db.Session(t.Context(), s.ID)
	if err != nil {
		t.Fatal(err)
	}
	for i := range s.Judged {
		if s.Judged[i].Findings == nil {
			s.Judged[i].Findings = []fieldtest.Finding{}
		}
	}
	ignore := cmpopts.IgnoreFields(fieldtest.Finding{}, "SessionID", "ReadingID", "TesterID", "CreatedAt")
	if diff := cmp.Diff(s.Judged, got.Readings, ignore); diff != "" {
		t.Errorf("readings of Session(): -stored +read\n%s", diff)
	}
	if diff := cmp.Diff(s.Findings, got.Findings, ignore); diff != "" {
		t.Errorf("findings of Session(): -stored +read\n%s", diff)
	}
	if diff := cmp.Diff(s.Session, got.Session); diff != "" {
		t.Errorf("submission of Session(): -stored +read\n%s", diff)
	}
	if got.Sequence != sequence || got.Revision != 1 || got.State != fieldtest.SessionAccepted || got.SHA256 != s.SHA256 {
		t.Errorf("Session() = sequence %d, revision %d, %s, want %d, 1, accepted", got.Sequence, got.Revision, got.State, sequence)
	}
	if id := got.Readings[1].Findings[0].ReadingID; id == nil || *id != *s.Judged[1].ID {
		t.Errorf("a reading's finding names reading %v, want %v", id, s.Judged[1].ID)
	}
	r, err := w.db.Reading(t.Context(), *s.Judged[1].ID)
	if err != nil || r.SessionID != s.ID || r.Position != 1 || r.Label != "2" {
		t.Errorf("Reading() = %+v, %v", r, err)
	}
}

func TestSameSessionIsKnownAgain(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	first := w.session(t, 2)
	first.Session.ClientRef = "a"
	w.save(t, first)

	again := w.session(t, 2)
	again.Session.ClientRef, again.SHA256 = "a", first.SHA256
	_, err := w.try(t, func(_ context.Context, tx *store.Tx) error { return tx.SaveSession(again) })
	if existing, ok := errors.AsType[*store.ExistingSession](err); !ok || existing.ID != first.ID {
		t.Errorf("the same content again = %v, want ExistingSession %s", err, first.ID)
	}

	other := w.session(t, 2)
	other.Session.ClientRef = "a"
	_, err = w.try(t, func(_ context.Context, tx *store.Tx) error { return tx.SaveSession(other) })
	if r := refusal(t, err, fieldtest.NameTaken); r.Extra["existing"] != first.ID {
		t.Errorf("other content under the same client_ref names %v, want %s", r.Extra["existing"], first.ID)
	}
	id, err := w.db.SessionKnownBy(t.Context(), w.tester.ID, "a", "")
	if err != nil || id != first.ID {
		t.Errorf("SessionKnownBy(a) = %s, %v, want %s", id, err, first.ID)
	}
	if _, err := w.db.Session(t.Context(), other.ID); err == nil {
		t.Error("a refused session can be read")
	}
}

func TestRevisionSupersedes(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	s := w.session(t, 2)
	before := w.save(t, s)
	next := w.session(t, 1)
	next.ID, next.ReasonCode, next.Reason = s.ID, "mistyped_reading", "Reading 2 was another panel."
	next = sealed(t, next)
	revise := func(ifRevision int) error {
		_, err := w.try(t, func(ctx context.Context, tx *store.Tx) error {
			_, err := tx.ReviseSession(ctx, next, ifRevision)
			return err
		})
		return err
	}
	if r := refusal(t, revise(7), fieldtest.PreconditionFailed); r.Extra["current_etag"] != `"r1"` {
		t.Errorf("a stale revision is told %v, want the current etag", r.Extra)
	}
	if err := revise(1); err != nil {
		t.Fatal(err)
	}
	got, err := w.db.Session(t.Context(), s.ID)
	if err != nil || got.Revision != 2 || len(got.Readings) != 1 {
		t.Errorf("Session() after a revision = revision %d, %d readings, %v", got.Revision, len(got.Readings), err)
	}
	old, err := w.db.SessionRevision(t.Context(), s.ID, 1)
	if err != nil || old.State != fieldtest.SessionSuperseded || old.Readings[0].State != fieldtest.Superseded {
		t.Errorf("SessionRevision(1) = %s, %v, want superseded with its readings", old.State, err)
	}
	then, _, _, err := w.db.Sessions(t.Context(), store.SessionFilter{}, store.Page{AsOf: before})
	if err != nil || len(then) != 1 || then[0].Revision != 1 {
		t.Errorf("Sessions() as of before = %+v, %v, want revision 1", then, err)
	}
}

func TestWithdrawnStaysOut(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	s := w.session(t, 2)
	w.save(t, s)
	w.write(t, func(ctx context.Context, tx *store.Tx) error {
		return tx.WithdrawSession(ctx, store.WithdrawalWrite{SessionID: s.ID, Reason: "The meter was broken.", By: w.tester.ID})
	})
	got, err := w.db.Session(t.Context(), s.ID)
	if err != nil || got.State != fieldtest.SessionWithdrawn || got.StateReason == "" || got.Readings[0].State != fieldtest.Superseded {
		t.Errorf("Session() after withdrawal = %s %q %s, %v", got.State, got.StateReason, got.Readings[0].State, err)
	}
	_, err = w.try(t, func(ctx context.Context, tx *store.Tx) error {
		_, err := tx.ReviseSession(ctx, sealed(t, s), 1)
		return err
	})
	refusal(t, err, fieldtest.IllegalTransition)
	observations, _, err := w.db.Observations(t.Context(), fieldtest.Tilted)
	if err != nil || len(observations) != 0 {
		t.Errorf("Observations() after withdrawal = %d, %v, want none", len(observations), err)
	}
}

// One bad reading at the end leaves nothing behind, not even in the ledger.
func TestAllOrNothing(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	before, err := w.db.LedgerHead(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	bad := w.session(t, 50)
	bad.Session.Readings[49].VoltageV = pointer(1501.0)
	twice := w.session(t, 3)
	twice.Judged[2].Label = "1"
	unknown := w.session(t, 3)
	unknown.Judged[2].PanelModel = pointer("no-such-model")
	norig := w.session(t, 3)
	norig.RigRevision = 9
	for name, s := range map[string]store.SessionWrite{"voltage out of range": bad, "repeated label": twice, "unknown model": unknown, "unknown rig": norig} {
		if _, err := w.try(t, func(_ context.Context, tx *store.Tx) error { return tx.SaveSession(s) }); err == nil {
			t.Errorf("%s: stored, want an error", name)
		}
		if _, err := w.db.Session(t.Context(), s.ID); err == nil {
			t.Errorf("%s: the session can be read", name)
		}
	}
	after, err := w.db.LedgerHead(t.Context())
	if err != nil || after != before {
		t.Errorf("LedgerHead() after four refused writes = %v, %v, want %v", after, err, before)
	}
	// The same ids are free: nothing of them was stored.
	bad.Session.Readings[49].VoltageV = pointer(18.0)
	w.save(t, bad)
}

func TestInlineModelIsCreatedWithItsSession(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	s := w.session(t, 1)
	s.Judged[0].PanelModel = pointer("new-one")
	s.NewModels = []fieldtest.StoredPanelModel{newModel(t, "new-one", w.tester.ID)}
	w.save(t, s)
	m, err := w.db.PanelModel(t.Context(), "new-one")
	if err != nil || m.Revision != 1 || m.Sequence == 0 || m.CreatedAt.IsZero() {
		t.Errorf("PanelModel(new-one) = %+v, %v", m, err)
	}
}

func TestDryRunLeavesNothing(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	s := w.session(t, 2)
	key := store.Idempotency{TesterID: w.tester.ID, Key: "0123456789abcdef"}
	for range 2 {
		_, replayed, err := w.db.Write(t.Context(), key, true, func(_ context.Context, tx *store.Tx) (store.Response, error) {
			return store.Response{Status: 200}, tx.SaveSession(s)
		})
		if err != nil || replayed {
			t.Fatalf("dry run = replayed %v, %v", replayed, err)
		}
	}
	if _, err := w.db.Session(t.Context(), s.ID); err == nil {
		t.Error("a dry run's session can be read")
	}
	s.RigRevision = 9
	_, _, err := w.db.Write(t.Context(), key, true, func(_ context.Context, tx *store.Tx) (store.Response, error) {
		return store.Response{Status: 200}, tx.SaveSession(s)
	})
	refusal(t, err, fieldtest.ValidationFailed)
}

func TestLedgerChainsAllWrites(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.save(t, w.session(t, 2))
	entries, err := w.db.Ledger(t.Context(), 0, 100)
	if err != nil {
		t.Fatal(err)
	}
	head, err := ledger.Verify(ledger.Genesis(), entries)
	if err != nil {
		t.Fatal(err)
	}
	want, err := w.db.LedgerHead(t.Context())
	if err != nil || head != want {
		t.Errorf("Verify(Ledger()) = %v, want LedgerHead() = %v, %v", head, want, err)
	}
	var kinds []string
	for _, e := range entries {
		kinds = append(kinds, e.Kind)
	}
	if got, want := strings.Join(kinds, " "), "tester_created tester_created rig_created panel_model_created session_accepted"; got != want {
		t.Errorf("ledger kinds = %s, want %s", got, want)
	}
}
