package intake

import (
	"context"
	"errors"
	"fmt"

	"github.com/google/uuid"

	"evensun/internal/fieldtest"
	"evensun/internal/limits"
	"evensun/internal/normalise"
	"evensun/internal/store"
)

// A Reason says why something submitted is changed.
type Reason struct {
	Code string // as mistyped_reading
	Text string
}

// Revise judges the new content of a session by today's rules and stores it as the next
// revision, if the current one is still ifRevision.
func (s *Service) Revise(ctx context.Context, who fieldtest.Caller, id uuid.UUID, ifRevision int, why Reason, session fieldtest.Session, o SubmitOptions) (store.Response, bool, error) {
	return retryMoved(func() (store.Response, bool, error) { return s.revise(ctx, who, id, ifRevision, why, session, o) })
}

func (s *Service) revise(ctx context.Context, who fieldtest.Caller, id uuid.UUID, ifRevision int, why Reason, session fieldtest.Session, o SubmitOptions) (store.Response, bool, error) {
	kept, err := s.ownSession(ctx, who, id, false)
	if err != nil {
		return store.Response{}, false, err
	}
	if o.DryRun && kept.Revision != ifRevision {
		return store.Response{}, false, stale(kept.Revision)
	}
	j, err := s.prepare(ctx, who, session, &kept, o)
	if err != nil {
		return store.Response{}, false, err
	}
	if o.DryRun {
		response, err := dryResponse(j.receipt)
		return response, false, err
	}
	response, replayed, err := s.store.Write(ctx, o.Idempotency, false, func(ctx context.Context, tx *store.Tx) (store.Response, error) {
		w, err := s.writeOf(j, id, 0)
		if err != nil {
			return store.Response{}, err
		}
		w.ReasonCode, w.Reason = why.Code, why.Text
		if err := s.storeNew(tx, j); err != nil {
			return store.Response{}, err
		}
		if j.revision, err = tx.ReviseSession(ctx, w, ifRevision); err != nil {
			return store.Response{}, err
		}
		if err := tx.AddFindings(ctx, j.ofModels); err != nil {
			return store.Response{}, err
		}
		return s.receiptAnswer(ctx, tx, j, id)
	})
	if existing, ok := errors.AsType[*store.ExistingSession](err); ok {
		err = storedElsewhere(existing.ID)
	}
	return response, replayed, err
}

// storedElsewhere refuses to make of a session what another one is.
func storedElsewhere(id uuid.UUID) error {
	reason := fmt.Sprintf("Session %s holds the same readings.", id)
	return &fieldtest.Refusal{Kind: fieldtest.NameTaken, Detail: "These readings are stored already as another session of yours. Nothing was stored.",
		Faults: []fieldtest.Fault{{Pointer: "#/readings", Code: "duplicate", Value: id.String(), Reason: reason}}, Extra: map[string]any{"existing": id}}
}

// Withdraw takes a session out of the rankings, not out of the record.
func (s *Service) Withdraw(ctx context.Context, who fieldtest.Caller, id uuid.UUID, ifRevision int, why Reason, o SubmitOptions) (store.Response, bool, error) {
	if _, err := s.ownSession(ctx, who, id, true); err != nil {
		return store.Response{}, false, err
	}
	return s.store.Write(ctx, o.Idempotency, o.DryRun, func(ctx context.Context, tx *store.Tx) (store.Response, error) {
		if err := tx.WithdrawSession(ctx, store.WithdrawalWrite{SessionID: id, IfRevision: &ifRevision, Reason: why.Text, By: who.TesterID}); err != nil {
			return store.Response{}, err
		}
		return tx.Answer(ctx, store.Answer{Status: 201, Location: "/v1/sessions/" + id.String(), DryRun: o.DryRun, Body: func(sequence int64) any {
			return map[string]any{"session_id": id, "state": fieldtest.SessionWithdrawn, "reason_code": why.Code, "reason": why.Text, "sequence": sequence}
		}})
	})
}

// Restore takes the withdrawal of a session back: by who withdrew it, or by a reviewer.
func (s *Service) Restore(ctx context.Context, who fieldtest.Caller, id uuid.UUID, ifRevision int, why Reason, o SubmitOptions) (store.Response, bool, error) {
	if _, err := s.ownSession(ctx, who, id, true); err != nil {
		return store.Response{}, false, err
	}
	may := func(owner uuid.UUID, withdrawer *uuid.UUID) error {
		mine := who.TesterID == owner && (withdrawer == nil || *withdrawer == owner)
		if who.TesterID != uuid.Nil && mine || who.Is(fieldtest.RoleReviewer) && who.TesterID != owner {
			return nil
		}
		return &fieldtest.Refusal{Kind: fieldtest.Forbidden, Detail: "A session is restored by the tester who withdrew it, or by a reviewer whose session it is not. Nothing was stored."}
	}
	return s.store.Write(ctx, o.Idempotency, o.DryRun, func(ctx context.Context, tx *store.Tx) (store.Response, error) {
		err := tx.RestoreSession(ctx, store.WithdrawalWrite{SessionID: id, IfRevision: &ifRevision, Reason: why.Text, By: who.TesterID}, may)
		if err != nil {
			return store.Response{}, err
		}
		return tx.Answer(ctx, store.Answer{Status: 201, Location: "/v1/sessions/" + id.String(), ETag: tagOf(ifRevision), DryRun: o.DryRun, Body: func(sequence int64) any {
			return map[string]any{"session_id": id, "state": fieldtest.SessionAccepted, "reason_code": why.Code, "reason": why.Text, "sequence": sequence}
		}})
	})
}

// ownSession refuses to touch somebody else's session; reviewers may withdraw.
func (s *Service) ownSession(ctx context.Context, who fieldtest.Caller, id uuid.UUID, reviewersToo bool) (fieldtest.StoredSession, error) {
	kept, err := s.store.Session(ctx, id)
	if err != nil {
		return kept, err
	}
	if kept.TesterID == who.TesterID && who.TesterID != uuid.Nil || reviewersToo && who.Is(fieldtest.RoleReviewer) {
		return kept, nil
	}
	return kept, &fieldtest.Refusal{Kind: fieldtest.Forbidden, Detail: "This session belongs to another tester. Nothing was stored."}
}

// stale says that somebody changed a session in between.
func stale(current int) error {
	return &fieldtest.Refusal{Kind: fieldtest.PreconditionFailed, Detail: "The session was changed in between. Read it again.", Extra: map[string]any{"current_etag": `"` + tagOf(current) + `"`}}
}

// Verdict stores a reviewer's decision on a finding; it takes effect at once on the
// readings and in the next ranking. Nobody judges their own data.
func (s *Service) Verdict(ctx context.Context, who fieldtest.Caller, finding uuid.UUID, decision fieldtest.Decision, note string, o SubmitOptions) (store.Response, bool, error) {
	id, err := s.newID()
	if err != nil {
		return store.Response{}, false, err
	}
	return s.store.Write(ctx, o.Idempotency, o.DryRun, func(ctx context.Context, tx *store.Tx) (store.Response, error) {
		err := tx.AddVerdict(ctx, store.VerdictWrite{ID: id, FindingID: finding, Verdict: decision, Note: note, Reviewer: who.TesterID})
		if err != nil {
			return store.Response{}, err
		}
		return tx.Answer(ctx, store.Answer{Status: 201, Location: "/v1/findings/" + finding.String(), DryRun: o.DryRun, Body: func(sequence int64) any {
			return map[string]any{"id": id, "finding_id": finding, "verdict": decision, "note": note, "reviewer": who.TesterID, "sequence": sequence}
		}})
	})
}

// CreatePanelModel judges a nameplate and stores the model.
func (s *Service) CreatePanelModel(ctx context.Context, who fieldtest.Caller, m fieldtest.PanelModel, o SubmitOptions) (store.Response, bool, error) {
	findings, err := judgeModel(&m)
	if err != nil {
		return store.Response{}, false, err
	}
	id, err := s.newID()
	if err != nil {
		return store.Response{}, false, err
	}
	return s.store.Write(ctx, o.Idempotency, o.DryRun, func(ctx context.Context, tx *store.Tx) (store.Response, error) {
		stored := fieldtest.StoredPanelModel{PanelModel: m, ID: id, Revision: 1, CreatedBy: who.TesterID}
		if err := tx.CreatePanelModel(&stored); err != nil {
			return store.Response{}, err
		}
		return s.modelAnswer(ctx, tx, 201, &stored, findings, o.DryRun)
	})
}

// UpdatePanelModel stores a new revision of a panel model, if the current one is still
// ifRevision, and recomputes the results that rest on its nameplate.
func (s *Service) UpdatePanelModel(ctx context.Context, who fieldtest.Caller, slug string, ifRevision int, why string, m fieldtest.PanelModel, o SubmitOptions) (store.Response, bool, error) {
	return retryMoved(func() (store.Response, bool, error) { return s.updatePanelModel(ctx, who, slug, ifRevision, why, m, o) })
}

func (s *Service) updatePanelModel(ctx context.Context, who fieldtest.Caller, slug string, ifRevision int, why string, m fieldtest.PanelModel, o SubmitOptions) (store.Response, bool, error) {
	current, err := s.store.PanelModel(ctx, slug)
	if err != nil {
		return store.Response{}, false, err
	}
	first, err := s.store.PanelModelRevision(ctx, slug, 1) // later revisions may be a reviewer's
	if err != nil {
		return store.Response{}, false, err
	}
	if first.CreatedBy != who.TesterID && !who.Is(fieldtest.RoleReviewer) {
		return store.Response{}, false, &fieldtest.Refusal{Kind: fieldtest.Forbidden, Detail: "Only who created this panel model, or a reviewer, may change it. Nothing was stored."}
	}
	m.Slug = slug
	findings, err := judgeModel(&m)
	if err != nil {
		return store.Response{}, false, err
	}
	anew, err := s.rejudge(ctx, &m)
	if err != nil {
		return store.Response{}, false, err
	}
	return s.store.Write(ctx, o.Idempotency, o.DryRun, func(ctx context.Context, tx *store.Tx) (store.Response, error) {
		stored := fieldtest.StoredPanelModel{PanelModel: m, ID: current.ID, Reason: why, CreatedBy: who.TesterID}
		if err := tx.UpdatePanelModel(ctx, slug, ifRevision, &stored); err != nil {
			return store.Response{}, err
		}
		if err := tx.NoSessionSince(ctx, slug, anew.asOf); err != nil {
			return store.Response{}, err
		}
		tx.StayCurrent(anew.others)
		if err := tx.Rejudge(ctx, anew.sessions); err != nil {
			return store.Response{}, err
		}
		return s.modelAnswer(ctx, tx, 200, &stored, findings, o.DryRun)
	})
}

// judgeModel refuses a nameplate that cannot be and returns what else is doubted.
func judgeModel(m *fieldtest.PanelModel) ([]fieldtest.Finding, error) {
	m.Nameplate = m.Nameplate.Canonical()
	findings := normalise.PanelModel(m, limits.Default())
	return findings, refuseImpossible(findings, "This nameplate cannot be right. Nothing was stored.")
}

// modelAnswer stores the doubts about a panel model as such and answers its write.
func (s *Service) modelAnswer(ctx context.Context, tx *store.Tx, status int, m *fieldtest.StoredPanelModel, findings []fieldtest.Finding, dryRun bool) (store.Response, error) {
	findings, err := s.storeDoubts(ctx, tx, store.Record{PanelModel: m.Slug}, 0, findings, func(f *fieldtest.Finding) { f.PanelModel = &m.Slug })
	if err != nil {
		return store.Response{}, err
	}
	m.Cautions = normalise.PanelModelCautions(&m.PanelModel)
	return tx.Answer(ctx, store.Answer{Status: status, Location: "/v1/panel-models/" + m.Slug, ETag: tagOf(m.Revision), DryRun: dryRun, Body: func(int64) any {
		return struct {
			*fieldtest.StoredPanelModel
			Stored   bool                `json:"stored"`
			Findings []fieldtest.Finding `json:"findings"`
		}{m, !dryRun, findings}
	}})
}
