package store_test

import (
	"context"
	"fmt"
	"testing"
	"time"

	"evensun/internal/pgserver"
	"evensun/internal/store"
	"evensun/internal/storetest"
)

// durableURL starts a server of its own with fsync on, as users run it.
func durableURL(tb testing.TB) string {
	tb.Helper()
	s, err := pgserver.Start(context.Background(), pgserver.Options{DataDir: storetest.DataDir(tb)})
	if err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(func() {
		if err := s.Stop(context.Background()); err != nil {
			tb.Error(err)
		}
	})
	return s.URL()
}

// BenchmarkIngest stores sessions of 50 readings through Write, with key, ledger and
// marks, in turn with a bare insert of the same session, readings and results: one
// unnest statement a table and a commit, into tables with primary and foreign keys
// but without checks and other indexes. Both are durable. It reports the ratio of
// the two measured in this run, which is what carries over to other machines.
func BenchmarkIngest(b *testing.B) {
	ctx := context.Background()
	url := durableURL(b)
	db, err := store.Open(ctx, url, store.Options{})
	if err != nil {
		b.Fatal(err)
	}
	defer db.Close()
	w := worldOn(b, db)
	floor := storetest.NewBare(b, url)
	var whole, bare time.Duration
	n := 0
	b.ResetTimer()
	for b.Loop() {
		s := w.session(b, 50)
		n++
		idem := store.Idempotency{TesterID: w.tester.ID, Key: fmt.Sprintf("key-%016d", n)}
		began := time.Now()
		if _, _, err := db.Write(ctx, idem, false, saving(s, "{}")); err != nil {
			b.Fatal(err)
		}
		between := time.Now()
		floor.Insert(ctx, b, s)
		whole, bare = whole+between.Sub(began), bare+time.Since(between)
	}
	b.ReportMetric(whole.Seconds()/bare.Seconds(), "ratio-to-bare")
	b.ReportMetric(whole.Seconds()*1000/float64(n), "ms/session")
	b.ReportMetric(bare.Seconds()*1000/float64(n), "ms/bare")
}
