package httpapi_test

import (
	"bytes"
	"compress/gzip"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"evensun/internal/fieldtest"
	"evensun/internal/httpapi"
	"evensun/internal/storetest"

	"github.com/labstack/echo/v4"
)

// Every kind of refusal has a status, a page, and stands in the description of the
// operations that give it.
func TestEveryKindOfRefusalIsOnTheWire(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	own, operations := described(t)
	declared := map[string]bool{}
	common, _ := own.Document().Extensions["x-problem-codes"].([]any)
	for _, code := range common {
		declared[fmt.Sprint(code)] = true
	}
	for _, o := range operations {
		for _, code := range o.Codes {
			declared[code] = true
		}
	}
	for _, kind := range []fieldtest.RefusalKind{fieldtest.MalformedRequest, fieldtest.InvalidParameter, fieldtest.CursorInvalid, fieldtest.Unauthenticated,
		fieldtest.Forbidden, fieldtest.NotFound, fieldtest.MethodNotAllowed, fieldtest.NotAcceptable, fieldtest.UnsupportedMediaType, fieldtest.IllegalTransition,
		fieldtest.NameTaken, fieldtest.IdempotencyKeyInUse, fieldtest.Gone, fieldtest.PreconditionFailed, fieldtest.PayloadTooLarge, fieldtest.ValidationFailed,
		fieldtest.PhysicallyImpossible, fieldtest.IdempotencyKeyReused, fieldtest.PreconditionRequired, fieldtest.RateLimited, fieldtest.Internal,
		fieldtest.NotYetIncluded, fieldtest.Overloaded, fieldtest.ReadOnly} {
		page := b.send(ask{do: "GET /problems/" + strings.ReplaceAll(string(kind), "_", "-")})
		if page.status() != 200 || !strings.Contains(page.text(), string(kind)) {
			t.Errorf("the page of %s = %d %s", kind, page.status(), page.text())
		}
		if !declared[string(kind)] && kind != fieldtest.Gone { // nothing is removed yet
			t.Errorf("no operation declares %s", kind)
		}
		delete(declared, string(kind))
	}
	for code := range declared {
		t.Errorf("the description names code %q, which nothing gives", code)
	}
}

func TestHeadersOfEveryAnswer(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	for _, path := range []string{"/v1/sessions", "/v1/nothing", "/docs", "/problems/gone", "/openapi.yaml", "/livez"} {
		x := b.send(ask{do: "GET " + path})
		for name, want := range map[string]string{"X-Content-Type-Options": "nosniff", "Referrer-Policy": "no-referrer", "Cross-Origin-Resource-Policy": "cross-origin",
			"Access-Control-Allow-Origin": "*", "Vary": "Accept, Accept-Encoding"} {
			if got := x.header(name); got != want {
				t.Errorf("%s: %s = %q, want %q", path, name, got, want)
			}
		}
		if x.header("X-Request-Id") == "" || x.header("Cache-Control") == "" || !strings.HasPrefix(x.header("Content-Security-Policy"), "default-src 'none'") {
			t.Errorf("%s: headers %v", path, x.response.Header())
		}
	}
}

func TestPreflight(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	x := b.must(204, ask{do: "OPTIONS /v1/sessions", header: map[string]string{"Origin": "https://a.example", "Access-Control-Request-Method": "POST"}})
	for _, name := range []string{"Authorization", "Idempotency-Key", "If-Match", "Prefer"} {
		if !strings.Contains(x.header("Access-Control-Allow-Headers"), name) {
			t.Errorf("%s is not allowed: %v", name, x.response.Header())
		}
	}
	if x.header("Access-Control-Allow-Credentials") != "" {
		t.Error("credentials are allowed")
	}
}

// Pages read the same database as the API and have the same bounds.
func TestPagesAreBounded(t *testing.T) {
	t.Parallel()
	b := newBench(t, func(c *httpapi.Config) { c.MaxInFlight = 1 })
	entered, leave := make(chan bool), make(chan struct{})
	b.server.Mount(func(e *echo.Echo) {
		e.GET("/page", func(c echo.Context) error {
			_, ends := c.Request().Context().Deadline()
			entered <- ends
			<-leave
			return c.NoContent(http.StatusNoContent)
		})
	})
	done := make(chan exchange, 1)
	go func() { done <- b.send(ask{do: "GET /page"}) }()
	if !storetest.Await(t, entered, "the page to be asked for") {
		t.Error("a page may take as long as it likes")
	}
	if x := b.send(ask{do: "GET /page"}); x.status() != 503 || x.json("code") != "overloaded" {
		t.Errorf("a page beyond the bound = %d %s", x.status(), x.text())
	}
	b.must(200, ask{do: "GET /livez"})
	close(leave)
	if x := storetest.Await(t, done, "the page"); x.status() != 204 {
		t.Errorf("the page within the bound = %d", x.status())
	}
}

func TestRequestIDOnlyFromTrustedProxy(t *testing.T) {
	t.Parallel()
	id := map[string]string{"X-Request-Id": "proxy-request-0001"}
	if x := newBench(t).send(ask{do: "GET /livez", header: id}); x.header("X-Request-Id") == id["X-Request-Id"] {
		t.Error("a stranger's request id was taken")
	}
	trusting := newBench(t, func(c *httpapi.Config) { c.TrustedProxies = []netip.Prefix{netip.MustParsePrefix("192.0.2.0/24")} })
	if x := trusting.send(ask{do: "GET /livez", header: id}); x.header("X-Request-Id") != id["X-Request-Id"] {
		t.Errorf("the proxy's request id became %q", x.header("X-Request-Id"))
	}
	if x := trusting.send(ask{do: "GET /livez", header: map[string]string{"X-Request-Id": "a b\n"}}); strings.Contains(x.header("X-Request-Id"), " ") {
		t.Error("a request id of another form was taken")
	}
}

// What a client claims of itself does not hide it: the proxy's own line counts, also where
// it is a second one.
func TestTheProxysOwnLineCounts(t *testing.T) {
	t.Parallel()
	b := newBench(t, func(c *httpapi.Config) {
		c.TrustedProxies = []netip.Prefix{netip.MustParsePrefix("192.0.2.0/24")}
		c.Limits.AnonymousPerMinute = 1
	})
	for i, want := range []int{200, 429} {
		r := httptest.NewRequest(http.MethodGet, "/v1/ledger/head", nil)
		r.Header.Add("X-Forwarded-For", fmt.Sprintf("203.0.113.%d", i))
		r.Header.Add("X-Forwarded-For", "198.51.100.1")
		w := httptest.NewRecorder()
		b.server.Handler().ServeHTTP(w, r)
		if w.Code != want {
			t.Errorf("request %d of one client = %d, want %d", i+1, w.Code, want)
		}
	}
}

// gone is a client that left after the header.
type gone struct{ http.ResponseWriter }

func (gone) Write([]byte) (int, error) { return 0, syscall.EPIPE }

// A client that leaves is no failure of ours, and is told as what it is.
func TestAClientThatLeavesIsNoError(t *testing.T) {
	t.Parallel()
	for _, path := range []string{"/v1/ledger?format=jsonl", "/v1/ledger?format=csv", "/v1/ledger/head"} {
		var log bytes.Buffer
		b := newScene(t, func(c *httpapi.Config) { c.Log = slog.New(slog.NewTextHandler(&log, nil)) })
		func() {
			defer func() {
				if p := recover(); p != http.ErrAbortHandler {
					t.Errorf("%s: the connection was not broken off: %v", path, p)
				}
			}()
			b.server.Handler().ServeHTTP(gone{httptest.NewRecorder()}, httptest.NewRequest(http.MethodGet, path, nil))
		}()
		if told := log.String(); strings.Contains(told, "level=ERROR") || !strings.Contains(told, "not taken whole") {
			t.Errorf("%s was logged as %s", path, told)
		}
	}
}

func TestHEADAnswersAsGETWithoutBody(t *testing.T) {
	t.Parallel()
	s := newScene(t)
	server := httptest.NewServer(s.server.Handler())
	defer server.Close()
	for _, path := range []string{"/v1/rigs/" + s.rig, "/v1/rankings/stc-power", "/v1/sessions", "/openapi.yaml", "/docs", "/livez", "/v1/rigs/17", "/v1/nothing"} {
		get, head := fetched(t, server.URL+path, http.MethodGet), fetched(t, server.URL+path, http.MethodHead)
		if head.StatusCode != get.StatusCode || head.Header.Get("ETag") != get.Header.Get("ETag") || head.Header.Get("Content-Type") != get.Header.Get("Content-Type") {
			t.Errorf("HEAD %s = %d %v, GET = %d %v", path, head.StatusCode, head.Header, get.StatusCode, get.Header)
		}
	}
}

func fetched(t *testing.T, url, method string) *http.Response {
	t.Helper()
	r, err := http.NewRequestWithContext(t.Context(), method, url, nil)
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("Accept-Encoding", "identity") // the client asks GET alone for gzip
	resp, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	body, err := io.ReadAll(resp.Body)
	if err != nil {
		t.Fatal(err)
	}
	if err := resp.Body.Close(); err != nil {
		t.Fatal(err)
	}
	if method == http.MethodHead && len(body) > 0 {
		t.Errorf("HEAD %s has a body", url)
	}
	return resp
}

func TestCompressedAnswerHasItsOwnTag(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	plain := b.must(200, ask{do: "GET /openapi.yaml"})
	packed := b.must(200, ask{do: "GET /openapi.yaml", header: map[string]string{"Accept-Encoding": "br, gzip;q=0.5"}})
	if packed.header("Content-Encoding") != "gzip" || packed.header("Etag") != strings.TrimSuffix(plain.header("Etag"), `"`)+`-gzip"` {
		t.Errorf("tags %s and %s", plain.header("Etag"), packed.header("Etag"))
	}
	z, err := gzip.NewReader(packed.response.Body)
	if err != nil {
		t.Fatal(err)
	}
	if body, err := io.ReadAll(z); err != nil || string(body) != plain.text() {
		t.Errorf("unpacked %d bytes, %v, want the same", len(body), err)
	}
	for _, tag := range []string{plain.header("Etag"), packed.header("Etag"), "W/" + packed.header("Etag"), `"x", ` + plain.header("Etag")} {
		x := b.must(304, ask{do: "GET /openapi.yaml", header: map[string]string{"Accept-Encoding": "gzip", "If-None-Match": tag}})
		if x.header("Etag") != packed.header("Etag") || x.text() != "" {
			t.Errorf("304 for %s = %v %q", tag, x.response.Header(), x.text())
		}
	}
	b.must(200, ask{do: "GET /openapi.yaml", header: map[string]string{"If-None-Match": `"x"`}})
	if x := b.must(200, ask{do: "GET /openapi.yaml", header: map[string]string{"Accept-Encoding": "gzip;q=0"}}); x.header("Content-Encoding") != "" {
		t.Error("gzip was sent to a client that refuses it")
	}
}

func TestLimitsPerCaller(t *testing.T) {
	t.Parallel()
	s := newScene(t, func(c *httpapi.Config) {
		c.Limits = httpapi.Limits{AnonymousPerMinute: 3, DryRunsPerMinute: 1, ReadsPerMinute: 5, WritesPerMinute: 100, FailuresPerMinute: 2}
	})
	read := ask{do: "GET /v1/ledger/head"}
	for i := range 3 {
		if x := s.must(200, read); x.header("RateLimit-Policy") != `"anonymous";q=3;w=60` || !strings.HasPrefix(x.header("RateLimit"), fmt.Sprintf(`"anonymous";r=%d;t=`, 2-i)) {
			t.Errorf("read %d: %q %q", i, x.header("RateLimit-Policy"), x.header("RateLimit"))
		}
	}
	over := s.must(429, read)
	problemIsWhole(t, "rate limit", over)
	if over.header("Retry-After") != "20" || over.json("policy") != "anonymous" {
		t.Errorf("429 = %s, Retry-After %q, want 20 (a third of a minute)", over.text(), over.header("Retry-After"))
	}
	s.must(200, ask{do: read.do, key: s.key}) // a key has its own
	s.pass(19 * time.Second)
	s.must(429, read)
	s.pass(time.Second)
	s.must(200, read)
	s.must(200, ask{do: "POST /v1/sessions?dry_run=true", body: s.session()})
	s.must(429, ask{do: "POST /v1/sessions?dry_run=true", body: s.session()})
	wrong := ask{do: read.do, key: "evs_wrong"}
	s.must(401, wrong)
	s.must(401, wrong)
	s.must(429, wrong)
}

func TestTooManyAtATime(t *testing.T) {
	t.Parallel()
	entered, leave := make(chan struct{}), make(chan struct{})
	b := newBench(t, func(c *httpapi.Config) {
		c.MaxInFlight = 1
		c.Suggest = slow{entered, leave}
	})
	done := make(chan exchange, 1)
	go func() { done <- b.send(ask{do: "GET /v1/suggestions?lat=1&lon=1"}) }()
	storetest.Await(t, entered, "the first request")
	x := b.send(ask{do: "GET /v1/ledger/head"})
	b.must(200, ask{do: "GET /livez"})
	close(leave)
	if x.status() != 503 || x.json("code") != "overloaded" || x.header("Retry-After") == "" {
		t.Errorf("a second request = %d %s", x.status(), x.text())
	}
	if first := storetest.Await(t, done, "the first answer"); first.status() != 200 {
		t.Errorf("the first request = %d %s", first.status(), first.text())
	}
}

// A database that hangs makes the service unavailable, not silent.
func TestReadinessAnswersInTime(t *testing.T) {
	t.Parallel()
	leave := make(chan struct{})
	defer close(leave)
	b := newBench(t, func(c *httpapi.Config) {
		c.Ready = func(context.Context) map[string]error { <-leave; return nil }
		c.ReadyTimeout = time.Millisecond
	})
	for range 2 {
		if x := b.must(503, ask{do: "GET /readyz?verbose=true"}); x.json("checks.in_time") != "failed" {
			t.Errorf("readyz = %s, want that the checks did not end in time", x.text())
		}
	}
}

// A revocation on another instance acts within two seconds.
func TestRevokedElsewhere(t *testing.T) {
	t.Parallel()
	s := newScene(t)
	other := newBench(t, func(c *httpapi.Config) { c.Store = s.store })
	own := ask{do: "GET /v1/keys", key: s.key}
	id := other.must(200, own).json("items.0.id").(string)
	s.must(204, ask{do: "DELETE /v1/keys/" + id, key: s.key})
	s.must(401, own)
	other.pass(2*time.Second - time.Nanosecond)
	other.must(200, own)
	other.pass(time.Nanosecond)
	other.must(401, own)
}

// A log line tells the network that a request came from, never the household.
func TestLogKeepsNoWholeAddress(t *testing.T) {
	t.Parallel()
	for address, want := range map[string]string{"203.0.113.77": "client=203.0.113.0/24", "2001:db8:1234:5678::9": "client=2001:db8:1234::/48"} {
		var log bytes.Buffer
		b := newBench(t, func(c *httpapi.Config) {
			c.Log = slog.New(slog.NewTextHandler(&log, nil))
			c.TrustedProxies = []netip.Prefix{netip.MustParsePrefix("192.0.2.0/24")}
		})
		b.must(200, ask{do: "GET /livez", header: map[string]string{"X-Forwarded-For": address}})
		if !strings.Contains(log.String(), want+"\n") || strings.Contains(log.String(), address) {
			t.Errorf("from %s logged %s, want %s", address, log.String(), want)
		}
	}
}

func TestNotReady(t *testing.T) {
	t.Parallel()
	b := newBench(t, func(c *httpapi.Config) { c.Ready = failing })
	x := b.must(503, ask{do: "GET /readyz?verbose=true"})
	if x.json("checks.database") != "failed" || strings.Contains(x.text(), "password") {
		t.Errorf("readyz = %s, want the check's name and no more", x.text())
	}
	newBench(t).must(200, ask{do: "GET /readyz"})
}

// The reference page is whole: its files are served from here, as UTF-8, under a
// policy that lets nothing else in.
func TestReferencePage(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	page := b.must(200, ask{do: "GET /docs"})
	for _, file := range []string{"/docs/swagger-ui-bundle.js", "/docs/swagger-ui.css", "/docs/start.js"} {
		if !strings.Contains(page.text(), `"`+file+`"`) {
			t.Errorf("the page does not use %s", file)
		}
		x := b.must(200, ask{do: "GET " + file})
		if !strings.HasSuffix(x.header("Content-Type"), "; charset=utf-8") {
			t.Errorf("%s: %s", file, x.header("Content-Type"))
		}
		if strings.Contains(x.text(), "sourceMappingURL=") && file != "/docs/swagger-ui-bundle.js" {
			t.Errorf("%s asks for a source map", file)
		}
	}
	if strings.Contains(page.text(), "http://") || strings.Contains(page.text(), "https://") || strings.Contains(page.text(), "<style") || strings.Contains(page.text(), "onload") {
		t.Error("the page holds what its policy blocks, or asks another host")
	}
	if !strings.Contains(page.header("Content-Security-Policy"), "script-src 'self'") {
		t.Errorf("policy %q", page.header("Content-Security-Policy"))
	}
	refused(t, b, bad{"another file", ask{do: "GET /docs/README"}, 404, "not_found", "", ""})
	var doc map[string]any
	if err := json.Unmarshal([]byte(b.must(200, ask{do: "GET /openapi.json"}).text()), &doc); err != nil || doc["openapi"] != "3.0.3" {
		t.Errorf("openapi.json: %v %v", err, doc["openapi"])
	}
}

func TestQuantitiesHaveBounds(t *testing.T) {
	t.Parallel()
	x := newBench(t).must(200, ask{do: "GET /v1/meta/quantities"})
	conforms(t, "Quantities", x.response.Body.Bytes())
	var q httpapi.Quantities
	if err := json.Unmarshal(x.response.Body.Bytes(), &q); err != nil {
		t.Fatal(err)
	}
	i := slices.IndexFunc(q.Items, func(q httpapi.Quantity) bool { return q.Schema == "Reading" && q.Name == "back_temperature_c" })
	if i < 0 || q.Items[i].Unit != "Cel" || *q.Items[i].Minimum != -100 || *q.Items[i].Maximum != 250 {
		t.Errorf("back_temperature_c = %+v", q.Items)
	}
}

func TestMountedPagesCannotHideUnderTheInterface(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.server.Mount(mountUndeclared)
	if x := b.send(ask{do: "GET /v1/secret"}); x.status() != 404 {
		t.Errorf("an undeclared route answers %d %s", x.status(), x.text())
	}
	b.must(200, ask{do: "GET /page"})
	b.must(200, ask{do: "HEAD /page"})
}

// Reading with a key works on a database that takes no writes: that the key was used is
// noted once it takes them again.
func TestAKeyReadsWhereNothingIsWritten(t *testing.T) {
	t.Parallel()
	s := newScene(t, func(c *httpapi.Config) { c.Store = readOnlyStore{c.Store} })
	s.must(200, ask{do: "GET /v1/testers", key: s.key})
}

// A readOnlyStore cannot note that a key was used.
type readOnlyStore struct{ httpapi.Store }

func (readOnlyStore) UsedKey(context.Context, string, time.Time) error {
	return &fieldtest.Refusal{Kind: fieldtest.ReadOnly, Detail: "The database takes no writes at the moment."}
}
