package accounts

import (
	"context"
	"net/http"
	"time"

	"evensun/internal/fieldtest"
	"evensun/internal/store"

	"github.com/google/uuid"
)

// Lives of keys [common practice, no source]: keys name clients, not people, so the
// powerful ones are short-lived.
const (
	testerKeyDays  = 365
	weightyKeyDays = 90 // of reviewers and operators
	mostLiveKeys   = 5  // of a tester at a time, so that rotation overlaps
)

func longestDays(role fieldtest.Role) int {
	if role == fieldtest.RoleTester {
		return testerKeyDays
	}
	return weightyKeyDays
}

func after(now time.Time, days int) time.Time {
	return now.UTC().AddDate(0, 0, days).Truncate(time.Second)
}

// WhoseKeys returns the tester whose keys a caller means, their own by default. Only an
// operator sees another's.
func WhoseKeys(who fieldtest.Caller, tester *uuid.UUID) (uuid.UUID, error) {
	whose := who.TesterID
	if tester != nil {
		whose = *tester
	}
	if whose != who.TesterID && who.Role != fieldtest.RoleOperator {
		return whose, forbidden("These are another tester's keys.", fieldtest.RoleOperator)
	}
	return whose, nil
}

// A KeyRequest asks for a further key.
type KeyRequest struct {
	Name          *string         `json:"name"`
	TesterID      *uuid.UUID      `json:"tester_id"`
	Role          *fieldtest.Role `json:"role"`
	ExpiresInDays *int            `json:"expires_in_days"`
}

// A CreatedKey answers a request for a key. The key is shown this once.
type CreatedKey struct {
	ID        *string        `json:"id"`
	Key       *string        `json:"key"`
	KeyReason *string        `json:"key_reason"`
	TesterID  uuid.UUID      `json:"tester_id"`
	Role      fieldtest.Role `json:"role"`
	Name      string         `json:"name"`
	CreatedAt *time.Time     `json:"created_at"`
	ExpiresAt time.Time      `json:"expires_at"`
	ParentID  *string        `json:"parent_id"`
	Sequence  *int64         `json:"sequence"`
}

// requested returns the key that a caller may have by their role alone, without id.
func requested(r KeyRequest, who fieldtest.Caller, now time.Time) (fieldtest.Key, error) {
	k := fieldtest.Key{TesterID: who.TesterID, Role: fieldtest.RoleTester}
	if r.TesterID != nil {
		k.TesterID = *r.TesterID
	}
	if r.Role != nil {
		k.Role = *r.Role
	}
	if r.Name != nil {
		k.Name = *r.Name
	}
	if who.KeyID != "" {
		k.ParentID = &who.KeyID
	}
	switch {
	case k.TesterID == uuid.Nil:
		return k, invalid("#/tester_id", "required", "Missing: whose key it is to be.")
	case k.TesterID != who.TesterID && who.Role != fieldtest.RoleOperator:
		return k, forbidden("Only an operator makes keys for others.", fieldtest.RoleOperator)
	case !who.Is(k.Role):
		return k, forbidden("Only an operator gives this role.", fieldtest.RoleOperator)
	}
	days := longestDays(k.Role)
	if r.ExpiresInDays != nil {
		days = min(days, *r.ExpiresInDays)
	}
	k.ExpiresAt = after(now, days)
	return k, nil
}

// live tells whether a key works at a time.
func live(k fieldtest.Key, now time.Time) bool {
	return k.RevokedAt == nil && now.Before(k.ExpiresAt)
}

// admit decides inside the write whether a key may be made: its tester has room for it,
// and the key that makes it still works. A weighty key of the caller's own ends no later
// than the one that makes it, else a reviewer's would renew itself for ever.
func admit(k *fieldtest.Key, parent *fieldtest.Key, others []fieldtest.Key, now time.Time) error {
	if parent != nil && !live(*parent, now) {
		return &fieldtest.Refusal{Kind: fieldtest.Unauthenticated, Detail: "The key that asks was revoked. Nothing was stored."}
	}
	if parent != nil && parent.TesterID == k.TesterID && k.Role != fieldtest.RoleTester && k.ExpiresAt.After(parent.ExpiresAt) {
		k.ExpiresAt = parent.ExpiresAt
	}
	n := 0
	for _, other := range others {
		if live(other, now) {
			n++
		}
	}
	if n >= mostLiveKeys {
		return &fieldtest.Refusal{Kind: fieldtest.IllegalTransition, Detail: "This tester has five live keys. Revoke one first. Nothing was stored."}
	}
	return nil
}

// CreateKey stores a further key of a tester.
func (s *Service) CreateKey(ctx context.Context, who fieldtest.Caller, r KeyRequest, o Options) (store.Response, bool, error) {
	key, err := requested(r, who, s.now())
	if err != nil {
		return store.Response{}, false, err
	}
	secret, err := NewSecret(s.random)
	if err != nil {
		return store.Response{}, false, err
	}
	key.ID = secret.ID
	response, replayed, err := s.store.Write(ctx, o.Idempotency, o.DryRun, func(ctx context.Context, tx *store.Tx) (store.Response, error) {
		k := key // the write may be run more than once
		if err := s.admitIn(ctx, tx, &k); err != nil {
			return store.Response{}, err
		}
		if err := tx.CreateKey(&k, secret.Hash()); err != nil {
			return store.Response{}, err
		}
		return tx.Answer(ctx, store.Answer{Status: http.StatusCreated, Location: "/v1/keys/" + k.ID, DryRun: o.DryRun,
			Body: func(sequence int64) any { return created(&k, sequence) }})
	})
	if err != nil {
		return store.Response{}, false, err
	}
	response, err = shown(response, replayed, o.DryRun, secret.Text())
	return response, replayed, err
}

func created(k *fieldtest.Key, sequence int64) CreatedKey {
	reason := shownOnce
	return CreatedKey{ID: &k.ID, KeyReason: &reason, TesterID: k.TesterID, Role: k.Role, Name: k.Name, CreatedAt: &k.CreatedAt,
		ExpiresAt: k.ExpiresAt, ParentID: k.ParentID, Sequence: &sequence}
}

// admitIn reads, behind locks, what admit decides on.
func (s *Service) admitIn(ctx context.Context, tx *store.Tx, k *fieldtest.Key) error {
	if _, err := tx.LockTester(ctx, k.TesterID); err != nil {
		if isMissing(err) {
			return invalid("#/tester_id", "unknown", "There is no such tester.")
		}
		return err
	}
	var parent *fieldtest.Key
	if k.ParentID != nil {
		found, err := tx.LockKey(ctx, *k.ParentID)
		if err != nil {
			return err
		}
		parent = &found
	}
	others, err := tx.Keys(ctx, k.TesterID)
	if err != nil {
		return err
	}
	return admit(k, parent, others, s.now())
}

// RevokeKey ends a key at once and, if asked, all keys that it made. Others' keys are as
// if they did not exist.
func (s *Service) RevokeKey(ctx context.Context, who fieldtest.Caller, id string, andMade bool) (store.Response, bool, error) {
	answer := store.Answer{Status: http.StatusNoContent}
	if andMade {
		answer.Status = http.StatusOK
	}
	return s.revoke(ctx, answer, func(ctx context.Context, tx *store.Tx) ([]fieldtest.Key, error) {
		keys, err := tx.KeysMadeBy(ctx, id)
		if err != nil {
			return nil, err
		}
		if len(keys) == 0 || !mayRevoke(who, keyNamed(keys, id)) {
			return nil, fieldtest.Missing("key", id)
		}
		if !andMade {
			return []fieldtest.Key{keyNamed(keys, id)}, nil
		}
		return keys, nil
	})
}

// RevokeKeys ends all keys of a tester at once: of one's own all but the one that asks,
// which is left to make a new one with; an operator names the tester.
func (s *Service) RevokeKeys(ctx context.Context, who fieldtest.Caller, tester *uuid.UUID) (store.Response, bool, error) {
	whose, err := WhoseKeys(who, tester)
	if err != nil {
		return store.Response{}, false, err
	}
	if whose == uuid.Nil {
		return store.Response{}, false, &fieldtest.Refusal{Kind: fieldtest.InvalidParameter, Detail: "A parameter of the request is not right.",
			Faults: []fieldtest.Fault{{Parameter: "tester", Code: "required", Reason: "Missing: whose keys are to be revoked."}}}
	}
	return s.revoke(ctx, store.Answer{Status: http.StatusOK}, func(ctx context.Context, tx *store.Tx) ([]fieldtest.Key, error) {
		if _, err := tx.LockTester(ctx, whose); err != nil {
			return nil, err
		}
		keys, err := tx.Keys(ctx, whose)
		kept := keys[:0]
		for _, k := range keys {
			if k.ID != who.KeyID {
				kept = append(kept, k)
			}
		}
		return kept, err
	})
}

func mayRevoke(who fieldtest.Caller, k fieldtest.Key) bool {
	return who.Role == fieldtest.RoleOperator || k.TesterID == who.TesterID && who.TesterID != uuid.Nil
}

func keyNamed(keys []fieldtest.Key, id string) fieldtest.Key {
	for _, k := range keys {
		if k.ID == id {
			return k
		}
	}
	return fieldtest.Key{}
}

// A RevokedKeys answers a revocation.
type RevokedKeys struct {
	Revoked  []string `json:"revoked"`
	Sequence int64    `json:"sequence"`
}

// revoke ends those of the keys chosen that still stand.
func (s *Service) revoke(ctx context.Context, answer store.Answer, choose func(context.Context, *store.Tx) ([]fieldtest.Key, error)) (store.Response, bool, error) {
	return s.store.Write(ctx, store.Idempotency{}, false, func(ctx context.Context, tx *store.Tx) (store.Response, error) {
		keys, err := choose(ctx, tx)
		if err != nil {
			return store.Response{}, err
		}
		ended := []string{}
		for _, k := range keys {
			if k.RevokedAt != nil {
				continue
			}
			if err := tx.RevokeKey(ctx, k.ID); err != nil {
				return store.Response{}, err
			}
			ended = append(ended, k.ID)
		}
		if answer.Status == http.StatusOK {
			answer.Body = func(sequence int64) any { return RevokedKeys{ended, sequence} }
		}
		return tx.Answer(ctx, answer)
	})
}
