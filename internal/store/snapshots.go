package store

import (
	"bytes"
	"compress/gzip"
	"context"
	"fmt"
	"io"
	"time"

	"github.com/jackc/pgx/v5"
)

// A Snapshot is what is stored of one beside its files.
type Snapshot struct {
	Name      string
	CreatedAt time.Time
	SHA256    string // of the manifest
	Manifest  []byte // canonical JSON
	Sequence  int64
}

// A SnapshotFile is one file of a snapshot. Size and hash are those of Content.
type SnapshotFile struct {
	Name      string
	MediaType string
	Size      int64
	SHA256    string
	Content   []byte
}

// CreateSnapshot stores a snapshot with its files, which nothing ever changes. The
// sequence is filled in by Seal. A name that was ever used is a name_taken refusal.
//
// Files are compressed at rest; none may be larger than 1 GB then.
func (tx *Tx) CreateSnapshot(s *Snapshot, files []SnapshotFile) error {
	for _, f := range files {
		packed, err := packed(f.Content)
		if err != nil {
			return fmt.Errorf("compress %s of snapshot %s: %w", f.Name, s.Name, err)
		}
		tx.early.Queue(query("insert_snapshot_file"), s.Name, f.Name, f.MediaType, f.Size, f.SHA256, packed)
	}
	return tx.record(kindSnapshotCreated, s.Name, s.SHA256, func(at sealedAt) {
		s.Sequence = at.sequence
		at.batch.Queue(query("insert_snapshot"), s.Name, s.CreatedAt, s.SHA256, s.Manifest, at.sequence)
	})
}

// Snapshot returns a snapshot's manifest.
func (db *DB) Snapshot(ctx context.Context, name string) (Snapshot, error) {
	rows, err := db.pool.Query(ctx, query("snapshot"), name)
	if err != nil {
		return Snapshot{}, found(err, "snapshot", name)
	}
	s, err := pgx.CollectExactlyOneRow(rows, scanSnapshot)
	return s, found(err, "snapshot", name)
}

// Snapshots returns snapshots, the newest first.
func (db *DB) Snapshots(ctx context.Context, p Page) ([]Snapshot, *Cursor, int64, error) {
	place := func(s Snapshot) Cursor { return Cursor{Sequence: s.Sequence, ID: s.Name} }
	return listing[Snapshot]{"snapshots", scanSnapshot, place, afterSequence}.page(ctx, db, p)
}

// SnapshotNames returns the names of a week's snapshots, as 2026-w48 and 2026-w48-2.
func (db *DB) SnapshotNames(ctx context.Context, week string) ([]string, error) {
	rows, err := db.pool.Query(ctx, query("snapshot_names"), week)
	if err != nil {
		return nil, found(err, "snapshots of", week)
	}
	names, err := pgx.CollectRows(rows, pgx.RowTo[string])
	return names, found(err, "snapshots of", week)
}

// SnapshotFile returns a file of a snapshot.
func (db *DB) SnapshotFile(ctx context.Context, snapshot, name string) (SnapshotFile, error) {
	var f SnapshotFile
	var content []byte
	err := db.pool.QueryRow(ctx, query("snapshot_file"), snapshot, name).Scan(&f.Name, &f.MediaType, &f.Size, &f.SHA256, &content)
	if err != nil {
		return f, found(err, "snapshot file", snapshot+"/"+name)
	}
	f.Content, err = unpacked(content, f.Size)
	return f, found(err, "snapshot file", snapshot+"/"+name)
}

func scanSnapshot(row pgx.CollectableRow) (Snapshot, error) {
	var s Snapshot
	err := row.Scan(&s.Name, &s.CreatedAt, &s.SHA256, &s.Manifest, &s.Sequence)
	s.CreatedAt = s.CreatedAt.UTC()
	return s, err
}

func packed(content []byte) ([]byte, error) {
	var out bytes.Buffer
	z := gzip.NewWriter(&out)
	if _, err := z.Write(content); err != nil {
		return nil, err
	}
	err := z.Close() // writes the rest
	return out.Bytes(), err
}

// unpacked reads at most one byte more than the size that was stored, so that damaged
// content cannot fill the memory.
func unpacked(content []byte, size int64) ([]byte, error) {
	z, err := gzip.NewReader(bytes.NewReader(content))
	if err != nil {
		return nil, err
	}
	return io.ReadAll(io.LimitReader(z, size+1))
}
