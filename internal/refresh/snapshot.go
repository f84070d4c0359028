package refresh

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"time"

	"github.com/google/uuid"

	"evensun/internal/fieldtest"
	"evensun/internal/ledger"
	"evensun/internal/ranking"
	"evensun/internal/snapshot"
	"evensun/internal/store"
)

// A SnapshotStore is what snapshots are made from and kept in. *store.DB is one.
type SnapshotStore interface {
	Write(ctx context.Context, idem store.Idempotency, dryRun bool, do func(ctx context.Context, tx *store.Tx) (store.Response, error)) (store.Response, bool, error)
	Testers(ctx context.Context, p store.Page) ([]fieldtest.Tester, *store.Cursor, int64, error)
	Snapshot(ctx context.Context, name string) (store.Snapshot, error)
	SnapshotFile(ctx context.Context, snapshot, name string) (store.SnapshotFile, error)
	SnapshotNames(ctx context.Context, week string) ([]string, error)
}

// Methods are the versions that a snapshot records beside that of the ranking.
type Methods struct{ Normalise, Contract string }

// A Freezer makes snapshots of what a worker ranks.
type Freezer struct {
	worker  *Worker
	db      SnapshotStore
	methods Methods
}

// NewFreezer returns a freezer that reads through a worker and stores in db.
func NewFreezer(w *Worker, db SnapshotStore, m Methods) *Freezer {
	return &Freezer{worker: w, db: db, methods: m}
}

// freezeAttempts is how often a snapshot's inputs are read anew because a write came in
// between.
const freezeAttempts = 6

// weeklyCheck is how often Run looks whether this week has a snapshot.
const weeklyCheck = time.Hour

// errNotMade says that the snapshot is still to be made.
var errNotMade = errors.New("snapshot is not made yet")

// Freeze makes a snapshot under this week's first free name, checks that it reproduces,
// and publishes it in one write, of which answer makes the answer and seals the write. A
// repeated request computes nothing.
//
// Error: a *fieldtest.Refusal where writes kept coming or another snapshot took the name.
func (f *Freezer) Freeze(ctx context.Context, idem store.Idempotency, dryRun bool,
	answer func(ctx context.Context, tx *store.Tx, s *snapshot.Snapshot) (store.Response, error)) (store.Response, bool, error) {
	var made *snapshot.Snapshot
	do := func(ctx context.Context, tx *store.Tx) (store.Response, error) {
		if made == nil { // no transaction stays open while it is made
			return store.Response{}, errNotMade
		}
		row := store.Snapshot{Name: made.Manifest.Name, CreatedAt: made.Manifest.CreatedAt, SHA256: made.SHA256, Manifest: made.Raw}
		if err := tx.CreateSnapshot(&row, storedFiles(made.Files)); err != nil {
			return store.Response{}, err
		}
		return answer(ctx, tx, made)
	}
	resp, replayed, err := f.db.Write(ctx, idem, dryRun, do)
	if !errors.Is(err, errNotMade) {
		return resp, replayed, err
	}
	if made, err = f.make(ctx); err != nil {
		return store.Response{}, false, err
	}
	return f.db.Write(ctx, idem, dryRun, do)
}

// make builds a snapshot of the present and recomputes it from its own files.
func (f *Freezer) make(ctx context.Context) (*snapshot.Snapshot, error) {
	free, err := take(ctx, f.worker.refits)
	if err != nil {
		return nil, err
	}
	defer free()
	in, meta, err := f.inputs(ctx)
	if err != nil {
		return nil, err
	}
	taken, err := f.db.SnapshotNames(ctx, snapshot.Week(meta.CreatedAt))
	if err != nil {
		return nil, err
	}
	meta.Name = snapshot.Name(meta.CreatedAt, taken)
	s, err := snapshot.Build(ctx, *in, meta)
	if err != nil {
		return nil, err
	}
	return s, check(ctx, s)
}

// check reproduces a snapshot before it is published.
func check(ctx context.Context, s *snapshot.Snapshot) error {
	if err := s.Verify(); err != nil {
		return fmt.Errorf("snapshot %s: %w", s.Manifest.Name, err)
	}
	r, err := snapshot.Reproduce(ctx, s, s.Manifest.Program)
	if err != nil {
		return err
	}
	if !r.Identical {
		return fmt.Errorf("snapshot %s does not reproduce: %v", s.Manifest.Name, r.Differences)
	}
	return nil
}

// inputs reads all that a snapshot holds, at one sequence of the ledger.
func (f *Freezer) inputs(ctx context.Context) (*ranking.Inputs, snapshot.Meta, error) {
	for range freezeAttempts {
		in, _, err := f.worker.read(ctx)
		if err != nil {
			return nil, snapshot.Meta{}, err
		}
		meta, err := f.describe(ctx, in)
		if err != nil {
			return nil, meta, err
		}
		newer, err := f.worker.store.Ledger(ctx, in.Through, 1)
		if err != nil || len(newer) == 0 {
			return in, meta, err
		}
	}
	return nil, snapshot.Meta{}, &fieldtest.Refusal{Kind: fieldtest.Overloaded, Detail: "Writes kept coming while the snapshot's inputs were read; nothing was stored. Try again in a moment."}
}

// describe gathers what a snapshot says beside its rankings.
func (f *Freezer) describe(ctx context.Context, in *ranking.Inputs) (snapshot.Meta, error) {
	m := snapshot.Meta{CreatedAt: in.At, Methods: snapshot.Methods{Normalise: f.methods.Normalise, Contract: f.methods.Contract}, Program: snapshot.ThisProgram()}
	var err error
	if m.LedgerHead, err = f.rowAt(ctx, in.Through); err != nil {
		return m, err
	}
	if m.Contributors, err = f.contributors(ctx, in); err != nil {
		return m, err
	}
	m.Readings, err = f.readings(ctx, in.Through)
	return m, err
}

// rowAt returns the place of a ledger row.
func (f *Freezer) rowAt(ctx context.Context, sequence int64) (ledger.Head, error) {
	if sequence == 0 {
		return ledger.Genesis(), nil
	}
	rows, err := f.worker.store.Ledger(ctx, sequence-1, 1)
	if err != nil {
		return ledger.Head{}, err
	}
	if len(rows) == 0 {
		return ledger.Head{}, fmt.Errorf("ledger row %d is missing", sequence)
	}
	return ledger.Head{Sequence: rows[0].Sequence, At: rows[0].At, Hash: rows[0].Hash}, nil
}

// contributors are the names of all testers with a reading in the inputs.
func (f *Freezer) contributors(ctx context.Context, in *ranking.Inputs) ([]string, error) {
	submitted := map[uuid.UUID]bool{}
	for i := range in.Observations {
		submitted[in.Observations[i].TesterID] = true
	}
	var names []string
	page := store.Page{Size: 1000}
	for {
		list, next, asOf, err := f.db.Testers(ctx, page)
		if err != nil {
			return nil, fmt.Errorf("read testers: %w", err)
		}
		for _, t := range list {
			if submitted[t.ID] {
				names = append(names, t.DisplayName)
			}
		}
		if next == nil {
			return names, nil
		}
		page.After, page.AsOf = next, asOf
	}
}

// readings returns all readings of current sessions as JSON Lines.
func (f *Freezer) readings(ctx context.Context, through int64) ([]byte, error) {
	var b bytes.Buffer
	lines := json.NewEncoder(&b)
	page := store.Page{Size: 1000, AsOf: through}
	for {
		list, next, _, err := f.worker.store.Readings(ctx, store.ReadingFilter{}, page)
		if err != nil {
			return nil, fmt.Errorf("read readings: %w", err)
		}
		for i := range list {
			if err := lines.Encode(rounded(list[i])); err != nil {
				return nil, fmt.Errorf("reading %s: %w", list[i].ID, err)
			}
		}
		if next == nil {
			return b.Bytes(), nil
		}
		page.After = next
	}
}

// rounded returns a reading with its computed numbers as snapshots hold them.
func rounded(r store.FlatReading) store.FlatReading {
	for _, x := range []**float64{&r.StcPowerW, &r.StcPowerUW, &r.EffectiveWM2, &r.CellC, &r.Retention, &r.RetentionU} {
		if *x != nil {
			y := snapshot.Rounded(**x)
			*x = &y
		}
	}
	return r
}

func storedFiles(files []snapshot.File) []store.SnapshotFile {
	out := make([]store.SnapshotFile, 0, len(files))
	for _, f := range files {
		out = append(out, store.SnapshotFile{Name: f.Name, MediaType: f.MediaType, Size: f.Size, SHA256: f.SHA256, Content: f.Content})
	}
	return out
}

// FrozenSnapshot reads a stored snapshot whole. Whether it is what was published is for
// its Verify.
func FrozenSnapshot(ctx context.Context, db SnapshotStore, name string) (*snapshot.Snapshot, error) {
	row, err := db.Snapshot(ctx, name)
	if err != nil {
		return nil, err
	}
	s, err := snapshot.Open(row.Manifest, row.SHA256, nil)
	if err != nil {
		return nil, fmt.Errorf("snapshot %s: %w", name, err)
	}
	for _, info := range s.Manifest.Files {
		f, err := db.SnapshotFile(ctx, name, info.Name)
		if err != nil {
			return nil, err
		}
		s.Files = append(s.Files, snapshot.File{FileInfo: snapshot.FileInfo{Name: f.Name, MediaType: f.MediaType, Size: f.Size, SHA256: f.SHA256}, Content: f.Content})
	}
	return s, nil
}

// Run makes this week's snapshot if there is none yet, now and every hour, until ctx
// ends. It returns nil then; failures are logged and tried again.
func (f *Freezer) Run(ctx context.Context) error {
	for ctx.Err() == nil {
		name, err := f.Weekly(ctx)
		switch {
		case ctx.Err() != nil:
		case err != nil:
			f.worker.o.Log.ErrorContext(ctx, "the week's snapshot was not made", slog.Any("error", err))
		case name != "":
			f.worker.o.Log.InfoContext(ctx, "snapshot made", "name", name)
		}
		pause(ctx, weeklyCheck)
	}
	return nil
}

// Weekly makes a snapshot if this week has none and something is ranked, and returns its
// name, which is empty where there was nothing to do.
func (f *Freezer) Weekly(ctx context.Context) (string, error) {
	taken, err := f.db.SnapshotNames(ctx, snapshot.Week(f.worker.o.Now()))
	if err != nil || len(taken) > 0 {
		return "", err
	}
	ranked, err := f.anythingRanked(ctx)
	if err != nil || !ranked {
		return "", err
	}
	name := ""
	_, _, err = f.Freeze(ctx, store.Idempotency{}, false, func(ctx context.Context, tx *store.Tx, s *snapshot.Snapshot) (store.Response, error) {
		name = s.Manifest.Name
		_, err := tx.Seal(ctx)
		return store.Response{}, err
	})
	if refusal, ok := errors.AsType[*fieldtest.Refusal](err); ok && refusal.Kind == fieldtest.NameTaken { // by another replica
		return "", nil
	}
	if err != nil {
		return "", err
	}
	return name, nil
}

func (f *Freezer) anythingRanked(ctx context.Context) (bool, error) {
	rows, err := f.worker.store.Rankings(ctx)
	if err != nil {
		return false, err
	}
	for _, row := range rows {
		var r struct {
			Entries []json.RawMessage `json:"entries"`
		}
		if err := json.Unmarshal(row.Body, &r); err != nil {
			return false, fmt.Errorf("published ranking %s %s: %w", row.Measure, row.Key, err)
		}
		if len(r.Entries) > 0 {
			return true, nil
		}
	}
	return false, nil
}
