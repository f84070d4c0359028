package accounts_test

import (
	"crypto/rand"
	"encoding/json"
	"errors"
	"sync"
	"testing"
	"time"

	"evensun/internal/accounts"
	"evensun/internal/fieldtest"
	"evensun/internal/store"
	"evensun/internal/storetest"

	"github.com/google/uuid"
)

// A desk is a service on a database of its own, with one tester.
type desk struct {
	t      *testing.T
	db     *store.DB
	in     *accounts.Service
	tester uuid.UUID
	who    fieldtest.Caller // the tester with the first key
}

func newDesk(t *testing.T, role fieldtest.Role) *desk {
	t.Helper()
	db := storetest.New(t)
	d := &desk{t: t, db: db, in: accounts.New(db, time.Now, rand.Reader, accounts.Invite)}
	id, text, err := d.in.Found(t.Context(), "North Lawn", role, false)
	if err != nil {
		t.Fatal(err)
	}
	secret, err := accounts.ParseSecret(text)
	if err != nil {
		t.Fatal(err)
	}
	d.tester, d.who = id, fieldtest.Caller{TesterID: id, KeyID: secret.ID, Role: role}
	return d
}

// key makes a key with another and returns its caller.
func (d *desk) key(with fieldtest.Caller) fieldtest.Caller {
	d.t.Helper()
	response, _, err := d.in.CreateKey(d.t.Context(), with, accounts.KeyRequest{}, accounts.Options{})
	if err != nil {
		d.t.Fatal(err)
	}
	var made accounts.CreatedKey
	if err := json.Unmarshal(response.Body, &made); err != nil {
		d.t.Fatal(err)
	}
	return fieldtest.Caller{TesterID: d.tester, KeyID: *made.ID, Role: fieldtest.RoleTester}
}

// standing returns which keys of the tester are not revoked.
func (d *desk) standing() map[string]bool {
	d.t.Helper()
	keys, err := d.db.Keys(d.t.Context(), d.tester)
	if err != nil {
		d.t.Fatal(err)
	}
	live := map[string]bool{}
	for _, k := range keys {
		if k.RevokedAt == nil {
			live[k.ID] = true
		}
	}
	return live
}

// Twenty requests at once leave a tester with five live keys, as one after another.
func TestFiveLiveKeysAtOnce(t *testing.T) {
	t.Parallel()
	d := newDesk(t, fieldtest.RoleTester)
	var all sync.WaitGroup
	outcomes := make(chan error, 20)
	for range cap(outcomes) {
		all.Go(func() {
			_, _, err := d.in.CreateKey(t.Context(), d.who, accounts.KeyRequest{}, accounts.Options{})
			outcomes <- err
		})
	}
	all.Wait()
	close(outcomes)
	made := 0
	for err := range outcomes {
		refusal, refused := errors.AsType[*fieldtest.Refusal](err)
		switch {
		case err == nil:
			made++
		case !refused || refusal.Kind != fieldtest.IllegalTransition && refusal.Kind != fieldtest.Overloaded:
			t.Errorf("CreateKey = %v, want a key or illegal_transition", err)
		}
	}
	if live := len(d.standing()); made != 4 || live != 5 {
		t.Errorf("%d keys made, %d live, want 4 and 5", made, live)
	}
}

// A leaked key that made keys is revoked with them, and with nothing else.
func TestRevokeWhatALeakedKeyMade(t *testing.T) {
	t.Parallel()
	d := newDesk(t, fieldtest.RoleTester)
	leaked, other := d.key(d.who), d.key(d.who)
	child := d.key(leaked)
	grandchild := d.key(child)
	response, _, err := d.in.RevokeKey(t.Context(), d.who, leaked.KeyID, true)
	if err != nil {
		t.Fatal(err)
	}
	var got accounts.RevokedKeys
	if err := json.Unmarshal(response.Body, &got); err != nil || len(got.Revoked) != 3 {
		t.Errorf("revoked %s, %v, want three keys", response.Body, err)
	}
	live := d.standing()
	if len(live) != 2 || !live[d.who.KeyID] || !live[other.KeyID] {
		t.Errorf("live after it: %v, want the first and the other", live)
	}
	if _, _, err := d.in.CreateKey(t.Context(), grandchild, accounts.KeyRequest{}, accounts.Options{}); err == nil {
		t.Error("a revoked key made a key")
	}
}

func TestRevokeAllButTheOneThatAsks(t *testing.T) {
	t.Parallel()
	d := newDesk(t, fieldtest.RoleTester)
	asks := d.key(d.who)
	if _, _, err := d.in.RevokeKeys(t.Context(), asks, nil); err != nil {
		t.Fatal(err)
	}
	if live := d.standing(); len(live) != 1 || !live[asks.KeyID] {
		t.Errorf("live after it: %v, want %s", live, asks.KeyID)
	}
	if _, _, err := d.in.RevokeKeys(t.Context(), fieldtest.Caller{TesterID: uuid.New(), Role: fieldtest.RoleReviewer}, &d.tester); err == nil {
		t.Error("a reviewer revoked another's keys")
	}
	if _, _, err := d.in.RevokeKeys(t.Context(), fieldtest.Caller{Role: fieldtest.RoleOperator}, &d.tester); err != nil || len(d.standing()) != 0 {
		t.Errorf("an operator: %v, live %v, want none", err, d.standing())
	}
}

func TestTrust(t *testing.T) {
	t.Parallel()
	d := newDesk(t, fieldtest.RoleReviewer)
	if _, _, err := d.in.SetTrust(t.Context(), d.who, d.tester, accounts.Trust{Trusted: true}, accounts.Options{}); err == nil {
		t.Error("a reviewer trusted themselves")
	}
	set := func(o accounts.Options) int64 {
		t.Helper()
		reviewer := fieldtest.Caller{TesterID: uuid.New(), Role: fieldtest.RoleReviewer}
		if _, _, err := d.in.SetTrust(t.Context(), reviewer, d.tester, accounts.Trust{Trusted: true}, o); err != nil {
			t.Fatal(err)
		}
		head, err := d.db.LedgerHead(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		return head.Sequence
	}
	before := set(accounts.Options{DryRun: true})
	once := set(accounts.Options{})
	again := set(accounts.Options{})
	kept, err := d.db.Tester(t.Context(), d.tester)
	if err != nil || !kept.Trusted || once != before+1 || again != once {
		t.Errorf("trusted %v, ledger %d, %d, %d, %v, want one row for one decision", kept.Trusted, before, once, again, err)
	}
}
