package accounts

import (
	"context"
	"fmt"
	"io"
	"time"

	"evensun/internal/fieldtest"
	"evensun/internal/store"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
	"github.com/google/uuid"
)

// A Store is where accounts are kept: the one way to write.
type Store interface {
	Write(ctx context.Context, idem store.Idempotency, dryRun bool, do func(ctx context.Context, tx *store.Tx) (store.Response, error)) (store.Response, bool, error)
}

// A Service decides about accounts and keeps them in a store.
type Service struct {
	store        Store
	now          func() time.Time
	random       io.Reader // in production crypto/rand.Reader
	registration Registration
}

// New returns a service over a store.
func New(db Store, now func() time.Time, random io.Reader, registration Registration) *Service {
	return &Service{store: db, now: now, random: random, registration: registration}
}

// Options say how a write is to be done.
type Options struct {
	DryRun      bool
	Idempotency store.Idempotency
}

// newID draws a UUIDv7.
func (s *Service) newID() (uuid.UUID, error) { return uuid.NewV7FromReader(s.random) }

const (
	shownOnce   = "A key is shown once, in the first answer."
	notInDryRun = "A dry run makes no key."
)

// shown puts a secret into the first answer. What the store keeps for a repetition does
// not hold it, as no secret is ever stored.
func shown(response store.Response, replayed, dryRun bool, secret string) (store.Response, error) {
	if replayed {
		return response, nil
	}
	var members map[string]jsontext.Value
	if err := json.Unmarshal(response.Body, &members); err != nil {
		return response, fmt.Errorf("show a key: %w", err)
	}
	text, reason := any(secret), any(nil)
	if dryRun {
		text, reason = nil, notInDryRun
	}
	for name, value := range map[string]any{"key": text, "key_reason": reason} {
		raw, err := json.Marshal(value)
		if err != nil {
			return response, err
		}
		members[name] = raw
	}
	body, err := store.Encode(members)
	response.Body = body
	return response, err
}

func forbidden(detail string, required fieldtest.Role) *fieldtest.Refusal {
	return &fieldtest.Refusal{Kind: fieldtest.Forbidden, Detail: detail, Extra: map[string]any{"required_role": required}}
}

func invalid(pointer, code, reason string) *fieldtest.Refusal {
	return &fieldtest.Refusal{Kind: fieldtest.ValidationFailed, Detail: "The body has a fault. Nothing was stored.",
		Faults: []fieldtest.Fault{{Pointer: pointer, Code: code, Reason: reason}}}
}
