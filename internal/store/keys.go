package store

import (
	"context"
	"encoding/hex"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"evensun/internal/fieldtest"
)

// CreateKey stores a key by the hash of its secret. Its time of creation is filled in
// by Seal.
func (tx *Tx) CreateKey(k *fieldtest.Key, secretSHA256 [32]byte) error {
	content := keyRecord{ID: k.ID, SecretSHA256: hex.EncodeToString(secretSHA256[:]), TesterID: k.TesterID, Role: k.Role, Name: k.Name, ExpiresAt: stored(k.ExpiresAt), ParentID: k.ParentID}
	return tx.recordValue(kindKeyCreated, k.ID, content, func(at sealedAt) {
		k.CreatedAt = at.at
		at.batch.Queue(query("insert_key"), k.ID, secretSHA256[:], k.TesterID, k.Role, k.Name, at.at, k.ExpiresAt, at.sequence, k.ParentID)
	})
}

// LockKey returns a key and keeps it from being revoked until the write ends.
func (tx *Tx) LockKey(ctx context.Context, id string) (fieldtest.Key, error) {
	rows, err := tx.conn.Query(ctx, query("lock_key"), id)
	if err != nil {
		return fieldtest.Key{}, found(err, "key", id)
	}
	k, err := pgx.CollectExactlyOneRow(rows, scanKey)
	return k, found(err, "key", id)
}

// RevokeKey ends a key at once. Revoking a second time changes nothing.
func (tx *Tx) RevokeKey(ctx context.Context, id string) error {
	k, err := tx.LockKey(ctx, id)
	if err != nil || k.RevokedAt != nil {
		return err
	}
	return tx.recordValue(kindKeyRevoked, id, revocationRecord{id}, func(at sealedAt) {
		at.batch.Queue(query("revoke_key"), id, at.at)
	})
}

// Keys returns all keys of a tester as the write sees them, oldest first.
func (tx *Tx) Keys(ctx context.Context, testerID uuid.UUID) ([]fieldtest.Key, error) {
	keys, err := collect(ctx, tx.conn, scanKey, "keys", testerID)
	return keys, found(err, "keys of tester", testerID.String())
}

// KeysMadeBy returns a key and all that it made, directly or through others.
func (tx *Tx) KeysMadeBy(ctx context.Context, id string) ([]fieldtest.Key, error) {
	keys, err := collect(ctx, tx.conn, scanKey, "keys_made_by", id)
	return keys, found(err, "keys made by key", id)
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
		err := row.Scan(&k.ID, &secret, &k.TesterID, &k.Role, &k.Name, &k.CreatedAt, &k.ExpiresAt, &k.RevokedAt, &k.LastUsed, &k.ParentID, &f.Trusted)
		copy(f.SecretSHA256[:], secret)
		return f, err
	})
	return k, found(err, "key", id)
}

// Keys returns all keys of a tester, oldest first; of everybody for the zero id.
func (db *DB) Keys(ctx context.Context, testerID uuid.UUID) ([]fieldtest.Key, error) {
	keys, err := collect(ctx, db.pool, scanKey, "keys", testerID)
	return keys, found(err, "keys of tester", testerID.String())
}

func scanKey(row pgx.CollectableRow) (fieldtest.Key, error) {
	var k fieldtest.Key
	err := row.Scan(&k.ID, &k.TesterID, &k.Role, &k.Name, &k.CreatedAt, &k.ExpiresAt, &k.RevokedAt, &k.LastUsed, &k.ParentID)
	return k, err
}

// UsedKey notes the day on which a key was used, at most once a day.
func (db *DB) UsedKey(ctx context.Context, id string, day time.Time) error {
	_, err := db.pool.Exec(ctx, query("used_key"), id, day.UTC())
	return found(err, "key", id)
}
