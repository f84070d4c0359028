package store_test

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"testing"

	"github.com/google/go-cmp/cmp"

	"evensun/internal/fieldtest"
	"evensun/internal/ledger"
	"evensun/internal/store"
	"evensun/internal/storetest"
)

func snapshotNamed(name string) (store.Snapshot, []store.SnapshotFile) {
	manifest := []byte(fmt.Sprintf(`{"name":%q}`, name))
	big := bytes.Repeat([]byte("measure,unit,panel_model\r\n"), 50_000)
	return store.Snapshot{Name: name, CreatedAt: noon, SHA256: hexOf(manifest), Manifest: manifest}, []store.SnapshotFile{
		{Name: "rankings.csv", MediaType: "text/csv", Size: int64(len(big)), SHA256: hexOf(big), Content: big},
		{Name: "readings.jsonl", MediaType: "application/x-ndjson", SHA256: hexOf(nil), Content: []byte{}},
	}
}

func hexOf(content []byte) string {
	sum := sha256.Sum256(content)
	return hex.EncodeToString(sum[:])
}

func (w *world) freeze(t *testing.T, name string) (store.Snapshot, []store.SnapshotFile) {
	t.Helper()
	s, files := snapshotNamed(name)
	w.write(t, func(_ context.Context, tx *store.Tx) error { return tx.CreateSnapshot(&s, files) })
	return s, files
}

func TestSnapshotIsKeptWithItsFiles(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	want, files := w.freeze(t, "2026-w24")
	got, err := w.db.Snapshot(t.Context(), "2026-w24")
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("Snapshot() differs:\n%s", d)
	}
	for _, f := range files {
		got, err := w.db.SnapshotFile(t.Context(), "2026-w24", f.Name)
		if err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(f, got); d != "" {
			t.Errorf("SnapshotFile(%s) differs:\n%s", f.Name, d)
		}
	}
	rows, err := w.db.Ledger(t.Context(), want.Sequence-1, 1)
	if err != nil || len(rows) != 1 {
		t.Fatalf("Ledger(%d) = %v, %v", want.Sequence-1, rows, err)
	}
	if r := rows[0]; r.Kind != "snapshot_created" || r.SubjectID != "2026-w24" || r.ContentSHA256 != want.SHA256 {
		t.Errorf("ledger row = %+v, want snapshot_created of 2026-w24 with hash %s", r, want.SHA256)
	}
	all, err := w.db.Ledger(t.Context(), 0, 1000)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := ledger.Verify(ledger.Genesis(), all); err != nil {
		t.Errorf("ledger.Verify() = %v", err)
	}
}

// A name is used once, whether its first use is long past or under way; the second
// leaves nothing behind.
func TestSnapshotNameIsUsedOnce(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	want, _ := w.freeze(t, "2026-w24")
	s, files := snapshotNamed("2026-w24")
	files[0].Content, files[0].SHA256 = []byte("other"), hexOf([]byte("other"))
	for _, f := range [][]store.SnapshotFile{files, files[:0], {{Name: "more.csv", SHA256: hexOf(nil)}}} {
		_, err := w.try(t, func(_ context.Context, tx *store.Tx) error { return tx.CreateSnapshot(&s, f) })
		refusal(t, err, fieldtest.NameTaken)
	}
	got, err := w.db.Snapshot(t.Context(), "2026-w24")
	if err != nil || got.SHA256 != want.SHA256 {
		t.Errorf("Snapshot() = %+v, %v, want the first", got, err)
	}
	_, err = w.db.SnapshotFile(t.Context(), "2026-w24", "more.csv")
	refusal(t, err, fieldtest.NotFound)
	head, err := w.db.LedgerHead(t.Context())
	if err != nil || head.Sequence != want.Sequence {
		t.Errorf("LedgerHead() = %d, %v, want %d", head.Sequence, err, want.Sequence)
	}
}

func TestSnapshotRaces(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	const writers = 4
	errs := make(chan error, writers)
	for range writers {
		go func() {
			_, err := w.try(t, func(_ context.Context, tx *store.Tx) error {
				s, files := snapshotNamed("2026-w25")
				return tx.CreateSnapshot(&s, files)
			})
			errs <- err
		}()
	}
	stored := 0
	for range writers {
		err := storetest.Await(t, errs, "writers of one snapshot")
		if err == nil {
			stored++
			continue
		}
		refusal(t, err, fieldtest.NameTaken)
	}
	if stored != 1 {
		t.Errorf("%d of %d writers stored 2026-w25, want 1", stored, writers)
	}
}

func TestSnapshotsPage(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	names := []string{"2026-w24", "2026-w25", "2026-w25-2", "2026-w26", "2026-w26-10"}
	for _, n := range names {
		w.freeze(t, n)
	}
	var got []string
	page := store.Page{Size: 2}
	for {
		list, next, asOf, err := w.db.Snapshots(t.Context(), page)
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range list {
			got = append(got, s.Name)
		}
		if next == nil {
			break
		}
		if len(got) == 2 {
			w.freeze(t, "2026-w27") // after the first page, so not in this list
		}
		page.After, page.AsOf = next, asOf
	}
	if want := []string{"2026-w26-10", "2026-w26", "2026-w25-2", "2026-w25", "2026-w24"}; !cmp.Equal(got, want) {
		t.Errorf("Snapshots() = %v, want %v", got, want)
	}
	inWeek, err := w.db.SnapshotNames(t.Context(), "2026-w25")
	if want := []string{"2026-w25", "2026-w25-2"}; err != nil || !cmp.Equal(inWeek, want) {
		t.Errorf("SnapshotNames(2026-w25) = %v, %v, want %v", inWeek, err, want)
	}
}

func TestSnapshotNotThere(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	_, err := w.db.Snapshot(t.Context(), "2026-w24")
	refusal(t, err, fieldtest.NotFound)
	_, err = w.db.SnapshotFile(t.Context(), "2026-w24", "rankings.csv")
	refusal(t, err, fieldtest.NotFound)
}
