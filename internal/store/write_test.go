package store_test

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"testing"
	"time"

	"evensun/internal/fieldtest"
	"evensun/internal/ledger"
	"evensun/internal/store"
	"evensun/internal/storetest"
)

func key(w *world, fingerprint byte) store.Idempotency {
	return store.Idempotency{TesterID: w.tester.ID, Key: "8e03978e-40d5-43dd-bc93", Fingerprint: [32]byte{fingerprint}}
}

func saving(s store.SessionWrite, body string) func(context.Context, *store.Tx) (store.Response, error) {
	return func(ctx context.Context, tx *store.Tx) (store.Response, error) {
		if err := tx.SaveSession(s); err != nil {
			return store.Response{}, err
		}
		sequence, err := tx.Seal(ctx)
		return store.Response{Status: 201, Header: map[string]string{"Evensun-Sequence": fmt.Sprint(sequence)}, Body: []byte(body)}, err
	}
}

func TestKeyReplaysItsAnswer(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	first, replayed, err := w.db.Write(t.Context(), key(w, 1), false, saving(w.session(t, 2), "first"))
	if err != nil || replayed {
		t.Fatalf("first Write() = replayed %v, %v", replayed, err)
	}
	again, replayed, err := w.db.Write(t.Context(), key(w, 1), false, func(context.Context, *store.Tx) (store.Response, error) {
		return store.Response{}, errors.New("must not run")
	})
	if err != nil || !replayed || string(again.Body) != "first" || again.Status != 201 || again.Header["Evensun-Sequence"] != first.Header["Evensun-Sequence"] {
		t.Errorf("second Write() = %+v, replayed %v, %v, want the first answer", again, replayed, err)
	}
	_, _, err = w.db.Write(t.Context(), key(w, 2), false, saving(w.session(t, 1), "other"))
	refusal(t, err, fieldtest.IdempotencyKeyReused)
	other := key(w, 2)
	other.TesterID = w.reviewer.ID
	if _, replayed, err := w.db.Write(t.Context(), other, false, saving(w.session(t, 1), "other")); err != nil || replayed {
		t.Errorf("another tester's same key = replayed %v, %v, want its own answer", replayed, err)
	}
}

func TestFailureFreesTheKey(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	wrong := errors.New("wrong")
	_, _, err := w.db.Write(t.Context(), key(w, 1), false, func(context.Context, *store.Tx) (store.Response, error) {
		return store.Response{}, wrong
	})
	if !errors.Is(err, wrong) {
		t.Fatalf("Write() = %v, want %v", err, wrong)
	}
	if _, replayed, err := w.db.Write(t.Context(), key(w, 2), false, saving(w.session(t, 1), "corrected")); err != nil || replayed {
		t.Errorf("a corrected request under the same key = replayed %v, %v", replayed, err)
	}
}

// Eight requests with one key at once store one session and give one answer.
func TestKeyRace(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	s := w.session(t, 5)
	var mu sync.Mutex
	fresh, bodies := 0, map[string]int{}
	var wg sync.WaitGroup
	for range 8 {
		wg.Go(func() {
			resp, replayed, err := w.db.Write(context.Background(), key(w, 1), false, saving(s, "once"))
			if err != nil {
				t.Errorf("Write() in a race = %v", err)
				return
			}
			mu.Lock()
			defer mu.Unlock()
			bodies[string(resp.Body)+resp.Header["Evensun-Sequence"]]++
			if !replayed {
				fresh++
			}
		})
	}
	wg.Wait()
	if fresh != 1 || len(bodies) != 1 {
		t.Errorf("8 requests with one key: %d did the work, %d answers, want 1 and 1", fresh, len(bodies))
	}
}

// A key whose record has expired is taken over while the sweep runs: the sweep neither
// waits for that request nor takes its answer.
func TestSweepLeavesAKeyThatIsTakenOver(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	db := storetest.Open(t, url)
	w := worldOn(t, db)
	answering := func(body string, before func(context.Context) error) func(context.Context, *store.Tx) (store.Response, error) {
		return func(ctx context.Context, _ *store.Tx) (store.Response, error) {
			return store.Response{Status: 200, Body: []byte(body)}, before(ctx)
		}
	}
	if _, _, err := db.Write(t.Context(), key(w, 1), false, answering("old", func(context.Context) error { return nil })); err != nil {
		t.Fatal(err)
	}
	conn := storetest.Connect(t, url)
	if _, err := conn.Exec(t.Context(), "UPDATE idempotency SET expires_at = now() - interval '1 day'"); err != nil {
		t.Fatal(err)
	}
	bounded, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	_, replayed, err := db.Write(bounded, key(w, 2), false, answering("new", func(ctx context.Context) error {
		n, err := db.ExpireKeys(ctx, 10)
		if n != 0 {
			t.Errorf("ExpireKeys() during the request = %d, want 0", n)
		}
		return err
	}))
	if err != nil || replayed {
		t.Fatalf("Write() with an expired key = replayed %t, %v", replayed, err)
	}
	again, replayed, err := db.Write(t.Context(), key(w, 2), false, answering("again", func(context.Context) error { return nil }))
	if err != nil || !replayed || string(again.Body) != "new" {
		t.Errorf("Write() once more = %q, replayed %t, %v, want the answer that was kept", again.Body, replayed, err)
	}
}

// A sweep deletes what is past its time, and only that.
func TestSweepDeletesExpiredKeys(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	db := storetest.Open(t, url)
	w := worldOn(t, db)
	for _, name := range []string{"one", "two", "three"} {
		idem := store.Idempotency{TesterID: w.tester.ID, Key: name}
		if _, _, err := db.Write(t.Context(), idem, false, func(context.Context, *store.Tx) (store.Response, error) { return store.Response{Status: 200}, nil }); err != nil {
			t.Fatal(err)
		}
	}
	conn := storetest.Connect(t, url)
	if _, err := conn.Exec(t.Context(), "UPDATE idempotency SET expires_at = now() - interval '1 day' WHERE key <> 'three'"); err != nil {
		t.Fatal(err)
	}
	for i, want := range []int64{1, 1, 0} {
		if n, err := db.ExpireKeys(t.Context(), 1); err != nil || n != want {
			t.Errorf("ExpireKeys(1), time %d = %d, %v, want %d", i+1, n, err, want)
		}
	}
}

// A key that is being answered for longer than the wait is refused, not waited for.
func TestKeyInUse(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	holding, release := make(chan struct{}), make(chan struct{})
	var wg sync.WaitGroup
	wg.Go(func() {
		_, _, err := w.db.Write(context.Background(), key(w, 1), false, func(ctx context.Context, tx *store.Tx) (store.Response, error) {
			close(holding)
			<-release
			return store.Response{Status: 201}, nil
		})
		if err != nil {
			t.Errorf("the first Write() = %v", err)
		}
	})
	storetest.AwaitEnd(t, holding, "the first request to hold its key")
	_, _, err := w.db.Write(t.Context(), key(w, 1), false, saving(w.session(t, 1), "second"))
	close(release)
	wg.Wait()
	refusal(t, err, fieldtest.IdempotencyKeyInUse)
}

// Writers at once get numbers without gaps, in an order in which the chain holds.
func TestConcurrentWritersAreGapless(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	const writers, each = 6, 8
	var sessions [writers][each]store.SessionWrite
	for i := range sessions {
		for j := range sessions[i] {
			sessions[i][j] = w.session(t, 3)
		}
	}
	before, err := w.db.LedgerHead(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	var wg sync.WaitGroup
	for i := range sessions {
		wg.Go(func() {
			for _, s := range sessions[i] {
				if _, _, err := w.db.Write(context.Background(), store.Idempotency{}, false, saving(s, "")); err != nil {
					t.Errorf("Write() among others = %v", err)
				}
			}
		})
	}
	wg.Wait()
	entries, err := w.db.Ledger(t.Context(), before.Sequence, 1000)
	if err != nil || len(entries) != writers*each {
		t.Fatalf("Ledger() = %d rows, %v, want %d", len(entries), err, writers*each)
	}
	if _, err := ledger.Verify(before, entries); err != nil {
		t.Error(err)
	}
}

// The same session sent by several at once is stored once.
func TestContentRace(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	base := w.session(t, 3)
	var mu sync.Mutex
	stored, known := 0, 0
	var wg sync.WaitGroup
	for range 6 {
		s := w.session(t, 3)
		s.SHA256 = base.SHA256
		wg.Go(func() {
			_, _, err := w.db.Write(context.Background(), store.Idempotency{}, false, saving(s, ""))
			mu.Lock()
			defer mu.Unlock()
			if err == nil {
				stored++
			} else if _, ok := errors.AsType[*store.ExistingSession](err); ok {
				known++
			} else {
				t.Errorf("Write() = %v", err)
			}
		})
	}
	wg.Wait()
	if stored != 1 || known != 5 {
		t.Errorf("6 times the same content: stored %d, known %d, want 1 and 5", stored, known)
	}
}
