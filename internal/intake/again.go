package intake

import (
	"context"

	"github.com/google/uuid"

	"evensun/internal/fieldtest"
	"evensun/internal/normalise"
)

// again judges a stored session once more, with today's rules and the rig version it
// used.
func (s *Service) again(ctx context.Context, kept *fieldtest.StoredSession, opts JudgeOptions) (*fieldtest.Receipt, error) {
	models, err := s.store.PanelModelsNamed(ctx, distinctSlugs(kept.Session.Readings))
	if err != nil {
		return nil, err
	}
	return s.againWith(ctx, kept, models, nil, opts)
}

// againWith is again with given panel models, of which other replaces one, by slug.
func (s *Service) againWith(ctx context.Context, kept *fieldtest.StoredSession, models map[string]fieldtest.StoredPanelModel, other *fieldtest.PanelModel, opts JudgeOptions) (*fieldtest.Receipt, error) {
	session, refs, err := s.prepareAgain(ctx, kept, models, other)
	if err != nil {
		return nil, err
	}
	j, err := judge(ctx, session, refs, opts)
	return j.receipt, err
}

// prepareAgain is a stored session with what it refers to, so that the chain can take it
// once more.
func (s *Service) prepareAgain(ctx context.Context, kept *fieldtest.StoredSession, models map[string]fieldtest.StoredPanelModel, other *fieldtest.PanelModel) (*fieldtest.Session, References, error) {
	rig, err := s.store.RigRevision(ctx, kept.RigID, kept.RigRevision)
	if err != nil {
		return nil, References{}, err
	}
	session := Prepare(kept.Session)
	refs := References{Rig: rig.Rig, Panels: make([]*fieldtest.PanelModel, len(session.Readings))}
	byslug := map[string]*fieldtest.PanelModel{}
	for slug, m := range models {
		model := m.PanelModel
		byslug[slug] = &model
	}
	if other != nil {
		byslug[other.Slug] = other
	}
	for i := range session.Readings {
		refs.Panels[i] = byslug[session.Readings[i].Panel.Model]
		if refs.Panels[i] == nil {
			return nil, References{}, fieldtest.Missing("panel model", session.Readings[i].Panel.Model)
		}
		session.Readings[i].Contest = contestEverything(&session.Readings[i])
	}
	return &session, refs, nil
}

// contestEverything keeps a stored reading judgeable where a later rule or nameplate
// would refuse it: it was accepted once, so the doubt becomes a hold.
func contestEverything(r *fieldtest.Reading) []fieldtest.Contest {
	all := append([]fieldtest.Contest(nil), r.Contest...)
	for _, rule := range refusingRules() {
		all = append(all, fieldtest.Contest{Rule: rule, Reason: "accepted before"})
	}
	return all
}

// Derivation returns how a stored reading's result was computed, step by step.
func (s *Service) Derivation(ctx context.Context, reading uuid.UUID) ([]fieldtest.Step, error) {
	kept, err := s.store.Reading(ctx, reading)
	if err != nil {
		return nil, err
	}
	session, err := s.store.SessionRevision(ctx, kept.SessionID, kept.SessionRevision)
	if err != nil {
		return nil, err
	}
	models, err := s.store.PanelModelsNamed(ctx, distinctSlugs(session.Session.Readings))
	if err != nil {
		return nil, err
	}
	again, refs, err := s.prepareAgain(ctx, &session, models, nil)
	if err != nil {
		return nil, err
	}
	return normalise.Derivation(ctx, refs.input(again), JudgeOptions{Library: s.library}.chain(), kept.Position)
}

// Cautions returns what to beware of in a stored session. They follow from what was
// submitted and are not stored.
func (s *Service) Cautions(ctx context.Context, kept *fieldtest.StoredSession) ([]fieldtest.Caution, error) {
	receipt, err := s.again(ctx, kept, JudgeOptions{})
	if err != nil {
		return nil, err
	}
	return receipt.Cautions, nil
}
