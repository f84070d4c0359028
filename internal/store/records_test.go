package store_test

import (
	"context"
	"crypto/sha256"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"

	"evensun/internal/fieldtest"
	"evensun/internal/store"
	"evensun/internal/storetest"
)

func TestTesterNamesAreTaken(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	got, err := w.db.Tester(t.Context(), w.tester.ID)
	if err != nil || cmp.Diff(w.tester, got) != "" {
		t.Errorf("Tester() = %+v, %v, want %+v", got, err, w.tester)
	}
	_, err = w.try(t, func(_ context.Context, tx *store.Tx) error {
		return tx.CreateTester(&fieldtest.Tester{ID: storetest.NewID(t), DisplayName: "field HAND"})
	})
	refusal(t, err, fieldtest.NameTaken)
	_, err = w.db.Tester(t.Context(), storetest.NewID(t))
	refusal(t, err, fieldtest.NotFound)
	page, next, _, err := w.db.Testers(t.Context(), store.Page{Size: 1})
	if err != nil || len(page) != 1 || next == nil || page[0].ID != w.tester.ID {
		t.Errorf("Testers(1) = %+v, next %v, %v", page, next, err)
	}
	page, next, _, err = w.db.Testers(t.Context(), store.Page{Size: 1, After: next})
	if err != nil || len(page) != 1 || next != nil || page[0].ID != w.reviewer.ID {
		t.Errorf("Testers(1, after) = %+v, next %v, %v", page, next, err)
	}
}

func TestTrust(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	for i := range 2 {
		s := w.session(t, 1)
		f := finding(t, "new_tester", nil)
		s.Findings = []fieldtest.Finding{f}
		w.save(t, s)
		w.mustVerdict(t, f.ID, fieldtest.Keep)
		if n, err := w.db.KeptCount(t.Context(), w.tester.ID, uuid.Nil); err != nil || n != i+1 {
			t.Errorf("KeptCount() = %d, %v, want %d", n, err, i+1)
		}
	}
	w.write(t, func(_ context.Context, tx *store.Tx) error { return tx.Trust(w.tester.ID, true) })
	if got, err := w.db.Tester(t.Context(), w.tester.ID); err != nil || !got.Trusted {
		t.Errorf("Tester() after Trust = %+v, %v", got, err)
	}
	_, err := w.try(t, func(_ context.Context, tx *store.Tx) error { return tx.Trust(storetest.NewID(t), true) })
	refusal(t, err, fieldtest.NotFound)
}

func TestKeys(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	k := fieldtest.Key{ID: "abcDEF0123", TesterID: w.tester.ID, Role: fieldtest.RoleTester, Name: "phone", ExpiresAt: time.Date(2099, 1, 1, 0, 0, 0, 0, time.UTC)}
	secret := sha256.Sum256([]byte("secret"))
	w.write(t, func(_ context.Context, tx *store.Tx) error { return tx.CreateKey(&k, secret) })
	got, err := w.db.FindKey(t.Context(), k.ID)
	if err != nil || got.SecretSHA256 != secret || got.TesterID != w.tester.ID || got.RevokedAt != nil {
		t.Errorf("FindKey() = %+v, %v", got, err)
	}
	if err := w.db.UsedKey(t.Context(), k.ID, noon); err != nil {
		t.Fatal(err)
	}
	first := w.write(t, func(ctx context.Context, tx *store.Tx) error { return tx.RevokeKey(ctx, k.ID) })
	again := w.write(t, func(ctx context.Context, tx *store.Tx) error { return tx.RevokeKey(ctx, k.ID) })
	if first != again {
		t.Errorf("revoking twice moved the ledger from %d to %d", first, again)
	}
	keys, err := w.db.Keys(t.Context(), w.tester.ID)
	if err != nil || len(keys) != 1 || keys[0].RevokedAt == nil || keys[0].LastUsed == nil || *keys[0].LastUsed != "2026-06-14" {
		t.Errorf("Keys() = %+v, %v, want one, used and revoked", keys, err)
	}
	_, err = w.try(t, func(_ context.Context, tx *store.Tx) error {
		orphan := fieldtest.Key{ID: "abcDEF0124", TesterID: storetest.NewID(t), Role: fieldtest.RoleTester, ExpiresAt: k.ExpiresAt}
		return tx.CreateKey(&orphan, secret)
	})
	refusal(t, err, fieldtest.NotFound)
}

func TestPanelModelRevisions(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	changed := w.model
	changed.Nameplate.PmaxW, changed.Reason, changed.CreatedBy = pointer(210.0), "The label says 210 W.", w.reviewer.ID
	update := func(ifRevision int) error {
		_, err := w.try(t, func(ctx context.Context, tx *store.Tx) error {
			return tx.UpdatePanelModel(ctx, slug, ifRevision, &changed)
		})
		return err
	}
	if err := update(1); err != nil {
		t.Fatal(err)
	}
	if r := refusal(t, update(1), fieldtest.PreconditionFailed); r.Extra["current_etag"] != `"r2"` {
		t.Errorf("a stale update is told %v, want the current etag", r.Extra)
	}
	got, err := w.db.PanelModel(t.Context(), slug)
	if err != nil || got.Revision != 2 || *got.Nameplate.PmaxW != 210 || got.CreatedBy != w.tester.ID || !got.CreatedAt.Equal(w.model.CreatedAt) {
		t.Errorf("PanelModel() = %+v, %v, want revision 2 by its maker", got, err)
	}
	old, err := w.db.PanelModelRevision(t.Context(), slug, 1)
	if err != nil || cmp.Diff(w.model, old) != "" {
		t.Errorf("PanelModelRevision(1): %v, -stored +read\n%s", err, cmp.Diff(w.model, old))
	}
	then, _, _, err := w.db.PanelModels(t.Context(), store.PanelModelFilter{Maker: pointer("tarn")}, store.Page{AsOf: w.model.Sequence})
	if err != nil || len(then) != 1 || then[0].Revision != 1 {
		t.Errorf("PanelModels(as of before) = %+v, %v, want revision 1", then, err)
	}
	named, err := w.db.PanelModelsNamed(t.Context(), []string{slug, "x"})
	if err != nil || len(named) != 1 || named[slug].Revision != 2 {
		t.Errorf("PanelModelsNamed() = %+v, %v", named, err)
	}
	_, err = w.try(t, func(_ context.Context, tx *store.Tx) error {
		m := newModel(t, slug, w.tester.ID)
		return tx.CreatePanelModel(&m)
	})
	refusal(t, err, fieldtest.NameTaken)
	m, err := w.db.LeaseMark(t.Context(), time.Minute)
	if err != nil || m == nil {
		t.Errorf("LeaseMark() after a nameplate changed = %v, %v, want a mark", m, err)
	}
}

func TestPricesAreExact(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := fieldtest.StoredPrice{ID: storetest.NewID(t), PanelModel: slug, TesterID: w.tester.ID,
		Price: fieldtest.Price{Amount: "329.1", Currency: "EUR", Date: "2026-05-01", Region: "DE", Condition: "new"}}
	w.write(t, func(ctx context.Context, tx *store.Tx) error { return tx.AddPrice(ctx, &p) })
	for _, slug := range []string{slug, ""} {
		got, err := w.db.Prices(t.Context(), slug)
		if err != nil || len(got) != 1 || cmp.Diff(p, got[0]) != "" {
			t.Errorf("Prices(%q) = %+v, %v, want %+v", slug, got, err, p)
		}
	}
	_, err := w.try(t, func(ctx context.Context, tx *store.Tx) error {
		other := p
		other.ID, other.PanelModel = storetest.NewID(t), "x"
		return tx.AddPrice(ctx, &other)
	})
	refusal(t, err, fieldtest.NotFound)
}

func TestRigRevisions(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	changed := w.rig
	changed.Cable.LengthM = pointer(5.0)
	w.write(t, func(ctx context.Context, tx *store.Tx) error { return tx.UpdateRig(ctx, w.rig.ID, 1, &changed) })
	got, err := w.db.Rig(t.Context(), w.rig.ID)
	if err != nil || cmp.Diff(changed, got) != "" || got.Revision != 2 {
		t.Errorf("Rig(): %v, -stored +read\n%s", err, cmp.Diff(changed, got))
	}
	old, err := w.db.RigRevision(t.Context(), w.rig.ID, 1)
	if err != nil || cmp.Diff(w.rig, old) != "" {
		t.Errorf("RigRevision(1): %v, -stored +read\n%s", err, cmp.Diff(w.rig, old))
	}
	rigs, _, _, err := w.db.Rigs(t.Context(), store.RigFilter{TesterID: &w.tester.ID, Kind: []string{"mppt_controller"}}, store.Page{})
	if err != nil || len(rigs) != 1 || rigs[0].Revision != 2 {
		t.Errorf("Rigs() = %+v, %v, want the one at revision 2", rigs, err)
	}
	_, err = w.try(t, func(ctx context.Context, tx *store.Tx) error { return tx.UpdateRig(ctx, w.rig.ID, 1, &changed) })
	refusal(t, err, fieldtest.PreconditionFailed)
	_, err = w.db.Rig(t.Context(), uuid.Nil)
	refusal(t, err, fieldtest.NotFound)
}

// Rankings read what is current, not withdrawn, of one arrangement and has a result, in the
// order in which it was accepted.
func TestObservationsLeaveOutWhatDoesNotCount(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	first, revised, withdrawn, mixed := w.session(t, 1), w.session(t, 1), w.session(t, 1), w.session(t, 3)
	mixed.Judged[0].Result, mixed.Judged[0].ResultReason = nil, pointer("no_light")
	mixed.Judged[1].Arrangement = fieldtest.Flat
	for _, s := range []store.SessionWrite{revised, withdrawn, mixed, first} {
		w.save(t, s)
	}
	again := w.session(t, 2)
	again.ID = revised.ID
	w.write(t, func(ctx context.Context, tx *store.Tx) error { _, err := tx.ReviseSession(ctx, again, 1); return err })
	w.write(t, func(ctx context.Context, tx *store.Tx) error {
		return tx.WithdrawSession(ctx, store.WithdrawalWrite{SessionID: withdrawn.ID, Reason: "dusty", By: w.tester.ID})
	})
	for arrangement, want := range map[fieldtest.Arrangement][]uuid.UUID{
		fieldtest.Tilted:  {*mixed.Judged[2].ID, *first.Judged[0].ID, *again.Judged[0].ID, *again.Judged[1].ID},
		fieldtest.Flat:    {*mixed.Judged[1].ID},
		fieldtest.Covered: nil,
	} {
		got, _, err := w.db.Observations(t.Context(), arrangement)
		if err != nil {
			t.Fatal(err)
		}
		var ids []uuid.UUID
		for _, o := range got {
			ids = append(ids, o.ReadingID)
		}
		if !slices.Equal(ids, want) {
			t.Errorf("%s observations are of %v, want %v", arrangement, ids, want)
		}
	}
}

// Only sessions of this tester that were held as a new tester's and kept count as kept, each
// once, while they stand.
func TestKeptCountCountsWhatStands(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	submit := func(rule string, decision fieldtest.Decision) store.SessionWrite {
		s := w.session(t, 1)
		f := finding(t, rule, nil)
		s.Findings = []fieldtest.Finding{f}
		w.save(t, s)
		if decision != "" {
			w.mustVerdict(t, f.ID, decision)
		}
		return s
	}
	kept := submit("new_tester", fieldtest.Keep)
	submit("new_tester", fieldtest.Exclude)
	submit("new_tester", fieldtest.Ask)
	submit("new_tester", "")
	submit("too_cold", fieldtest.Keep)
	withdrawn := submit("new_tester", fieldtest.Keep)
	counts := func(who, except uuid.UUID) int {
		n, err := w.db.KeptCount(t.Context(), who, except)
		if err != nil {
			t.Fatal(err)
		}
		return n
	}
	if got := counts(w.tester.ID, uuid.Nil); got != 2 {
		t.Errorf("KeptCount() = %d, want the 2 that were kept", got)
	}
	w.write(t, func(ctx context.Context, tx *store.Tx) error {
		return tx.WithdrawSession(ctx, store.WithdrawalWrite{SessionID: withdrawn.ID, Reason: "dusty", By: w.tester.ID})
	})
	for name, c := range map[string]struct {
		who, except uuid.UUID
		want        int
	}{"after a withdrawal": {w.tester.ID, uuid.Nil, 1}, "but for one": {w.tester.ID, kept.ID, 0}, "of another": {w.reviewer.ID, uuid.Nil, 0}} {
		if got := counts(c.who, c.except); got != c.want {
			t.Errorf("KeptCount() %s = %d, want %d", name, got, c.want)
		}
	}
}
