package store

import (
	"context"
	"fmt"
	"math"
	"net/http"
	"slices"
	"strings"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"evensun/internal/fieldtest"
)

// AddFindings stores findings that belong to no session, such as those about a rig
// or a panel model, and applies their holds.
func (tx *Tx) AddFindings(ctx context.Context, findings []fieldtest.Finding) error {
	return tx.ReplaceFindings(ctx, findings, nil, 0)
}

// ReplaceFindings is AddFindings that also makes findings obsolete that are no longer
// raised, as far as no reviewer has decided on them. Of those about a rig, until is the
// last revision that raised them: while a session rests on one up to that, they stand for
// it and for no other.
func (tx *Tx) ReplaceFindings(ctx context.Context, findings, gone []fieldtest.Finding, until int) error {
	if len(findings)+len(gone) == 0 {
		return nil
	}
	c, err := findingColumnsOf(findings)
	if err != nil {
		return err
	}
	var content findingsRecord
	if content.FindingsSHA256, err = c.sha256(0); err != nil {
		return err
	}
	inUse, limited, err := tx.limit(ctx, idsOf(gone), until)
	if err != nil {
		return err
	}
	content.Limited = limitedTo(limited, until)
	done := slices.DeleteFunc(idsOf(gone), func(id uuid.UUID) bool { return slices.Contains(inUse, id) })
	if content.Obsolete, err = tx.obsolete(ctx, done); err != nil {
		return err
	}
	tx.queueFindings(c, 0)
	if err := tx.restate(ctx, append(subjectsOf(findings), subjectsOf(gone)...)...); err != nil {
		return err
	}
	place := placing(c.ids, content.Obsolete)
	return tx.recordValue(kindFindingsRaised, "findings", content, func(at sealedAt) {
		place(at)
		at.batch.Queue(query("place_limited"), limited, at.sequence)
	})
}

// limit limits findings about a rig that still reach a session to that session's revision
// of the rig and those before, and returns which reach one and which are limited now.
func (tx *Tx) limit(ctx context.Context, ids []uuid.UUID, until int) (inUse, limited []uuid.UUID, err error) {
	limited = []uuid.UUID{}
	if len(ids) == 0 || until == 0 {
		return nil, limited, nil
	}
	if inUse, err = collect(ctx, tx.conn, pgx.RowTo[uuid.UUID], "rig_findings_in_use", ids, until); err != nil || len(inUse) == 0 {
		return inUse, limited, err
	}
	some, err := collect(ctx, tx.conn, pgx.RowTo[uuid.UUID], "limit_findings", inUse, until, undecidedStates())
	return inUse, sortedIDs(some), err
}

func limitedTo(ids []uuid.UUID, until int) []limitedFinding {
	list := make([]limitedFinding, 0, len(ids))
	for _, id := range ids {
		list = append(list, limitedFinding{id, until})
	}
	return list
}

// A Record is a rig or a panel model as such.
type Record struct {
	RigID      uuid.UUID // the zero id: a panel model
	PanelModel string    // slug; empty: a rig
}

// DoubtsAbout returns the findings about a rig or panel model as such, but for those of
// audits and those that are obsolete.
func (tx *Tx) DoubtsAbout(ctx context.Context, r Record) ([]fieldtest.Finding, error) {
	return collect(ctx, tx.conn, scanFinding, "doubts_about", r.RigID, r.PanelModel)
}

func idsOf(findings []fieldtest.Finding) []uuid.UUID {
	ids := make([]uuid.UUID, 0, len(findings))
	for _, f := range findings {
		ids = append(ids, f.ID)
	}
	return ids
}

// obsolete makes those of the findings obsolete on which no reviewer has decided, and
// returns their ids.
func (tx *Tx) obsolete(ctx context.Context, ids []uuid.UUID) ([]uuid.UUID, error) {
	if len(ids) == 0 {
		return []uuid.UUID{}, nil
	}
	gone, err := collect(ctx, tx.conn, pgx.RowTo[uuid.UUID], "obsolete_findings", ids, undecidedStates())
	return sortedIDs(gone), err
}

// undecidedStates are those of findings that a method or an audit may still take back.
func undecidedStates() []string {
	var undecided []string
	for _, s := range fieldtest.FindingStates() {
		if s.Undecided() {
			undecided = append(undecided, string(s))
		}
	}
	return undecided
}

// queueFindings stores findings of a revision (0: of no session) before the sequence is
// known, because the states of readings follow from stored findings.
func (tx *Tx) queueFindings(c findingColumns, sessionRevision int) {
	if len(c.ids) > 0 {
		c.queue(&tx.early, "insert_findings", sessionRevision, sealedAt{sequence: math.MaxInt64})
	}
}

// placing fills in the place in the ledger of findings that were stored or made obsolete
// before it was known.
func placing(raised []*string, obsolete []uuid.UUID) func(sealedAt) {
	return func(at sealedAt) {
		at.batch.Queue(query("place_findings"), raised, at.at, at.sequence)
		at.batch.Queue(query("place_obsolete"), obsolete, at.sequence)
	}
}

func subjectsOf(findings []fieldtest.Finding) []subject {
	var subjects []subject
	for _, f := range findings {
		subjects = append(subjects, subjectOf(f))
	}
	return subjects
}

func subjectOf(f fieldtest.Finding) subject {
	return subject{readingID: f.ReadingID, sessionID: f.SessionID, rigID: f.RigID, panelModel: f.PanelModel, testerID: f.TesterID,
		arrangement: f.Arrangement, coverClass: f.CoverClass}
}

// identityOf names an audit's finding by rule and subject, with the arrangement of the
// readings that it is about, so that the next audit knows it again.
func identityOf(f fieldtest.Finding) string {
	parts := []string{f.Rule}
	for _, id := range []*uuid.UUID{f.ReadingID, f.SessionID, f.RigID, f.TesterID} {
		if id == nil {
			parts = append(parts, "-")
			continue
		}
		parts = append(parts, id.String())
	}
	for _, word := range []*string{f.PanelModel, (*string)(f.Arrangement), f.CoverClass} {
		if word != nil {
			parts = append(parts, *word)
		}
	}
	return strings.Join(parts, " ")
}

// An auditChange is what an audit's findings mean for those that stand.
type auditChange struct {
	fresh    []fieldtest.Finding
	again    []fieldtest.Finding // raised before, with the stored id and the state it shall have
	obsolete []uuid.UUID
	reopened []uuid.UUID
	subjects []subject // of all that appear, reappear or go
}

type auditFinding struct {
	fieldtest.Finding
	identity string
	last     *string // the newest verdict
}

// ReplaceAuditFindings makes the findings of an audit over the arrangements' data as
// of computedThrough the standing ones: new ones are added, those raised before take
// today's numbers, and open ones of the same rules that were not raised again become
// obsolete. Decided ones stay as decided: an excluded reading no longer stands out
// just because it is excluded. None is deleted.
//
// rules are those that the audit ran; findings of others are left alone.
func (db *DB) ReplaceAuditFindings(ctx context.Context, computedThrough int64, rules []string, findings []fieldtest.Finding) error {
	_, _, err := db.Write(ctx, Idempotency{}, false, func(ctx context.Context, tx *Tx) (Response, error) {
		standing, err := collect(ctx, tx.conn, scanAuditFinding, "lock_audit_findings", rules)
		if err != nil {
			return Response{}, err
		}
		err = tx.applyAudit(ctx, computedThrough, changeOf(standing, findings))
		return Response{Status: http.StatusOK}, err
	})
	if err != nil {
		return fmt.Errorf("store %d findings of an audit: %w", len(findings), err)
	}
	return nil
}

func scanAuditFinding(row pgx.CollectableRow) (auditFinding, error) {
	var a auditFinding
	err := row.Scan(&a.ID, &a.identity, &a.State, &a.ReadingID, &a.SessionID, &a.RigID, &a.PanelModel, &a.TesterID, &a.Arrangement, &a.CoverClass, &a.last)
	return a, err
}

func changeOf(standing []auditFinding, raised []fieldtest.Finding) auditChange {
	known := make(map[string]auditFinding, len(standing))
	for _, s := range standing {
		known[s.identity] = s
	}
	var c auditChange
	seen := map[string]bool{}
	for _, f := range raised {
		identity := identityOf(f)
		if seen[identity] {
			continue
		}
		seen[identity] = true
		old, ok := known[identity]
		if !ok {
			c.fresh, c.subjects = append(c.fresh, f), append(c.subjects, subjectOf(f))
			continue
		}
		c.raiseAgain(old, f)
	}
	for _, s := range standing {
		if s.State.Undecided() && !seen[s.identity] {
			c.obsolete, c.subjects = append(c.obsolete, s.ID), append(c.subjects, subjectOf(s.Finding))
		}
	}
	return c
}

// raiseAgain gives a finding that was obsolete the state of its newest verdict.
func (c *auditChange) raiseAgain(old auditFinding, f fieldtest.Finding) {
	f.ID, f.State = old.ID, old.State
	if old.State == fieldtest.FindingObsolete {
		f.State = fieldtest.FindingOpen
		if old.last != nil {
			f.State = stateAfter(fieldtest.Decision(*old.last))
		}
		c.reopened = append(c.reopened, old.ID)
		c.subjects = append(c.subjects, subjectOf(f))
	}
	c.again = append(c.again, f)
}

func (tx *Tx) applyAudit(ctx context.Context, computedThrough int64, c auditChange) error {
	again, err := findingColumnsOf(c.again)
	if err != nil {
		return err
	}
	if len(c.again) > 0 {
		tx.early.Queue(query("renew_findings"), again.ids, again.severities, again.values, again.limits, again.relations,
			again.reasons, again.bases, again.states, again.priorities, again.bands)
	}
	if len(c.fresh)+len(c.obsolete)+len(c.reopened) == 0 {
		return tx.flush(ctx)
	}
	for i := range c.fresh {
		c.fresh[i].Audited = true
	}
	fresh, err := findingColumnsOf(c.fresh)
	if err != nil {
		return err
	}
	content := auditRecord{ComputedThrough: computedThrough, Reopened: sortedIDs(c.reopened)}
	if content.FindingsSHA256, err = fresh.sha256(0); err != nil {
		return err
	}
	if content.Obsolete, err = tx.obsolete(ctx, c.obsolete); err != nil {
		return err
	}
	tx.queueFindings(fresh, 0)
	if err := tx.restate(ctx, compactSubjects(c.subjects)...); err != nil {
		return err
	}
	place := placing(fresh.ids, content.Obsolete)
	return tx.recordValue(kindAudit, "findings", content, func(at sealedAt) {
		place(at)
		at.batch.Queue(query("insert_audit_run"), at.sequence, computedThrough, content.Obsolete, content.Reopened)
	})
}

// compactSubjects drops repetitions, so that one statement a subject is sent.
func compactSubjects(subjects []subject) []subject {
	seen := map[string]bool{}
	return slices.DeleteFunc(subjects, func(s subject) bool {
		key := identityOf(fieldtest.Finding{ReadingID: s.readingID, SessionID: s.sessionID, RigID: s.rigID, PanelModel: s.panelModel, TesterID: s.testerID,
			Arrangement: s.arrangement, CoverClass: s.coverClass})
		repeated := seen[key]
		seen[key] = true
		return repeated
	})
}
