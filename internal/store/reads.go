package store

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"evensun/internal/fieldtest"
)

// Session returns the current revision of a session with its readings and findings.
func (db *DB) Session(ctx context.Context, id uuid.UUID) (fieldtest.StoredSession, error) {
	return db.session(ctx, id, nil)
}

// SessionRevision returns one revision of a session.
func (db *DB) SessionRevision(ctx context.Context, id uuid.UUID, revision int) (fieldtest.StoredSession, error) {
	return db.session(ctx, id, &revision)
}

// session reads all parts at one moment.
func (db *DB) session(ctx context.Context, id uuid.UUID, revision *int) (fieldtest.StoredSession, error) {
	var s fieldtest.StoredSession
	err := pgx.BeginTxFunc(ctx, db.pool, readOnly(), func(tx pgx.Tx) error {
		rows, err := tx.Query(ctx, query("session"), id, revision)
		if err != nil {
			return err
		}
		if s, err = pgx.CollectExactlyOneRow(rows, scanSession); err != nil {
			return err
		}
		if s.Readings, err = collect(ctx, tx, scanJudged, "session_readings", id, s.Revision); err != nil {
			return err
		}
		return db.attachFindings(ctx, tx, &s)
	})
	return s, found(err, "session", id.String())
}

// readOnly sees one state from the first to the last statement.
func readOnly() pgx.TxOptions {
	return pgx.TxOptions{IsoLevel: pgx.RepeatableRead, AccessMode: pgx.ReadOnly}
}

type querier interface {
	Query(ctx context.Context, sql string, args ...any) (pgx.Rows, error)
}

// collect runs a query file and returns its rows.
func collect[T any](ctx context.Context, q querier, scan pgx.RowToFunc[T], name string, args ...any) ([]T, error) {
	rows, err := q.Query(ctx, query(name), args...)
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(rows, scan)
}

func scanSession(row pgx.CollectableRow) (fieldtest.StoredSession, error) {
	var s fieldtest.StoredSession
	var raw []byte
	err := row.Scan(&s.ID, &s.Revision, &s.State, &s.StateReason, &s.TesterID, &s.RigID, &s.RigRevision, &s.SubmittedAt,
		&s.Sequence, &s.SHA256, &s.Method, &raw)
	if err != nil {
		return s, err
	}
	s.SubmittedAt = s.SubmittedAt.UTC()
	if err := json.Unmarshal(raw, &s.Session); err != nil {
		return s, fmt.Errorf("stored submission of session %s: %w", s.ID, err)
	}
	return s, nil
}

func scanJudged(row pgx.CollectableRow) (fieldtest.JudgedReading, error) {
	var j fieldtest.JudgedReading
	var slug string
	var body []byte
	err := row.Scan(&j.ID, &j.Label, &slug, &j.Specimen, &j.Kind, &j.Arrangement, &j.TakenAt, &j.State, &j.ResultReason, &body)
	if err != nil {
		return j, err
	}
	j.PanelModel, j.TakenAt, j.Findings = &slug, j.TakenAt.UTC(), []fieldtest.Finding{}
	if body == nil {
		return j, nil
	}
	j.Result = &fieldtest.Result{}
	return j, json.Unmarshal(body, j.Result)
}

// attachFindings puts each finding of a session where it belongs, with its verdicts.
func (db *DB) attachFindings(ctx context.Context, tx pgx.Tx, s *fieldtest.StoredSession) error {
	findings, err := collect(ctx, tx, scanFinding, "session_findings", s.ID, s.Revision)
	if err != nil {
		return err
	}
	if err := attachVerdicts(ctx, tx, findings); err != nil {
		return err
	}
	place := map[uuid.UUID]int{}
	for i, j := range s.Readings {
		place[*j.ID] = i
	}
	s.Findings = []fieldtest.Finding{}
	for _, f := range findings {
		if f.ReadingID == nil {
			s.Findings = append(s.Findings, f)
			continue
		}
		if i, ok := place[*f.ReadingID]; ok {
			s.Readings[i].Findings = append(s.Readings[i].Findings, f)
		}
	}
	return nil
}

// attachVerdicts fills in the verdicts of findings, in the order in which they came.
func attachVerdicts(ctx context.Context, q querier, findings []fieldtest.Finding) error {
	if len(findings) == 0 {
		return nil
	}
	place := map[uuid.UUID]int{}
	ids := make([]uuid.UUID, 0, len(findings))
	for i, f := range findings {
		place[f.ID], ids = i, append(ids, f.ID)
	}
	type placed struct {
		finding uuid.UUID
		verdict fieldtest.Verdict
	}
	verdicts, err := collect(ctx, q, func(row pgx.CollectableRow) (placed, error) {
		var p placed
		err := row.Scan(&p.finding, &p.verdict.FindingID, &p.verdict.Verdict, &p.verdict.Note, &p.verdict.Reviewer, &p.verdict.At, &p.verdict.Sequence)
		p.verdict.At = p.verdict.At.UTC()
		return p, err
	}, "verdicts", ids)
	if err != nil {
		return err
	}
	for _, v := range verdicts {
		f := &findings[place[v.finding]]
		f.Verdicts = append(f.Verdicts, v.verdict)
	}
	return nil
}

// A StoredReading is a reading with where it belongs.
type StoredReading struct {
	fieldtest.JudgedReading
	SessionID       uuid.UUID
	SessionRevision int
	Position        int // in the session's readings
}

// Reading returns a reading with its result and findings.
func (db *DB) Reading(ctx context.Context, id uuid.UUID) (StoredReading, error) {
	var r StoredReading
	err := db.pool.QueryRow(ctx, query("reading_place"), id).Scan(&r.SessionID, &r.SessionRevision, &r.Position)
	if err != nil {
		return r, found(err, "reading", id.String())
	}
	s, err := db.SessionRevision(ctx, r.SessionID, r.SessionRevision)
	if err != nil {
		return r, err
	}
	if r.Position >= len(s.Readings) {
		return r, fmt.Errorf("session %s has no reading at place %d", r.SessionID, r.Position)
	}
	r.JudgedReading = s.Readings[r.Position]
	return r, nil
}

// A SessionFilter narrows a list of sessions. Zero members do not narrow.
type SessionFilter struct {
	TesterID     *uuid.UUID
	RigID        *uuid.UUID
	PanelModels  []string // any of them
	From, To     *time.Time
	Arrangements []string // any reading in any of them
	States       []string // empty: accepted and withdrawn, the current revisions
	Near         *Near
}

// Near is a place with a distance around it.
type Near struct{ LatitudeDeg, LongitudeDeg, DistanceKm float64 }

// Sessions returns sessions, the newest first.
func (db *DB) Sessions(ctx context.Context, f SessionFilter, p Page) ([]fieldtest.SessionSummary, *Cursor, int64, error) {
	var near [3]*float64
	if f.Near != nil {
		near = [3]*float64{&f.Near.LatitudeDeg, &f.Near.LongitudeDeg, &f.Near.DistanceKm}
	}
	place := func(s fieldtest.SessionSummary) Cursor { return Cursor{Sequence: s.Sequence, ID: s.ID.String()} }
	return listing[fieldtest.SessionSummary]{"sessions", scanSummary, place, afterSequence}.page(ctx, db, p, f.TesterID, f.RigID, f.PanelModels, f.From, f.To, f.Arrangements, f.States, near[0], near[1], near[2])
}

func scanSummary(row pgx.CollectableRow) (fieldtest.SessionSummary, error) {
	var s fieldtest.SessionSummary
	err := row.Scan(&s.ID, &s.Revision, &s.State, &s.TesterID, &s.StartedAt, &s.EndedAt, &s.SubmittedAt, &s.LatitudeDeg,
		&s.LongitudeDeg, &s.Readings, &s.Held, &s.PanelModels, &s.Sequence)
	s.StartedAt, s.EndedAt, s.SubmittedAt = s.StartedAt.UTC(), s.EndedAt.UTC(), s.SubmittedAt.UTC()
	return s, err
}

// A FindingFilter narrows a list of findings. Zero members do not narrow.
type FindingFilter struct {
	States     []string
	Severities []string
	Rules      []string
	SessionID  *uuid.UUID
	ReadingID  *uuid.UUID
	TesterID   *uuid.UUID
	RigID      *uuid.UUID
	PanelModel *string
	ByPriority bool // the most important first; else the newest first
}

// Findings returns findings with their verdicts.
func (db *DB) Findings(ctx context.Context, f FindingFilter, p Page) ([]fieldtest.Finding, *Cursor, int64, error) {
	list := listing[listedFinding]{"findings", scanListedFinding, listedFinding.cursor, afterSequence}
	if f.ByPriority {
		list.query, list.after = "findings_by_priority", afterPriority
	}
	rows, next, asOf, err := list.page(ctx, db, p, f.States, f.Severities, f.Rules, f.SessionID, f.ReadingID, f.TesterID, f.RigID, f.PanelModel)
	if err != nil {
		return nil, nil, 0, err
	}
	findings := make([]fieldtest.Finding, 0, len(rows))
	for _, l := range rows {
		findings = append(findings, l.Finding)
	}
	if err := attachVerdicts(ctx, db.pool, findings); err != nil {
		return nil, nil, 0, refusalOf(fmt.Errorf("read verdicts of %d findings: %w", len(findings), err))
	}
	return findings, next, asOf, nil
}

type listedFinding struct {
	fieldtest.Finding
	sequence int64
}

func (l listedFinding) cursor() Cursor {
	return Cursor{Sequence: l.sequence, Priority: l.Priority, ID: l.ID.String()}
}

func scanListedFinding(row pgx.CollectableRow) (listedFinding, error) {
	var l listedFinding
	var basis []byte
	f := &l.Finding
	err := row.Scan(&f.ID, &f.Rule, &f.Severity, &f.TesterID, &f.RigID, &f.PanelModel, &f.SessionID, &f.ReadingID, &f.Label,
		&f.Pointer, &f.Value, &f.Limit, &f.Relation, &f.Unit, &f.Reason, &basis, &f.State, &f.Priority, &f.Band, &f.CreatedAt,
		&f.Arrangement, &f.CoverClass, &l.sequence)
	if err != nil {
		return l, err
	}
	f.CreatedAt = f.CreatedAt.UTC()
	return l, json.Unmarshal(basis, &f.Basis)
}

// Finding returns a finding with its verdicts.
func (db *DB) Finding(ctx context.Context, id uuid.UUID) (fieldtest.Finding, error) {
	findings, err := collect(ctx, db.pool, scanFinding, "finding", id)
	if err == nil && len(findings) == 0 {
		err = pgx.ErrNoRows
	}
	if err == nil {
		err = attachVerdicts(ctx, db.pool, findings)
	}
	if err != nil {
		return fieldtest.Finding{}, found(err, "finding", id.String())
	}
	return findings[0], nil
}

// StandingDoubts returns the open, asked or excluding findings that new readings of a
// tester with a revision of a rig and panel models fall under: on the tester, the rig or
// a model as such.
func (db *DB) StandingDoubts(ctx context.Context, testerID, rigID uuid.UUID, rigRevision int, slugs []string) ([]fieldtest.Finding, error) {
	findings, err := collect(ctx, db.pool, scanFinding, "standing_doubts", testerID, rigID, slugs, rigRevision)
	if err != nil {
		return nil, refusalOf(fmt.Errorf("read doubts about tester %s: %w", testerID, err))
	}
	return findings, nil
}

// SessionKnownBy returns the session of a tester that a client_ref or, for an empty
// ref, a content hash stands for.
func (db *DB) SessionKnownBy(ctx context.Context, testerID uuid.UUID, clientRef, sha256 string) (uuid.UUID, error) {
	kind, value := "client_ref", clientRef
	if clientRef == "" {
		kind, value = "content", sha256
	}
	var id uuid.UUID
	err := db.pool.QueryRow(ctx, query("session_known_by"), testerID, kind, value).Scan(&id)
	return id, found(err, "session with "+kind, value)
}
