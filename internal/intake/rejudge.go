package intake

import (
	"context"
	"slices"

	"github.com/google/uuid"

	"evensun/internal/fieldtest"
	"evensun/internal/limits"
	"evensun/internal/store"
)

// A rejudgement is what a changed nameplate makes of all sessions that rest on it.
type rejudgement struct {
	sessions []store.Rejudgement
	asOf     int64          // the sequence up to which sessions are in it
	others   map[string]int // revisions of the other panel models of those sessions
}

// rejudge judges all current sessions with a panel model anew, as if m were its record.
func (s *Service) rejudge(ctx context.Context, m *fieldtest.PanelModel) (rejudgement, error) {
	r := rejudgement{others: map[string]int{}}
	page := store.Page{Size: 200}
	for {
		sessions, next, seen, err := s.store.Sessions(ctx, store.SessionFilter{PanelModels: []string{m.Slug}}, page)
		if err != nil {
			return r, err
		}
		for i := range sessions {
			if err := s.rejudgeSession(ctx, &r, sessions[i].ID, m); err != nil {
				return r, err
			}
		}
		if next == nil {
			r.asOf = seen
			return r, nil
		}
		page.After, page.AsOf = next, seen
	}
}

func (s *Service) rejudgeSession(ctx context.Context, r *rejudgement, id uuid.UUID, m *fieldtest.PanelModel) error {
	kept, err := s.store.Session(ctx, id)
	if err != nil {
		return err
	}
	models, err := s.store.PanelModelsNamed(ctx, distinctSlugs(kept.Session.Readings))
	if err != nil {
		return err
	}
	for slug, other := range models {
		if slug == m.Slug {
			continue
		}
		if seen, ok := r.others[slug]; ok && seen != other.Revision {
			return store.ErrMoved
		}
		r.others[slug] = other.Revision
	}
	receipt, err := s.againWith(ctx, &kept, models, m, JudgeOptions{})
	if err != nil {
		return err
	}
	judged := store.Rejudgement{SessionID: kept.ID, Revision: kept.Revision, Readings: receipt.Readings}
	if err := s.changedFindings(&kept, receipt, &judged); err != nil {
		return err
	}
	r.sessions = append(r.sessions, judged)
	return nil
}

// changedFindings compares the findings that stand with those of today, for the session and
// each reading, and names what is new.
func (s *Service) changedFindings(kept *fieldtest.StoredSession, today *fieldtest.Receipt, into *store.Rejudgement) error {
	raised, gone := changed(kept.Findings, today.Findings)
	err := s.nameFindings(raised, func(f *fieldtest.Finding) { f.SessionID, f.TesterID = &kept.ID, &kept.TesterID })
	if err != nil {
		return err
	}
	into.Raised, into.Gone = raised, gone
	for i := range into.Readings {
		reading := &into.Readings[i]
		reading.ID = kept.Readings[i].ID
		raised, gone := changed(kept.Readings[i].Findings, reading.Findings)
		err := s.nameFindings(raised, func(f *fieldtest.Finding) {
			f.SessionID, f.TesterID, f.ReadingID, f.Label, f.PanelModel = &kept.ID, &kept.TesterID, reading.ID, &reading.Label, reading.PanelModel
		})
		if err != nil {
			return err
		}
		into.Raised, into.Gone = append(into.Raised, raised...), append(into.Gone, gone...)
	}
	return nil
}

// changed compares what stands about one thing with what today's judgement raises about
// it: raised is what does not stand yet, gone what stands undecided and is not raised
// again. A doubt that is raised again with other numbers is a new one, unless a reviewer
// is at work on it. What a reviewer has decided stays decided and is not raised again.
//
// Only rules of a judgement are compared: a new tester or an audit raises others, and an
// audit looks itself whether it still does.
func changed(standing, today []fieldtest.Finding) (raised []fieldtest.Finding, gone []uuid.UUID) {
	again := make([]bool, len(today))
	for i := range standing {
		old := &standing[i]
		if old.State == fieldtest.FindingObsolete || !isJudged(old.Rule) {
			continue
		}
		place := sameDoubt(old, today, again)
		if place < 0 && old.State.Undecided() {
			gone = append(gone, old.ID)
		}
		if place >= 0 {
			again[place] = true
		}
	}
	for i := range today {
		if !again[i] {
			raised = append(raised, today[i])
		}
	}
	return raised, gone
}

// storeDoubts stores what today's judgement doubts about a rig or a panel model as such,
// makes obsolete what it no longer doubts, and returns the findings that stand now. Of a
// rig, until is the revision before: sessions keep the one that they used.
func (s *Service) storeDoubts(ctx context.Context, tx *store.Tx, about store.Record, until int, today []fieldtest.Finding, name func(*fieldtest.Finding)) ([]fieldtest.Finding, error) {
	standing, err := tx.DoubtsAbout(ctx, about)
	if err != nil {
		return nil, err
	}
	raised, gone := changed(standing, today)
	if err := s.nameFindings(raised, name); err != nil {
		return nil, err
	}
	left := []fieldtest.Finding{}
	var obsolete []fieldtest.Finding
	for _, f := range standing {
		if slices.Contains(gone, f.ID) {
			obsolete = append(obsolete, f)
		} else if isJudged(f.Rule) {
			left = append(left, f)
		}
	}
	return append(left, raised...), tx.ReplaceFindings(ctx, raised, obsolete, until)
}

// sameDoubt returns the place in today of the doubt that stands, -1 where there is none.
func sameDoubt(old *fieldtest.Finding, today []fieldtest.Finding, taken []bool) int {
	for i := range today {
		f := &today[i]
		if taken[i] || f.Rule != old.Rule || f.Pointer != old.Pointer {
			continue
		}
		if old.State != fieldtest.FindingOpen || sameNumbers(old, f) {
			return i
		}
	}
	return -1
}

func sameNumbers(a, b *fieldtest.Finding) bool {
	return a.Severity == b.Severity && a.Relation == b.Relation && a.Unit == b.Unit && sameNumber(a.Value, b.Value) && sameNumber(a.Limit, b.Limit)
}

func sameNumber(a, b *float64) bool {
	if a == nil || b == nil {
		return a == b
	}
	return *a == *b
}

// isJudged tells whether a rule is one of a judgement.
func isJudged(rule string) bool {
	for _, r := range limits.Rules() {
		if r.ID == rule {
			return true
		}
	}
	return false
}
