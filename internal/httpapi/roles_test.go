package httpapi_test

import (
	"net/http"
	"slices"
	"strings"
	"testing"

	"evensun/internal/accounts"
	"evensun/internal/contract"
	"evensun/internal/fieldtest"
	"evensun/internal/httpapi"
	"evensun/internal/store"
)

// A sample is a request of an operation on things of the scene's tester.
type sample struct {
	path, query, body, match, media string
}

// samples hold one request for each operation. An operation without one fails the
// test, so nobody adds one unnoticed.
func samples(s scene, session, withdrawn, reading, finding, keyID string) map[string]sample {
	sess := "/v1/sessions/" + session
	return map[string]sample{
		"listSessions": {}, "submitSession": {body: s.session("field-14", "field-15", `"power_w": 152`, `"power_w": 150`)},
		"getSession": {path: sess}, "getSessionRevision": {path: sess + "/revisions/1"},
		"reviseSession":   {path: sess + "/revisions", body: `{"reason":"typo","session":` + s.session(`"power_w": 152`, `"power_w": 151`) + `}`, match: `"r1"`},
		"withdrawSession": {path: sess + "/withdrawals", body: `{"reason":"dusty"}`, match: `"r1"`},
		"restoreSession":  {path: "/v1/sessions/" + withdrawn + "/restorations", body: `{"reason":"by mistake"}`, match: `"r1"`},
		"getReading":      {path: "/v1/readings/" + reading}, "getDerivation": {path: "/v1/readings/" + reading + "/derivation"},
		"listPanelModels": {}, "createPanelModel": {body: strings.Replace(panelBody, "tarn-fold-200", "tarn-fold-300", 1)},
		"getPanelModel": {path: "/v1/panel-models/tarn-fold-200"}, "updatePanelModel": {path: "/v1/panel-models/tarn-fold-200", body: panelBody, match: `"r1"`},
		"getPanelModelRevision": {path: "/v1/panel-models/tarn-fold-200/revisions/1"}, "listPrices": {path: "/v1/panel-models/tarn-fold-200/prices"},
		"addPrice":            {path: "/v1/panel-models/tarn-fold-200/prices", body: `{"amount":"189.00","currency":"EUR","date":"2026-05-02"}`},
		"getPanelResults":     {path: "/v1/panel-models/tarn-fold-200/results"},
		"getPanelConclusions": {path: "/v1/panel-models/tarn-fold-200/conclusions"},
		"getPanelEnergy":      {path: "/v1/panel-models/tarn-fold-200/energy", query: "?latitude_deg=38.5&longitude_deg=-106&date=2026-06-21&tilt_deg=35"},
		"listRigs":            {}, "createRig": {body: rigBody}, "getRig": {path: "/v1/rigs/" + s.rig}, "updateRig": {path: "/v1/rigs/" + s.rig, body: rigBody, match: `"r1"`},
		"getRigRevision": {path: "/v1/rigs/" + s.rig + "/revisions/1"},
		"listRankings":   {}, "getRanking": {path: "/v1/rankings/stc-power"}, "comparePanels": {query: "?models=tarn-fold-200,tarn-fold-200b"}, "suggest": {query: "?lat=38&lon=-106"}, "recommend": {query: "?use=most-power"},
		"listFindings": {}, "listReadings": {}, "getFinding": {path: "/v1/findings/" + finding}, "addVerdict": {path: "/v1/findings/" + finding + "/verdicts", body: `{"verdict":"keep","note":"seen"}`},
		"listTesters": {}, "registerTester": {body: `{"display_name":"Somebody New","accept_licence":true}`}, "getTester": {path: "/v1/testers/" + s.tester},
		"getAgreement": {path: "/v1/testers/" + s.tester + "/agreement"},
		"listKeys":     {query: "?tester=" + s.tester}, "createKey": {body: `{"tester_id":"` + s.tester + `"}`}, "revokeKey": {path: "/v1/keys/" + keyID},
		"revokeKeys": {query: "?tester=" + s.tester}, "setTrust": {path: "/v1/testers/" + s.tester + "/trust", body: `{"trusted":false}`},
		"listLedger": {}, "getLedgerHead": {}, "listChanges": {}, "listQuantities": {}, "listRules": {}, "getOpenapiYaml": {}, "getOpenapiJson": {}, "getDocs": {},
		"listSnapshots": {}, "createSnapshot": {}, "getSnapshot": {path: "/v1/snapshots/2099-w53"}, "getSnapshotFile": {path: "/v1/snapshots/2099-w53/files/sessions.jsonl"},
		"importSessions": {body: tableOfReadings, media: "text/csv"}, "getImportTemplate": {}, "listColumns": {},
		"getLivez": {}, "getReadyz": {},
	}
}

// A who is a caller of the matrix.
type who struct {
	name  string
	role  fieldtest.Role
	key   string
	owner bool // of the things asked about
}

// denied returns the status that a caller must get, 0 where it may.
func denied(o *contract.Operation, w who) int {
	if !slices.Contains(o.Roles, w.role) {
		if w.role == fieldtest.Anonymous {
			return 401
		}
		return 403
	}
	switch o.Owner {
	case "registration setting":
		return map[fieldtest.Role]int{fieldtest.Anonymous: 401, fieldtest.RoleTester: 403, fieldtest.RoleReviewer: 403}[w.role]
	case "rig", "session":
		if !w.owner {
			return map[string]int{"submitSession": 422}[o.ID] + map[bool]int{true: 0, false: 403}[o.ID == "submitSession"]
		}
	case "session or reviewer", "panel_model or reviewer":
		if !w.owner && w.role != fieldtest.RoleReviewer {
			return 403
		}
	case "keys":
		if !w.owner && w.role != fieldtest.RoleOperator {
			return map[bool]int{true: 404, false: 403}[o.ID == "revokeKey"]
		}
	}
	return 0
}

// Every cell of operation and caller, as the description declares it.
func TestOnlyWhoMayMay(t *testing.T) {
	t.Parallel()
	_, operations := described(t)
	reading := newCast(t)
	for _, o := range operations {
		t.Run(o.ID, func(t *testing.T) {
			t.Parallel()
			if o.Method == http.MethodGet {
				reading.everyCell(t, o)
				return
			}
			newCast(t).everyCell(t, o)
		})
	}
}

// A cast is a scene with all who may call.
type cast struct {
	scene
	samples map[string]sample
	callers []who
}

func newCast(t *testing.T) cast {
	t.Helper()
	return castOn(t, newScene(t))
}

func castOn(t testing.TB, s scene) cast {
	t.Helper()
	session, reading, finding := s.doubtful()
	withdrawn := s.must(201, ask{do: "POST /v1/sessions", key: s.key, body: s.session("field-14", "field-13", `"power_w": 152`, `"power_w": 149`)}).json("id").(string)
	s.must(201, ask{do: "POST /v1/sessions/" + withdrawn + "/withdrawals", key: s.key, body: `{"reason":"dusty"}`, header: map[string]string{"If-Match": `"r1"`}})
	keyID := s.must(201, ask{do: "POST /v1/keys", key: s.key, body: `{}`}).json("id").(string)
	_, another := s.bench.tester("South Roof")
	_, reviewer := s.bench.reviewer("A Reviewer")
	s.must(201, ask{do: "POST /v1/snapshots", key: operatorKey})
	return cast{scene: s, samples: samples(s, session, withdrawn, reading, finding, keyID), callers: []who{
		{"nobody", fieldtest.Anonymous, "", false}, {"another", fieldtest.RoleTester, another, false}, {"the owner", fieldtest.RoleTester, s.key, true},
		{"a reviewer", fieldtest.RoleReviewer, reviewer, false}, {"an operator", fieldtest.RoleOperator, operatorKey, false},
	}}
}

// everyCell makes the request as each caller: first those that may not, so that
// nothing has changed when the first one that may succeeds.
func (k cast) everyCell(t *testing.T, o *contract.Operation) {
	t.Helper()
	sample, ok := k.samples[o.ID]
	if !ok {
		t.Fatalf("operation %s has no sample request", o.ID)
	}
	if sample.path == "" {
		sample.path = o.Path
	}
	succeeded := false
	for _, may := range []bool{false, true} {
		for _, w := range k.callers {
			want := denied(o, w)
			if (want == 0) != may {
				continue
			}
			a := ask{do: o.Method + " " + sample.path + sample.query, key: w.key, body: sample.body}
			if sample.match != "" {
				a.header = map[string]string{"If-Match": sample.match}
			}
			if sample.media != "" {
				a.header = map[string]string{"Content-Type": sample.media}
			}
			x := k.send(a)
			if !may && x.status() != want {
				t.Errorf("%s by %s = %d, want %d\n%s", a.do, w.name, x.status(), want, x.text())
			}
			if may && (x.status() == 401 || x.status() == 403 || x.status() == 500) {
				t.Errorf("%s by %s = %d, though it may\n%s", a.do, w.name, x.status(), x.text())
			}
			succeeded = succeeded || x.status() < 300
		}
	}
	if !succeeded && o.ID != "comparePanels" && o.ID != "recommend" { // not computed on this bench
		t.Errorf("%s %s succeeded for nobody", o.Method, sample.path)
	}
}

// doubtful submits a session with a finding and returns their ids.
func (s scene) doubtful() (session, reading, finding string) {
	s.t.Helper()
	x := s.must(201, ask{do: "POST /v1/sessions", key: s.key, body: s.session(`"current_a": 8.42, "power_w": 152`, `"current_a": 8.42, "power_w": 140`)})
	finding, ok := s.must(200, ask{do: "GET /v1/findings"}).json("items.0.id").(string)
	if !ok {
		s.t.Fatalf("the doubtful session raised nothing: %s", x.text())
	}
	return x.json("id").(string), x.json("readings.0.id").(string), finding
}

func TestNobodyDecidesOnOwnData(t *testing.T) {
	t.Parallel()
	s := newScene(t)
	own := s.must(201, ask{do: "POST /v1/keys", key: operatorKey, body: `{"tester_id":"` + s.tester + `","role":"reviewer"}`}).json("key").(string)
	_, _, finding := s.doubtful()
	refused(t, s.bench, bad{"a verdict on own data", ask{do: "POST /v1/findings/" + finding + "/verdicts", key: own, body: `{"verdict":"keep"}`}, 403, "forbidden", "", ""})
}

// registering is a server with that setting of registration.
func registering(setting accounts.Registration) func(*httpapi.Config) {
	return func(c *httpapi.Config) { c.Accounts = accounts.New(c.Store.(*store.DB), c.Now, c.Random, setting) }
}

func TestClosedRegistration(t *testing.T) {
	t.Parallel()
	b := newBench(t, registering(accounts.Closed))
	for name, key := range map[string]string{"nobody": "", "an operator": operatorKey} {
		refused(t, b, bad{"registration by " + name, ask{do: "POST /v1/testers", key: key, body: `{"display_name":"Other","accept_licence":true}`}, 403, "forbidden", "", ""})
	}
}

func TestOpenRegistration(t *testing.T) {
	t.Parallel()
	b := newBench(t, registering(accounts.Open))
	x := b.must(201, ask{do: "POST /v1/testers", body: `{"display_name":"Passer-by","accept_licence":true}`})
	conforms(t, "Registered", x.response.Body.Bytes())
	if x.json("trusted") != false {
		t.Errorf("a passer-by is trusted: %s", x.text())
	}
	b.must(200, ask{do: "GET /v1/keys", key: x.json("key").(string)})
	refused(t, b, bad{"a passer-by asks for trust", ask{do: "POST /v1/testers", body: `{"display_name":"Other","accept_licence":true,"trusted":true}`}, 403, "forbidden", "", ""})
	refused(t, b, bad{"an unknown operator", ask{do: "POST /v1/testers", key: operatorKey + "x", body: `{"display_name":"Other","accept_licence":true}`}, 401, "unauthenticated", "", ""})
}
