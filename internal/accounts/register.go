package accounts

import (
	"context"
	"net/http"
	"time"

	"evensun/internal/fieldtest"
	"evensun/internal/store"

	"github.com/google/uuid"
)

// A Registration setting says who may register a tester.
type Registration string

// The settings of registration.
const (
	Open   Registration = "open"   // everybody
	Invite Registration = "invite" // operators
	Closed Registration = "closed" // nobody over the interface
)

// An Application asks to be registered.
type Application struct {
	DisplayName   string `json:"display_name"`
	AcceptLicence bool   `json:"accept_licence"`
	Trusted       *bool  `json:"trusted"`
}

// ApplicationFaults returns what the form of an application does not show.
func ApplicationFaults(a Application, _ time.Time) []fieldtest.Fault {
	if a.AcceptLicence {
		return nil
	}
	return []fieldtest.Fault{{Pointer: "#/accept_licence", Code: "licence_not_accepted", Value: false, Reason: "What is submitted is published under CC BY 4.0; this must be true."}}
}

// A Registered answers a registration. The key is shown this once.
type Registered struct {
	ID          *uuid.UUID     `json:"id"`
	Key         *string        `json:"key"`
	KeyReason   *string        `json:"key_reason"`
	KeyID       *string        `json:"key_id"`
	DisplayName string         `json:"display_name"`
	Role        fieldtest.Role `json:"role"`
	Trusted     bool           `json:"trusted"`
	CreatedAt   *time.Time     `json:"created_at"`
	ExpiresAt   time.Time      `json:"expires_at"`
	Sequence    *int64         `json:"sequence"`
}

// mayRegister refuses whom the setting does not let register a tester.
func mayRegister(setting Registration, who fieldtest.Caller, trusted bool) error {
	operator := who.Role == fieldtest.RoleOperator
	switch {
	case setting == Closed:
		return &fieldtest.Refusal{Kind: fieldtest.Forbidden, Detail: "Registration is closed here. Nothing was stored."}
	case operator:
		return nil
	case setting == Open && !trusted:
		return nil
	case setting == Open:
		return forbidden("Only an operator may trust a tester from the first session.", fieldtest.RoleOperator)
	case who.Role == fieldtest.Anonymous:
		return &fieldtest.Refusal{Kind: fieldtest.Unauthenticated, Detail: "Registration is open to operators only here. Send a valid key as Authorization: Bearer evs_..."}
	}
	return forbidden("Registration is open to operators only here.", fieldtest.RoleOperator)
}

// Register stores a new tester with a first key.
func (s *Service) Register(ctx context.Context, who fieldtest.Caller, a Application, o Options) (store.Response, bool, error) {
	trusted := a.Trusted != nil && *a.Trusted
	if err := mayRegister(s.registration, who, trusted); err != nil {
		return store.Response{}, false, err
	}
	t := fieldtest.Tester{DisplayName: a.DisplayName, Trusted: trusted}
	return s.createAndShow(ctx, &t, fieldtest.RoleTester, "first key", o)
}

// Found stores a tester with a first key of a role and returns the key's text, which is
// shown this once. It is for who runs the server and asks nobody's leave.
func (s *Service) Found(ctx context.Context, name string, role fieldtest.Role, trusted bool) (uuid.UUID, string, error) {
	t := fieldtest.Tester{DisplayName: name, Trusted: trusted}
	secret, _, _, err := s.create(ctx, &t, role, string(role), Options{})
	return t.ID, secret.Text(), err
}

func (s *Service) createAndShow(ctx context.Context, t *fieldtest.Tester, role fieldtest.Role, keyName string, o Options) (store.Response, bool, error) {
	secret, response, replayed, err := s.create(ctx, t, role, keyName, o)
	if err != nil {
		return store.Response{}, false, err
	}
	response, err = shown(response, replayed, o.DryRun, secret.Text())
	return response, replayed, err
}

// create stores a tester with a first key.
func (s *Service) create(ctx context.Context, t *fieldtest.Tester, role fieldtest.Role, keyName string, o Options) (Secret, store.Response, bool, error) {
	var err error
	if t.ID, err = s.newID(); err != nil {
		return Secret{}, store.Response{}, false, err
	}
	secret, err := NewSecret(s.random)
	if err != nil {
		return Secret{}, store.Response{}, false, err
	}
	key := fieldtest.Key{ID: secret.ID, TesterID: t.ID, Role: role, Name: keyName, ExpiresAt: after(s.now(), longestDays(role))}
	response, replayed, err := s.store.Write(ctx, o.Idempotency, o.DryRun, func(ctx context.Context, tx *store.Tx) (store.Response, error) {
		if err := tx.CreateTester(t); err != nil {
			return store.Response{}, err
		}
		if err := tx.CreateKey(&key, secret.Hash()); err != nil {
			return store.Response{}, err
		}
		return tx.Answer(ctx, store.Answer{Status: http.StatusCreated, Location: "/v1/testers/" + t.ID.String(), DryRun: o.DryRun,
			Body: func(sequence int64) any { return registered(t, &key, sequence) }})
	})
	return secret, response, replayed, err
}

func registered(t *fieldtest.Tester, key *fieldtest.Key, sequence int64) Registered {
	reason := shownOnce
	return Registered{ID: &t.ID, KeyReason: &reason, KeyID: &key.ID, DisplayName: t.DisplayName, Role: key.Role, Trusted: t.Trusted,
		CreatedAt: &t.CreatedAt, ExpiresAt: key.ExpiresAt, Sequence: &sequence}
}
