package store

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"evensun/internal/fieldtest"
)

// A SessionWrite is one revision of a session with all that was made of it.
type SessionWrite struct {
	ID             uuid.UUID
	Revision       int // 1 for a new session; ReviseSession fills it in
	TesterID       uuid.UUID
	RigID          uuid.UUID
	RigRevision    int
	Raw            []byte                       // JSON of the submission: all members and values, place rounded
	SHA256         string                       // content hash, by which the same session is known again
	EarlierSHA256  string                       // hash by which an earlier program may have stored it; empty: none
	Session        fieldtest.Session            // parsed, defaults filled in
	Judged         []fieldtest.JudgedReading    // one a reading, in order; ids, states, results and findings set
	Findings       []fieldtest.Finding          // of the session itself
	Method         string                       // version of rules and models
	NewModels      []fieldtest.StoredPanelModel // described inline under a new slug; ids set
	ModelRevisions map[string]int               // slug to the revision judged with
	Standing       Judged                       // doubts on tester, rig and models that it was judged under
	Before         Judged                       // findings about the revision that it replaces
	Reopened       []uuid.UUID                  // decided findings about the session as such that a revision opens again
	ReasonCode     string                       // of a revision
	Reason         string                       // of a revision
}

// SaveSession stores a new session with its readings, results and findings. If the
// tester has stored the same content before, the write fails with *ExistingSession;
// if the client_ref stands for other content, with a name_taken refusal.
func (tx *Tx) SaveSession(w SessionWrite) error {
	w.Revision = 1
	return tx.addRevision(kindSessionAccepted, w, nil)
}

// ReviseSession stores the next revision of session w.ID if its current revision is
// ifRevision, and takes the old one's readings out of the rankings. A withdrawn
// session is not revised.
func (tx *Tx) ReviseSession(ctx context.Context, w SessionWrite, ifRevision int) (int, error) {
	current, err := tx.lockSession(ctx, w.ID, &ifRevision)
	if err != nil {
		return 0, err
	}
	if current.state == fieldtest.SessionWithdrawn {
		return 0, withdrawnAlready()
	}
	if err := tx.sameBefore(ctx, w.ID, current.revision, w.Before); err != nil {
		return 0, err
	}
	gone, err := tx.obsoleteRevision(ctx, w.ID, current.revision)
	if err != nil {
		return 0, err
	}
	w.Revision, w.TesterID = current.revision+1, current.testerID
	return w.Revision, tx.addRevision(kindSessionRevised, w, func(at sealedAt) {
		at.batch.Queue(query("supersede_session"), w.ID, current.revision, at.sequence)
		at.batch.Queue(query("place_obsolete"), gone, at.sequence)
		if len(w.Reopened) > 0 {
			at.batch.Queue(query("place_reopened"), w.Reopened, at.sequence)
		}
	})
}

// A WithdrawalWrite takes a session out of the rankings, or brings it back.
type WithdrawalWrite struct {
	SessionID  uuid.UUID
	IfRevision *int // nil: any current one
	Reason     string
	By         uuid.UUID
}

// WithdrawSession takes a session out of the rankings, not out of the record. Doubts about
// it that nobody has decided on are obsolete. Somebody else's session is not withdrawn by
// who has readings of its panel models.
func (tx *Tx) WithdrawSession(ctx context.Context, w WithdrawalWrite) error {
	current, err := tx.lockSession(ctx, w.SessionID, w.IfRevision)
	if err != nil {
		return err
	}
	if current.state == fieldtest.SessionWithdrawn {
		return withdrawnAlready()
	}
	if err := tx.refuseRival(ctx, w, current.testerID); err != nil {
		return err
	}
	gone, err := tx.obsoleteRevision(ctx, w.SessionID, current.revision)
	if err != nil {
		return err
	}
	tx.early.Queue(query("supersede_readings"), w.SessionID, current.revision)
	tx.touch(arrangementGroups()...)
	content := withdrawalRecord{ID: w.SessionID, Revision: current.revision, Reason: w.Reason, By: &w.By}
	return tx.recordValue(kindSessionWithdrawn, w.SessionID.String(), content, func(at sealedAt) {
		at.batch.Queue(query("withdraw_session"), w.SessionID, current.revision, w.Reason)
		at.batch.Queue(query("insert_withdrawal"), at.sequence, w.SessionID, current.revision, false, w.Reason, w.By)
		at.batch.Queue(query("place_obsolete"), gone, at.sequence)
	})
}

// RestoreSession takes a withdrawal back: the session counts as it did, under the doubts
// that stood when it was withdrawn and those that came since. may is asked with the
// tester and who withdrew, nil where that was not kept.
func (tx *Tx) RestoreSession(ctx context.Context, w WithdrawalWrite, may func(owner uuid.UUID, withdrawer *uuid.UUID) error) error {
	current, err := tx.lockSession(ctx, w.SessionID, w.IfRevision)
	if err != nil {
		return err
	}
	if current.state != fieldtest.SessionWithdrawn {
		return &fieldtest.Refusal{Kind: fieldtest.IllegalTransition, Detail: "This session is not withdrawn, so there is nothing to restore. Nothing was stored."}
	}
	var sequence int64
	var by *uuid.UUID
	if err := tx.conn.QueryRow(ctx, query("last_withdrawal"), w.SessionID).Scan(&sequence, &by); err != nil {
		return found(err, "withdrawal of session", w.SessionID.String())
	}
	if err := may(current.testerID, by); err != nil {
		return err
	}
	tx.early.Queue(query("restore_session"), w.SessionID, current.revision)
	tx.early.Queue(query("restore_readings"), w.SessionID, current.revision)
	tx.early.Queue(query("restore_findings"), w.SessionID, sequence)
	tx.touch(arrangementGroups()...)
	if err := tx.restate(ctx, subject{sessionID: &w.SessionID, sessionRevision: &current.revision}); err != nil {
		return err
	}
	content := withdrawalRecord{ID: w.SessionID, Revision: current.revision, Reason: w.Reason, By: &w.By}
	return tx.recordValue(kindSessionRestored, w.SessionID.String(), content, func(at sealedAt) {
		at.batch.Queue(query("insert_withdrawal"), at.sequence, w.SessionID, current.revision, true, w.Reason, w.By)
	})
}

// refuseRival refuses who would take out readings that their own are compared with.
func (tx *Tx) refuseRival(ctx context.Context, w WithdrawalWrite, owner uuid.UUID) error {
	if w.By == owner {
		return nil
	}
	var rival bool
	if err := tx.conn.QueryRow(ctx, query("shares_panel_models"), w.SessionID, w.By).Scan(&rival); err != nil {
		return err
	}
	if rival {
		return &fieldtest.Refusal{Kind: fieldtest.Forbidden, Detail: "You have readings of panel models in this session yourself; another reviewer must withdraw it. Nothing was stored."}
	}
	return nil
}

// obsoleteRevision makes the doubts about a revision obsolete on which no reviewer has
// decided, and returns them. Audits look after theirs themselves.
func (tx *Tx) obsoleteRevision(ctx context.Context, session uuid.UUID, revision int) ([]uuid.UUID, error) {
	gone, err := collect(ctx, tx.conn, pgx.RowTo[uuid.UUID], "obsolete_revision", session, revision, undecidedStates())
	return sortedIDs(gone), err
}

func withdrawnAlready() error {
	return &fieldtest.Refusal{Kind: fieldtest.IllegalTransition, Detail: "This session is withdrawn; nothing was stored. Restore it first, or submit a new one."}
}

type currentSession struct {
	revision int
	testerID uuid.UUID
	state    fieldtest.SessionState
}

// lockSession locks the current revision of a session against other changes.
func (tx *Tx) lockSession(ctx context.Context, id uuid.UUID, ifRevision *int) (currentSession, error) {
	var c currentSession
	err := tx.conn.QueryRow(ctx, query("lock_session"), id).Scan(&c.revision, &c.testerID, &c.state)
	if errors.Is(err, pgx.ErrNoRows) { // unknown, or revised by the transaction we waited for
		return c, tx.movedOn(ctx, id)
	}
	if err != nil {
		return c, found(err, "session", id.String())
	}
	if ifRevision != nil && *ifRevision != c.revision {
		return c, staleRevision(c.revision)
	}
	return c, nil
}

func (tx *Tx) movedOn(ctx context.Context, id uuid.UUID) error {
	var current int
	if err := tx.conn.QueryRow(ctx, query("session_current"), id).Scan(&current); err != nil {
		return found(err, "session", id.String())
	}
	return staleRevision(current)
}

// addRevision queues all of one revision: readings first, and with the sequence the
// session and its findings.
func (tx *Tx) addRevision(kind string, w SessionWrite, before func(sealedAt)) error {
	if len(w.Judged) != len(w.Session.Readings) {
		return fmt.Errorf("store session %s: %d readings, %d judged", w.ID, len(w.Session.Readings), len(w.Judged))
	}
	revisions, err := json.Marshal(notNilMap(w.ModelRevisions))
	if err != nil {
		return fmt.Errorf("store session %s: %w", w.ID, err)
	}
	for i := range w.NewModels {
		if err := tx.CreatePanelModel(&w.NewModels[i]); err != nil {
			return err
		}
	}
	tx.queueModels(w.ModelRevisions)
	tx.queueStanding(w)
	if w.Revision > 1 {
		tx.early.Queue(query("supersede_readings"), w.ID, w.Revision-1)
	}
	if len(w.Reopened) > 0 {
		tx.early.Queue(query("reopen_findings"), w.Reopened)
	}
	tx.queueIdentity(w)
	findings, err := findingColumnsOf(allFindings(w))
	if err != nil {
		return fmt.Errorf("store session %s: %w", w.ID, err)
	}
	content := recordOf(w, revisions)
	if content.ReadingsSHA256, content.ResultsSHA256, err = tx.queueReadings(w); err != nil {
		return err
	}
	if content.FindingsSHA256, err = findings.sha256(w.Revision); err != nil {
		return fmt.Errorf("store session %s: %w", w.ID, err)
	}
	tx.touch(groupsOf(w.Judged)...)
	return tx.recordValue(kind, w.ID.String(), content, func(at sealedAt) {
		if before != nil {
			before(at)
		}
		c := content
		at.batch.Queue(query("insert_session"), c.ID, c.Revision, c.TesterID, c.RigID, c.RigRevision, c.ReasonCode, c.Reason,
			c.StartedAt, c.EndedAt, at.at, c.LatitudeDeg, c.LongitudeDeg, c.AltitudeM, c.ClientRef,
			c.PanelModels, w.Raw, c.ContentSHA256, c.Method, string(revisions), at.sequence, c.ResultsSHA256)
		if len(findings.ids) > 0 {
			findings.queue(at.batch, "insert_findings", w.Revision, at)
		}
	})
}

// recordOf returns what the ledger hashes of a session, but for its readings, their
// results and its findings.
func recordOf(w SessionWrite, modelRevisions []byte) sessionRecord {
	s := w.Session
	return sessionRecord{
		ID: w.ID, Revision: w.Revision, TesterID: w.TesterID, RigID: w.RigID, RigRevision: w.RigRevision, ReasonCode: w.ReasonCode, Reason: w.Reason,
		StartedAt: stored(s.StartedAt), EndedAt: stored(endOf(s)), LatitudeDeg: s.Site.LatitudeDeg, LongitudeDeg: s.Site.LongitudeDeg,
		AltitudeM: s.Site.AltitudeM, ClientRef: optional(s.ClientRef), PanelModels: slugsOf(w.Judged), SubmissionSHA256: hexSHA256(w.Raw),
		ContentSHA256: w.SHA256, Method: w.Method, ModelRevisions: modelRevisions,
	}
}

// queueIdentity notes by what the session is known. Every row comes back with the
// session that it stands for, which must be this one.
func (tx *Tx) queueIdentity(w SessionWrite) {
	kinds, values := []string{"content"}, []string{w.SHA256}
	if w.EarlierSHA256 != "" && w.EarlierSHA256 != w.SHA256 {
		kinds, values = append(kinds, "content"), append(values, w.EarlierSHA256)
	}
	if w.Session.ClientRef != "" {
		kinds, values = append(kinds, "client_ref"), append(values, w.Session.ClientRef)
	}
	tx.early.Queue(query("insert_session_identity"), w.TesterID, kinds, values, w.ID).Query(func(rows pgx.Rows) error {
		owners := map[string]uuid.UUID{}
		var kind string
		var owner uuid.UUID
		_, err := pgx.ForEachRow(rows, []any{&kind, &owner}, func() error {
			if owners[kind] == uuid.Nil || owner != w.ID { // by either hash it may be another session
				owners[kind] = owner
			}
			return nil
		})
		if err != nil {
			return err
		}
		return identityConflict(w, owners)
	})
}

func identityConflict(w SessionWrite, owners map[string]uuid.UUID) error {
	byContent, byRef := owners["content"], w.ID
	if ref, ok := owners["client_ref"]; ok {
		byRef = ref
	}
	if byRef != w.ID && byRef != byContent {
		r := nameTaken("#/client_ref", fmt.Sprintf("The client_ref %q stands for another session of yours; nothing was stored.", w.Session.ClientRef))
		r.Extra = map[string]any{"existing": byRef}
		return r
	}
	if byContent != w.ID {
		return &ExistingSession{ID: byContent}
	}
	return nil
}

// queueReadings queues specimens, readings and results, and returns the hashes of readings
// and results.
func (tx *Tx) queueReadings(w SessionWrite) (string, string, error) {
	c, err := readingColumnsOf(w)
	if err != nil {
		return "", "", fmt.Errorf("store %d readings of session %s: %w", len(w.Judged), w.ID, err)
	}
	names, err := specimensOf(w.Judged)
	if err != nil {
		return "", "", err
	}
	tx.early.Queue(query("insert_specimens"), w.TesterID, names.ids, names.slugs, names.names)
	tx.early.Queue(query("insert_readings"), append([]any{w.ID, w.Revision, w.TesterID, w.RigID}, c.args()...)...).Exec(func(tag pgconn.CommandTag) error {
		if tag.RowsAffected() == int64(len(w.Judged)) {
			return nil
		}
		return &fieldtest.Refusal{Kind: fieldtest.ValidationFailed, Detail: "A reading names a panel model that does not exist; nothing was stored.",
			Faults: []fieldtest.Fault{{Pointer: "#/readings", Code: "unknown", Reason: "A panel model named here does not exist."}}}
	})
	r, err := resultColumnsOf(w.Judged)
	if err != nil {
		return "", "", fmt.Errorf("store %d results of session %s: %w", len(w.Judged), w.ID, err)
	}
	tx.early.Queue(query("insert_results"), r.args()...)
	readings, err := c.sha256()
	if err != nil {
		return "", "", err
	}
	results, err := r.sha256()
	return readings, results, err
}

func notNilMap(m map[string]int) map[string]int {
	if m == nil {
		return map[string]int{}
	}
	return m
}

func optional(s string) *string {
	if s == "" {
		return nil
	}
	return &s
}
