package refresh_test

import (
	"context"
	"errors"
	"runtime"
	"sync"
	"testing"

	"evensun/internal/fieldtest"
	"evensun/internal/refresh"
	"evensun/internal/store"
	"evensun/internal/storetest"
)

var errAway = errors.New("the database is away")

// A faulty store fails to publish some times, and notes what is asked of it.
type faultyStore struct {
	*store.DB
	mu       sync.Mutex
	failures int
	swept    int
	inside   int
	most     int
}

func (f *faultyStore) PublishRankings(ctx context.Context, rankings []store.RankingRow, details []store.DetailRow) error {
	f.mu.Lock()
	fail := f.failures > 0
	f.failures--
	f.mu.Unlock()
	if fail {
		return errAway
	}
	return f.DB.PublishRankings(ctx, rankings, details)
}

func (f *faultyStore) ExpireKeys(ctx context.Context, limit int) (int64, error) {
	f.mu.Lock()
	f.swept++
	f.mu.Unlock()
	return f.DB.ExpireKeys(ctx, limit)
}

func (f *faultyStore) Prices(ctx context.Context, slug string) ([]fieldtest.StoredPrice, error) {
	f.mu.Lock()
	f.inside++
	f.most = max(f.most, f.inside)
	f.mu.Unlock()
	defer func() {
		f.mu.Lock()
		f.inside--
		f.mu.Unlock()
	}()
	return f.DB.Prices(ctx, slug)
}

// A mark whose work failed is free again at once, not after its lease.
func TestFailureFreesTheMark(t *testing.T) {
	t.Parallel()
	w := newWorld(t, 2, 2)
	w.fill(t, 2)
	f := &faultyStore{DB: w.db, failures: 1}
	r := refresh.New(f, refresh.Options{})
	if err := r.Once(t.Context()); !errors.Is(err, errAway) {
		t.Fatalf("Once() while publishing fails = %v, want %v", err, errAway)
	}
	m, err := w.db.LeaseMark(t.Context(), 1)
	if err != nil || m == nil {
		t.Fatalf("LeaseMark() after a failure = %v, %v, want a mark", m, err)
	}
	if err := r.Once(t.Context()); err != nil {
		t.Errorf("Once() after the failure = %v", err)
	}
}

// Run tries again after a failure, and expires idempotency records.
func TestRunTriesAgain(t *testing.T) {
	t.Parallel()
	w := newWorld(t, 2, 2)
	w.fill(t, 2)
	events := w.db.Watch(t.Context(), 1e12)
	storetest.Await(t, events, "the watcher to begin")
	f := &faultyStore{DB: w.db, failures: 2}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- refresh.New(f, refresh.Options{Poll: 1e12, Pause: 1}).Run(ctx) }()
	for !storetest.Await(t, events, "rankings after two failures").Published {
	}
	cancel()
	if err := storetest.Await(t, done, "Run to end"); err != nil {
		t.Errorf("Run() = %v, want nil", err)
	}
	if f.failures >= 0 {
		t.Errorf("failures left = %d, want all used", f.failures)
	}
	if f.swept == 0 {
		t.Error("idempotency records were never expired")
	}
}

// Recomputations asked for at once happen one after the other.
func TestNeverTwoAtOnce(t *testing.T) {
	t.Parallel()
	w := newWorld(t, 2, 2)
	w.fill(t, 2)
	f := &faultyStore{DB: w.db}
	r := refresh.New(f, refresh.Options{})
	ctx := storetest.Bounded(t, "four recomputations")
	var all sync.WaitGroup
	for range 4 {
		all.Go(func() {
			if err := r.Once(ctx); err != nil {
				t.Errorf("Once() = %v, %v", err, context.Cause(ctx))
			}
		})
	}
	all.Wait()
	if f.most != 1 {
		t.Errorf("recomputations at once = %d, want 1", f.most)
	}
}

func TestEndedContext(t *testing.T) {
	t.Parallel()
	w := newWorld(t, 1, 1)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	r := refresh.New(w.db, refresh.Options{})
	if err := r.Once(ctx); !errors.Is(err, context.Canceled) {
		t.Errorf("Once() of an ended context = %v, want canceled", err)
	}
	if err := r.Run(ctx); err != nil {
		t.Errorf("Run() of an ended context = %v, want nil", err)
	}
}

// After a restart a worker has computed what is published before anybody writes or asks.
func TestRunComputesWhatIsPublished(t *testing.T) {
	t.Parallel()
	w := newWorld(t, 2, 2)
	w.fill(t, 2)
	published := w.once(t).Through()
	restarted := refresh.New(w.db, refresh.Options{Poll: 1e12})
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- restarted.Run(ctx) }()
	waiting := storetest.Bounded(t, "the computation after a restart")
	for restarted.Through() < published {
		if waiting.Err() != nil {
			t.Fatal(context.Cause(waiting))
		}
		runtime.Gosched()
	}
	cancel()
	if err := storetest.Await(t, done, "Run to end"); err != nil {
		t.Errorf("Run() = %v, want nil", err)
	}
}
