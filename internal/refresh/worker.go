package refresh

import (
	"cmp"
	"context"
	"log/slog"
	"sync/atomic"
	"time"

	"evensun/internal/diode"
	"evensun/internal/fieldtest"
	"evensun/internal/ledger"
	"evensun/internal/ranking"
	"evensun/internal/store"
)

// A Store is what a worker reads from and publishes to. *store.DB is one.
type Store interface {
	Observations(ctx context.Context, a fieldtest.Arrangement) ([]store.Observation, int64, error)
	PanelModels(ctx context.Context, f store.PanelModelFilter, p store.Page) ([]fieldtest.StoredPanelModel, *store.Cursor, int64, error)
	Prices(ctx context.Context, slug string) ([]fieldtest.StoredPrice, error)
	Findings(ctx context.Context, f store.FindingFilter, p store.Page) ([]fieldtest.Finding, *store.Cursor, int64, error)
	Readings(ctx context.Context, f store.ReadingFilter, p store.Page) ([]store.FlatReading, *store.Cursor, int64, error)
	Rigs(ctx context.Context, f store.RigFilter, p store.Page) ([]fieldtest.StoredRig, *store.Cursor, int64, error)
	Ledger(ctx context.Context, after int64, limit int) ([]ledger.Entry, error)

	LeaseMark(ctx context.Context, lease time.Duration) (*store.Mark, error)
	FinishMark(ctx context.Context, m store.Mark) error
	PublishRankings(ctx context.Context, rankings []store.RankingRow, details []store.DetailRow) error
	Rankings(ctx context.Context) ([]store.RankingRow, error)
	PanelDetail(ctx context.Context, slug string) ([]store.DetailRow, error)
	ReplaceAuditFindings(ctx context.Context, computedThrough int64, rules []string, findings []fieldtest.Finding) error
	Watch(ctx context.Context, poll time.Duration) <-chan store.Event
	ExpireKeys(ctx context.Context, limit int) (int64, error)
}

// Options say how a worker works. The zero value is right for a service.
type Options struct {
	Rules  *ranking.Rules   // conditions of a rank; nil: the defaults
	Log    *slog.Logger     // nil: silent
	Now    func() time.Time // the clock; nil: time.Now
	Settle time.Duration    // wait after a write for others of the same burst; 0: 50 ms; negative: none
	Poll   time.Duration    // how often to look without being woken; 0: 2 s
	Lease  time.Duration    // of a mark, at least; 0: 15 s
	Pause  time.Duration    // after a first failure, doubled after each further one; 0: 500 ms
}

// A Worker recomputes rankings. It is safe for concurrent use.
type Worker struct {
	store    Store
	o        Options
	turn     chan struct{} // held by the one recomputation under way
	refits   chan struct{} // held by the one filtered ranking under way
	last     atomic.Pointer[computation]
	took     atomic.Int64 // nanoseconds of the last recomputation
	cache    *cache
	library  *diode.Library // of covers, for conclusions
	digits   digits         // guarded by turn
	swept    time.Time      // when idempotency records were expired last; only Run uses it
	failures int            // consecutive failures; only Run uses it
}

// A computation is what one recomputation was made of and made.
type computation struct {
	in  *ranking.Inputs
	out *ranking.Output
}

// New returns a worker on a store. It does nothing before Run or Once.
func New(s Store, o Options) *Worker {
	if o.Rules == nil {
		rules := ranking.DefaultRules()
		o.Rules = &rules
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	o.Settle = cmp.Or(o.Settle, 50*time.Millisecond)
	o.Poll = cmp.Or(o.Poll, 2*time.Second)
	o.Lease = cmp.Or(o.Lease, 15*time.Second)
	o.Pause = cmp.Or(o.Pause, 500*time.Millisecond)
	return &Worker{store: s, o: o, turn: make(chan struct{}, 1), refits: make(chan struct{}, 1), cache: newCache(cachedRankings), library: &diode.Library{}}
}

// Through returns the sequence that the last computation in this process covers, 0
// before the first.
func (w *Worker) Through() int64 {
	if c := w.last.Load(); c != nil {
		return c.in.Through
	}
	return 0
}

// take waits for a slot and returns what frees it.
func take(ctx context.Context, slot chan struct{}) (func(), error) {
	select {
	case slot <- struct{}{}:
		return func() { <-slot }, nil
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}
