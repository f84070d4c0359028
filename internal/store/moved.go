package store

import (
	"context"
	"errors"
	"maps"
	"slices"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"evensun/internal/fieldtest"
)

// ErrMoved says that a nameplate, the sessions that rest on it or the doubts that a session
// falls under changed since they were read: what was computed from them must be computed
// anew. Nothing was stored.
var ErrMoved = errors.New("panel model, its sessions or doubts changed in between")

// queueModels makes sure that a session is stored only as judged by the current
// nameplates, and that none changes before the write ends.
func (tx *Tx) queueModels(judgedWith map[string]int) {
	if len(judgedWith) == 0 {
		return
	}
	tx.early.Queue(query("share_panel_models"), slices.Sorted(maps.Keys(judgedWith))).Query(func(rows pgx.Rows) error {
		var slug string
		var revision int
		moved := false
		_, err := pgx.ForEachRow(rows, []any{&slug, &revision}, func() error {
			moved = moved || revision != judgedWith[slug]
			return nil
		})
		if err == nil && moved {
			return ErrMoved
		}
		return err
	})
}

// A Judged is what a session was judged under: findings with their states. Nil is not
// looked at.
type Judged map[uuid.UUID]fieldtest.FindingState

// JudgedUnder notes the states of findings.
func JudgedUnder(findings []fieldtest.Finding) Judged {
	states := make(Judged, len(findings))
	for i := range findings {
		states[findings[i].ID] = findings[i].State
	}
	return states
}

// queueStanding makes sure that a session is stored only with the states that follow from
// the doubts on its tester, rig and models, and that none changes before the write ends.
func (tx *Tx) queueStanding(w SessionWrite) {
	if w.Standing == nil {
		return
	}
	tx.early.Queue(query("share_rig"), w.RigID)
	tx.early.Queue(query("share_tester"), w.TesterID)
	tx.early.Queue(query("standing_doubts"), w.TesterID, w.RigID, slugsOf(w.Judged), w.RigRevision).Query(func(rows pgx.Rows) error {
		now, err := pgx.CollectRows(rows, scanFinding)
		if err == nil && !maps.Equal(JudgedUnder(now), w.Standing) {
			return ErrMoved
		}
		return err
	})
}

// sameBefore makes sure that the decisions on the revision that a write replaces are those
// that it was judged under. The session is locked, so they stay.
func (tx *Tx) sameBefore(ctx context.Context, id uuid.UUID, revision int, before Judged) error {
	if before == nil {
		return nil
	}
	now, err := collect(ctx, tx.conn, func(row pgx.CollectableRow) (fieldtest.Finding, error) {
		var f fieldtest.Finding
		err := row.Scan(&f.ID, &f.State)
		return f, err
	}, "finding_states", id, revision)
	if err == nil && !maps.Equal(JudgedUnder(now), before) {
		return ErrMoved
	}
	return err
}

// StayCurrent makes sure that what was judged with these revisions of panel models, by
// slug, is stored only while they are the current ones: else the write ends with ErrMoved.
func (tx *Tx) StayCurrent(revisions map[string]int) { tx.queueModels(revisions) }

// NoSessionSince returns ErrMoved if a session with a panel model was stored after a
// sequence. Called after UpdatePanelModel, which keeps further ones out, it makes sure
// that the results replaced are those of all sessions.
func (tx *Tx) NoSessionSince(ctx context.Context, slug string, sequence int64) error {
	var exists bool
	if err := tx.conn.QueryRow(ctx, query("session_since"), slug, sequence).Scan(&exists); err != nil {
		return err
	}
	if exists {
		return ErrMoved
	}
	return nil
}
