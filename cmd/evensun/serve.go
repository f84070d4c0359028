package main

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"github.com/google/uuid"
	"golang.org/x/sync/errgroup"

	"evensun/internal/accounts"
	"evensun/internal/httpapi"
	"evensun/internal/intake"
	"evensun/internal/refresh"
	"evensun/internal/store"
	"evensun/internal/web"
)

// Times of the server: how long a client may take, and how long a stop waits for
// requests under way.
const (
	headerTimeout = 5 * time.Second
	readTimeout   = 15 * time.Second
	writeTimeout  = 45 * time.Second // from the header on; a wait for a ranking is 30 s at most, a stream extends it
	idleTimeout   = 60 * time.Second
	stopTimeout   = 25 * time.Second
	watchPoll     = 2 * time.Second
)

// serve runs the service until it is told to stop.
func serve(ctx context.Context, std streams, args []string) error {
	s, err := serveSettings(std.err, args)
	if err != nil {
		return err
	}
	if s.Demo {
		s.Registration = string(accounts.Open)
	}
	log := slog.New(slog.NewJSONHandler(std.err, nil))
	db, err := openDatabase(ctx, s)
	if err != nil {
		return err
	}
	err = serveOn(ctx, std, s, db, log)
	return errors.Join(err, db.close(context.WithoutCancel(ctx)))
}

// serveOn listens, fills an empty database with the demonstration where asked, and
// serves. The listener comes first, so that an address in use is told at once.
func serveOn(ctx context.Context, std streams, s settings, db *database, log *slog.Logger) error {
	listener, err := net.Listen("tcp", s.Addr)
	if err != nil {
		return fmt.Errorf("listen on %s: %w", s.Addr, err)
	}
	if s.BaseURL == "" {
		s.BaseURL = "http://" + listener.Addr().String()
	}
	in := intake.New(db.DB, uuid.NewV7, time.Now)
	worker := refresh.New(db.DB, refresh.Options{Log: log})
	if s.Demo {
		err = fillDemo(ctx, std, s, db.DB, in, worker)
		if err != nil {
			return errors.Join(fmt.Errorf("fill the demonstration: %w", err), listener.Close())
		}
	}
	freezer, err := newFreezer(worker, db.DB)
	if err != nil {
		return errors.Join(err, listener.Close())
	}
	p := parts{db, in, worker, freezer, &draining{pause: (*stopSignal).wait}}
	api, err := newAPI(s, p, log)
	if err != nil {
		return errors.Join(err, listener.Close())
	}
	if err := tellFirstKey(ctx, std.out, s, db.DB); err != nil {
		return errors.Join(err, listener.Close())
	}
	fmt.Fprintf(std.out, "evensun serves %s (API: %s/docs). Stop with ^C.\n", s.BaseURL, s.BaseURL)
	return runAll(ctx, s.DrainFor, listener, api, p, log)
}

// parts are what the API is made of.
type parts struct {
	db      *database
	in      *intake.Service
	worker  *refresh.Worker
	freezer *refresh.Freezer
	drain   *draining
}

// upkeepEvery is how often readiness looks at what changes by hand only.
const upkeepEvery = 10 * time.Second

// readyWithin bounds what readiness asks the database, so that it answers within a second
// whatever the database does.
const readyWithin = 800 * time.Millisecond

// upkeep is whether the database still is what this program was started on: the same
// schema, and a server that keeps what it acknowledges.
type upkeep struct {
	db     *store.DB
	want   int64 // version of the schema
	unsafe bool  // the operator accepts a server that may lose something

	lock            sync.Mutex
	looked          time.Time
	schema, durable error
}

// newUpkeep takes the version that the schema has now, after opening brought it up to
// date.
func newUpkeep(ctx context.Context, db *store.DB, unsafe bool) (*upkeep, error) {
	version, _, err := db.SchemaVersion(ctx)
	return &upkeep{db: db, want: version, unsafe: unsafe}, err
}

// ready returns what is wrong with the schema and with the server's durability, as of the
// last look.
func (u *upkeep) ready(ctx context.Context, now time.Time) (error, error) {
	u.lock.Lock()
	defer u.lock.Unlock()
	if now.Sub(u.looked) >= upkeepEvery {
		u.looked, u.schema = now, u.checkSchema(ctx)
		if !u.unsafe {
			u.durable = u.db.CheckDurable(ctx)
		}
	}
	return u.schema, u.durable
}

func (u *upkeep) checkSchema(ctx context.Context) error {
	version, dirty, err := u.db.SchemaVersion(ctx)
	switch {
	case err != nil:
		return err
	case dirty:
		return fmt.Errorf("the migration to version %d was left half-way by an earlier program", version)
	case version != u.want:
		return fmt.Errorf("the schema has version %d, this program was started on %d", version, u.want)
	}
	return nil
}

// draining is whether the service is about to stop: readiness says so first, so that a
// balancer sends nothing more.
type draining struct {
	begun atomic.Bool
	pause func(*stopSignal, time.Duration) // between that and the end of listening
}

var errDraining = errors.New("stopping")

func (d *draining) ready() error {
	if d != nil && d.begun.Load() {
		return errDraining
	}
	return nil
}

// newAPI wires the API and the pages.
func newAPI(s settings, p parts, log *slog.Logger) (*httpapi.Server, error) {
	limits := httpapi.UsualLimits()
	limits.WritesPerMinute, limits.ReadsPerMinute = s.WritesPerMin, s.ReadsPerMin
	limits.AnonymousPerMinute, limits.DryRunsPerMinute = s.AnonPerMin, s.DryRunsPerMin
	proxies, err := s.trustedProxies()
	if err != nil {
		return nil, err
	}
	upkeep, err := newUpkeep(context.Background(), p.db.DB, s.UnsafeDB)
	if err != nil {
		return nil, err
	}
	api, err := httpapi.New(httpapi.Config{
		Store: p.db.DB, Intake: p.in, Accounts: accounts.New(p.db.DB, time.Now, rand.Reader, accounts.Registration(s.Registration)),
		Compare: background{p.worker}, Agree: p.worker, Results: p.worker, Refit: background{p.worker}, Suggest: p.worker, Recommend: p.worker, Freeze: p.freezer,
		Now: time.Now, Random: rand.Reader, Log: log,
		BaseURL: s.BaseURL, OperatorKey: s.OperatorKey,
		TrustedProxies: proxies, TLS: strings.HasPrefix(s.BaseURL, "https://"),
		Rules: ruleCatalogue(), Limits: limits, MaxInFlight: 256,
		Ready: func(ctx context.Context) map[string]error {
			ctx, cancel := context.WithTimeout(ctx, readyWithin)
			defer cancel()
			checks := map[string]error{"database": p.db.Ping(ctx), "serving": p.drain.ready()}
			if checks["database"] == nil { // else there is nothing to look at
				checks["migrations"], checks["durable"] = upkeep.ready(ctx, time.Now())
			}
			return checks
		},
	})
	if err != nil {
		return nil, err
	}
	site, err := web.New(published{p.db.DB, p.worker, p.in}, web.Options{Demo: s.Demo, Rules: rulesForPages()})
	if err != nil {
		return nil, err
	}
	api.Mount(site.Mount)
	api.ErrorPages(site.Problem)
	return api, nil
}

// runAll runs the background and the server until the context ends, then stops both in
// order.
func runAll(ctx context.Context, drainFor time.Duration, listener net.Listener, api *httpapi.Server, p parts, log *slog.Logger) error {
	background, stop := context.WithCancel(context.WithoutCancel(ctx))
	defer stop()
	var group errgroup.Group
	group.Go(func() error { return p.worker.Run(background) })
	group.Go(func() error { return p.freezer.Run(background) })
	group.Go(func() error {
		api.Watch(p.db.Watch(background, watchPoll))
		return nil
	})
	server := &http.Server{Handler: api.Handler(), ReadHeaderTimeout: headerTimeout, ReadTimeout: readTimeout, WriteTimeout: writeTimeout, IdleTimeout: idleTimeout, MaxHeaderBytes: 16 << 10,
		ErrorLog: slog.NewLogLogger(log.Handler(), slog.LevelWarn)}
	served := make(chan error, 1)
	go func() { served <- server.Serve(listener) }()
	var err error
	select {
	case err = <-served:
	case <-ctx.Done():
		told := stopOf(ctx)
		log.Info("stopping", slog.String("signal", told.signal.String()))
		p.drain.begun.Store(true)
		p.drain.pause(told, drainFor)
		wait, cancel := told.hurried(ctx, stopTimeout)
		err = server.Shutdown(wait)
		cancel()
		<-served
	}
	stop()
	failed := group.Wait()
	if errors.Is(failed, context.Canceled) {
		failed = nil
	}
	return errors.Join(err, failed)
}
