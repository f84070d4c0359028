package store

import (
	"compress/gzip"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"evensun/internal/snapshot"
)

// sessions hashes sessions with their readings and findings, and holds their results
// against the hash of their newest judgement.
func (v *verification) sessions(ctx context.Context, sequences []int64) error {
	sessions, err := collect(ctx, v.tx, scanSessionRow, "verify_sessions", sequences)
	if err != nil {
		return err
	}
	readings, results := readingRows{}, resultRows{}
	if err := v.each(ctx, "verify_readings", sequences, readings.scan); err != nil {
		return err
	}
	if err := v.each(ctx, "verify_results", sequences, results.scan); err != nil {
		return err
	}
	findings, err := v.findings(ctx, sequences)
	if err != nil {
		return err
	}
	for _, s := range sessions {
		record := s.value.record
		if record.FindingsSHA256, err = hashOfFindings(findings[s.sequence]); err != nil {
			return err
		}
		if record.ReadingsSHA256, err = orNone(readings[s.sequence]).sha256(); err != nil {
			return err
		}
		if err := v.add(s.sequence, record); err != nil {
			return err
		}
		hash, err := orNone(results[s.sequence]).sha256()
		if err != nil {
			return err
		}
		if hash != s.value.resultsSHA256 {
			v.more = append(v.more, ContentFault{Sequence: s.sequence, Reason: fmt.Sprintf("its results hash to %s, their newest record says %s", hash, s.value.resultsSHA256)})
		}
	}
	return v.readingStates(ctx, sequences)
}

func orNone[T any](x *T) T {
	if x == nil {
		return *new(T)
	}
	return *x
}

// each runs a query for ledger rows and hands its rows on one by one.
func (v *verification) each(ctx context.Context, name string, sequences []int64, scan func(pgx.CollectableRow) error) error {
	rows, err := v.tx.Query(ctx, query(name), sequences)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		if err := scan(rows); err != nil {
			return err
		}
	}
	return rows.Err()
}

// grouped returns what a query finds for ledger rows, by sequence.
func grouped[T any](ctx context.Context, v *verification, scan pgx.RowToFunc[placed[T]], name string, sequences []int64) (map[int64][]T, error) {
	rows, err := collect(ctx, v.tx, scan, name, sequences)
	if err != nil {
		return nil, err
	}
	bySequence := map[int64][]T{}
	for _, r := range rows {
		bySequence[r.sequence] = append(bySequence[r.sequence], r.value)
	}
	return bySequence, nil
}

// findings returns the findings that ledger rows recorded, by sequence.
func (v *verification) findings(ctx context.Context, sequences []int64) (map[int64][]findingRecord, error) {
	return grouped(ctx, v, scanFindingRecord, "verify_findings", sequences)
}

// obsolete returns the findings that ledger rows made obsolete, by sequence.
func (v *verification) obsolete(ctx context.Context, sequences []int64) (map[int64][]uuid.UUID, error) {
	return grouped(ctx, v, scanPlacedID, "verify_obsolete", sequences)
}

func (v *verification) findingsRaised(ctx context.Context, sequences []int64) error {
	findings, err := v.findings(ctx, sequences)
	if err != nil {
		return err
	}
	limited, err := grouped(ctx, v, scanLimited, "verify_limited", sequences)
	if err != nil {
		return err
	}
	gone, err := v.obsolete(ctx, sequences)
	if err != nil {
		return err
	}
	for _, sequence := range sequences {
		hash, err := hashOfFindings(findings[sequence])
		if err != nil {
			return err
		}
		if err := v.add(sequence, findingsRecord{hash, sortedIDs(gone[sequence]), append([]limitedFinding{}, limited[sequence]...)}); err != nil {
			return err
		}
	}
	return nil
}

func (v *verification) audits(ctx context.Context, sequences []int64) error {
	findings, err := v.findings(ctx, sequences)
	if err != nil {
		return err
	}
	runs, err := collect(ctx, v.tx, scanAuditRow, "verify_audits", sequences)
	if err != nil {
		return err
	}
	for _, run := range runs {
		if run.value.FindingsSHA256, err = hashOfFindings(findings[run.sequence]); err != nil {
			return err
		}
		if err := v.add(run.sequence, run.value); err != nil {
			return err
		}
	}
	return nil
}

func (v *verification) rejudgements(ctx context.Context, sequences []int64) error {
	findings, err := v.findings(ctx, sequences)
	if err != nil {
		return err
	}
	gone, err := v.obsolete(ctx, sequences)
	if err != nil {
		return err
	}
	sessions, err := grouped(ctx, v, scanRejudged, "verify_rejudgements", sequences)
	if err != nil {
		return err
	}
	for _, sequence := range sequences {
		record := rejudgementRecord{Sessions: inOrder(sessions[sequence]), Obsolete: sortedIDs(gone[sequence])}
		if record.FindingsSHA256, err = hashOfFindings(findings[sequence]); err != nil {
			return err
		}
		if err := v.add(sequence, record); err != nil {
			return err
		}
	}
	return nil
}

// A frozen snapshot is its manifest with the hash that the row states of it.
type frozen struct {
	sequence     int64
	name, sha256 string
	createdAt    time.Time
	manifest     []byte
}

func scanFrozen(row pgx.CollectableRow) (frozen, error) {
	var f frozen
	err := row.Scan(&f.sequence, &f.name, &f.sha256, &f.createdAt, &f.manifest)
	return f, err
}

// snapshots hashes manifests as they are, and holds the files against them.
func (v *verification) snapshots(ctx context.Context, sequences []int64) error {
	for _, sequence := range sequences { // one at a time: a manifest lists all contributors
		list, err := collect(ctx, v.tx, scanFrozen, "verify_snapshots", []int64{sequence})
		if err != nil {
			return err
		}
		for _, f := range list {
			hash := hexSHA256(f.manifest)
			v.hashes[sequence] = append(v.hashes[sequence], hash)
			if f.sha256 != hash {
				v.more = append(v.more, ContentFault{Sequence: sequence, Reason: fmt.Sprintf("its manifest hashes to %s, it says %s", hash, f.sha256)})
			}
			if err := v.files(ctx, f); err != nil {
				return err
			}
		}
	}
	return nil
}

func scanFileInfo(row pgx.CollectableRow) (snapshot.FileInfo, error) {
	var f snapshot.FileInfo
	err := row.Scan(&f.Name, &f.MediaType, &f.Size, &f.SHA256)
	return f, err
}

func (v *verification) files(ctx context.Context, s frozen) error {
	var manifest snapshot.Manifest
	fault := func(format string, args ...any) {
		v.more = append(v.more, ContentFault{Sequence: s.sequence, Reason: fmt.Sprintf(format, args...)})
	}
	if err := json.Unmarshal(s.manifest, &manifest); err != nil {
		fault("its manifest cannot be read: %v", err)
		return nil
	}
	if !stored(manifest.CreatedAt).Equal(s.createdAt) {
		fault("it says it was made at %s, its manifest says %s", s.createdAt.UTC().Format(time.RFC3339Nano), manifest.CreatedAt.Format(time.RFC3339Nano))
	}
	list, err := collect(ctx, v.tx, scanFileInfo, "verify_files", s.name)
	if err != nil {
		return err
	}
	kept := map[string]snapshot.FileInfo{}
	for _, f := range list {
		kept[f.Name] = f
	}
	if len(list) != len(manifest.Files) {
		fault("it has %d files, its manifest names %d", len(list), len(manifest.Files))
	}
	for _, want := range manifest.Files {
		hash, err := v.fileHash(ctx, s.name, want.Name)
		switch {
		case ctx.Err() != nil:
			return ctx.Err()
		case err != nil:
			fault("file %s: %v", want.Name, err)
		case hash != want.SHA256:
			fault("file %s hashes to %s, its manifest says %s", want.Name, hash, want.SHA256)
		case kept[want.Name] != want:
			fault("file %s is kept as %+v, its manifest says %+v", want.Name, kept[want.Name], want)
		}
	}
	return nil
}

// filePart is how much of a file is in memory at a time.
const filePart = 1 << 20

// fileHash returns the SHA-256 of a snapshot's file before compression.
func (v *verification) fileHash(ctx context.Context, snapshot, name string) (string, error) {
	z, err := gzip.NewReader(&fileReader{ctx: ctx, tx: v.tx, snapshot: snapshot, name: name})
	if err != nil {
		return "", err
	}
	h := sha256.New()
	if _, err := io.Copy(h, z); err != nil {
		return "", err
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}

// A fileReader reads the compressed bytes of a snapshot's file part by part.
type fileReader struct {
	ctx            context.Context // of the one call that reads
	tx             pgx.Tx
	snapshot, name string
	at             int
	part           []byte
}

// Read implements io.Reader.
func (r *fileReader) Read(p []byte) (int, error) {
	if len(r.part) == 0 {
		err := r.tx.QueryRow(r.ctx, query("verify_file_part"), r.snapshot, r.name, r.at+1, filePart).Scan(&r.part)
		if errors.Is(err, pgx.ErrNoRows) {
			return 0, errors.New("it is not stored")
		}
		if err != nil {
			return 0, err
		}
		if len(r.part) == 0 {
			return 0, io.EOF
		}
		r.at += len(r.part)
	}
	n := copy(p, r.part)
	r.part = r.part[n:]
	return n, nil
}
