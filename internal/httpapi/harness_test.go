package httpapi_test

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"evensun/internal/accounts"
	"evensun/internal/conclusion"
	"evensun/internal/contract"
	"evensun/internal/fieldtest"
	"evensun/internal/httpapi"
	"evensun/internal/intake"
	"evensun/internal/ledger"
	"evensun/internal/refresh"
	"evensun/internal/reftest"
	"evensun/internal/store"
	"evensun/internal/storetest"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"
)

const operatorKey = "operator-key-of-the-tests-0123456789"

// A bench is a server on a database of its own, at a time that a test may move.
type bench struct {
	t      testing.TB
	store  *store.DB
	server *httpapi.Server
	mu     sync.Mutex
	now    time.Time
}

// at is when all tests begin: far ahead of the database's own clock, so that no key
// ends before it was made, whenever the tests run.
var at = time.Date(2100, 1, 1, 12, 0, 0, 0, time.UTC)

// logged shows what the server logs as errors with the test that caused it.
type logged struct{ t testing.TB }

func (l logged) Write(p []byte) (int, error) {
	l.t.Logf("%s", p)
	return len(p), nil
}

// locked makes a random source safe for handlers at the same time.
type locked struct {
	mu sync.Mutex
	in io.Reader
}

func (l *locked) Read(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.in.Read(p)
}

func newBench(t testing.TB, change ...func(*httpapi.Config)) *bench {
	t.Helper()
	b := &bench{t: t, store: storetest.New(t), now: at}
	random := &locked{in: rand.NewChaCha8([32]byte{1})}
	newID := func() (uuid.UUID, error) { return uuid.NewV7FromReader(random) }
	worker := refresh.New(b.store, refresh.Options{Now: b.clock})
	w := background{worker}
	cfg := httpapi.Config{Store: b.store, Intake: intake.New(b.store, newID, b.clock), Accounts: accounts.New(b.store, b.clock, random, accounts.Invite),
		Compare: w, Refit: w, Results: told{b.store}, Agree: worker, Suggest: worker, Recommend: worker, Now: b.clock, Random: random,
		Log: slog.New(slog.NewTextHandler(logged{t}, &slog.HandlerOptions{Level: slog.LevelError})), BaseURL: "https://evensun.example", OperatorKey: operatorKey}
	cfg.Freeze = refresh.NewFreezer(worker, b.store, refresh.Methods{Normalise: "2026.1", Contract: "1.0.0"})
	for _, f := range change {
		f(&cfg)
	}
	server, err := httpapi.New(cfg)
	if err != nil {
		t.Fatal(err)
	}
	b.server = server
	return b
}

func (b *bench) clock() time.Time {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.now
}

func (b *bench) pass(d time.Duration) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.now = b.now.Add(d)
}

// An exchange is one request and its answer.
type exchange struct {
	request  *http.Request
	sent     string
	response *httptest.ResponseRecorder
}

func (x exchange) status() int               { return x.response.Code }
func (x exchange) text() string              { return x.response.Body.String() }
func (x exchange) header(name string) string { return x.response.Header().Get(name) }

// json returns a member of the answer by its path, as errors.0.code; nil if absent.
func (x exchange) json(path string) any {
	var v any
	if json.Unmarshal(x.response.Body.Bytes(), &v) != nil {
		return nil
	}
	for _, step := range strings.Split(path, ".") {
		switch at := v.(type) {
		case map[string]any:
			v = at[step]
		case []any:
			var i int
			if _, err := fmt.Sscan(step, &i); err != nil || i >= len(at) {
				return nil
			}
			v = at[i]
		default:
			return nil
		}
	}
	return v
}

// An ask is a request that a test makes: method and path, then what is set.
type ask struct {
	do     string // as GET /v1/rigs
	key    string
	body   string
	header map[string]string
}

func (b *bench) send(a ask) exchange {
	b.t.Helper()
	method, target, _ := strings.Cut(a.do, " ")
	var body io.Reader
	if a.body != "" {
		body = strings.NewReader(a.body)
	}
	r := httptest.NewRequest(method, target, body)
	if a.body != "" {
		r.Header.Set("Content-Type", "application/json")
	}
	if a.key != "" {
		r.Header.Set("Authorization", "Bearer "+a.key)
	}
	for name, value := range a.header {
		if value == "" {
			r.Header.Del(name)
		} else {
			r.Header.Set(name, value)
		}
	}
	w := httptest.NewRecorder()
	b.server.Handler().ServeHTTP(w, r)
	return exchange{request: r, sent: a.body, response: w}
}

// must sends a request that has to succeed.
func (b *bench) must(status int, a ask) exchange {
	b.t.Helper()
	x := b.send(a)
	if x.status() != status {
		b.t.Fatalf("%s = %d %s, want %d", a.do, x.status(), x.text(), status)
	}
	return x
}

// tester registers a trusted tester and returns its id and key.
func (b *bench) tester(name string) (id, key string) {
	b.t.Helper()
	x := b.must(201, ask{do: "POST /v1/testers", key: operatorKey, body: fmt.Sprintf(`{"display_name":%q,"accept_licence":true,"trusted":true}`, name)})
	return x.json("id").(string), x.json("key").(string)
}

func (b *bench) reviewer(name string) (id, key string) {
	b.t.Helper()
	id, _ = b.tester(name)
	x := b.must(201, ask{do: "POST /v1/keys", key: operatorKey, body: fmt.Sprintf(`{"tester_id":%q,"role":"reviewer"}`, id)})
	return id, x.json("key").(string)
}

const panelBody = `{"slug": "tarn-fold-200", "maker": "Tarn", "model": "Fold 200",
 "nameplate": {"pmax_w": 200, "voc_v": 24.2, "isc_a": 10.6, "vmp_v": 20.2, "imp_a": 9.9, "tolerance": [-0.03, 0.05],
   "gamma_pmax_per_k": -0.0035, "beta_voc_per_k": -0.0029, "alpha_isc_per_k": 0.0005, "cells_in_series": 36, "noct_c": 45},
 "construction": {"technology": "mono_perc", "front": "etfe", "sections": 4, "wiring_claimed": "unknown", "bifaciality": null, "mount": "kickstand"},
 "size": {"mass_kg": 6.4, "panel_area_m2": 1.12, "cell_area_m2": 0.95, "folded_volume_l": 14.0}}`

const rigBody = `{"name": "bench 1", "kind": "mppt_controller", "power_read_at": "panel_side", "instrument": "controller_display",
 "accuracy": {"voltage_percent": 1.0, "current_percent": 1.5, "power_percent": 2.0}, "resolution": {"voltage_v": 0.1, "current_a": 0.01, "power_w": 1},
 "cable": {"length_m": 5, "cross_section_mm2": 3.31}, "battery_voltage_v": 13.3}`

// sessionBody is a good session with %s for the rig; its numbers are of no real panel.
const sessionBody = `{"started_at": "2026-06-14T11:05:00-06:00", "ended_at": "2026-06-14T12:10:00-06:00", "client_ref": "field-14",
 "site": {"latitude_deg": 38.5, "longitude_deg": -106.0, "altitude_m": 2150, "ground": "dry_grass"},
 "sky": {"condition": "clear"}, "rig": %s, "weather": {"air_temperature_c": 24.0, "wind_speed_m_s": 1.5, "relative_humidity_percent": 35},
 "plane": {"tilt_deg": 35, "azimuth_deg": 180},
 "readings": [
  {"label": "A1", "panel": {"model": "tarn-fold-200", "specimen": "unit-1"}, "taken_at": "2026-06-14T11:22:00-06:00",
   "voltage_v": 18.1, "current_a": 8.42, "power_w": 152, "irradiance": {"poa_w_m2": 912, "sensor": "reference_cell"}, "back_temperature_c": 47.5, "warm_up_min": 20},
  {"label": "A2", "panel": {"model": "tarn-fold-200"}, "taken_at": "2026-06-14T11:26:00-06:00",
   "voltage_v": 18.1, "current_a": 8.45, "power_w": 153, "irradiance": {"poa_w_m2": 915, "sensor": "reference_cell"}, "back_temperature_c": 47.6, "warm_up_min": 24}]}`

// A scene is a tester with a rig and a panel model, ready to submit.
type scene struct {
	*bench
	tester, key, rig string
}

func newScene(t testing.TB, change ...func(*httpapi.Config)) scene {
	t.Helper()
	b := newBench(t, change...)
	id, key := b.bench().tester("North Lawn Panel Club")
	b.must(201, ask{do: "POST /v1/panel-models", key: key, body: panelBody})
	rig := b.must(201, ask{do: "POST /v1/rigs", key: key, body: rigBody})
	return scene{bench: b, tester: id, key: key, rig: rig.json("id").(string)}
}

func (b *bench) bench() *bench { return b }

// session returns a good submission, with text replaced in it.
func (s scene) session(replace ...string) string {
	body := fmt.Sprintf(sessionBody, `{"id": "`+s.rig+`"}`)
	return strings.NewReplacer(replace...).Replace(body)
}

// golden compares an exchange with a file below testdata/golden. What changes from
// run to run is taken out first.
func golden(t *testing.T, name string, x exchange) {
	t.Helper()
	reftest.Golden(t, filepath.Join("..", "..", "testdata", "golden", name+".txt"), []byte(recorded(x)))
}

var (
	anyID   = regexp.MustCompile(`[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[0-9a-f]{4}-[0-9a-f]{12}`)
	anyTime = regexp.MustCompile(`"(at|created_at|updated_at|submitted_at|computed_at|last_used_on|revoked_at)": "[^"]*"`)
	anyKey  = regexp.MustCompile(`evs_[0-9A-Za-z]{10}_[0-9A-Za-z]{38}`)
	anyHash = regexp.MustCompile(`\b[0-9a-f]{64}\b`)
	// ofMachine are members of a snapshot that differ between machines.
	ofMachine    = regexp.MustCompile(`"(goarch|goarch_level|go|module|revision|seed|modified|size)": (?:"[^"]*"|true|false|\d{3,})`)
	anyTag       = regexp.MustCompile(`(ETag: "(?:r\d+-)?)[0-9a-f]{16}`)
	firstRevoked = regexp.MustCompile(`("revoked": \[\s+")[0-9A-Za-z]{10}`)
	anyKID       = regexp.MustCompile(`("(?:key_id|id|subject_id|parent_id)": "|/v1/keys/)[0-9A-Za-z]{10}\b`)
)

func recorded(x exchange) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s %s\n", x.request.Method, x.request.URL.RequestURI())
	for _, name := range []string{"Authorization", "Content-Type", "If-Match", "If-None-Match", "Idempotency-Key", "Prefer", "Accept"} {
		if v := x.request.Header.Get(name); v != "" {
			if name == "Authorization" {
				v = "Bearer ..."
			}
			fmt.Fprintf(&b, "%s: %s\n", name, v)
		}
	}
	fmt.Fprintf(&b, "\n%s\n\n%d %s\n", indented([]byte(x.sent)), x.status(), http.StatusText(x.status()))
	for _, name := range []string{"Allow", "Cache-Control", "Content-Type", "Content-Disposition", "ETag", "Evensun-As-Of", "Evensun-Sequence", "Idempotency-Replayed", "Link", "Location", "Retry-After", "RateLimit", "RateLimit-Policy", "WWW-Authenticate"} {
		for _, v := range x.response.Header().Values(name) {
			fmt.Fprintf(&b, "%s: %s\n", name, v)
		}
	}
	fmt.Fprintf(&b, "\n%s\n", indented(x.response.Body.Bytes()))
	s := anyKey.ReplaceAllString(b.String(), "evs_<key>")
	s = anyID.ReplaceAllString(s, "<id>")
	s = anyTime.ReplaceAllString(s, `"$1": "<time>"`)
	s = anyHash.ReplaceAllString(s, "<sha256>")
	s = ofMachine.ReplaceAllString(s, `"$1": "<any>"`)
	s = anyKID.ReplaceAllString(s, "${1}<key id>")
	s = firstRevoked.ReplaceAllString(s, "${1}<key id>")
	return anyTag.ReplaceAllString(s, "${1}<tag>")
}

func indented(raw []byte) string {
	var out bytes.Buffer
	if json.Indent(&out, raw, "", "  ") != nil {
		return string(raw)
	}
	return out.String()
}

// described returns the description of the service and its operations.
func described(t testing.TB) (*contract.Contract, []*contract.Operation) {
	t.Helper()
	own, err := contract.Own()
	if err != nil {
		t.Fatal(err)
	}
	operations, err := own.Operations()
	if err != nil {
		t.Fatal(err)
	}
	return own, operations
}

// conforms holds an answer against the schema that the description gives it.
func conforms(t testing.TB, schema string, body []byte) {
	t.Helper()
	own, err := contract.Own()
	if err != nil {
		t.Fatal(err)
	}
	var v any
	if err := json.Unmarshal(body, &v); err != nil {
		t.Errorf("%s: %v", schema, err)
		return
	}
	if err := own.Document().Components.Schemas[schema].Value.VisitJSON(v); err != nil {
		t.Errorf("answer does not conform to %s: %v\n%s", schema, err, body)
	}
}

func panicking(e *echo.Echo) {
	e.GET("/panic", func(echo.Context) error { panic("secret") })
}

func mountUndeclared(e *echo.Echo) {
	ok := func(c echo.Context) error { return c.NoContent(http.StatusOK) }
	e.GET("/v1/secret", ok)
	e.GET("/page", ok)
}

func failing(context.Context) map[string]error {
	return map[string]error{"database": errors.New("password wrong"), "migrations": nil}
}

// slow suggests nothing, when it is let.
type slow struct{ entered, leave chan struct{} }

func (s slow) Suggest(context.Context, float64, float64, []string) (httpapi.Suggestions, error) {
	s.entered <- struct{}{}
	<-s.leave
	return httpapi.Suggestions{}, nil
}

// ledgerHead is named here so that a fake store can be written without the import.
type ledgerHead = ledger.Head

func quiet() *slog.Logger { return slog.New(slog.DiscardHandler) }

// told tells a panel's places by the rankings that a test published by hand.
type told struct{ db *store.DB }

func (p told) PanelResults(ctx context.Context, slug string) (fieldtest.PanelResults, error) {
	out := fieldtest.PanelResults{PanelModel: slug}
	for _, m := range fieldtest.Measures() {
		place := fieldtest.MeasureEntry{Measure: m.Name, Unit: m.Unit}
		var r fieldtest.Ranking
		if row, err := p.db.Ranking(ctx, m.Name, ""); err == nil {
			if err := json.Unmarshal(row.Body, &r); err != nil {
				return out, err
			}
		}
		for i := range r.Entries {
			if r.Entries[i].PanelModel == slug {
				place.Entry = &r.Entries[i]
			}
		}
		out.ComputedThrough = max(out.ComputedThrough, r.ComputedThrough)
		out.Entries = append(out.Entries, place)
	}
	found, _, _, err := p.db.Findings(ctx, store.FindingFilter{PanelModel: &slug, ByPriority: true}, store.Page{})
	out.Findings = found
	return out, err
}

func (p told) Conclusions(_ context.Context, m *fieldtest.PanelModel) (fieldtest.Conclusions, error) {
	return conclusion.OfNone(m), nil
}
