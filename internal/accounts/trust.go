package accounts

import (
	"context"
	"errors"
	"net/http"

	"evensun/internal/fieldtest"
	"evensun/internal/store"

	"github.com/google/uuid"
)

// A Trust says whether a tester's sessions count without a reviewer.
type Trust struct {
	Trusted bool `json:"trusted"`
}

// SetTrust decides whether a tester's sessions count from now on without a reviewer.
// Nobody decides on themselves. What is decided already stays.
func (s *Service) SetTrust(ctx context.Context, who fieldtest.Caller, id uuid.UUID, t Trust, o Options) (store.Response, bool, error) {
	if id == who.TesterID {
		return store.Response{}, false, &fieldtest.Refusal{Kind: fieldtest.Forbidden, Detail: "Nobody decides on themselves. Nothing was stored."}
	}
	return s.store.Write(ctx, o.Idempotency, o.DryRun, func(ctx context.Context, tx *store.Tx) (store.Response, error) {
		tester, err := tx.LockTester(ctx, id)
		if err != nil {
			return store.Response{}, err
		}
		if tester.Trusted != t.Trusted {
			if err := tx.Trust(id, t.Trusted); err != nil {
				return store.Response{}, err
			}
		}
		tester.Trusted = t.Trusted
		return tx.Answer(ctx, store.Answer{Status: http.StatusOK, DryRun: o.DryRun, Body: func(int64) any { return tester }})
	})
}

func isMissing(err error) bool {
	refusal, ok := errors.AsType[*fieldtest.Refusal](err)
	return ok && refusal.Kind == fieldtest.NotFound
}
