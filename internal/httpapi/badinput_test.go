package httpapi_test

import (
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"
)

// A bad request, and what its problem document must say.
type bad struct {
	name    string
	ask     ask
	status  int
	code    string
	pointer string // of the first fault; empty: not looked at
	fault   string // code of the first fault
}

// badSessions are the cases of section 9 of the interface that a session body shows.
func badSessions(s scene) []bad {
	post := func(body string) ask { return ask{do: "POST /v1/sessions", key: s.key, body: body} }
	with := func(old, new string) ask {
		if !strings.Contains(s.session(), old) {
			panic("the good session does not hold " + old)
		}
		return post(s.session(old, new))
	}
	sweep := func(v, a string) ask {
		return with(`"voltage_v": 18.1, "current_a": 8.45, "power_w": 153`, `"kind": "iv_sweep", "sweep": {"voltage_v": `+v+`, "current_a": `+a+`}`)
	}
	cover := func(more string) ask {
		return with(`"panel": {"model": "tarn-fold-200"}, `, `"panel": {"model": "tarn-fold-200"}, "arrangement": "covered"`+more+`, `)
	}
	return []bad{
		{"malformed JSON", post(`{"started_at": }`), 400, "malformed_request", "", "not_json"},
		{"truncated JSON", post(`{"started_at": "2026`), 400, "malformed_request", "", "not_json"},
		{"empty body", ask{do: "POST /v1/sessions", key: s.key, header: map[string]string{"Content-Type": "application/json"}}, 400, "malformed_request", "#", "empty"},
		{"trailing bytes", post(s.session() + " {}"), 400, "malformed_request", "", "trailing_bytes"},
		{"duplicate members", with(`"client_ref"`, `"started_at": "2026-06-14T11:05:00-06:00", "client_ref"`), 400, "malformed_request", "#/started_at", "duplicate_member"},
		{"NUL escaped", post(s.session(`field-14`, `field\u0000`)), 400, "malformed_request", "#", "nul_character"},
		{"NUL raw", post(s.session("field-14", "field\x00")), 400, "malformed_request", "#", "nul_character"},
		{"invalid UTF-8", post(s.session("field-14", "field\xff")), 400, "malformed_request", "", "not_utf8"},
		{"NaN", with(`"voltage_v": 18.1, "current_a": 8.42`, `"voltage_v": NaN, "current_a": 8.42`), 400, "malformed_request", "#/readings/0/voltage_v", "not_a_number"},
		{"Infinity", with(`"voltage_v": 18.1, "current_a": 8.42`, `"voltage_v": -Infinity, "current_a": 8.42`), 400, "malformed_request", "#/readings/0/voltage_v", "not_a_number"},
		{"byte order mark", post("\ufeff" + s.session()), 400, "malformed_request", "#", "not_json"},
		{"unknown member", with(`"power_w": 152`, `"powr_w": 152`), 422, "validation_failed", "#/readings/0/powr_w", "unknown_member"},
		{"unknown member with slash", with(`"power_w": 152`, `"power/w~": 152`), 422, "validation_failed", "#/readings/0/power~1w~0", "unknown_member"},
		{"number too large", with(`"latitude_deg": 38.5`, `"latitude_deg": 90.5`), 422, "validation_failed", "#/site/latitude_deg", "out_of_range"},
		{"number too small", with(`"power_w": 152`, `"power_w": -1`), 422, "validation_failed", "#/readings/0/power_w", "out_of_range"},
		{"number beyond double", with(`"power_w": 152`, `"power_w": 1e999`), 422, "validation_failed", "#/readings/0/power_w", "out_of_range"},
		{"text for number", with(`"power_w": 152`, `"power_w": "152"`), 422, "validation_failed", "#/readings/0/power_w", "wrong_type"},
		{"array as body", post(`[]`), 422, "validation_failed", "#", "wrong_type"},
		{"time without offset", with("2026-06-14T11:22:00-06:00", "2026-06-14T11:22:00"), 422, "validation_failed", "#/readings/0/taken_at", "time_without_offset"},
		{"time with a zone's name", with("2026-06-14T11:22:00-06:00", "2026-06-14T11:22:00-06:00[America/Denver]"), 422, "validation_failed", "#/readings/0/taken_at", "time_zone_name"},
		{"no time", with("2026-06-14T11:22:00-06:00", "June 14, 11:22"), 422, "validation_failed", "#/readings/0/taken_at", "not_a_time"},
		{"future time", with(`"started_at": "2026-06-14T11:05:00-06:00", "ended_at": "2026-06-14T12:10:00-06:00"`, `"started_at": "2026-06-14T11:05:00-06:00", "ended_at": "2100-06-14T12:10:00-06:00"`), 422, "validation_failed", "#/ended_at", "time_in_future"},
		{"end before start", with(`"ended_at": "2026-06-14T12:10:00-06:00"`, `"ended_at": "2026-06-14T10:10:00-06:00"`), 422, "validation_failed", "#/ended_at", "end_before_start"},
		{"reading outside its session", with("2026-06-14T11:22:00-06:00", "2026-06-14T13:22:00-06:00"), 422, "validation_failed", "#/readings/0/taken_at", "outside_session"},
		{"unknown panel model", with(`"tarn-fold-200", "specimen"`, `"halden-120", "specimen"`), 422, "validation_failed", "#/readings/0/panel/model", "unknown"},
		{"unknown rig", with(s.rig, "01970000-0000-7000-8000-000000000000"), 422, "validation_failed", "#/rig/id", "unknown"},
		{"malformed rig id", with(s.rig, "bench-1"), 422, "validation_failed", "#/rig/id", "not_an_id"},
		{"no readings", post(s.session()[:strings.Index(s.session(), `"readings"`)] + `"readings": []}`), 422, "validation_failed", "#/readings", "too_few"},
		{"over 500 readings", post(s.session()[:strings.Index(s.session(), `"readings"`)] + `"readings": [` + strings.TrimSuffix(strings.Repeat(`{"panel": {"model": "tarn-fold-200"}, "power_w": 150},`, 501), ",") + `]}`), 422, "validation_failed", "#/readings", "too_many"},
		{"over 1 MiB", post(s.session(`"client_ref"`, `"note": "`+strings.Repeat("x", 1<<20)+`", "client_ref"`)), 413, "payload_too_large", "", ""},
		{"sweep of different lengths", sweep("[0,1,2,3,4,5]", "[5,5,5,5,4]"), 422, "validation_failed", "#/readings/1/sweep/current_a", "lengths_differ"},
		{"sweep voltage not rising", sweep("[0,1,2,2,4]", "[5,5,5,5,4]"), 422, "validation_failed", "#/readings/1/sweep/voltage_v/3", "not_rising"},
		{"sweep missing", with(`"voltage_v": 18.1, "current_a": 8.45, "power_w": 153`, `"kind": "iv_sweep"`), 422, "validation_failed", "#/readings/1/sweep", "required"},
		{"repeated label", with(`"label": "A2"`, `"label": "A1"`), 422, "validation_failed", "#/readings/1/label", "repeated_label"},
		{"label repeats a number", post(s.session(`"label": "A1"`, `"label": "2"`, `"label": "A2", `, ``)), 422, "validation_failed", "", "repeated_label"},
		{"covered without cover", cover(""), 422, "validation_failed", "#/readings/1/cover", "cover_missing"},
		{"cover without reference", cover(`, "cover": {"sections_covered": 2, "sections_total": 4}`), 422, "validation_failed", "#/readings/1/cover/reference_label", "reference_missing"},
		{"cover with unknown reference", cover(`, "cover": {"sections_covered": 2, "sections_total": 4, "reference_label": "B7"}`), 422, "validation_failed", "#/readings/1/cover/reference_label", "reference_unknown"},
		{"cover refers to itself", cover(`, "cover": {"sections_covered": 2, "sections_total": 4, "reference_label": "A2"}`), 422, "validation_failed", "#/readings/1/cover/reference_label", "reference_is_covered"},
		{"more covered than there is", cover(`, "cover": {"sections_covered": 5, "sections_total": 4, "reference_label": "A1"}`), 422, "validation_failed", "#/readings/1/cover/sections_covered", "more_covered_than_total"},
		{"nothing measured", with(`"voltage_v": 18.1, "current_a": 8.45, "power_w": 153, `, ``), 422, "validation_failed", "#/readings/1/power_w", "required"},
		{"null where required", with(`"started_at": "2026-06-14T11:05:00-06:00"`, `"started_at": null`), 422, "validation_failed", "#/started_at", "required"},
		{"physically impossible", with(`"current_a": 8.42, "power_w": 152`, `"current_a": 42.0, "power_w": 760`), 422, "physically_impossible", "", ""},
		{"wrong content type", ask{do: "POST /v1/sessions", key: s.key, body: s.session(), header: map[string]string{"Content-Type": "text/plain"}}, 415, "unsupported_media_type", "", ""},
		{"no content type", ask{do: "POST /v1/sessions", key: s.key, body: s.session(), header: map[string]string{"Content-Type": ""}}, 415, "unsupported_media_type", "", ""},
		{"other charset", ask{do: "POST /v1/sessions", key: s.key, body: s.session(), header: map[string]string{"Content-Type": "application/json; charset=latin1"}}, 415, "unsupported_media_type", "", ""},
	}
}

func TestBadSessionsAreRefusedAndNothingIsStored(t *testing.T) {
	t.Parallel()
	s := newScene(t)
	before := s.must(200, ask{do: "GET /v1/ledger/head"}).text()
	for _, c := range badSessionsChecked(t, s) {
		refused(t, s.bench, c)
	}
	if after := s.must(200, ask{do: "GET /v1/ledger/head"}).text(); after != before {
		t.Errorf("refused requests moved the ledger from %s to %s", before, after)
	}
}

func badSessionsChecked(t *testing.T, s scene) []bad {
	t.Helper()
	s.must(200, ask{do: "POST /v1/sessions?dry_run=true", key: s.key, body: s.session()}) // the good one is good
	return badSessions(s)
}

func refused(t *testing.T, b *bench, c bad) {
	t.Helper()
	x := b.send(c.ask)
	if x.status() != c.status || x.json("code") != c.code {
		t.Errorf("%s: %d %s, want %d %s", c.name, x.status(), x.text(), c.status, c.code)
		return
	}
	if c.pointer != "" && x.json("errors.0.pointer") != c.pointer {
		t.Errorf("%s: first fault at %v, want %s\n%s", c.name, x.json("errors.0.pointer"), c.pointer, x.text())
	}
	if c.fault != "" && x.json("errors.0.code") != c.fault {
		t.Errorf("%s: first fault %v, want %s\n%s", c.name, x.json("errors.0.code"), c.fault, x.text())
	}
	problemIsWhole(t, c.name, x)
}

// problemIsWhole holds what every problem document has in common.
func problemIsWhole(t testing.TB, name string, x exchange) {
	t.Helper()
	conforms(t, "Problem", x.response.Body.Bytes())
	if got := x.header("Content-Type"); got != "application/problem+json; charset=utf-8" {
		t.Errorf("%s: Content-Type %q", name, got)
	}
	if x.json("status") != float64(x.status()) {
		t.Errorf("%s: status member %v in an answer of %d", name, x.json("status"), x.status())
	}
	if id, _ := x.json("instance").(string); id != "urn:uuid:"+x.header("X-Request-Id") {
		t.Errorf("%s: instance %q, X-Request-Id %q", name, id, x.header("X-Request-Id"))
	}
	if typ, _ := x.json("type").(string); !strings.HasPrefix(typ, "https://evensun.example/problems/") {
		t.Errorf("%s: type %q", name, typ)
	}
	for _, secret := range []string{"pgx", "SQLSTATE", "goroutine", "fieldtest."} {
		if strings.Contains(x.text(), secret) {
			t.Errorf("%s: the answer tells %q\n%s", name, secret, x.text())
		}
	}
}

func TestBadRequestsOtherThanBodies(t *testing.T) {
	t.Parallel()
	s := newScene(t)
	_, other := s.bench.tester("South Roof")
	id := s.must(201, ask{do: "POST /v1/sessions", key: s.key, body: s.session()}).json("id").(string)
	revision := `{"reason":"typo","session":` + s.session(`"power_w": 152`, `"power_w": 151`) + `}`
	match := func(tag string) map[string]string { return map[string]string{"If-Match": tag} }
	for _, c := range []bad{
		{"unknown query parameter", ask{do: "GET /v1/sessions?stat=accepted"}, 400, "invalid_parameter", "", "unknown_parameter"},
		{"misspelt dry run", ask{do: "POST /v1/sessions?dryrun=true", key: s.key, body: s.session()}, 400, "invalid_parameter", "", "unknown_parameter"},
		{"dry run joined by a semicolon", ask{do: "POST /v1/sessions?include=derivation;dry_run=true", key: s.key, body: s.session(`"field-14"`, `"field-15"`)}, 400, "invalid_parameter", "", "malformed_query"},
		{"dry run with a bad escape", ask{do: "POST /v1/sessions?dry_run=%true", body: s.session()}, 400, "invalid_parameter", "", "malformed_query"},
		{"filter joined by a semicolon", ask{do: "GET /v1/findings?state=open;severity=hold"}, 400, "invalid_parameter", "", "malformed_query"},
		{"repeated query parameter", ask{do: "GET /v1/sessions?state=accepted&state=withdrawn"}, 400, "invalid_parameter", "", "repeated_parameter"},
		{"value out of an enum", ask{do: "GET /v1/sessions?state=deleted"}, 400, "invalid_parameter", "", "not_one_of"},
		{"page size out of range", ask{do: "GET /v1/sessions?page_size=201"}, 400, "invalid_parameter", "", "out_of_range"},
		{"page size no number", ask{do: "GET /v1/sessions?page_size=ten"}, 400, "invalid_parameter", "", "wrong_type"},
		{"page size in powers of ten", ask{do: "GET /v1/sessions?page_size=1e1"}, 400, "invalid_parameter", "", "wrong_type"},
		{"leap second in a filter", ask{do: "GET /v1/sessions?from=2016-12-31T23:59:60Z"}, 400, "invalid_parameter", "", "not_a_time"},
		{"time without offset in a filter", ask{do: "GET /v1/sessions?from=2026-06-14T11:05:00"}, 400, "invalid_parameter", "", "time_without_offset"},
		{"a parameter that is no UTF-8", ask{do: "GET /v1/panel-models?maker=%ff"}, 400, "invalid_parameter", "", "not_utf8"},
		{"NUL in a parameter", ask{do: "GET /v1/panel-models?maker=a%00"}, 400, "invalid_parameter", "", "nul_character"},
		{"near in another form", ask{do: "GET /v1/sessions?near=here"}, 400, "invalid_parameter", "", "wrong_form"},
		{"near with longitude first", ask{do: "GET /v1/sessions?near=-106.0,38.5,50"}, 400, "invalid_parameter", "", "wrong_form"},
		{"near off the Earth", ask{do: "GET /v1/sessions?near=91,38.5,50"}, 400, "invalid_parameter", "", "out_of_range"},
		{"near off the map", ask{do: "GET /v1/rankings/stc-power?near=38.5,-181,50"}, 400, "invalid_parameter", "", "out_of_range"},
		{"boolean in words", ask{do: "POST /v1/sessions?dry_run=yes", key: s.key, body: s.session()}, 400, "invalid_parameter", "", "wrong_type"},
		{"key in the query", ask{do: "GET /v1/sessions?key=" + s.key}, 400, "invalid_parameter", "", "key_in_query"},
		{"required parameter missing", ask{do: "GET /v1/comparisons"}, 400, "invalid_parameter", "", "required"},
		{"method outside a dry run", ask{do: "POST /v1/sessions?method=procedure_1", key: s.key, body: s.session()}, 400, "invalid_parameter", "", "not_expected"},
		{"malformed id in the path", ask{do: "GET /v1/sessions/17"}, 400, "invalid_parameter", "", "not_an_id"},
		{"unknown id", ask{do: "GET /v1/sessions/01970000-0000-7000-8000-000000000000"}, 404, "not_found", "", ""},
		{"unknown panel model", ask{do: "GET /v1/panel-models/halden-120"}, 404, "not_found", "", ""},
		{"unknown measure", ask{do: "GET /v1/rankings/beauty"}, 404, "not_found", "", ""},
		{"unknown path", ask{do: "GET /v1/panels"}, 404, "not_found", "", ""},
		{"slash at the end", ask{do: "GET /v1/sessions/"}, 404, "not_found", "", ""},
		{"slash after an id", ask{do: "GET /v1/sessions/" + id + "/"}, 404, "not_found", "", ""},
		{"DELETE of a session", ask{do: "DELETE /v1/sessions/" + id, key: s.key}, 405, "method_not_allowed", "", ""},
		{"format not available", ask{do: "GET /v1/sessions", header: map[string]string{"Accept": "application/xml"}}, 406, "not_acceptable", "", ""},
		{"no table of one thing", ask{do: "GET /v1/sessions/" + id, header: map[string]string{"Accept": "text/csv"}}, 406, "not_acceptable", "", ""},
		{"cursor of nobody", ask{do: "GET /v1/sessions?cursor=abc"}, 400, "cursor_invalid", "", "cursor_invalid"},
		{"no key", ask{do: "POST /v1/sessions", body: s.session()}, 401, "unauthenticated", "", ""},
		{"a mistyped key", ask{do: "GET /v1/sessions", key: s.key[:len(s.key)-1] + "!"}, 401, "unauthenticated", "", ""},
		{"another scheme", ask{do: "GET /v1/sessions", header: map[string]string{"Authorization": "Basic abc"}}, 401, "unauthenticated", "", ""},
		{"role too low", ask{do: "POST /v1/findings/01970000-0000-7000-8000-000000000000/verdicts", key: s.key, body: `{"verdict":"keep"}`}, 403, "forbidden", "", ""},
		{"other tester's rig in a session", ask{do: "POST /v1/sessions", key: other, body: s.session()}, 422, "validation_failed", "#/rig/id", "not_yours"},
		{"other tester's rig", ask{do: "PUT /v1/rigs/" + s.rig, key: other, body: rigBody, header: match(`"r1"`)}, 403, "forbidden", "", ""},
		{"other tester's session", ask{do: "POST /v1/sessions/" + id + "/revisions", key: other, body: revision, header: match(`"r1"`)}, 403, "forbidden", "", ""},
		{"change without If-Match", ask{do: "PUT /v1/rigs/" + s.rig, key: s.key, body: rigBody}, 428, "precondition_required", "", ""},
		{"If-Match of anything", ask{do: "PUT /v1/rigs/" + s.rig, key: s.key, body: rigBody, header: match("*")}, 400, "invalid_parameter", "", "wrong_form"},
		{"stale If-Match", ask{do: "PUT /v1/rigs/" + s.rig, key: s.key, body: rigBody, header: match(`"r9"`)}, 412, "precondition_failed", "", ""},
		{"weak If-Match", ask{do: "PUT /v1/rigs/" + s.rig, key: s.key, body: rigBody, header: match(`W/"r1"`)}, 412, "precondition_failed", "", ""},
		{"If-Match without quotation marks", ask{do: "PUT /v1/rigs/" + s.rig, key: s.key, body: rigBody, header: match("r1")}, 400, "invalid_parameter", "", "wrong_form"},
		{"If-Match of two revisions", ask{do: "PUT /v1/rigs/" + s.rig, key: s.key, body: rigBody, header: match(`"r1", "r2"`)}, 400, "invalid_parameter", "", "wrong_form"},
		{"slug changed", ask{do: "PUT /v1/panel-models/tarn-fold-200", key: s.key, body: strings.Replace(panelBody, "tarn-fold-200", "tarn-fold-201", 1), header: match(`"r1"`)}, 422, "validation_failed", "#/slug", "slug_changed"},
		{"slug taken", ask{do: "POST /v1/panel-models", key: s.key, body: panelBody}, 409, "name_taken", "", ""},
		{"nameplate impossible", ask{do: "POST /v1/panel-models", key: s.key, body: strings.NewReplacer("tarn-fold-200", "tarn-2", `"vmp_v": 20.2`, `"vmp_v": 30.2`).Replace(panelBody)}, 422, "physically_impossible", "", ""},
		{"coefficient given twice", ask{do: "POST /v1/panel-models", key: s.key, body: strings.NewReplacer("tarn-fold-200", "tarn-2", `"noct_c": 45`, `"noct_c": 45, "beta_voc_percent_per_k": -0.29`).Replace(panelBody)}, 422, "validation_failed", "#/nameplate/beta_voc_percent_per_k", "given_twice"},
		{"no rated power", ask{do: "POST /v1/panel-models", key: s.key, body: `{"slug":"x","maker":"M","model":"X","nameplate":{"voc_v":24}}`}, 422, "validation_failed", "#/nameplate/pmax_w", "required"},
		{"bad currency", ask{do: "POST /v1/panel-models/tarn-fold-200/prices", key: s.key, body: `{"amount":"189.00","currency":"eur","date":"2026-05-02"}`}, 422, "validation_failed", "#/currency", "wrong_form"},
		{"a price of nothing", ask{do: "POST /v1/panel-models/tarn-fold-200/prices", key: s.key, body: `{"amount":"00.000","currency":"EUR","date":"2026-05-02"}`}, 422, "validation_failed", "#/amount", "out_of_range"},
		{"price of tomorrow's tomorrow", ask{do: "POST /v1/panel-models/tarn-fold-200/prices", key: s.key, body: `{"amount":"189.00","currency":"EUR","date":"2100-01-09"}`}, 422, "validation_failed", "#/date", "time_in_future"},
		{"licence not accepted", ask{do: "POST /v1/testers", key: operatorKey, body: `{"display_name":"X","accept_licence":false}`}, 422, "validation_failed", "#/accept_licence", "licence_not_accepted"},
		{"name taken", ask{do: "POST /v1/testers", key: operatorKey, body: `{"display_name":"South Roof","accept_licence":true}`}, 409, "name_taken", "", ""},
		{"registration by invitation", ask{do: "POST /v1/testers", body: `{"display_name":"X","accept_licence":true}`}, 401, "unauthenticated", "", ""},
		{"a tester registers another", ask{do: "POST /v1/testers", key: s.key, body: `{"display_name":"X","accept_licence":true}`}, 403, "forbidden", "", ""},
		{"a tester asks for more", ask{do: "POST /v1/keys", key: s.key, body: `{"role":"operator"}`}, 403, "forbidden", "", ""},
		{"a key for an unknown tester", ask{do: "POST /v1/keys", key: operatorKey, body: `{"tester_id":"01970000-0000-7000-8000-000000000000"}`}, 422, "validation_failed", "#/tester_id", "unknown"},
		{"a key for nobody", ask{do: "POST /v1/keys", key: operatorKey, body: `{}`}, 422, "validation_failed", "#/tester_id", "required"},
		{"idempotency key too short", ask{do: "POST /v1/rigs", key: s.key, body: rigBody, header: map[string]string{"Idempotency-Key": "abc"}}, 400, "invalid_parameter", "", "wrong_form"},
		{"a sequence of the future", ask{do: "GET /v1/rankings/stc-power?at_least=99999"}, 400, "invalid_parameter", "", "out_of_range"},
		{"a currency for mass", ask{do: "GET /v1/rankings/power-per-mass?currency=EUR"}, 400, "invalid_parameter", "", "not_expected"},
		{"no class of cover", ask{do: "GET /v1/rankings/shade-retention?cover=0.9"}, 400, "invalid_parameter", "", "not_expected"},
		{"unknown problem", ask{do: "GET /problems/toothache"}, 404, "not_found", "", ""},
	} {
		refused(t, s.bench, c)
	}
}

// A plus sign that stands bare in an address arrives as a blank.
func TestPlusSignOfATimeInAnAddress(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	x := b.must(400, ask{do: "GET /v1/sessions?from=2026-06-14T11:05:00+02:00"})
	if reason, _ := x.json("errors.0.reason").(string); !strings.Contains(reason, "%2B") {
		t.Errorf("the cure is not told: %s", x.text())
	}
	b.must(200, ask{do: "GET /v1/sessions?from=2026-06-14T11:05:00%2B02:00"})
}

// A reason as long as the description allows is stored, and none longer.
func TestLongestReasons(t *testing.T) {
	t.Parallel()
	s := newScene(t)
	id := s.must(201, ask{do: "POST /v1/sessions", key: s.key, body: s.session()}).json("id").(string)
	match := map[string]string{"If-Match": `"r1"`}
	for _, c := range []struct {
		do, body string // with %s for the reason
		status   int
	}{
		{"PUT /v1/panel-models/tarn-fold-200", strings.Replace(strings.ReplaceAll(panelBody, "%", "%%"), "{", `{"reason": "%s", `, 1), 200},
		{"POST /v1/sessions/" + id + "/revisions", `{"reason": "%s", "session": ` + s.session(`"power_w": 152`, `"power_w": 151`) + `}`, 201},
		{"POST /v1/sessions/" + id + "/withdrawals", `{"reason": "%s"}`, 201},
	} {
		long := s.send(ask{do: c.do, key: s.key, header: match, body: fmt.Sprintf(c.body, strings.Repeat("é", 1001))})
		if long.status() != 422 || long.json("errors.0.pointer") != "#/reason" || long.json("errors.0.limit") != 1000.0 {
			t.Errorf("%s with 1001 characters: %d %s", c.do, long.status(), long.text())
		}
		s.must(c.status, ask{do: c.do, key: s.key, header: match, body: fmt.Sprintf(c.body, strings.Repeat("é", 1000))})
		match = map[string]string{"If-Match": `"r1"`}
		if strings.Contains(c.do, "revisions") {
			match["If-Match"] = `"r2"`
		}
	}
}

// unread is a body of which nothing arrives.
type unread struct{ t *testing.T }

func (u unread) Read([]byte) (int, error) {
	u.t.Error("a body too large by its own word was read")
	return 0, io.EOF
}

// A body that says itself that it is too large is not waited for.
func TestAnnouncedBodyTooLarge(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	r := httptest.NewRequest(http.MethodPost, "/v1/sessions?dry_run=true", unread{t})
	r.ContentLength = 1<<20 + 1
	r.Header.Set("Content-Type", "application/json")
	w := httptest.NewRecorder()
	b.server.Handler().ServeHTTP(w, r)
	x := exchange{request: r, response: w}
	if x.status() != 413 || x.json("limit_bytes") != float64(1<<20) {
		t.Errorf("%d %s", x.status(), x.text())
	}
}

func TestMissingRevisionsAreNamed(t *testing.T) {
	t.Parallel()
	s := newScene(t)
	id := s.must(201, ask{do: "POST /v1/sessions", key: s.key, body: s.session()}).json("id").(string)
	for _, path := range []string{"/v1/sessions/" + id, "/v1/rigs/" + s.rig, "/v1/panel-models/tarn-fold-200"} {
		if x := s.must(404, ask{do: "GET " + path + "/revisions/7"}); x.json("detail") != `There is no revision "7".` {
			t.Errorf("%s: %s", path, x.text())
		}
	}
}

func TestRepeatedHeadersAreNamed(t *testing.T) {
	t.Parallel()
	s := newScene(t)
	r := httptest.NewRequest(http.MethodPut, "/v1/rigs/"+s.rig, strings.NewReader(rigBody))
	r.Header = http.Header{"Content-Type": {"application/json"}, "Authorization": {"Bearer " + s.key}, "If-Match": {`"r1"`, `"r9"`}}
	w := httptest.NewRecorder()
	s.server.Handler().ServeHTTP(w, r)
	x := exchange{request: r, response: w}
	if x.status() != 400 || x.json("errors.0.header") != "If-Match" || x.json("errors.0.code") != "repeated_header" {
		t.Errorf("two If-Match = %d %s", x.status(), x.text())
	}
}

func TestKeysEnd(t *testing.T) {
	t.Parallel()
	s := newScene(t)
	short := s.must(201, ask{do: "POST /v1/keys", key: s.key, body: `{"name":"laptop","expires_in_days":1}`})
	conforms(t, "CreatedKey", short.response.Body.Bytes())
	second := short.json("key").(string)
	s.must(200, ask{do: "GET /v1/keys", key: second})
	s.must(204, ask{do: "DELETE /v1/keys/" + short.json("id").(string), key: s.key})
	refused(t, s.bench, bad{"a revoked key", ask{do: "GET /v1/sessions", key: second}, 401, "unauthenticated", "", ""})
	s.pass(366 * 24 * time.Hour)
	refused(t, s.bench, bad{"an expired key", ask{do: "GET /v1/sessions", key: s.key}, 401, "unauthenticated", "", ""})
	one := s.send(ask{do: "GET /v1/sessions", key: s.key})
	two := s.send(ask{do: "GET /v1/sessions", key: "evs_0123456789_ABCDEFGHIJKLMNOPQRSTUVWXYZabcdef0Sehsp"})
	if one.json("detail") != two.json("detail") {
		t.Errorf("an expired key is told %v, an unknown one %v", one.json("detail"), two.json("detail"))
	}
}

func TestAtMostFiveLiveKeys(t *testing.T) {
	t.Parallel()
	s := newScene(t)
	for range 4 {
		s.must(201, ask{do: "POST /v1/keys", key: s.key, body: `{}`})
	}
	refused(t, s.bench, bad{"a sixth key", ask{do: "POST /v1/keys", key: s.key, body: `{}`}, 409, "illegal_transition", "", ""})
}

func TestOthersKeysDoNotExist(t *testing.T) {
	t.Parallel()
	s := newScene(t)
	_, other := s.bench.tester("South Roof")
	id := s.must(200, ask{do: "GET /v1/keys", key: s.key}).json("items.0.id").(string)
	refused(t, s.bench, bad{"another's key", ask{do: "DELETE /v1/keys/" + id, key: other}, 404, "not_found", "", ""})
	refused(t, s.bench, bad{"another's keys", ask{do: "GET /v1/keys?tester=" + s.tester, key: other}, 403, "forbidden", "", ""})
	s.must(200, ask{do: "GET /v1/keys?tester=" + s.tester, key: operatorKey})
}

func TestEveryFaultIsToldOnceInDocumentOrder(t *testing.T) {
	t.Parallel()
	s := newScene(t)
	body := s.session(`"latitude_deg": 38.5`, `"latitude_deg": 95`, `"ended_at": "2026-06-14T12:10:00-06:00"`, `"ended_at": "2026-06-14T10:10:00-06:00"`,
		`"voltage_v": 18.1, "current_a": 8.42`, `"voltage_v": -3, "amps": 8.42`, `"label": "A2"`, `"label": "A1"`)
	x := s.send(ask{do: "POST /v1/sessions", key: s.key, body: body})
	var got []string
	for i := range 20 {
		p, ok := x.json(fmt.Sprintf("errors.%d.pointer", i)).(string)
		if !ok {
			break
		}
		got = append(got, p)
	}
	want := "#/ended_at #/site/latitude_deg #/readings/0/taken_at #/readings/0/voltage_v #/readings/0/amps #/readings/1/label #/readings/1/taken_at"
	if strings.Join(got, " ") != want {
		t.Errorf("faults at %v, want %s\n%s", got, want, x.text())
	}
}

func TestAtMostHundredFaultsAreTold(t *testing.T) {
	t.Parallel()
	s := newScene(t)
	head := s.session()[:strings.Index(s.session(), `"readings"`)]
	body := head + `"readings": [` + strings.TrimSuffix(strings.Repeat(`{"panel": {"model": "tarn-fold-200"}, "power_w": -1},`, 137), ",") + `]}`
	x := s.send(ask{do: "POST /v1/sessions", key: s.key, body: body})
	list, _ := x.json("errors").([]any)
	if len(list) != 100 || x.json("errors_omitted") != 37.0 {
		t.Errorf("%d faults told, %v omitted, want 100 and 37", len(list), x.json("errors_omitted"))
	}
}

func TestPanicIsInternalAndTellsNothing(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.server.Mount(panicking)
	x := b.send(ask{do: "GET /panic"})
	refused(t, b, bad{"a panic", ask{do: "GET /panic"}, 500, "internal", "", ""})
	if strings.Contains(x.text(), "secret") {
		t.Errorf("panic answered %s", x.text())
	}
}
