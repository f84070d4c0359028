package store

import (
	"cmp"
	"context"
	"fmt"
	"slices"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"evensun/internal/ledger"
)

// A ContentFault is a row of the ledger that what is stored does not bear out.
type ContentFault struct {
	Sequence  int64
	Kind      string // of the ledger's row; for a row that the ledger does not record, what it is
	SubjectID string
	Reason    string
}

// String tells the fault in one line.
func (f ContentFault) String() string {
	return fmt.Sprintf("row %d: %s %s: %s", f.Sequence, f.Kind, f.SubjectID, f.Reason)
}

// kinds say how the hash of what a ledger row records is made again from what is stored.
func kinds() map[string]func(*verification, context.Context, []int64) error {
	return map[string]func(*verification, context.Context, []int64) error{
		kindTesterCreated:    hashing("verify_testers", scanTesterRecord),
		kindTesterTrusted:    hashing("verify_trust", scanTrustRecord),
		kindKeyCreated:       hashing("verify_keys", scanKeyRecord),
		kindKeyRevoked:       hashing("verify_revocations", scanRevocationRecord),
		kindModelCreated:     hashing("verify_models", scanModelRecord),
		kindModelRevised:     hashing("verify_models", scanModelRecord),
		kindPriceAdded:       hashing("verify_prices", scanPriceRecord),
		kindRigCreated:       hashing("verify_rigs", scanRigRecord),
		kindRigRevised:       hashing("verify_rigs", scanRigRecord),
		kindSessionAccepted:  (*verification).sessions,
		kindSessionRevised:   (*verification).sessions,
		kindSessionWithdrawn: hashing("verify_withdrawals", scanWithdrawalRecord),
		kindSessionRestored:  hashing("verify_withdrawals", scanWithdrawalRecord),
		kindVerdictGiven:     hashing("verify_verdicts", scanVerdictRecord),
		kindFindingsRaised:   (*verification).findingsRaised,
		kindAudit:            (*verification).audits,
		kindResultsReplaced:  (*verification).rejudgements,
		kindSnapshotCreated:  (*verification).snapshots,
	}
}

// VerifyContent makes the hashes of what ledger rows record again from what is stored now,
// and returns the rows that it does not bear out, in order. The results and states of the
// sessions among them are held against the record too. It needs memory for what the rows
// record, so they are given in portions.
func (db *DB) VerifyContent(ctx context.Context, entries []ledger.Entry) ([]ContentFault, error) {
	var faults []ContentFault
	err := pgx.BeginTxFunc(ctx, db.pool, readOnly(), func(tx pgx.Tx) error {
		v := verification{tx: tx, kinds: kinds(), hashes: map[int64][]string{}}
		if err := v.rehash(ctx, entries); err != nil {
			return err
		}
		faults = v.compare(entries)
		return nil
	})
	if err != nil {
		return nil, refusalOf(fmt.Errorf("verify %d rows of the ledger: %w", len(entries), err))
	}
	slices.SortStableFunc(faults, func(a, b ContentFault) int { return cmp.Compare(a.Sequence, b.Sequence) })
	return faults, nil
}

// A verification sees one state of the database.
type verification struct {
	tx     pgx.Tx
	kinds  map[string]func(*verification, context.Context, []int64) error
	hashes map[int64][]string // of what is stored, by the sequence that recorded it
	more   []ContentFault     // beside the hash, without kind and subject
}

func (v *verification) rehash(ctx context.Context, entries []ledger.Entry) error {
	for kind, sequences := range sequencesByKind(entries) {
		if v.kinds[kind] == nil {
			continue
		}
		if err := v.kinds[kind](v, ctx, sequences); err != nil {
			return fmt.Errorf("%s: %w", kind, err)
		}
	}
	return nil
}

func sequencesByKind(entries []ledger.Entry) map[string][]int64 {
	byKind := map[string][]int64{}
	for _, e := range entries {
		byKind[e.Kind] = append(byKind[e.Kind], e.Sequence)
	}
	return byKind
}

func (v *verification) compare(entries []ledger.Entry) []ContentFault {
	var faults []ContentFault
	bySequence := map[int64]ledger.Entry{}
	for _, e := range entries {
		bySequence[e.Sequence] = e
		if reason := v.fault(e); reason != "" {
			faults = append(faults, ContentFault{e.Sequence, e.Kind, e.SubjectID, reason})
		}
	}
	for _, f := range v.more {
		f.Kind, f.SubjectID = bySequence[f.Sequence].Kind, bySequence[f.Sequence].SubjectID
		faults = append(faults, f)
	}
	return faults
}

func (v *verification) fault(e ledger.Entry) string {
	hashes := v.hashes[e.Sequence]
	switch {
	case v.kinds[e.Kind] == nil:
		return "this program knows no such kind"
	case len(hashes) == 0:
		return "what it records is not stored"
	case len(hashes) > 1:
		return fmt.Sprintf("%d things are stored as what it records", len(hashes))
	case hashes[0] != e.ContentSHA256:
		return fmt.Sprintf("what is stored hashes to %s, the ledger says %s", hashes[0], e.ContentSHA256)
	}
	return ""
}

func (v *verification) add(sequence int64, record any) error {
	hash, err := ledger.HashOf(record)
	if err != nil {
		return err
	}
	v.hashes[sequence] = append(v.hashes[sequence], hash)
	return nil
}

// hashing makes hashes of what a query finds for ledger rows, one row each.
func hashing(name string, scan pgx.RowToFunc[placed[any]]) func(*verification, context.Context, []int64) error {
	return func(v *verification, ctx context.Context, sequences []int64) error {
		rows, err := collect(ctx, v.tx, scan, name, sequences)
		if err != nil {
			return err
		}
		for _, r := range rows {
			if err := v.add(r.sequence, r.value); err != nil {
				return err
			}
		}
		return nil
	}
}

// readingStates looks which readings of sessions are in another state than follows from the
// findings about them.
func (v *verification) readingStates(ctx context.Context, sequences []int64) error {
	rows, err := collect(ctx, v.tx, scanPlacedID, "verify_reading_ids", sequences)
	if err != nil {
		return err
	}
	ids, sequenceOf := make([]uuid.UUID, len(rows)), make(map[uuid.UUID]int64, len(rows))
	for i, r := range rows {
		ids[i], sequenceOf[r.value] = r.value, r.sequence
	}
	wrong, err := changedReadings(ctx, v.tx, ids)
	for _, r := range wrong {
		v.more = append(v.more, ContentFault{Sequence: sequenceOf[r.id], Reason: "the state of reading " + r.id.String() + " does not follow from the findings about it"})
	}
	return err
}

// VerifyStates returns at most limit rows of each table that the ledger does not record,
// and of each that is in a state which does not follow from what is recorded.
func (db *DB) VerifyStates(ctx context.Context, limit int) ([]ContentFault, error) {
	var faults []ContentFault
	err := pgx.BeginTxFunc(ctx, db.pool, readOnly(), func(tx pgx.Tx) error {
		unrecorded, err := collect(ctx, tx, func(row pgx.CollectableRow) (ContentFault, error) {
			f := ContentFault{Reason: "the ledger does not record it"}
			err := row.Scan(&f.Kind, &f.SubjectID, &f.Sequence)
			return f, err
		}, "verify_unrecorded", limit)
		if err != nil {
			return err
		}
		states, err := collect(ctx, tx, func(row pgx.CollectableRow) (ContentFault, error) {
			var f ContentFault
			err := row.Scan(&f.Kind, &f.SubjectID, &f.Sequence, &f.Reason)
			return f, err
		}, "verify_states", limit)
		faults = append(unrecorded, states...)
		return err
	})
	if err != nil {
		return nil, refusalOf(fmt.Errorf("verify states: %w", err))
	}
	return faults, nil
}
