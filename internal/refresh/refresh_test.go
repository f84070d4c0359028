package refresh_test

import (
	"context"
	"fmt"
	"testing"

	"github.com/google/go-cmp/cmp"

	"evensun/internal/fieldtest"
	"evensun/internal/refresh"
	"evensun/internal/store"
	"evensun/internal/storetest"
)

func TestEmptyDatabaseServesAllMeasures(t *testing.T) {
	t.Parallel()
	w := newWorld(t, 1, 0)
	w.once(t)
	for _, m := range fieldtest.Measures() {
		r := w.ranking(t, m.Name, "")
		if r.Measure != m.Name || len(r.Entries) != 0 || r.Model != nil {
			t.Errorf("ranking of %s before any data = %+v, want an empty one", m.Name, r)
		}
	}
}

func TestOncePublishesTheRanking(t *testing.T) {
	t.Parallel()
	w := newWorld(t, 3, 4)
	w.fill(t, 3)
	r := w.once(t)
	list := w.ranking(t, fieldtest.ShareOfRating, "")
	if diff := cmp.Diff([]string{"panel-3", "panel-2", "panel-1", "panel-0"}, order(list)); diff != "" {
		t.Errorf("order: -want +got\n%s", diff)
	}
	head, err := w.db.LedgerHead(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if through, err := w.db.ComputedThrough(t.Context(), fieldtest.StcPower, ""); err != nil || through != head.Sequence {
		t.Errorf("ComputedThrough() = %d, %v, want the head %d", through, err, head.Sequence)
	}
	if m, err := w.db.LeaseMark(t.Context(), 1); err != nil || m != nil {
		t.Errorf("LeaseMark() after Once = %+v, %v, want none", m, err)
	}
	if r.Through() == 0 || list.ComputedThrough != r.Through() {
		t.Errorf("computed_through = %d, Through() = %d, want equal", list.ComputedThrough, r.Through())
	}
	results, err := r.PanelResults(t.Context(), "panel-2")
	if err != nil || len(results.Contributions) != 18 {
		t.Fatalf("PanelResults() has %d contributions, %v, want 18", len(results.Contributions), err)
	}
	sum := 0.0
	for _, c := range results.Contributions {
		sum += c.Weight
	}
	if sum < 0.9999 || sum > 1.0001 {
		t.Errorf("weights add to %v, want 1", sum)
	}
}

// A reviewer excludes a session that lifts the worst panel; its readings are gone.
func TestVerdictChangesTheRanking(t *testing.T) {
	t.Parallel()
	w := newWorld(t, 3, 4)
	w.fill(t, 2)
	s := w.session(t, 0, []int{0, 1, 2, 3}, map[int]float64{0: 1.05})
	f := fieldtest.Finding{ID: storetest.NewID(t), Rule: "current_above_isc", Severity: fieldtest.Note, State: fieldtest.FindingOpen, Reason: "Doubtful.", Band: "low", Basis: map[string]any{}}
	s.Findings = []fieldtest.Finding{f}
	w.save(t, s)
	w.once(t)
	before := entryOf(t, w.ranking(t, fieldtest.StcPower, ""), "panel-0")
	w.write(t, func(ctx context.Context, tx *store.Tx) error {
		return tx.AddVerdict(ctx, store.VerdictWrite{ID: storetest.NewID(t), FindingID: f.ID, Verdict: fieldtest.Exclude, Reviewer: w.reviewer.ID})
	})
	w.once(t)
	after := entryOf(t, w.ranking(t, fieldtest.StcPower, ""), "panel-0")
	if before.Readings != 14 || after.Readings != 12 || after.Estimate >= before.Estimate {
		t.Errorf("before %d readings, %v W, after %d readings, %v W: want 14, 12 and less", before.Readings, before.Estimate, after.Readings, after.Estimate)
	}
}

// A store that saves another session while the worker reads.
type busyStore struct {
	*store.DB
	during func()
}

func (b *busyStore) PanelModels(ctx context.Context, f store.PanelModelFilter, p store.Page) ([]fieldtest.StoredPanelModel, *store.Cursor, int64, error) {
	if b.during != nil {
		b.during()
	}
	return b.DB.PanelModels(ctx, f, p)
}

func TestWritesDuringARecomputationAreNotLost(t *testing.T) {
	t.Parallel()
	w := newWorld(t, 3, 3)
	w.fill(t, 2)
	writes := 0
	var last int64
	busy := &busyStore{DB: w.db}
	busy.during = func() {
		if writes++; writes <= 4 {
			last = w.save(t, w.session(t, 0, []int{0, 1, 2}, nil))
		}
	}
	r := refresh.New(busy, refresh.Options{})
	if err := r.Once(t.Context()); err != nil {
		t.Fatal(err)
	}
	if r.Through() >= last {
		t.Errorf("Through() = %d, want less than the write %d during it", r.Through(), last)
	}
	through, err := w.db.ComputedThrough(t.Context(), fieldtest.StcPower, "")
	if err != nil || through != r.Through() {
		t.Errorf("ComputedThrough() = %d, %v, want %d: the mark must stand", through, err, r.Through())
	}
	m, err := w.db.LeaseMark(t.Context(), 1)
	if err != nil || m == nil {
		t.Fatalf("LeaseMark() = %v, %v, want the mark of the write in between", m, err)
	}
	busy.during = nil
	if err := r.Once(t.Context()); err != nil {
		t.Fatal(err)
	}
	if got, want := entryOf(t, w.ranking(t, fieldtest.StcPower, ""), "panel-0").Sessions, 6+writes; got != want {
		t.Errorf("sessions of panel-0 = %d, want all %d", got, want)
	}
}

// Run needs no poll: that is an hour. It publishes what is saved while it runs.
func TestRunWakesAndPublishes(t *testing.T) {
	t.Parallel()
	w := newWorld(t, 3, 3)
	w.fill(t, 2)
	ctx, cancel := context.WithCancel(t.Context())
	watching, stopWatching := context.WithCancel(t.Context())
	events := w.db.Watch(watching, 1e12)
	storetest.Await(t, events, "the watcher to begin")
	done := make(chan error, 1)
	go func() { done <- refresh.New(w.db, refresh.Options{Poll: 1e12, Settle: -1}).Run(ctx) }()
	var want int64
	await := func() {
		t.Helper()
		for {
			if e := storetest.Await(t, events, fmt.Sprintf("a ranking that covers %d", want)); e.Published && e.Sequence >= want {
				return
			}
		}
	}
	await()
	want = w.save(t, w.session(t, 1, []int{0, 1, 2}, nil))
	await()
	if r := w.ranking(t, fieldtest.StcPower, ""); r.ComputedThrough < want {
		t.Errorf("computed_through = %d, want %d or more", r.ComputedThrough, want)
	}
	cancel()
	if err := storetest.Await(t, done, "Run to end"); err != nil {
		t.Errorf("Run() after its context ended = %v, want nil", err)
	}
	stopWatching()
	storetest.AwaitEnd(t, events, "the watcher to end")
}
