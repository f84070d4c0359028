package intake

import (
	"context"
	"strconv"

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
	var faults []fieldtest.Fault
	for i := range findings {
		f := &findings[i]
		f.Pointer = "#/" + f.Pointer
		if f.Severity == fieldtest.Reject {
			faults = append(faults, faultOf(f))
		}
	}
	if len(faults) > 0 {
		return nil, &fieldtest.Refusal{Kind: fieldtest.PhysicallyImpossible, Detail: "This rig cannot be right. Nothing was stored.", Faults: faults}
	}
	return findings, nil
}

// rigAnswer stores the doubts about a rig, seals its write and encodes the answer.
func (s *Service) rigAnswer(ctx context.Context, tx *store.Tx, status int, r *fieldtest.StoredRig, findings []fieldtest.Finding, dryRun bool) (store.Response, error) {
	for i := range findings {
		f := &findings[i]
		id, err := s.newID()
		if err != nil {
			return store.Response{}, err
		}
		f.ID, f.RigID, f.TesterID, f.CreatedAt = id, &r.ID, &r.TesterID, s.now().UTC()
		f.Priority, f.Band = priority(f)
	}
	if err := tx.AddFindings(ctx, findings); err != nil {
		return store.Response{}, err
	}
	sequence, err := tx.Seal(ctx)
	if err != nil {
		return store.Response{}, err
	}
	r.Cautions = normalise.RigCautions(&r.Rig)
	body, err := encode("a rig", struct {
		*fieldtest.StoredRig
		Stored   bool                `json:"stored"`
		Findings []fieldtest.Finding `json:"findings"`
	}{r, !dryRun, findings})
	if err != nil || dryRun {
		return store.Response{Status: 200, Header: map[string]string{}, Body: body}, err
	}
	return store.Response{Status: status, Header: map[string]string{
		"Location": "/v1/rigs/" + r.ID.String(), "ETag": etag(r.Revision), "Evensun-Sequence": strconv.FormatInt(sequence, 10),
	}, Body: body}, nil
}
