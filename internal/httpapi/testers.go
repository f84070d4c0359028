package httpapi

import (
	"context"
	"net/http"
	"time"

	"evensun/internal/apikey"
	"evensun/internal/audit"
	"evensun/internal/contract"
	"evensun/internal/fieldtest"
	"evensun/internal/store"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"
)

const (
	keyDays         = 365 // a tester's key lives so long
	weightyKeyDays  = 90  // a reviewer's or operator's
	liveKeys        = 5   // of a tester at a time, so that rotation overlaps
	shownOnce       = "A key is shown once, in the first answer."
	notInDryRun     = "A dry run makes no key."
	closedForPeople = "Registration is open to operators only here."
)

// ListTesters answers GET /v1/testers.
func (s *Server) ListTesters(c echo.Context, _ ListTestersParams) error {
	return list(s, c, "testers", func(p store.Page) ([]fieldtest.Tester, *store.Cursor, int64, error) {
		return s.cfg.Store.Testers(c.Request().Context(), p)
	})
}

// GetTester answers GET /v1/testers/{tester_id}.
func (s *Server) GetTester(c echo.Context, id TesterID, _ GetTesterParams) error {
	t, err := s.cfg.Store.Tester(c.Request().Context(), id)
	if err != nil {
		return err
	}
	return s.sendJSON(c, t, byContent, cachePublic)
}

// RegisterTester answers POST /v1/testers.
func (s *Server) RegisterTester(c echo.Context, _ RegisterTesterParams) error {
	raw, err := s.body(c)
	if err != nil {
		return err
	}
	var r Registration
	err = contract.Checked(raw, "Registration", &r, func() []fieldtest.Fault {
		if r.AcceptLicence {
			return nil
		}
		return []fieldtest.Fault{{Pointer: "#/accept_licence", Code: "licence_not_accepted", Value: false, Reason: "What is submitted is published under CC BY 4.0; this must be true."}}
	})
	if err != nil {
		return err
	}
	trusted := r.Trusted != nil && *r.Trusted
	if err := s.mayRegister(callerOf(c), trusted); err != nil {
		return err
	}
	return s.register(c, raw, fieldtest.Tester{DisplayName: r.DisplayName, Trusted: trusted})
}

func (s *Server) mayRegister(caller fieldtest.Caller, trusted bool) error {
	switch {
	case caller.Role == fieldtest.RoleOperator:
		return nil
	case s.cfg.Registration != RegistrationOpen && caller.Role == fieldtest.Anonymous:
		return unauthenticated()
	case s.cfg.Registration != RegistrationOpen:
		return forbidden(closedForPeople, fieldtest.RoleOperator)
	case trusted:
		return forbidden("Only an operator may trust a tester from the first session.", fieldtest.RoleOperator)
	}
	return nil
}

func (s *Server) register(c echo.Context, raw []byte, t fieldtest.Tester) error {
	o, err := s.options(c, raw)
	if err != nil {
		return err
	}
	if t.ID, err = s.newID(); err != nil {
		return err
	}
	secret, err := apikey.New(s.cfg.Random)
	if err != nil {
		return err
	}
	key := s.keyFor(secret, t.ID, fieldtest.RoleTester, "first key", keyDays)
	answer := func(sequence *int64) Registered {
		return Registered{ID: &t.ID, Key: nil, KeyReason: ptr(shownOnce), KeyID: &key.ID, DisplayName: t.DisplayName, Role: string(key.Role),
			Trusted: t.Trusted, CreatedAt: &t.CreatedAt, ExpiresAt: key.ExpiresAt, Sequence: sequence}
	}
	resp, replayed, err := s.cfg.Store.Write(c.Request().Context(), o.Idempotency, o.DryRun, func(ctx context.Context, tx *store.Tx) (store.Response, error) {
		if err := tx.CreateTester(&t); err != nil {
			return store.Response{}, err
		}
		if err := tx.CreateKey(&key, secret.Hash()); err != nil {
			return store.Response{}, err
		}
		return seal(ctx, tx, created{status: http.StatusCreated, location: "/v1/testers/" + t.ID.String(),
			value: func(sequence *int64) any { return answer(sequence) }})
	})
	return s.showKey(c, resp, replayed, o.DryRun, err, secret)
}

// showKey puts the key into the first answer. What the store keeps for a repetition
// does not hold it, as no secret is ever stored.
func (s *Server) showKey(c echo.Context, resp store.Response, replayed, dryRun bool, err error, secret apikey.Key) error {
	if err != nil {
		return err
	}
	set := map[string]any{"key": secret.Text(), "key_reason": nil}
	if dryRun {
		set = map[string]any{"key": nil, "key_reason": notInDryRun}
	}
	if !replayed {
		if resp.Body, err = withMembers(resp.Body, set); err != nil {
			return err
		}
	}
	return s.written(c, resp, replayed)
}

func (s *Server) keyFor(secret apikey.Key, tester uuid.UUID, role fieldtest.Role, name string, days int) fieldtest.Key {
	return fieldtest.Key{ID: secret.ID, TesterID: tester, Role: role, Name: name, CreatedAt: s.cfg.Now().UTC(),
		ExpiresAt: s.cfg.Now().UTC().AddDate(0, 0, days).Truncate(time.Second)}
}

// ListKeys answers GET /v1/keys.
func (s *Server) ListKeys(c echo.Context, params ListKeysParams) error {
	caller := callerOf(c)
	whose := caller.TesterID
	if params.Tester != nil {
		whose = *params.Tester
	}
	if caller.Role != fieldtest.RoleOperator && whose != caller.TesterID {
		return forbidden("These are another tester's keys.", fieldtest.RoleOperator)
	}
	ctx := c.Request().Context()
	keys, err := s.cfg.Store.Keys(ctx, whose)
	if err != nil {
		return err
	}
	head, err := s.cfg.Store.LedgerHead(ctx)
	if err != nil {
		return err
	}
	return s.sendJSON(c, page[fieldtest.Key]{Items: orEmpty(keys), AsOf: head.Sequence}, "", cacheNever)
}

// CreateKey answers POST /v1/keys.
func (s *Server) CreateKey(c echo.Context, _ CreateKeyParams) error {
	raw, err := s.body(c)
	if err != nil {
		return err
	}
	var r KeyRequest
	if err := contract.Decode(raw, "KeyRequest", &r); err != nil {
		return err
	}
	key, err := s.requestedKey(c, r)
	if err != nil {
		return err
	}
	o, err := s.options(c, raw)
	if err != nil {
		return err
	}
	secret, err := apikey.New(s.cfg.Random)
	if err != nil {
		return err
	}
	key.ID = secret.ID
	resp, replayed, err := s.cfg.Store.Write(c.Request().Context(), o.Idempotency, o.DryRun, func(ctx context.Context, tx *store.Tx) (store.Response, error) {
		if err := tx.CreateKey(&key, secret.Hash()); err != nil {
			return store.Response{}, err
		}
		return seal(ctx, tx, created{status: http.StatusCreated, location: "/v1/keys/" + key.ID,
			value: func(sequence *int64) any {
				return CreatedKey{ID: &key.ID, KeyReason: ptr(shownOnce), TesterID: key.TesterID, Role: string(key.Role), Name: key.Name,
					CreatedAt: &key.CreatedAt, ExpiresAt: key.ExpiresAt, Sequence: sequence}
			}})
	})
	return s.showKey(c, resp, replayed, o.DryRun, err, secret)
}

// requestedKey returns the key that a caller may have, without id.
func (s *Server) requestedKey(c echo.Context, r KeyRequest) (fieldtest.Key, error) {
	caller, role := callerOf(c), fieldtest.RoleTester
	if r.Role != nil {
		role = fieldtest.Role(*r.Role)
	}
	whose := caller.TesterID
	if r.TesterID != nil {
		whose = *r.TesterID
	}
	switch {
	case whose == uuid.Nil:
		return fieldtest.Key{}, invalid("#/tester_id", "required", "Missing: whose key it is to be.")
	case whose != caller.TesterID && caller.Role != fieldtest.RoleOperator:
		return fieldtest.Key{}, forbidden("Only an operator makes keys for others.", fieldtest.RoleOperator)
	case !caller.Is(role):
		return fieldtest.Key{}, forbidden("Only an operator gives this role.", fieldtest.RoleOperator)
	}
	longest := keyDays
	if role != fieldtest.RoleTester {
		longest = weightyKeyDays
	}
	days := longest
	if r.ExpiresInDays != nil {
		days = min(*r.ExpiresInDays, longest)
	}
	if err := s.roomForKey(c, whose); err != nil {
		return fieldtest.Key{}, err
	}
	return s.keyFor(apikey.Key{}, whose, role, deref(r.Name), days), nil
}

func (s *Server) roomForKey(c echo.Context, whose uuid.UUID) error {
	ctx := c.Request().Context()
	if _, err := s.cfg.Store.Tester(ctx, whose); err != nil {
		if isKind(err, fieldtest.NotFound) {
			return invalid("#/tester_id", "unknown", "There is no such tester.")
		}
		return err
	}
	keys, err := s.cfg.Store.Keys(ctx, whose)
	if err != nil {
		return err
	}
	live := 0
	for _, k := range keys {
		if k.RevokedAt == nil && s.cfg.Now().Before(k.ExpiresAt) {
			live++
		}
	}
	if live >= liveKeys {
		return &fieldtest.Refusal{Kind: fieldtest.IllegalTransition, Detail: "This tester has five live keys. Revoke one first. Nothing was stored."}
	}
	return nil
}

// RevokeKey answers DELETE /v1/keys/{key_id}. Others' keys are as if they did not
// exist.
func (s *Server) RevokeKey(c echo.Context, id string) error {
	ctx, caller := c.Request().Context(), callerOf(c)
	found, err := s.cfg.Store.FindKey(ctx, id)
	if err != nil {
		return err
	}
	if caller.Role != fieldtest.RoleOperator && found.TesterID != caller.TesterID {
		return fieldtest.Missing("key", id)
	}
	resp, replayed, err := s.cfg.Store.Write(ctx, store.Idempotency{}, false, func(ctx context.Context, tx *store.Tx) (store.Response, error) {
		if err := tx.RevokeKey(ctx, id); err != nil {
			return store.Response{}, err
		}
		return seal(ctx, tx, created{status: http.StatusNoContent})
	})
	s.keys.forget(id)
	if err != nil {
		return err
	}
	return s.written(c, resp, replayed)
}

// GetAgreement answers GET /v1/testers/{tester_id}/agreement.
func (s *Server) GetAgreement(c echo.Context, id TesterID) error {
	ctx := c.Request().Context()
	if _, err := s.cfg.Store.Tester(ctx, id); err != nil {
		return err
	}
	states := []string{string(fieldtest.FindingOpen), string(fieldtest.FindingKept), string(fieldtest.FindingExcluded), string(fieldtest.FindingAsked)}
	found, _, _, err := s.cfg.Store.Findings(ctx, store.FindingFilter{TesterID: &id, States: states, ByPriority: true}, store.Page{Size: streamPage})
	if err != nil {
		return err
	}
	a := agreement{Agreement: audit.Agreement{TesterID: id}}
	if s.cfg.Agree != nil {
		if a.Agreement, err = s.cfg.Agree.Agreement(ctx, id); err != nil {
			return err
		}
	}
	a.Panels, a.Findings = orEmpty(a.Panels), orEmpty(found)
	return s.sendJSON(c, a, byContent, cachePublic)
}

// An agreement is what the audit says of a tester, in numbers and in findings.
type agreement struct {
	audit.Agreement
	Findings []fieldtest.Finding `json:"findings"`
}
