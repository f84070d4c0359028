package main

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/google/uuid"

	"evensun/internal/intake"
	"evensun/internal/refresh"
	"evensun/internal/store"
	"evensun/internal/storetest"
)

// newParts wires what serve does, on a fresh database.
func newParts(t *testing.T) (parts, settings) {
	t.Helper()
	s := settings{DatabaseURL: storetest.URL(t), UnsafeDB: true, QueryMode: "cache_statement", BaseURL: "http://example.org", Registration: "invite", DrainFor: 5 * time.Second}
	db, err := openDatabase(t.Context(), s)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.close(context.Background()) })
	worker := refresh.New(db.DB, refresh.Options{Log: quiet()})
	freezer, err := newFreezer(worker, db.DB)
	if err != nil {
		t.Fatal(err)
	}
	return parts{db, intake.New(db.DB, uuid.NewV7, time.Now), worker, freezer, &draining{pause: (*stopSignal).wait}}, s
}

func quiet() *slog.Logger { return slog.New(slog.NewTextHandler(io.Discard, nil)) }

// Told to stop, the service first says not ready while it still answers everything else,
// for as long as it was set to, and then stops listening.
func TestNotReadyComesBeforeTheEndOfListening(t *testing.T) {
	t.Parallel()
	p, s := newParts(t)
	api, err := newAPI(s, p, quiet())
	if err != nil {
		t.Fatal(err)
	}
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	url := "http://" + listener.Addr().String()
	ctx, stop := context.WithCancelCause(t.Context())
	var paused time.Duration
	var ready, live, rankings int
	p.drain.pause = func(told *stopSignal, d time.Duration) {
		if told.signal != syscall.SIGTERM {
			t.Errorf("told to stop by %v", told.signal)
		}
		paused = d
		ready, live, rankings = status(t, url+"/readyz"), status(t, url+"/livez"), status(t, url+"/v1/rankings")
	}
	stop(&stopSignal{signal: syscall.SIGTERM})
	if err := runAll(ctx, s.DrainFor, listener, api, p, quiet()); err != nil {
		t.Errorf("runAll = %v", err)
	}
	if paused != s.DrainFor || ready != http.StatusServiceUnavailable || live != http.StatusOK || rankings != http.StatusOK {
		t.Errorf("in a pause of %s: readyz %d, livez %d, rankings %d; want %s, 503, 200, 200", paused, ready, live, rankings, s.DrainFor)
	}
	if _, err := net.Dial("tcp", listener.Addr().String()); err == nil {
		t.Error("the address still takes connections")
	}
}

// ^C waits for nothing, and nor does a second signal: an hour would be noticed.
func TestWhoWaitsAtTheKeyboardWaitsForNothing(t *testing.T) {
	t.Parallel()
	again := make(chan struct{})
	close(again)
	for _, s := range []*stopSignal{stopOf(t.Context()), {signal: os.Interrupt}, {signal: syscall.SIGTERM, again: again}} {
		s.wait(time.Hour)
	}
	hurried, cancel := (&stopSignal{signal: syscall.SIGTERM, again: again}).hurried(t.Context(), time.Hour)
	defer cancel()
	storetest.AwaitEnd(t, hurried.Done(), "the end of the wait")
	if !errors.Is(hurried.Err(), context.Canceled) {
		t.Errorf("the end of requests under way is waited for: %v", hurried.Err())
	}
}

// The first signal ends the context and says which it was, the next one is passed on.
func TestSignalsEndTheContext(t *testing.T) {
	ctx, stop := untilSignal()
	defer stop()
	self, err := os.FindProcess(os.Getpid())
	if err != nil {
		t.Fatal(err)
	}
	if err := self.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	storetest.AwaitEnd(t, ctx.Done(), "the first signal")
	told := stopOf(ctx)
	if told.signal != syscall.SIGTERM {
		t.Errorf("told to stop by %v, want SIGTERM", told.signal)
	}
	if err := self.Signal(os.Interrupt); err != nil {
		t.Fatal(err)
	}
	storetest.AwaitEnd(t, told.again, "the second signal")
	told.wait(time.Hour)
}

// Behind a proxy with TLS each client has its own limit, links lead to the public URL, and
// browsers are told to stay with https.
func TestBehindAProxy(t *testing.T) {
	unsafeDatabase(t)
	for name, value := range map[string]string{"TRUSTED_PROXIES": "192.0.2.0/24,::1/128", "BASE_URL": "https://evensun.example/", "ANONYMOUS_PER_MINUTE": "1"} {
		t.Setenv(envPrefix+name, value)
	}
	s, err := environment()
	if err != nil {
		t.Fatal(err)
	}
	p, wired := newParts(t)
	s.DatabaseURL, s.UnsafeDB = wired.DatabaseURL, true
	api, err := newAPI(s, p, quiet())
	if err != nil {
		t.Fatal(err)
	}
	get := func(client string) *httptest.ResponseRecorder {
		r := httptest.NewRequest(http.MethodGet, "/v1/rankings", nil) // from 192.0.2.1
		r.Header.Set("X-Forwarded-For", client)
		w := httptest.NewRecorder()
		api.Handler().ServeHTTP(w, r)
		return w
	}
	if w := get("198.51.100.7"); w.Code != http.StatusOK || w.Header().Get("Strict-Transport-Security") == "" {
		t.Errorf("the first client: %d %v", w.Code, w.Header())
	}
	if w := get("198.51.100.8"); w.Code != http.StatusOK {
		t.Errorf("another client: %d, has a limit of its own", w.Code)
	}
	w := get("203.0.113.5, 198.51.100.7") // what the client itself claims stands first
	if w.Code != http.StatusTooManyRequests || !strings.Contains(w.Body.String(), `"https://evensun.example/problems/rate-limited"`) {
		t.Errorf("the first client again, with an address of its own making: %d %s", w.Code, w.Body)
	}
}

func TestMistypedSettingsAreNamed(t *testing.T) {
	t.Parallel()
	got := strangers([]string{"EVENSUN_LISTEN=127.0.0.1:8090", "EVENSUN_ADDR=127.0.0.1:8090", "HOME=/", "EVENSUN_TEST_SERVER_KEEPER=1"})
	if len(got) != 1 || got[0] != "EVENSUN_LISTEN" {
		t.Errorf("strangers = %v, want EVENSUN_LISTEN", got)
	}
}

func TestSettingsOfTheEdgeAreChecked(t *testing.T) {
	unsafeDatabase(t)
	for name, values := range map[string][]string{
		"TRUSTED_PROXIES": {"10.0.0.1", "proxy", "10.0.0.0/8;::1/128"},
		"BASE_URL":        {"evensun.example", "ftp://evensun.example", "https://", "https://evensun.example/api", "https://evensun.example?a=b", "https://a:b@evensun.example"},
	} {
		for _, value := range values {
			t.Setenv(envPrefix+name, value)
			if _, err := environment(); err == nil || !strings.Contains(err.Error(), name) {
				t.Errorf("%s=%s: %v, want it refused by name", name, value, err)
			}
		}
		t.Setenv(envPrefix+name, "")
	}
}

// A schema that is not the one that the program was started on, or a server that may lose
// what it acknowledges, makes it not ready, not between two looks but at the next.
func TestReadinessLooksAtTheDatabase(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	db := storetest.Open(t, url)
	u, err := newUpkeep(t.Context(), db, true)
	if err != nil || u.want == 0 {
		t.Fatalf("version %d, %v", u.want, err)
	}
	at := time.Date(2026, 7, 1, 0, 0, 0, 0, time.UTC)
	look := func(when string, looks int, ready bool) {
		t.Helper()
		if schema, _ := u.ready(t.Context(), at.Add(time.Duration(looks)*upkeepEvery)); (schema == nil) != ready {
			t.Errorf("%s: %v, want ready %v", when, schema, ready)
		}
	}
	look("as started", 0, true)
	if err := store.MigrateDown(t.Context(), url); err != nil {
		t.Fatal(err)
	}
	if schema, _ := u.ready(t.Context(), at.Add(upkeepEvery-time.Second)); schema != nil {
		t.Errorf("before the next look: %v", schema)
	}
	look("without tables", 1, false)
	if err := store.Migrate(t.Context(), url); err != nil {
		t.Fatal(err)
	}
	look("with the tables back", 2, true)
	change(t, url, `UPDATE schema_migrations SET dirty = true`)
	look("with a migration left half-way", 3, false)
	u.unsafe = false
	if _, durable := u.ready(t.Context(), at.Add(4*upkeepEvery)); durable == nil || !strings.Contains(durable.Error(), "=off") {
		t.Errorf("on a server without fsync: %v, want the setting named", durable)
	}
}
