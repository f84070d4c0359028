package store

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"evensun/internal/fieldtest"
)

// CreateRig stores a rig with its first revision. Revision, times and sequence are
// filled in by Seal.
func (tx *Tx) CreateRig(r *fieldtest.StoredRig) error {
	r.Revision = 1
	tx.early.Queue(query("insert_rig"), r.ID, r.TesterID)
	return tx.recordRig(kindRigCreated, r)
}

// UpdateRig adds a revision to rig id if its current revision is ifRevision, else
// refuses with the current one. Sessions keep the revision that they used.
func (tx *Tx) UpdateRig(ctx context.Context, id uuid.UUID, ifRevision int, r *fieldtest.StoredRig) error {
	r.ID, r.Revision = id, ifRevision+1
	err := tx.conn.QueryRow(ctx, query("advance_rig"), id, ifRevision).Scan(&r.TesterID, &r.CreatedAt)
	if errors.Is(err, pgx.ErrNoRows) {
		var current int
		if err := tx.conn.QueryRow(ctx, query("rig_current"), id).Scan(&current); err != nil {
			return found(err, "rig", id.String())
		}
		return staleRevision(current)
	}
	if err != nil {
		return found(err, "rig", id.String())
	}
	return tx.recordRig(kindRigRevised, r)
}

func (tx *Tx) recordRig(kind string, r *fieldtest.StoredRig) error {
	body, err := json.Marshal(r.Rig)
	if err != nil {
		return fmt.Errorf("store rig %s: %w", r.ID, err)
	}
	content := rigRecord{ID: r.ID, TesterID: r.TesterID, Revision: r.Revision, Kind: r.Kind, PowerReadAt: r.PowerReadAt, Body: body}
	return tx.recordValue(kind, r.ID.String(), content, func(at sealedAt) {
		if r.Revision == 1 {
			r.CreatedAt = at.at
		}
		r.UpdatedAt, r.Sequence = at.at, at.sequence
		at.batch.Queue(query("insert_rig_revision"), r.ID, r.Revision, r.Kind, r.PowerReadAt, string(body), at.at, at.sequence)
	})
}

// Rig returns the current revision of a rig.
func (db *DB) Rig(ctx context.Context, id uuid.UUID) (fieldtest.StoredRig, error) {
	return db.rig(ctx, id, nil)
}

// RigRevision returns one revision of a rig.
func (db *DB) RigRevision(ctx context.Context, id uuid.UUID, revision int) (fieldtest.StoredRig, error) {
	return db.rig(ctx, id, &revision)
}

func (db *DB) rig(ctx context.Context, id uuid.UUID, revision *int) (fieldtest.StoredRig, error) {
	rows, err := db.pool.Query(ctx, query("rig"), id, revision)
	if err != nil {
		return fieldtest.StoredRig{}, found(err, "rig", id.String())
	}
	r, err := pgx.CollectExactlyOneRow(rows, scanRig)
	return r, found(err, "rig", id.String())
}

// RigNamed returns the id of a tester's newest rig of that name, whatever its case.
func (db *DB) RigNamed(ctx context.Context, testerID uuid.UUID, name string) (uuid.UUID, error) {
	var id uuid.UUID
	err := db.pool.QueryRow(ctx, query("rig_named"), testerID, name).Scan(&id)
	return id, found(err, "rig", name)
}

// A RigFilter narrows a list of rigs. Zero members do not narrow.
type RigFilter struct {
	TesterID *uuid.UUID
	Kind     []string
}

// Rigs returns the current revisions of rigs, oldest change first.
func (db *DB) Rigs(ctx context.Context, f RigFilter, p Page) ([]fieldtest.StoredRig, *Cursor, int64, error) {
	place := func(r fieldtest.StoredRig) Cursor { return Cursor{Sequence: r.Sequence, ID: r.ID.String()} }
	return listing[fieldtest.StoredRig]{"rigs", scanRig, place, afterSequence}.page(ctx, db, p, f.TesterID, f.Kind)
}

func scanRig(row pgx.CollectableRow) (fieldtest.StoredRig, error) {
	var r fieldtest.StoredRig
	var body []byte
	err := row.Scan(&r.ID, &r.TesterID, &r.Revision, &r.CreatedAt, &r.UpdatedAt, &r.Sequence, &body)
	if err != nil {
		return r, err
	}
	r.CreatedAt, r.UpdatedAt = r.CreatedAt.UTC(), r.UpdatedAt.UTC()
	return r, json.Unmarshal(body, &r.Rig)
}
