package store

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgxpool"

	"evensun/internal/fieldtest"
)

// An Idempotency is what makes a repeated request known: the key the client chose,
// of which tester, and the hash of everything that was asked. An empty key is none.
type Idempotency struct {
	TesterID    uuid.UUID
	Key         string
	Fingerprint [32]byte
}

// A Response is the answer to a write, as it is sent and kept for a repetition.
type Response struct {
	Status int
	Header map[string]string
	Body   []byte
}

const (
	longestAttempts = 4 // of a write that lost a deadlock or a serialisation conflict
	keyDays         = 7 // that an idempotency record lives: testers work off-grid
)

// Write runs do in one transaction that commits the data, the ledger's rows, the
// marks of stale rankings and the kept answer together. If the key already answered
// the same request, that answer is returned with replayed true and do is not run.
//
// With dryRun everything happens up to the commit, then is rolled back; no key is
// looked at or kept. do may be run more than once, and must not keep tx.
//
// The error is a *fieldtest.Refusal where the client can act, an *ExistingSession
// where the same session is stored already, else one of ours.
func (db *DB) Write(ctx context.Context, idem Idempotency, dryRun bool, do func(ctx context.Context, tx *Tx) (Response, error)) (Response, bool, error) {
	if dryRun {
		idem.Key = ""
	}
	for attempt := 1; ; attempt++ {
		resp, replayed, err := db.writeOnce(ctx, idem, dryRun, do)
		if err == nil {
			return resp, replayed, nil
		}
		if attempt < longestAttempts && mayRepeat(err) && ctx.Err() == nil {
			continue
		}
		return Response{}, false, refusalOf(err)
	}
}

func (db *DB) writeOnce(ctx context.Context, idem Idempotency, dryRun bool, do func(ctx context.Context, tx *Tx) (Response, error)) (Response, bool, error) {
	conn, err := db.pool.Acquire(ctx)
	if err != nil {
		return Response{}, false, fmt.Errorf("get a database connection: %w", err)
	}
	defer conn.Release()
	kept, err := begin(ctx, conn, idem)
	if err != nil || kept != nil {
		return rolledBack(ctx, conn, kept, err)
	}
	tx := &Tx{conn: conn}
	resp, err := do(ctx, tx)
	if err == nil && !tx.sealed {
		_, err = tx.Seal(ctx)
	}
	if err == nil {
		err = tx.finish(ctx, idem, resp, dryRun)
	}
	if err != nil {
		return rolledBack(ctx, conn, nil, err)
	}
	return resp, false, nil
}

// begin starts the transaction and claims the key in one round trip. It returns the
// kept answer where the key already has one.
func begin(ctx context.Context, conn *pgxpool.Conn, idem Idempotency) (*Response, error) {
	batch := &pgx.Batch{}
	batch.Queue("BEGIN")
	batch.Queue(query("limit_lock_wait"))
	if idem.Key == "" {
		return nil, send(ctx, conn, batch)
	}
	var mine bool
	var record keptAnswer
	batch.Queue(query("claim_key"), idem.TesterID, idem.Key, idem.Fingerprint[:], keyDays).Exec(func(tag pgconn.CommandTag) error {
		mine = tag.RowsAffected() == 1
		return nil
	})
	batch.Queue(query("kept_answer"), idem.TesterID, idem.Key).QueryRow(func(row pgx.Row) error {
		return row.Scan(&record.fingerprint, &record.status, &record.header, &record.body)
	})
	err := send(ctx, conn, batch)
	if isCode(err, codeLockNotAvailable) {
		return nil, &fieldtest.Refusal{Kind: fieldtest.IdempotencyKeyInUse, Detail: "A request with this Idempotency-Key is still being answered; nothing was stored by this one. Try again in a second."}
	}
	if err != nil || mine {
		return nil, err
	}
	return record.answer(idem)
}

type keptAnswer struct {
	fingerprint []byte
	status      int
	header      []byte
	body        []byte
}

func (k keptAnswer) answer(idem Idempotency) (*Response, error) {
	if !bytes.Equal(k.fingerprint, idem.Fingerprint[:]) {
		return nil, &fieldtest.Refusal{Kind: fieldtest.IdempotencyKeyReused, Detail: "This Idempotency-Key was used for another request; nothing was stored. Use a new key for new content."}
	}
	r := Response{Status: k.status, Body: k.body}
	if err := json.Unmarshal(k.header, &r.Header); err != nil {
		return nil, fmt.Errorf("kept answer of key: %w", err)
	}
	return &r, nil
}

// rolledBack ends a transaction that stores nothing. A connection on which even
// that fails is closed, which rolls back too.
func rolledBack(ctx context.Context, conn *pgxpool.Conn, kept *Response, err error) (Response, bool, error) {
	if _, rollbackErr := conn.Exec(context.WithoutCancel(ctx), "ROLLBACK"); rollbackErr != nil {
		closeErr := conn.Conn().Close(context.WithoutCancel(ctx))
		err = errors.Join(err, closeErr)
	}
	if err != nil || kept == nil {
		return Response{}, false, err
	}
	return *kept, true, nil
}

// send runs a batch in one round trip and returns its first error.
func send(ctx context.Context, conn *pgxpool.Conn, batch *pgx.Batch) error {
	return conn.SendBatch(ctx, batch).Close()
}

// ExpireKeys deletes at most limit idempotency records past their time and returns
// how many there were.
func (db *DB) ExpireKeys(ctx context.Context, limit int) (int64, error) {
	tag, err := db.pool.Exec(ctx, query("expire_keys"), limit)
	if err != nil {
		return 0, refusalOf(fmt.Errorf("expire idempotency records: %w", err))
	}
	return tag.RowsAffected(), nil
}
