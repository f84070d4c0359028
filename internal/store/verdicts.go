package store

import (
	"context"
	"slices"
	"strings"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"evensun/internal/fieldtest"
)

// A VerdictWrite is a reviewer's decision on a finding.
type VerdictWrite struct {
	ID        uuid.UUID
	FindingID uuid.UUID
	Verdict   fieldtest.Decision
	Note      string
	Reviewer  uuid.UUID
}

// AddVerdict stores a verdict and applies it: the finding takes its new state, and
// every reading that the finding is about is held, excluded or counted by all
// findings that are about it. A reviewer does not decide on own data, nor anybody
// on a finding that is obsolete.
//
// A finding is about the readings that match all ids it names. One about a panel
// model as such must therefore name no tester.
func (tx *Tx) AddVerdict(ctx context.Context, v VerdictWrite) error {
	s, err := tx.lockFinding(ctx, v)
	if err != nil {
		return err
	}
	state := stateAfter(v.Verdict)
	tx.early.Queue(query("set_finding_state"), v.FindingID, state)
	affected, err := tx.lockAffected(ctx, s)
	if err != nil {
		return err
	}
	if slices.ContainsFunc(affected, func(r affectedReading) bool { return r.tester == v.Reviewer }) {
		return ownData()
	}
	if err := tx.restateReadings(ctx, affected); err != nil {
		return err
	}
	if v.Verdict == fieldtest.Keep {
		tx.touch(arrangementGroups()...) // no reading changes its state, but weights may
	}
	content := verdictRecord(v)
	return tx.recordValue(kindVerdictGiven, v.FindingID.String(), content, func(at sealedAt) {
		at.batch.Queue(query("insert_verdict"), v.ID, v.FindingID, v.Verdict, v.Note, v.Reviewer, at.at, at.sequence)
	})
}

func stateAfter(d fieldtest.Decision) fieldtest.FindingState {
	switch d {
	case fieldtest.Keep:
		return fieldtest.FindingKept
	case fieldtest.Exclude:
		return fieldtest.FindingExcluded
	}
	return fieldtest.FindingAsked
}

// A subject is what a finding is about: the readings that match all that is set.
type subject struct {
	readingID, sessionID, rigID, testerID *uuid.UUID
	sessionRevision                       *int
	panelModel                            *string
	arrangement                           *fieldtest.Arrangement
	coverClass                            *string
}

// place sorts a subject among others by the row that lock_subject locks: sessions first,
// then panel models, rigs and testers.
func (s subject) place() string {
	switch {
	case s.sessionID != nil:
		return "1 " + s.sessionID.String()
	case s.rigID != nil:
		return "3 " + s.rigID.String()
	case s.panelModel != nil:
		return "2 " + *s.panelModel
	case s.testerID != nil:
		return "4 " + s.testerID.String()
	}
	return ""
}

func (tx *Tx) lockFinding(ctx context.Context, v VerdictWrite) (subject, error) {
	var s subject
	var state fieldtest.FindingState
	var owner *uuid.UUID
	err := tx.conn.QueryRow(ctx, query("lock_finding"), v.FindingID).Scan(
		&s.readingID, &s.sessionID, &s.sessionRevision, &s.rigID, &s.panelModel, &s.testerID, &s.arrangement, &s.coverClass, &state, &owner)
	if err != nil {
		return s, found(err, "finding", v.FindingID.String())
	}
	if owner != nil && *owner == v.Reviewer {
		return s, ownData()
	}
	if state == fieldtest.FindingObsolete {
		return s, &fieldtest.Refusal{Kind: fieldtest.IllegalTransition, Detail: "Today's method no longer raises this finding, so there is nothing to decide. Nothing was stored."}
	}
	return s, nil
}

func ownData() error {
	return &fieldtest.Refusal{Kind: fieldtest.Forbidden, Detail: "This finding is about your own data, or about that of others and yours; another reviewer must decide. Nothing was stored."}
}

// restate gives all readings of a subject the state that follows from the findings
// as they are now. The readings are locked before the findings are read, so that of
// two verdicts at once the later sees the earlier. Of several subjects all are locked
// before any reading, in the order in which sessions on their way in lock them.
func (tx *Tx) restate(ctx context.Context, subjects ...subject) error {
	affected, err := tx.lockAffected(ctx, subjects...)
	if err != nil {
		return err
	}
	return tx.restateReadings(ctx, affected)
}

// An affectedReading is one that a finding is about.
type affectedReading struct{ id, tester uuid.UUID }

// lockAffected locks subjects and their readings, and returns the readings.
func (tx *Tx) lockAffected(ctx context.Context, subjects ...subject) ([]affectedReading, error) {
	subjects = slices.Clone(subjects)
	slices.SortStableFunc(subjects, func(a, b subject) int { return strings.Compare(a.place(), b.place()) })
	for _, s := range subjects {
		tx.early.Queue(query("lock_subject"), s.sessionID, s.rigID, s.panelModel, s.testerID)
	}
	var affected []affectedReading
	for _, s := range subjects {
		tx.early.Queue(query("lock_affected_readings"), s.readingID, s.sessionID, s.sessionRevision, s.rigID, s.panelModel, s.testerID,
			s.arrangement, s.coverClass).Query(func(rows pgx.Rows) error {
			var r affectedReading
			_, err := pgx.ForEachRow(rows, []any{&r.id, &r.tester}, func() error {
				affected = append(affected, r)
				return nil
			})
			return err
		})
	}
	err := tx.flush(ctx)
	return affected, err
}

// restateReadings gives readings the state that follows from all findings about them.
func (tx *Tx) restateReadings(ctx context.Context, affected []affectedReading) error {
	if len(affected) == 0 {
		return nil
	}
	ids := make([]uuid.UUID, len(affected))
	for i, r := range affected {
		ids[i] = r.id
	}
	changed, err := changedReadings(ctx, tx.conn, ids)
	if err != nil {
		return err
	}
	tx.queueStates(changed)
	return nil
}

// queueStates gives readings their new states and marks the rankings that they belong to.
func (tx *Tx) queueStates(changed []restated) {
	if len(changed) == 0 {
		return
	}
	ids, states := make([]uuid.UUID, len(changed)), make([]string, len(changed))
	for i, r := range changed {
		ids[i], states[i] = r.id, string(r.state)
		tx.touch(r.arrangement)
	}
	tx.early.Queue(query("set_reading_states"), ids, states)
}

// A restated reading is one that the findings about it give another state than it has.
type restated struct {
	id          uuid.UUID
	arrangement string
	state       fieldtest.ReadingState
}

// changedReadings returns those of some readings whose state is not the one that follows
// from all findings about them. Superseded readings stay so.
func changedReadings(ctx context.Context, q querier, ids []uuid.UUID) ([]restated, error) {
	rows, err := q.Query(ctx, query("findings_about"), ids)
	if err != nil {
		return nil, err
	}
	var changed []restated
	var r, last restated
	var has, had fieldtest.ReadingState
	var severity *fieldtest.Severity
	var state *fieldtest.FindingState
	add := func() {
		if last.id != uuid.Nil && had != fieldtest.Superseded && last.state != had {
			changed = append(changed, last)
		}
	}
	_, err = pgx.ForEachRow(rows, []any{&r.id, &r.arrangement, &has, &severity, &state}, func() error {
		if r.id != last.id {
			add()
			last, had = r, has
			last.state = fieldtest.Counted
		}
		if severity != nil {
			last.state = last.state.Under(fieldtest.Effect(*severity, *state))
		}
		return nil
	})
	add()
	return changed, err
}
