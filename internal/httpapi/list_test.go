package httpapi_test

import (
	"context"
	"encoding/base64"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"evensun/internal/httpapi"
	"evensun/internal/ledger"
	"evensun/internal/storetest"
)

// pages follows next links and returns one member of every item.
func (b *bench) pages(first, member string) []string {
	b.t.Helper()
	var all []string
	for target := first; target != ""; {
		x := b.must(200, ask{do: "GET " + target})
		for i := range 200 {
			v := x.json(fmt.Sprintf("items.%d.%s", i, member))
			if v == nil {
				break
			}
			all = append(all, fmt.Sprint(v))
		}
		next, _ := x.json("next").(string)
		if next != "" && !slices.Contains(x.response.Header().Values("Link"), "<"+next+`>; rel="next"`) {
			b.t.Errorf("Link %v does not say %s", x.response.Header().Values("Link"), next)
		}
		if next != "" && !strings.HasPrefix(next, "https://evensun.example/v1/") {
			b.t.Errorf("next %q is not below the public address", next)
		}
		target = strings.TrimPrefix(next, "https://evensun.example")
	}
	return all
}

func TestPagesSkipAndRepeatNothingWhileOthersWrite(t *testing.T) {
	t.Parallel()
	s := newScene(t)
	for i := range 7 {
		s.must(201, ask{do: "POST /v1/rigs", key: s.key, body: strings.Replace(rigBody, "bench 1", fmt.Sprint("rig ", i), 1)})
	}
	first := s.must(200, ask{do: "GET /v1/rigs?page_size=3"})
	s.must(201, ask{do: "POST /v1/rigs", key: s.key, body: rigBody})
	s.must(200, ask{do: "PUT /v1/rigs/" + s.rig, key: s.key, body: rigBody, header: map[string]string{"If-Match": `"r1"`}})
	next := strings.TrimPrefix(first.json("next").(string), "https://evensun.example")
	got := []string{first.json("items.0.name").(string), first.json("items.1.name").(string), first.json("items.2.name").(string)}
	got = append(got, s.pages(next, "name")...)
	slices.Sort(got)
	want := []string{"bench 1", "rig 0", "rig 1", "rig 2", "rig 3", "rig 4", "rig 5", "rig 6"}
	if !slices.Equal(got, want) {
		t.Errorf("pages show %v, want %v", got, want)
	}
	if all := s.pages("/v1/rigs?page_size=2", "id"); len(all) != 9 {
		t.Errorf("a new list has %d rigs, want 9", len(all))
	}
}

func TestCursorBelongsToItsListAndFilter(t *testing.T) {
	t.Parallel()
	s := newScene(t)
	s.must(201, ask{do: "POST /v1/rigs", key: s.key, body: rigBody})
	next, err := url.Parse(s.must(200, ask{do: "GET /v1/rigs?page_size=1"}).json("next").(string))
	if err != nil {
		t.Fatal(err)
	}
	cursor := next.Query().Get("cursor")
	s.must(200, ask{do: "GET /v1/rigs?page_size=2&cursor=" + cursor}) // another size is fine
	for name, target := range map[string]string{
		"another filter":  "/v1/rigs?kind=resistor&cursor=" + cursor,
		"another list":    "/v1/testers?cursor=" + cursor,
		"cut":             "/v1/rigs?cursor=" + cursor[:len(cursor)-3],
		"other version":   "/v1/rigs?cursor=" + forged(t, cursor, "v", 2),
		"other types":     "/v1/rigs?cursor=" + forged(t, cursor, "last", "'; DROP TABLE rig"),
		"unknown member":  "/v1/rigs?cursor=" + forged(t, cursor, "more", 1),
		"a negative time": "/v1/rigs?cursor=" + forged(t, cursor, "as_of", -1),
	} {
		refused(t, s.bench, bad{name, ask{do: "GET " + target}, 400, "cursor_invalid", "", "cursor_invalid"})
	}
}

func forged(t *testing.T, cursor, member string, value any) string {
	t.Helper()
	raw, err := base64.RawURLEncoding.DecodeString(cursor)
	if err != nil {
		t.Fatal(err)
	}
	var members map[string]any
	if err := json.Unmarshal(raw, &members); err != nil {
		t.Fatal(err)
	}
	members[member] = value
	if raw, err = json.Marshal(members); err != nil {
		t.Fatal(err)
	}
	return base64.RawURLEncoding.EncodeToString(raw)
}

func TestCursorWithAForgedID(t *testing.T) {
	t.Parallel()
	s := newScene(t)
	s.must(201, ask{do: "POST /v1/rigs", key: s.key, body: rigBody})
	next, err := url.Parse(s.must(200, ask{do: "GET /v1/rigs?page_size=1"}).json("next").(string))
	if err != nil {
		t.Fatal(err)
	}
	cursor := forged(t, next.Query().Get("cursor"), "last", map[string]any{"sequence": 1, "priority": 0, "id": "' OR 1=1"})
	refused(t, s.bench, bad{"a forged id", ask{do: "GET /v1/rigs?cursor=" + cursor}, 400, "cursor_invalid", "", "cursor_invalid"})
}

func TestListsAsCSVAndLines(t *testing.T) {
	t.Parallel()
	s := newScene(t)
	s.must(201, ask{do: "POST /v1/rigs", key: s.key, body: strings.Replace(rigBody, "bench 1", "=cmd|'/c calc'!A1", 1)})
	s.must(201, ask{do: "POST /v1/rigs", key: s.key, body: strings.Replace(rigBody, "bench 1", "a, \\\"b\\\"", 1)})
	x := s.must(200, ask{do: "GET /v1/rigs?format=csv"})
	if x.header("Content-Type") != "text/csv; charset=utf-8; header=present" || x.header("Content-Disposition") != `attachment; filename="rigs.csv"` {
		t.Errorf("headers %v", x.response.Header())
	}
	if strings.Count(x.text(), "\r\n") != 4 || strings.HasPrefix(x.text(), "\ufeff") {
		t.Errorf("CSV is not one header and three rows that end in CRLF: %q", x.text())
	}
	rows, err := csv.NewReader(strings.NewReader(x.text())).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	column := func(name string) int { return slices.Index(rows[0], name) }
	if got := rows[1][column("accuracy__voltage_percent")]; got != "1" {
		t.Errorf("accuracy__voltage_percent = %q, want 1", got)
	}
	if got := rows[1][column("max_power_w")]; got != "" {
		t.Errorf("unknown max_power_w = %q, want an empty cell", got)
	}
	if got := rows[2][column("name")]; got != "'=cmd|'/c calc'!A1" {
		t.Errorf("name = %q, which a spreadsheet runs", got)
	}
	if got := rows[3][column("name")]; got != `a, "b"` {
		t.Errorf("name = %q, want it as sent", got)
	}
	if with := s.must(200, ask{do: "GET /v1/rigs?format=csv&bom=true"}); with.text() != "\ufeff"+x.text() {
		t.Errorf("with a byte order mark %q", with.text())
	}
	lines := s.must(200, ask{do: "GET /v1/rigs", header: map[string]string{"Accept": "application/x-ndjson"}})
	list := strings.Split(strings.TrimSuffix(lines.text(), "\n"), "\n")
	if len(list) != 3 {
		t.Errorf("%d lines, want 3", len(list))
	}
	for _, line := range list {
		conforms(t, "StoredRig", []byte(line))
	}
	page := s.must(200, ask{do: "GET /v1/rigs?format=csv&page_size=1"})
	if !strings.Contains(strings.Join(page.response.Header().Values("Link"), " "), `rel="next"`) || strings.Count(page.text(), "\r\n") != 2 {
		t.Errorf("a page of CSV = %v %q", page.response.Header(), page.text())
	}
}

// Browsers send long lists and get JSON; format wins over Accept.
// Every beginning that some spreadsheet takes for a formula is made harmless, in tables
// alone.
func TestNoTextRunsAsAFormula(t *testing.T) {
	t.Parallel()
	s := newScene(t)
	for _, first := range []string{"=", "+", "-", "@", "＝", "＋", "－", "＠"} {
		s.must(201, ask{do: "POST /v1/rigs", key: s.key, body: strings.Replace(rigBody, "bench 1", first+"1+1", 1)})
	}
	rows, err := csv.NewReader(strings.NewReader(s.must(200, ask{do: "GET /v1/rigs?format=csv"}).text())).ReadAll()
	if err != nil || len(rows) != 10 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	for _, row := range rows[2:] {
		if name := row[slices.Index(rows[0], "name")]; !strings.HasPrefix(name, "'") {
			t.Errorf("%q runs in a spreadsheet", name)
		}
	}
	if exact := s.must(200, ask{do: "GET /v1/rigs"}); exact.json("items.1.name") != "=1+1" {
		t.Errorf("as JSON %v, want it as sent", exact.json("items.1.name"))
	}
}

func TestFormatAskedFor(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	for accept, want := range map[string]string{
		"":    "application/json",
		"*/*": "application/json",
		"text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8": "application/json",
		"text/csv":                                "text/csv",
		"application/json;q=0.5, text/csv;q=0.9":  "text/csv",
		"application/json, text/csv;q=0":          "application/json",
		"application/x-ndjson, application/xml":   "application/x-ndjson",
		"text/*":                                  "text/csv",
		"text/*;q=0.1, application/json;q=0.2":    "application/json",
		"application/json;q=0.9, text/csv;q=oops": "application/json",
	} {
		x := b.must(200, ask{do: "GET /v1/testers", header: map[string]string{"Accept": accept}})
		if got, _, _ := strings.Cut(x.header("Content-Type"), ";"); got != want {
			t.Errorf("Accept %q = %s, want %s", accept, got, want)
		}
	}
	x := b.must(200, ask{do: "GET /v1/testers?format=csv", header: map[string]string{"Accept": "application/json"}})
	if !strings.HasPrefix(x.header("Content-Type"), "text/csv") {
		t.Errorf("format=csv gave %s", x.header("Content-Type"))
	}
}

func TestLedgerIsAChainAndChangesLink(t *testing.T) {
	t.Parallel()
	s := newScene(t)
	session, _, _ := s.doubtful()
	x := s.must(200, ask{do: "GET /v1/ledger?page_size=200"})
	conforms(t, "LedgerPage", x.response.Body.Bytes())
	var page struct{ Items []struct{ Sequence int64 } }
	if err := json.Unmarshal(x.response.Body.Bytes(), &page); err != nil {
		t.Fatal(err)
	}
	for i, row := range page.Items {
		if row.Sequence != int64(i+1) {
			t.Errorf("row %d has sequence %d", i, row.Sequence)
		}
	}
	for i := 1; i < len(page.Items); i++ {
		if x.json(fmt.Sprintf("items.%d.prev_hash", i)) != x.json(fmt.Sprintf("items.%d.hash", i-1)) {
			t.Errorf("row %d does not hold the hash of the one before", i)
		}
	}
	if got := s.pages("/v1/changes?page_size=2", "sequence"); len(got) != len(page.Items) {
		t.Errorf("%d changes, %d rows", len(got), len(page.Items))
	}
	hrefs := s.pages("/v1/changes", "sequence")
	links := 0
	for i := range hrefs {
		change := s.must(200, ask{do: "GET /v1/changes"})
		if href, ok := change.json(fmt.Sprintf("items.%d.href", i)).(string); ok {
			s.must(200, ask{do: "GET " + href})
			links++
		}
	}
	if links == 0 || !strings.Contains(s.must(200, ask{do: "GET /v1/changes?format=jsonl"}).text(), "/v1/sessions/"+session) {
		t.Error("no change links to the session")
	}
	head := s.must(200, ask{do: "GET /v1/ledger/head"})
	if int(head.json("sequence").(float64)) != len(page.Items) {
		t.Errorf("head = %s, want %d rows", head.text(), len(page.Items))
	}
}

// A table without page_size is whole, of the ledger as of every list.
func TestLedgerAsATableIsWhole(t *testing.T) {
	t.Parallel()
	s := newScene(t)
	for range 55 {
		s.must(201, ask{do: "POST /v1/rigs", key: s.key, body: rigBody})
	}
	head := int(s.must(200, ask{do: "GET /v1/ledger/head"}).json("sequence").(float64))
	for _, path := range []string{"/v1/ledger", "/v1/changes"} {
		for query, want := range map[string]int{"?format=jsonl": head, "?format=csv": head + 1, "?format=jsonl&after=7": head - 7, "?format=jsonl&page_size=3": 3, "?format=jsonl&after=99999": 0} {
			if x := s.must(200, ask{do: "GET " + path + query}); strings.Count(x.text(), "\n") != want {
				t.Errorf("%s has %d lines, want %d of a ledger of %d", path+query, strings.Count(x.text(), "\n"), want, head)
			}
		}
	}
	if x := s.must(200, ask{do: "GET /v1/ledger"}); x.json("items.49") == nil || x.json("items.50") != nil || x.json("next") == nil {
		t.Errorf("a page of JSON has another size than 50: %s", x.text())
	}
}

// pacedStore notes the deadline that each read of the ledger has.
type pacedStore struct {
	httpapi.Store
	deadlines *[]time.Time
}

func (p pacedStore) Ledger(ctx context.Context, after int64, limit int) ([]ledger.Entry, error) {
	deadline, _ := ctx.Deadline()
	*p.deadlines = append(*p.deadlines, deadline)
	return p.Store.Ledger(ctx, after, min(limit, 2)) // so that there are many
}

// pacedWriter notes until when the network may take what is written.
type pacedWriter struct {
	*httptest.ResponseRecorder
	deadlines []time.Time
}

func (p *pacedWriter) SetWriteDeadline(t time.Time) error {
	p.deadlines = append(p.deadlines, t)
	return nil
}

// A table may take longer than other answers: every batch has its own time, to be read
// and to be sent.
func TestEveryBatchOfAStreamHasItsOwnTime(t *testing.T) {
	t.Parallel()
	var reads []time.Time
	s := newScene(t, func(c *httpapi.Config) { c.Store = pacedStore{c.Store, &reads} })
	w := &pacedWriter{ResponseRecorder: httptest.NewRecorder()}
	s.server.Handler().ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/v1/ledger?format=jsonl", nil))
	if head := s.must(200, ask{do: "GET /v1/ledger/head"}).json("sequence"); float64(strings.Count(w.Body.String(), "\n")) != head || len(reads) < 2 {
		t.Fatalf("%d reads gave %s, want %v rows", len(reads), w.Body, head)
	}
	for i := 1; i < len(reads); i++ {
		if !reads[i].After(reads[i-1]) {
			t.Errorf("batch %d must be read by %s, the one before by %s", i, reads[i], reads[i-1])
		}
	}
	if len(w.deadlines) != len(reads) {
		t.Errorf("%d batches, the network was given time %d times", len(reads), len(w.deadlines))
	}
}

// breaking is a store whose ledger can be read once.
type breaking struct {
	httpapi.Store
	reads *int
}

func (b breaking) Ledger(ctx context.Context, after int64, _ int) ([]ledger.Entry, error) {
	if *b.reads++; *b.reads > 1 {
		return nil, errors.New("the database is gone")
	}
	return b.Store.Ledger(ctx, after, 1)
}

// Nobody may take the first part of a table for the whole.
func TestStreamThatFailsIsBrokenOff(t *testing.T) {
	t.Parallel()
	s := newScene(t, func(c *httpapi.Config) { c.Store, c.Log, c.Now = breaking{c.Store, new(int)}, quiet(), time.Now })
	server := httptest.NewServer(s.server.Handler())
	defer server.Close()
	resp, err := http.Get(server.URL + "/v1/ledger?format=jsonl")
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	if body, err := io.ReadAll(resp.Body); resp.StatusCode != 200 || err == nil {
		t.Errorf("a stream that failed ended cleanly, with %d and %q", resp.StatusCode, body)
	}
}

func TestSessionByItsReference(t *testing.T) {
	t.Parallel()
	s := newScene(t)
	id := s.must(201, ask{do: "POST /v1/sessions", key: s.key, body: s.session()}).json("id")
	x := s.must(200, ask{do: "GET /v1/sessions?client_ref=field-14&tester=" + s.tester})
	conforms(t, "SessionPage", x.response.Body.Bytes())
	if x.json("items.0.id") != id {
		t.Errorf("client_ref finds %s, want %v", x.text(), id)
	}
	whole := s.must(200, ask{do: "GET /v1/sessions"})
	if a, b := fmt.Sprint(x.json("items.0")), fmt.Sprint(whole.json("items.0")); a != b {
		t.Errorf("found by reference %s, in the list %s", a, b)
	}
	if none := s.must(200, ask{do: "GET /v1/sessions?client_ref=other&tester=" + s.tester}); none.json("items.0") != nil {
		t.Errorf("an unknown reference finds %s", none.text())
	}
	refused(t, s.bench, bad{"a reference of nobody", ask{do: "GET /v1/sessions?client_ref=field-14"}, 400, "invalid_parameter", "", "required"})
}

func TestFiltersNarrow(t *testing.T) {
	t.Parallel()
	s := newScene(t)
	s.must(201, ask{do: "POST /v1/sessions", key: s.key, body: s.session()})
	for target, want := range map[string]int{
		"/v1/sessions?panel_model=tarn-fold-200,halden-9": 1, "/v1/sessions?panel_model=halden-9": 0,
		"/v1/sessions?near=38.5,-106.0,20": 1, "/v1/sessions?near=48.5,-106.0,20": 0,
		"/v1/sessions?from=2026-06-14T00:00:00Z&to=2026-06-15T00:00:00Z": 1, "/v1/sessions?to=2026-06-14T00:00:00Z": 0,
		"/v1/sessions?arrangement=covered": 0, "/v1/sessions?arrangement=tilted,flat": 1, "/v1/sessions?state=withdrawn": 0,
		"/v1/sessions?tester=" + s.tester: 1, "/v1/sessions?rig=" + s.rig: 1, "/v1/rigs?kind=resistor": 0, "/v1/rigs?kind=resistor,mppt_controller": 1,
		"/v1/panel-models?maker=Tarn": 1, "/v1/panel-models?maker=Halden": 0, "/v1/panel-models?technology=topcon": 0,
	} {
		if got := s.pages(target, "id"); len(got) != want {
			t.Errorf("GET %s lists %d, want %d", target, len(got), want)
		}
	}
}

func TestSendingAgainIsHarmless(t *testing.T) {
	t.Parallel()
	s := newScene(t)
	key := map[string]string{"Idempotency-Key": "8e03978e-40d5-43e8-bc93-6894a57f9324"}
	first := s.must(201, ask{do: "POST /v1/sessions", key: s.key, body: s.session(), header: key})
	again := s.must(201, ask{do: "POST /v1/sessions", key: s.key, body: s.session(`"client_ref": "field-14",`, ``, `"started_at"`, `"client_ref": "field-14", "started_at"`), header: key})
	if again.text() != first.text() || again.header("Idempotency-Replayed") != "true" || again.header("Etag") != first.header("Etag") || again.header("Location") != first.header("Location") {
		t.Errorf("sent again = %v %s, want the first answer", again.response.Header(), again.text())
	}
	quoted := s.must(201, ask{do: "POST /v1/sessions", key: s.key, body: s.session(), header: map[string]string{"Idempotency-Key": `"8e03978e-40d5-43e8-bc93-6894a57f9324"`}})
	if quoted.text() != first.text() {
		t.Errorf("the key in quotes = %s", quoted.text())
	}
	refused(t, s.bench, bad{"reused key", ask{do: "POST /v1/sessions", key: s.key, body: s.session(`"power_w": 152`, `"power_w": 151`), header: key}, 422, "idempotency_key_reused", "", ""})
	refused(t, s.bench, bad{"reused key on another path", ask{do: "POST /v1/rigs", key: s.key, body: rigBody, header: key}, 422, "idempotency_key_reused", "", ""})
	byRef := s.must(200, ask{do: "POST /v1/sessions", key: s.key, body: s.session()})
	byContent := s.must(200, ask{do: "POST /v1/sessions", key: s.key, body: s.session(`"client_ref": "field-14",`, ``)})
	if byRef.json("id") != first.json("id") || byContent.json("id") != first.json("id") {
		t.Errorf("known by reference %v, by content %v, want %v", byRef.json("id"), byContent.json("id"), first.json("id"))
	}
	conforms(t, "Receipt", byRef.response.Body.Bytes())
	refused(t, s.bench, bad{"a reference with other content", ask{do: "POST /v1/sessions", key: s.key, body: s.session(`"power_w": 152`, `"power_w": 151`)}, 409, "name_taken", "", ""})
	_, other := s.bench.tester("South Roof")
	rig := s.must(201, ask{do: "POST /v1/rigs", key: other, body: rigBody, header: key}) // another tester's key is another key
	if rig.header("Idempotency-Replayed") != "" {
		t.Error("another tester's key was replayed")
	}
	refused(t, s.bench, bad{"a refused body keeps no key", ask{do: "POST /v1/rigs", key: s.key, body: `{}`, header: map[string]string{"Idempotency-Key": "0123456789abcdef"}}, 422, "validation_failed", "", ""})
	s.must(201, ask{do: "POST /v1/rigs", key: s.key, body: rigBody, header: map[string]string{"Idempotency-Key": "0123456789abcdef"}})
}

// The secret of a key is in no record, so a repeated registration cannot show it.
func TestKeyIsShownOnce(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	register := ask{do: "POST /v1/testers", key: operatorKey, body: `{"display_name":"Once","accept_licence":true}`, header: map[string]string{"Idempotency-Key": "0123456789abcdef"}}
	first := b.must(201, register)
	again := b.must(201, register)
	if first.json("key") == nil || again.json("key") != nil || again.json("key_reason") == nil || again.json("id") != first.json("id") {
		t.Errorf("first %s, again %s", first.text(), again.text())
	}
	conforms(t, "Registered", again.response.Body.Bytes())
	dry := b.must(200, ask{do: "POST /v1/testers?dry_run=true", key: operatorKey, body: `{"display_name":"Twice","accept_licence":true}`})
	conforms(t, "Registered", dry.response.Body.Bytes())
	if dry.json("id") != nil || dry.json("key") != nil || len(b.pages("/v1/testers", "id")) != 1 {
		t.Errorf("dry run = %s", dry.text())
	}
}

func TestDryRunOfEveryPOST(t *testing.T) {
	t.Parallel()
	s := newScene(t)
	session, _, finding := s.doubtful()
	_, reviewer := s.bench.reviewer("A Reviewer")
	before := s.must(200, ask{do: "GET /v1/ledger/head"}).text()
	for _, c := range []struct {
		schema string
		ask
	}{
		{"RigReceipt", ask{do: "POST /v1/rigs", key: s.key, body: rigBody}},
		{"PanelModelReceipt", ask{do: "POST /v1/panel-models", key: s.key, body: strings.Replace(panelBody, "tarn-fold-200", "tarn-fold-300", 1)}},
		{"StoredPrice", ask{do: "POST /v1/panel-models/tarn-fold-200/prices", key: s.key, body: `{"amount":"189.00","currency":"EUR","date":"2026-05-02"}`}},
		{"CreatedKey", ask{do: "POST /v1/keys", key: s.key, body: `{}`}},
		{"Receipt", ask{do: "POST /v1/sessions", key: s.key, body: s.session("field-14", "field-15", `"power_w": 152`, `"power_w": 151`)}},
		{"Receipt", ask{do: "POST /v1/sessions/" + session + "/revisions", key: s.key, body: `{"reason":"typo","session":` + s.session(`"power_w": 152`, `"power_w": 151`) + `}`, header: map[string]string{"If-Match": `"r1"`}}},
		{"WithdrawalReceipt", ask{do: "POST /v1/sessions/" + session + "/withdrawals", key: s.key, body: `{"reason":"dusty"}`, header: map[string]string{"If-Match": `"r1"`}}},
		{"VerdictReceipt", ask{do: "POST /v1/findings/" + finding + "/verdicts", key: reviewer, body: `{"verdict":"keep"}`}},
	} {
		c.do += "?dry_run=true"
		x := s.send(c.ask)
		if x.status() != 200 {
			t.Errorf("%s = %d %s, want 200", c.do, x.status(), x.text())
			continue
		}
		conforms(t, c.schema, x.response.Body.Bytes())
	}
	if after := s.must(200, ask{do: "GET /v1/ledger/head"}).text(); after != before {
		t.Errorf("dry runs moved the ledger from %s to %s", before, after)
	}
}

func TestReadingsAsOneFlatTable(t *testing.T) {
	t.Parallel()
	s := newScene(t)
	stored := s.must(201, ask{do: "POST /v1/sessions", key: s.key, body: s.session()})
	var want []string
	for i := 0; stored.json(fmt.Sprintf("readings.%d.id", i)) != nil; i++ {
		want = append(want, stored.json(fmt.Sprintf("readings.%d.id", i)).(string))
	}
	if got := s.pages("/v1/readings?page_size=1", "id"); !slices.Equal(got, want) {
		t.Errorf("pages show %v, want %v", got, want)
	}
	conforms(t, "ReadingPage", s.must(200, ask{do: "GET /v1/readings?session=" + stored.json("id").(string) + "&with_result=true"}).response.Body.Bytes())
	csv := strings.Split(strings.TrimSpace(s.must(200, ask{do: "GET /v1/readings?format=csv"}).text()), "\n")
	if len(csv) != 1+len(want) || !strings.HasPrefix(csv[0], "id,session_id,session_revision,") || !strings.HasPrefix(csv[1], want[0]) {
		t.Errorf("CSV = %q, want a head and a line for each of %v", csv, want)
	}
	for _, filter := range []string{"tester=" + storetest.NewID(t).String(), "panel_model=nobody", "state=excluded", "from=2030-01-01T00:00:00Z", "arrangement=flat"} {
		if got := s.pages("/v1/readings?"+filter, "id"); len(got) != 0 {
			t.Errorf("%s shows %v", filter, got)
		}
	}
}
