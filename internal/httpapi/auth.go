package httpapi

import (
	"context"
	"errors"
	"strings"
	"sync"
	"time"

	"evensun/internal/accounts"
	"evensun/internal/contract"
	"evensun/internal/fieldtest"
	"evensun/internal/store"

	"github.com/labstack/echo/v4"
)

// keyAge is how long a key that was looked up is believed. A revocation on this
// instance acts at once, one on another within this time.
const keyAge = 2 * time.Second

// authorise finds out who calls and whether that role may call the operation. What
// the description does not grant is denied.
func (s *Server) authorise(c echo.Context, o *contract.Operation, dryRun bool) error {
	caller, err := s.identifyCaller(c)
	if err != nil {
		return err
	}
	c.Set(callerKey, caller)
	if o.Allows(caller.Role, dryRun) {
		return nil
	}
	if caller.Role == fieldtest.Anonymous {
		return unauthenticated()
	}
	return forbidden("A key of role "+string(caller.Role)+" may not do this.", o.Roles[0])
}

func forbidden(detail string, required fieldtest.Role) *fieldtest.Refusal {
	return &fieldtest.Refusal{Kind: fieldtest.Forbidden, Detail: detail, Extra: map[string]any{"required_role": required}}
}

func unauthenticated() *fieldtest.Refusal {
	return &fieldtest.Refusal{Kind: fieldtest.Unauthenticated, Detail: "Send a valid key as Authorization: Bearer evs_..."}
}

// identifyCaller reads the key, if there is one. An unknown, wrong, expired and
// revoked key all give the same answer.
func (s *Server) identifyCaller(c echo.Context) (fieldtest.Caller, error) {
	header := c.Request().Header.Get("Authorization")
	if header == "" {
		return fieldtest.Caller{Role: fieldtest.Anonymous}, nil
	}
	scheme, token, _ := strings.Cut(header, " ")
	if !strings.EqualFold(scheme, "Bearer") {
		return s.noCaller(c)
	}
	token = strings.TrimSpace(token)
	if s.cfg.OperatorKey != "" && accounts.Same(token, s.cfg.OperatorKey) {
		return fieldtest.Caller{Role: fieldtest.RoleOperator}, nil
	}
	key, err := accounts.ParseSecret(token)
	if err != nil {
		return s.noCaller(c)
	}
	return s.callerWith(c, key)
}

func (s *Server) callerWith(c echo.Context, key accounts.Secret) (fieldtest.Caller, error) {
	now := s.cfg.Now()
	found, err := s.keys.find(c.Request().Context(), s.cfg.Store, key.ID, now)
	if refusal, ok := errors.AsType[*fieldtest.Refusal](err); ok && refusal.Kind == fieldtest.NotFound {
		return s.noCaller(c)
	}
	if err != nil {
		return fieldtest.Caller{}, err
	}
	if !key.Matches(found.SecretSHA256[:]) || found.RevokedAt != nil || !now.Before(found.ExpiresAt) {
		return s.noCaller(c)
	}
	if today := now.UTC().Format(time.DateOnly); found.LastUsed == nil || *found.LastUsed != today {
		s.noteUse(c, key.ID, now, today)
	}
	return fieldtest.Caller{TesterID: found.TesterID, KeyID: found.ID, Role: found.Role, Trusted: found.Trusted}, nil
}

// noteUse writes down the day on which a key was used. A database that takes no writes
// keeps nobody from reading: the next request tries again.
func (s *Server) noteUse(c echo.Context, keyID string, now time.Time, today string) {
	if err := s.cfg.Store.UsedKey(c.Request().Context(), keyID, now); err != nil {
		s.cfg.Log.WarnContext(c.Request().Context(), "the use of a key was not noted", "key", keyID, "error", err)
		return
	}
	s.keys.used(keyID, today)
}

// noCaller refuses a key. Many refusals from one address are slowed down.
func (s *Server) noCaller(c echo.Context) (fieldtest.Caller, error) {
	if err := s.allow(c, "unauthenticated", s.addressKey(c), s.cfg.Limits.FailuresPerMinute); err != nil {
		return fieldtest.Caller{}, err
	}
	return fieldtest.Caller{}, unauthenticated()
}

// A keyCache remembers keys for a moment, so that a burst of readings from the field
// asks the database once.
type keyCache struct {
	mu    sync.Mutex
	known map[string]cachedKey
}

type cachedKey struct {
	store.FoundKey
	at time.Time
}

func newKeyCache() *keyCache { return &keyCache{known: map[string]cachedKey{}} }

func (k *keyCache) find(ctx context.Context, from KeyStore, id string, now time.Time) (store.FoundKey, error) {
	k.mu.Lock()
	cached, ok := k.known[id]
	k.mu.Unlock()
	if age := now.Sub(cached.at); ok && age >= 0 && age < keyAge {
		return cached.FoundKey, nil
	}
	found, err := from.FindKey(ctx, id)
	if err != nil {
		return store.FoundKey{}, err
	}
	k.mu.Lock()
	defer k.mu.Unlock()
	k.known[id] = cachedKey{FoundKey: found, at: now}
	return found, nil
}

func (k *keyCache) used(id, day string) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if c, ok := k.known[id]; ok {
		c.LastUsed = &day
		k.known[id] = c
	}
}

// empty forgets all keys: what a write changed acts on this instance at once.
func (k *keyCache) empty() {
	k.mu.Lock()
	defer k.mu.Unlock()
	clear(k.known)
}
