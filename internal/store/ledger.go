package store

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"

	"evensun/internal/ledger"
)

// LedgerHead returns the newest row's place in the ledger.
func (db *DB) LedgerHead(ctx context.Context) (ledger.Head, error) {
	var h ledger.Head
	err := db.pool.QueryRow(ctx, query("ledger_head")).Scan(&h.Sequence, &h.At, &h.Hash)
	if err != nil {
		return ledger.Head{}, refusalOf(fmt.Errorf("read the ledger's head: %w", err))
	}
	h.At = h.At.UTC()
	return h, nil
}

// Ledger returns at most limit rows after a sequence, in order.
func (db *DB) Ledger(ctx context.Context, after int64, limit int) ([]ledger.Entry, error) {
	rows, err := db.pool.Query(ctx, query("ledger"), after, limit)
	if err != nil {
		return nil, refusalOf(fmt.Errorf("read the ledger after %d: %w", after, err))
	}
	entries, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (ledger.Entry, error) {
		var e ledger.Entry
		err := row.Scan(&e.Sequence, &e.At, &e.Kind, &e.SubjectID, &e.ContentSHA256, &e.PrevHash, &e.Hash)
		e.At = e.At.UTC()
		return e, err
	})
	if err != nil {
		return nil, refusalOf(fmt.Errorf("read the ledger after %d: %w", after, err))
	}
	return entries, nil
}
