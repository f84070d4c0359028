package refresh_test

import (
	"bytes"
	"context"
	"errors"
	"log/slog"
	"testing"

	"evensun/internal/fieldtest"
	"evensun/internal/refresh"
	"evensun/internal/snapshot"
	"evensun/internal/store"
)

func frozen(t *testing.T, w *world, name string) *snapshot.Snapshot {
	t.Helper()
	s, err := refresh.FrozenSnapshot(t.Context(), w.db, name)
	if err != nil {
		t.Fatalf("FrozenSnapshot(%s) = %v", name, err)
	}
	if err := s.Verify(); err != nil {
		t.Errorf("Verify() = %v", err)
	}
	return s
}

func sealing(ctx context.Context, tx *store.Tx, s *snapshot.Snapshot) (store.Response, error) {
	_, err := tx.Seal(ctx)
	return store.Response{Status: 201, Body: []byte(`{"name":"` + s.Manifest.Name + `"}`)}, err
}

// The weekly snapshot is made once, reproduces from what is stored of it, and its
// numbers do not depend on the computations before it.
func TestWeeklySnapshot(t *testing.T) {
	t.Parallel()
	w := newWorld(t, 3, 2)
	worker := refresh.New(w.db, refresh.Options{})
	f := refresh.NewFreezer(worker, w.db, refresh.Methods{Normalise: "2026.1", Contract: "1.0.0"})
	if name, err := f.Weekly(t.Context()); name != "" || err != nil {
		t.Fatalf("Weekly() with nothing ranked = %q, %v, want nothing done", name, err)
	}
	w.fill(t, 2)
	if err := worker.Once(t.Context()); err != nil { // later computations of this worker begin warm
		t.Fatal(err)
	}
	name, err := f.Weekly(t.Context())
	if err != nil || !snapshot.ValidName(name) {
		t.Fatalf("Weekly() = %q, %v", name, err)
	}
	if again, err := f.Weekly(t.Context()); again != "" || err != nil {
		t.Errorf("Weekly() again = %q, %v, want nothing done", again, err)
	}
	s := frozen(t, w, name)
	r, err := snapshot.Reproduce(t.Context(), s, snapshot.ThisProgram())
	if err != nil || !r.Identical {
		t.Errorf("Reproduce() = %+v, %v, want identical", r, err)
	}
	if c := s.Manifest.Counts; c.Readings != 24 || c.Counted != 24 || c.Sessions != 6 || c.Testers != 3 || len(s.Manifest.Contributors) != 3 {
		t.Errorf("snapshot counts %+v, contributors %v", c, s.Manifest.Contributors)
	}
	readings, _ := s.File(snapshot.ReadingsJSONL)
	if n := bytes.Count(readings.Content, []byte("\n")); n != 24 {
		t.Errorf("readings.jsonl has %d lines, want 24", n)
	}
	rows, err := w.db.Ledger(t.Context(), s.Manifest.LedgerHead.Sequence-1, 1)
	if err != nil || len(rows) != 1 || rows[0].Hash != s.Manifest.LedgerHead.Hash || s.Manifest.ComputedThrough != rows[0].Sequence {
		t.Errorf("ledger row %+v, %v, want that of the manifest, %+v", rows, err, s.Manifest.LedgerHead)
	}
}

func TestFreezeOnDemand(t *testing.T) {
	t.Parallel()
	w := newWorld(t, 2, 2)
	w.fill(t, 2)
	f := refresh.NewFreezer(w.once(t), w.db, refresh.Methods{})
	idem := store.Idempotency{TesterID: w.testers[0].ID, Key: "snapshot-of-today", Fingerprint: [32]byte{1}}
	first, replayed, err := f.Freeze(t.Context(), idem, false, sealing)
	if err != nil || replayed {
		t.Fatalf("Freeze() = %+v, %v, %v", first, replayed, err)
	}
	again, replayed, err := f.Freeze(t.Context(), idem, false, sealing)
	if err != nil || !replayed || !bytes.Equal(again.Body, first.Body) {
		t.Errorf("Freeze() with the same key = %s, %v, %v, want the first answer", again.Body, replayed, err)
	}
	if _, _, err := f.Freeze(t.Context(), store.Idempotency{}, true, sealing); err != nil {
		t.Errorf("dry run = %v", err)
	}
	if _, _, err := f.Freeze(t.Context(), store.Idempotency{}, false, sealing); err != nil {
		t.Fatal(err)
	}
	list, _, _, err := w.db.Snapshots(t.Context(), store.Page{})
	if err != nil || len(list) != 2 || list[0].Name != list[1].Name+"-2" {
		t.Fatalf("Snapshots() = %v, %v, want this week's and its second", list, err)
	}
	for _, file := range []string{snapshot.FitsJSON, snapshot.SessionsJSONL, snapshot.ReadingsJSONL} {
		a, _ := frozen(t, w, list[0].Name).File(file)
		b, _ := frozen(t, w, list[1].Name).File(file)
		if a.SHA256 != b.SHA256 || a.SHA256 == "" {
			t.Errorf("%s differs between two snapshots of the same data", file)
		}
	}
}

func TestFrozenSnapshotNotThere(t *testing.T) {
	t.Parallel()
	w := newWorld(t, 1, 1)
	_, err := refresh.FrozenSnapshot(t.Context(), w.db, "2026-w24")
	if r, ok := errors.AsType[*fieldtest.Refusal](err); !ok || r.Kind != fieldtest.NotFound {
		t.Errorf("FrozenSnapshot() = %v, want not_found", err)
	}
}

// cancels ends a context when something of the text is logged.
type cancels struct {
	text string
	stop context.CancelFunc
}

func (c cancels) Write(p []byte) (int, error) {
	if bytes.Contains(p, []byte(c.text)) {
		c.stop()
	}
	return len(p), nil
}

// Run makes the week's snapshot by itself and ends with its context.
func TestRunMakesTheWeeksSnapshot(t *testing.T) {
	t.Parallel()
	w := newWorld(t, 2, 2)
	w.fill(t, 2)
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	worker := refresh.New(w.db, refresh.Options{Log: slog.New(slog.NewTextHandler(cancels{"snapshot made", stop}, nil))})
	if err := worker.Once(ctx); err != nil {
		t.Fatal(err)
	}
	if err := refresh.NewFreezer(worker, w.db, refresh.Methods{}).Run(ctx); err != nil {
		t.Errorf("Run() = %v, want nil", err)
	}
	list, _, _, err := w.db.Snapshots(t.Context(), store.Page{})
	if err != nil || len(list) != 1 {
		t.Errorf("Snapshots() = %v, %v, want one", list, err)
	}
}
