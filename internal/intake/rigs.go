package intake

import (
	"context"

	"github.com/google/uuid"

	"evensun/internal/fieldtest"
	"evensun/internal/normalise"
	"evensun/internal/store"
)

// CreateRig judges what a rig states of itself and stores it as the caller's.
func (s *Service) CreateRig(ctx context.Context, who fieldtest.Caller, r fieldtest.Rig, o SubmitOptions) (store.Response, bool, error) {
	findings, err := judgeRig(&r)
	if err != nil {
		return store.Response{}, false, err
	}
	id, err := s.newID()
	if err != nil {
		return store.Response{}, false, err
	}
	return s.store.Write(ctx, o.Idempotency, o.DryRun, func(ctx context.Context, tx *store.Tx) (store.Response, error) {
		stored := fieldtest.StoredRig{Rig: r, ID: id, TesterID: who.TesterID}
		if err := tx.CreateRig(&stored); err != nil {
			return store.Response{}, err
		}
		return s.rigAnswer(ctx, tx, 201, &stored, findings, o.DryRun)
	})
}

// UpdateRig judges and stores a new revision of the caller's rig, if the current one is
// still ifRevision. Stored sessions keep the revision that they used.
func (s *Service) UpdateRig(ctx context.Context, who fieldtest.Caller, id uuid.UUID, ifRevision int, r fieldtest.Rig, o SubmitOptions) (store.Response, bool, error) {
	current, err := s.store.Rig(ctx, id)
	if err != nil {
		return store.Response{}, false, err
	}
	if current.TesterID != who.TesterID || who.TesterID == uuid.Nil {
		return store.Response{}, false, &fieldtest.Refusal{Kind: fieldtest.Forbidden, Detail: "This is another tester's rig. Nothing was stored."}
	}
	findings, err := judgeRig(&r)
	if err != nil {
		return store.Response{}, false, err
	}
	return s.store.Write(ctx, o.Idempotency, o.DryRun, func(ctx context.Context, tx *store.Tx) (store.Response, error) {
		stored := fieldtest.StoredRig{Rig: r}
		if err := tx.UpdateRig(ctx, id, ifRevision, &stored); err != nil {
			return store.Response{}, err
		}
		return s.rigAnswer(ctx, tx, 200, &stored, findings, o.DryRun)
	})
}

// judgeRig refuses a rig that cannot be and returns what else is doubted.
func judgeRig(r *fieldtest.Rig) ([]fieldtest.Finding, error) {
	findings := normalise.Rig(r)
	return findings, refuseImpossible(findings, "This rig cannot be right. Nothing was stored.")
}

// rigAnswer stores the doubts about a rig and answers its write.
func (s *Service) rigAnswer(ctx context.Context, tx *store.Tx, status int, r *fieldtest.StoredRig, findings []fieldtest.Finding, dryRun bool) (store.Response, error) {
	findings, err := s.storeDoubts(ctx, tx, store.Record{RigID: r.ID}, r.Revision-1, findings, func(f *fieldtest.Finding) { f.RigID, f.TesterID = &r.ID, &r.TesterID })
	if err != nil {
		return store.Response{}, err
	}
	r.Cautions = normalise.RigCautions(&r.Rig)
	return tx.Answer(ctx, store.Answer{Status: status, Location: "/v1/rigs/" + r.ID.String(), ETag: tagOf(r.Revision), DryRun: dryRun, Body: func(int64) any {
		return struct {
			*fieldtest.StoredRig
			Stored   bool                `json:"stored"`
			Findings []fieldtest.Finding `json:"findings"`
		}{r, !dryRun, findings}
	}})
}
