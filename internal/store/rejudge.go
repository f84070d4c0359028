package store

import (
	"context"
	"fmt"

	"github.com/google/uuid"

	"evensun/internal/fieldtest"
)

// A Rejudgement is what today's nameplates and rules make of a stored session.
type Rejudgement struct {
	SessionID uuid.UUID
	Revision  int
	Readings  []fieldtest.JudgedReading // all of the session, in order; ids, results and their reasons are used
	Raised    []fieldtest.Finding       // that do not stand yet; with ids, also of session and reading
	Gone      []uuid.UUID               // findings that are no longer raised
}

// Rejudge stores results in place of those before, adds findings that are new and makes
// those obsolete that are gone, as far as no reviewer has decided on them. The readings
// take the state that follows.
func (tx *Tx) Rejudge(ctx context.Context, sessions []Rejudgement) error {
	if len(sessions) == 0 {
		return nil
	}
	var all rejudgements
	for i := range sessions {
		if err := all.add(tx, &sessions[i]); err != nil {
			return fmt.Errorf("judge session %s anew: %w", sessions[i].SessionID, err)
		}
	}
	var err error
	if all.content.Obsolete, err = tx.obsolete(ctx, all.gone); err != nil {
		return err
	}
	if all.content.FindingsSHA256, err = hashOfFindings(all.findings); err != nil {
		return err
	}
	if err := tx.restate(ctx, all.changed...); err != nil {
		return err
	}
	all.content.Sessions = inOrder(all.content.Sessions)
	place := placing(all.raised, all.content.Obsolete)
	return tx.recordValue(kindResultsReplaced, "results", all.content, func(at sealedAt) {
		place(at)
		at.batch.Queue(query("insert_rejudgements"), all.ids, all.revisions, all.hashes, at.sequence)
	})
}

// rejudgements gather what the write of many sessions needs at once.
type rejudgements struct {
	content   rejudgementRecord
	findings  []findingRecord
	raised    []*string
	gone      []uuid.UUID
	changed   []subject // whose findings are others now
	ids       []uuid.UUID
	revisions []int
	hashes    []string
}

func (all *rejudgements) add(tx *Tx, r *Rejudgement) error {
	results, err := resultColumnsOf(r.Readings)
	if err != nil {
		return err
	}
	hash, err := results.sha256()
	if err != nil {
		return err
	}
	findings, err := findingColumnsOf(r.Raised)
	if err != nil {
		return err
	}
	records, err := findings.records(r.Revision)
	if err != nil {
		return err
	}
	tx.early.Queue(query("replace_results"), results.args()...)
	tx.queueFindings(findings, r.Revision)
	tx.touch(groupsOf(r.Readings)...)
	if len(r.Raised)+len(r.Gone) > 0 {
		all.changed = append(all.changed, subject{sessionID: &r.SessionID})
	}
	all.findings, all.raised, all.gone = append(all.findings, records...), append(all.raised, findings.ids...), append(all.gone, r.Gone...)
	all.ids, all.revisions, all.hashes = append(all.ids, r.SessionID), append(all.revisions, r.Revision), append(all.hashes, hash)
	all.content.Sessions = append(all.content.Sessions, rejudgedSession{r.SessionID, r.Revision, hash})
	return nil
}
