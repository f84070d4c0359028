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
	if len(findings) == 0 {
		return nil
	}
	c, err := findingColumnsOf(findings)
	if err != nil {
		return err
	}
	return tx.raise(ctx, c, subjectsOf(findings), "findings_raised", map[string]any{"findings": c.ids})
}

// raise stores findings before the sequence is known, because the states of readings
// follow from stored findings; their place in the ledger is filled in at the end.
func (tx *Tx) raise(ctx context.Context, c findingColumns, subjects []subject, kind string, content any) error {
	if len(c.ids) > 0 {
		c.queue(&tx.early, "insert_findings", 0, sealedAt{sequence: math.MaxInt64})
	}
	if err := tx.restate(ctx, subjects...); err != nil {
		return err
	}
	ids := c.ids
	return tx.recordValue(kind, "findings", content, func(at sealedAt) {
		at.batch.Queue(query("place_findings"), ids, at.at, at.sequence)
	})
}

func subjectsOf(findings []fieldtest.Finding) []subject {
	var subjects []subject
	for _, f := range findings {
		subjects = append(subjects, subjectOf(f))
	}
	return subjects
}

func subjectOf(f fieldtest.Finding) subject {
	return subject{readingID: f.ReadingID, sessionID: f.SessionID, rigID: f.RigID, panelModel: f.PanelModel, testerID: f.TesterID}
}

// identityOf names an audit's finding by rule and subject, so that the next audit
// knows it again.
func identityOf(f fieldtest.Finding) string {
	parts := []string{f.Rule}
	for _, id := range []*uuid.UUID{f.ReadingID, f.SessionID, f.RigID, f.TesterID} {
		if id == nil {
			parts = append(parts, "-")
			continue
		}
		parts = append(parts, id.String())
	}
	if f.PanelModel != nil {
		parts = append(parts, *f.PanelModel)
	}
	return strings.Join(parts, " ")
}

// An auditChange is what an audit's findings mean for those that stand.
type auditChange struct {
	fresh    []fieldtest.Finding
	again    []fieldtest.Finding // raised before, with the stored id and the state it shall have
	obsolete []uuid.UUID
	reopened int
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
	err := row.Scan(&a.ID, &a.identity, &a.State, &a.ReadingID, &a.SessionID, &a.RigID, &a.PanelModel, &a.TesterID, &a.last)
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
		undecided := s.State == fieldtest.FindingOpen || s.State == fieldtest.FindingAsked
		if undecided && !seen[s.identity] {
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
		c.reopened++
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
	if len(c.obsolete) > 0 {
		tx.early.Queue(query("obsolete_findings"), c.obsolete)
	}
	if len(c.fresh)+len(c.obsolete)+c.reopened == 0 {
		return tx.flush(ctx)
	}
	fresh, err := findingColumnsOf(c.fresh)
	if err != nil {
		return err
	}
	for i, f := range c.fresh {
		identity := identityOf(f)
		fresh.identities[i] = &identity
	}
	content := map[string]any{"computed_through": computedThrough, "raised": fresh.ids, "obsolete": c.obsolete, "reopened": c.reopened}
	return tx.raise(ctx, fresh, compactSubjects(c.subjects), "audit", content)
}

// compactSubjects drops repetitions, so that one statement a subject is sent.
func compactSubjects(subjects []subject) []subject {
	seen := map[string]bool{}
	return slices.DeleteFunc(subjects, func(s subject) bool {
		key := identityOf(fieldtest.Finding{ReadingID: s.readingID, SessionID: s.sessionID, RigID: s.rigID, PanelModel: s.panelModel, TesterID: s.testerID})
		repeated := seen[key]
		seen[key] = true
		return repeated
	})
}

// ReplaceResults stores what today's nameplates or methods make of stored readings,
// in place of what was made of them before. Only ids, results and their reasons of
// judged are used.
func (tx *Tx) ReplaceResults(judged []fieldtest.JudgedReading) error {
	c, err := resultColumnsOf(judged)
	if err != nil {
		return fmt.Errorf("replace %d results: %w", len(judged), err)
	}
	tx.early.Queue(query("replace_results"), c.args()...)
	tx.touch(groupsOf(judged)...)
	return tx.recordValue("results_replaced", "results", map[string]any{"readings": c.ids, "bodies": c.bodies}, nil)
}
