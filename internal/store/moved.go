package store

import (
	"context"
	"errors"
	"maps"
	"slices"

	"github.com/jackc/pgx/v5"
)

// ErrMoved says that a nameplate, or the sessions that rest on it, changed since they
// were read: what was computed from them must be computed anew. Nothing was stored.
var ErrMoved = errors.New("panel model or its sessions changed in between")

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
