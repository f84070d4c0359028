package intake

import (
	"context"
	"fmt"

	"github.com/google/uuid"

	"evensun/internal/fieldtest"
	"evensun/internal/ranking"
	"evensun/internal/store"
)

// ownSessions is the number of sessions up to which a tester's answer carries the order by
// the tester's own readings (common practice, no source): with more, the published
// rankings say more, and it would cost more than the rest of the answer.
const ownSessions = 10

// ownOrder ranks the panels of a session by the tester's own readings of them, in this
// session and those stored, so that the first evenings already show an order. Readings
// that wait for a reviewer count here. It is nil where there is nothing to compare, and
// after ownSessions.
func (s *Service) ownOrder(ctx context.Context, j *job) (*fieldtest.Ranking, error) {
	if len(j.models) < 2 {
		return nil, nil
	}
	kept, err := s.ownStored(ctx, j.who.TesterID)
	if err != nil || len(kept) >= ownSessions {
		return nil, err
	}
	id, err := s.newID()
	if err != nil {
		return nil, err
	}
	in := ranking.Inputs{Rules: ranking.DefaultRules(), At: s.now().UTC()}
	for slug, m := range j.models {
		in.Panels = append(in.Panels, ranking.Panel{Slug: slug, Revision: m.Revision, PmaxW: m.Nameplate.Canonical().PmaxW})
	}
	now := fieldtest.StoredSession{ID: id, TesterID: j.who.TesterID, RigID: j.rig.ID, RigRevision: j.rig.Revision, Readings: j.receipt.Readings}
	for _, session := range append(kept, now) {
		in.Observations = append(in.Observations, j.ownObservations(&session)...)
	}
	list, err := ranking.ComputeOne(ctx, in, ranking.List{Measure: fieldtest.ShareOfRating})
	if err != nil {
		return nil, fmt.Errorf("order by a tester's own readings: %w", err)
	}
	list.Ranking.SHA256 = "" // this is no published ranking
	return &list.Ranking, nil
}

// ownStored are the tester's accepted sessions, at most ownSessions of them.
func (s *Service) ownStored(ctx context.Context, tester uuid.UUID) ([]fieldtest.StoredSession, error) {
	list, _, _, err := s.store.Sessions(ctx, store.SessionFilter{TesterID: &tester, States: []string{string(fieldtest.SessionAccepted)}}, store.Page{Size: ownSessions})
	if err != nil || len(list) >= ownSessions {
		return make([]fieldtest.StoredSession, len(list)), err
	}
	var kept []fieldtest.StoredSession
	for i := range list {
		one, err := s.store.Session(ctx, list[i].ID)
		if err != nil {
			return nil, err
		}
		kept = append(kept, one)
	}
	return kept, nil
}

// ownObservations are a session's readings of the job's panel models.
func (j *job) ownObservations(session *fieldtest.StoredSession) []ranking.Observation {
	var out []ranking.Observation
	for i := range session.Readings {
		r := &session.Readings[i]
		if r.PanelModel == nil || r.State == fieldtest.Excluded {
			continue
		}
		if _, ok := j.models[*r.PanelModel]; !ok {
			continue
		}
		id := uuid.NewSHA1(session.ID, []byte(fmt.Sprint(i)))
		out = append(out, ranking.Observation{
			ReadingID: id, SessionID: session.ID, Revision: session.Revision, ContentSHA256: session.SHA256, TesterID: session.TesterID,
			RigID: session.RigID, RigRevision: session.RigRevision, Panel: *r.PanelModel, Specimen: r.Specimen, Label: r.Label,
			TakenAt: r.TakenAt, Arrangement: r.Arrangement, State: fieldtest.Counted, Result: r.Result,
		})
	}
	return out
}
