package store

import (
	"context"
	"crypto/rand"
	"encoding/hex"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"evensun/internal/fieldtest"
)

// CreateTester stores a tester. Its time and sequence are filled in by Seal.
//
// The ledger's hash is over the profile and a salt that leaves with the profile, so
// that a name cannot be found again by trying names.
func (tx *Tx) CreateTester(t *fieldtest.Tester) error {
	salt := make([]byte, 16)
	if _, err := rand.Read(salt); err != nil {
		return err
	}
	content := testerRecord{ID: t.ID, DisplayName: t.DisplayName, Salt: hex.EncodeToString(salt), Trusted: t.Trusted}
	return tx.recordValue(kindTesterCreated, t.ID.String(), content, func(at sealedAt) {
		t.CreatedAt, t.Sequence = at.at, at.sequence
		at.batch.Queue(query("insert_tester"), t.ID, t.DisplayName, t.Trusted, salt, at.at, at.sequence)
		at.batch.Queue(query("insert_trust"), t.ID, t.Trusted, at.sequence)
	})
}

// LockTester returns a tester and keeps other writes that lock it waiting until this
// one ends: whatever depends on the tester's keys or trust is decided after it.
func (tx *Tx) LockTester(ctx context.Context, id uuid.UUID) (fieldtest.Tester, error) {
	rows, err := tx.conn.Query(ctx, query("lock_tester"), id)
	if err != nil {
		return fieldtest.Tester{}, found(err, "tester", id.String())
	}
	t, err := pgx.CollectExactlyOneRow(rows, scanTester)
	return t, found(err, "tester", id.String())
}

// Tester returns a tester.
func (db *DB) Tester(ctx context.Context, id uuid.UUID) (fieldtest.Tester, error) {
	rows, err := db.pool.Query(ctx, query("tester"), id)
	if err != nil {
		return fieldtest.Tester{}, found(err, "tester", id.String())
	}
	t, err := pgx.CollectExactlyOneRow(rows, scanTester)
	return t, found(err, "tester", id.String())
}

// Testers returns testers in the order in which they came.
func (db *DB) Testers(ctx context.Context, p Page) ([]fieldtest.Tester, *Cursor, int64, error) {
	place := func(t fieldtest.Tester) Cursor { return Cursor{Sequence: t.Sequence, ID: t.ID.String()} }
	return listing[fieldtest.Tester]{"testers", scanTester, place, afterSequence}.page(ctx, db, p)
}

func scanTester(row pgx.CollectableRow) (fieldtest.Tester, error) {
	var t fieldtest.Tester
	err := row.Scan(&t.ID, &t.DisplayName, &t.Trusted, &t.CreatedAt, &t.Sequence)
	t.CreatedAt = t.CreatedAt.UTC()
	return t, err
}

// KeptCount returns how many sessions of a tester a reviewer has kept that still stand as
// they were kept, but for one session.
func (db *DB) KeptCount(ctx context.Context, testerID, except uuid.UUID) (int, error) {
	var n int
	err := db.pool.QueryRow(ctx, query("kept_count"), testerID, except).Scan(&n)
	return n, found(err, "kept sessions of tester", testerID.String())
}

// Trust sets whether a tester's sessions count without a reviewer.
func (tx *Tx) Trust(testerID uuid.UUID, trusted bool) error {
	tx.early.Queue(query("trust_tester"), testerID, trusted).Exec(func(tag pgconn.CommandTag) error {
		if tag.RowsAffected() == 0 {
			return fieldtest.Missing("tester", testerID.String())
		}
		return nil
	})
	return tx.recordValue(kindTesterTrusted, testerID.String(), trustRecord{testerID, trusted}, func(at sealedAt) {
		at.batch.Queue(query("insert_trust"), testerID, trusted, at.sequence)
	})
}
