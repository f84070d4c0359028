package store

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"evensun/internal/ledger"
)

// A Tx is a write under way. Its methods queue statements; Seal sends those that
// need no sequence and locks the ledger's head, and the rest goes with the commit.
type Tx struct {
	conn   *pgxpool.Conn
	early  pgx.Batch        // before the head is locked
	drafts []ledger.Draft   // rows for the ledger
	late   []func(sealedAt) // queue what carries a sequence, one call a draft
	groups []string         // whose rankings are stale now

	sealed bool
	at     time.Time
	final  pgx.Batch
}

// sealedAt is a ledger row's place, for the row that it records.
type sealedAt struct {
	sequence int64
	at       time.Time
	batch    *pgx.Batch
}

// record queues a ledger row for content and, with it, the statements that carry its
// sequence.
func (tx *Tx) record(kind, subjectID, contentSHA256 string, late func(sealedAt)) error {
	if tx.sealed {
		return fmt.Errorf("record %s %s: the write is sealed already", kind, subjectID)
	}
	tx.drafts = append(tx.drafts, ledger.Draft{Kind: kind, SubjectID: subjectID, ContentSHA256: contentSHA256})
	tx.late = append(tx.late, late)
	return nil
}

// recordValue is record for content that is hashed by its JSON form.
func (tx *Tx) recordValue(kind, subjectID string, value any, late func(sealedAt)) error {
	hash, err := ledger.HashOf(value)
	if err != nil {
		return err
	}
	return tx.record(kind, subjectID, hash, late)
}

// touch marks groups of rankings as stale.
func (tx *Tx) touch(groups ...string) {
	for _, g := range groups {
		if !slices.Contains(tx.groups, g) {
			tx.groups = append(tx.groups, g)
		}
	}
}

// flush sends the queued statements that need no sequence, so that a query within
// the write sees their effect.
func (tx *Tx) flush(ctx context.Context) error {
	if tx.early.Len() == 0 {
		return nil
	}
	batch := tx.early
	tx.early = pgx.Batch{}
	return send(ctx, tx.conn, &batch)
}

// Seal gives the write its place in the ledger and returns the sequence of its last
// row, or that of the ledger's head where nothing was written. From here until the
// commit other writers wait, so it is called last.
func (tx *Tx) Seal(ctx context.Context) (int64, error) {
	if tx.sealed {
		return 0, fmt.Errorf("the write is sealed already")
	}
	head, now, err := tx.lockHead(ctx)
	if err != nil {
		return 0, err
	}
	tx.sealed, tx.at = true, now
	entries, head, err := ledger.Append(head, now, tx.drafts)
	if err != nil || len(entries) == 0 {
		return head.Sequence, err
	}
	tx.queueLedger(entries)
	for i, late := range tx.late {
		if late != nil {
			late(sealedAt{sequence: entries[i].Sequence, at: now, batch: &tx.final})
		}
	}
	if len(tx.groups) > 0 {
		tx.final.Queue(query("mark_dirty"), tx.groups, now, head.Sequence)
	}
	return head.Sequence, nil
}

// At returns the database's time at which the write was sealed.
func (tx *Tx) At() time.Time { return tx.at }

func (tx *Tx) lockHead(ctx context.Context) (ledger.Head, time.Time, error) {
	var head ledger.Head
	var now time.Time
	batch := tx.early
	tx.early = pgx.Batch{}
	name := "lock_head"
	if len(tx.drafts) == 0 {
		name = "read_head"
	}
	batch.Queue(query(name)).QueryRow(func(row pgx.Row) error {
		return row.Scan(&head.Sequence, &head.At, &head.Hash, &now)
	})
	if err := send(ctx, tx.conn, &batch); err != nil {
		return ledger.Head{}, time.Time{}, err
	}
	now = now.UTC()
	if now.Before(head.At) { // the server's clock was set back: order is by sequence, time must not contradict it
		now = head.At.UTC()
	}
	return head, now, nil
}

func (tx *Tx) queueLedger(entries []ledger.Entry) {
	var (
		sequences                 []int64
		kinds, subjects, contents []string
		prevHashes, hashes        []string
		last                      = entries[len(entries)-1]
	)
	for _, e := range entries {
		sequences = append(sequences, e.Sequence)
		kinds = append(kinds, e.Kind)
		subjects = append(subjects, e.SubjectID)
		contents = append(contents, e.ContentSHA256)
		prevHashes = append(prevHashes, e.PrevHash)
		hashes = append(hashes, e.Hash)
	}
	tx.final.Queue(query("append_ledger"), last.At, sequences, kinds, subjects, contents, prevHashes, hashes)
	tx.final.Queue(query("move_head"), last.Sequence, last.At, last.Hash)
}

// finish keeps the answer for the key and commits, or rolls a dry run back, in one
// round trip.
func (tx *Tx) finish(ctx context.Context, idem Idempotency, resp Response, dryRun bool) error {
	if idem.Key != "" {
		header, err := json.Marshal(resp.Header)
		if err != nil {
			return fmt.Errorf("keep the answer: %w", err)
		}
		tx.final.Queue(query("keep_answer"), idem.TesterID, idem.Key, resp.Status, header, notNil(resp.Body))
	}
	if dryRun {
		tx.final.Queue(query("check_deferred"))
		tx.final.Queue("ROLLBACK")
		return send(ctx, tx.conn, &tx.final)
	}
	tx.final.Queue("COMMIT")
	return commitError(ctx, send(ctx, tx.conn, &tx.final))
}

func notNil(b []byte) []byte {
	if b == nil {
		return []byte{}
	}
	return b
}
