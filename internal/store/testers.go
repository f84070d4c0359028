package store

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"time"

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

// CreateKey stores a key by the hash of its secret. Its time of creation is filled in
// by Seal.
func (tx *Tx) CreateKey(k *fieldtest.Key, secretSHA256 [32]byte) error {
	content := keyRecord{ID: k.ID, SecretSHA256: hex.EncodeToString(secretSHA256[:]), TesterID: k.TesterID, Role: k.Role, Name: k.Name, ExpiresAt: stored(k.ExpiresAt)}
	return tx.recordValue(kindKeyCreated, k.ID, content, func(at sealedAt) {
		k.CreatedAt = at.at
		at.batch.Queue(query("insert_key"), k.ID, secretSHA256[:], k.TesterID, k.Role, k.Name, at.at, k.ExpiresAt, at.sequence)
	})
}

// RevokeKey ends a key at once. Revoking a second time changes nothing.
func (tx *Tx) RevokeKey(ctx context.Context, id string) error {
	var revoked *time.Time
	err := tx.conn.QueryRow(ctx, query("lock_key"), id).Scan(&revoked)
	if err != nil {
		return found(err, "key", id)
	}
	if revoked != nil {
		return nil
	}
	return tx.recordValue(kindKeyRevoked, id, revocationRecord{id}, func(at sealedAt) {
		at.batch.Queue(query("revoke_key"), id, at.at)
	})
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

// A FoundKey is a key with the hash of its secret and what its owner may do.
type FoundKey struct {
	fieldtest.Key
	SecretSHA256 [32]byte
	Trusted      bool
}

// FindKey returns the key with the public part id, also if revoked or expired.
func (db *DB) FindKey(ctx context.Context, id string) (FoundKey, error) {
	rows, err := db.pool.Query(ctx, query("find_key"), id)
	if err != nil {
		return FoundKey{}, found(err, "key", id)
	}
	k, err := pgx.CollectExactlyOneRow(rows, func(row pgx.CollectableRow) (FoundKey, error) {
		var f FoundKey
		var secret []byte
		k := &f.Key
		err := row.Scan(&k.ID, &secret, &k.TesterID, &k.Role, &k.Name, &k.CreatedAt, &k.ExpiresAt, &k.RevokedAt, &k.LastUsed, &f.Trusted)
		copy(f.SecretSHA256[:], secret)
		return f, err
	})
	return k, found(err, "key", id)
}

// Keys returns all keys of a tester, oldest first; of everybody for the zero id.
func (db *DB) Keys(ctx context.Context, testerID uuid.UUID) ([]fieldtest.Key, error) {
	rows, err := db.pool.Query(ctx, query("keys"), testerID)
	if err != nil {
		return nil, found(err, "keys of tester", testerID.String())
	}
	keys, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (fieldtest.Key, error) {
		var k fieldtest.Key
		err := row.Scan(&k.ID, &k.TesterID, &k.Role, &k.Name, &k.CreatedAt, &k.ExpiresAt, &k.RevokedAt, &k.LastUsed)
		return k, err
	})
	return keys, found(err, "keys of tester", testerID.String())
}

// UsedKey notes the day on which a key was used, at most once a day.
func (db *DB) UsedKey(ctx context.Context, id string, day time.Time) error {
	_, err := db.pool.Exec(ctx, query("used_key"), id, day.UTC())
	return found(err, "key", id)
}

// KeptCount returns how many sessions of a tester a reviewer has kept.
func (db *DB) KeptCount(ctx context.Context, testerID uuid.UUID) (int, error) {
	var n int
	err := db.pool.QueryRow(ctx, query("kept_count"), testerID).Scan(&n)
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
