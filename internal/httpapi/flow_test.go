package httpapi_test

import (
	"reflect"
	"strings"
	"testing"
)

func TestSubmitReadReviseWithdraw(t *testing.T) {
	t.Parallel()
	s := newScene(t)
	x := s.must(201, ask{do: "POST /v1/sessions?include=derivation", key: s.key, body: s.session()})
	conforms(t, "Receipt", x.response.Body.Bytes())
	id := x.json("id").(string)
	if got := x.header("Location"); got != "/v1/sessions/"+id {
		t.Errorf("Location = %q, want the session", got)
	}
	if x.header("Etag") != `"r1"` || x.header("Evensun-Sequence") == "" || x.json("readings.0.derivation.0.step") == nil {
		t.Errorf("headers %v, body %s: want tag r1, a sequence and a derivation", x.response.Header(), x.text())
	}
	reading := x.json("readings.0.id").(string)
	conforms(t, "StoredReading", s.must(200, ask{do: "GET /v1/readings/" + reading}).response.Body.Bytes())
	conforms(t, "Derivation", s.must(200, ask{do: "GET /v1/readings/" + reading + "/derivation"}).response.Body.Bytes())
	conforms(t, "SessionPage", s.must(200, ask{do: "GET /v1/sessions"}).response.Body.Bytes())
	conforms(t, "FindingPage", s.must(200, ask{do: "GET /v1/findings?sort=-priority"}).response.Body.Bytes())

	first := s.must(200, ask{do: "GET /v1/sessions/" + id})
	conforms(t, "StoredSession", first.response.Body.Bytes())
	tag := first.header("Etag")
	s.must(304, ask{do: "GET /v1/sessions/" + id, header: map[string]string{"If-None-Match": tag}})

	revision := `{"reason_code":"mistyped_reading","reason":"A1 was 151 W","session":` + s.session(`"power_w": 152`, `"power_w": 151`) + `}`
	s.must(428, ask{do: "POST /v1/sessions/" + id + "/revisions", key: s.key, body: revision})
	stale := s.must(412, ask{do: "POST /v1/sessions/" + id + "/revisions", key: s.key, body: revision, header: map[string]string{"If-Match": `"r7"`}})
	if stale.json("current_etag") != `"r1"` {
		t.Errorf("412 = %s, want current_etag r1", stale.text())
	}
	two := s.must(201, ask{do: "POST /v1/sessions/" + id + "/revisions", key: s.key, body: revision, header: map[string]string{"If-Match": tag}})
	if two.json("revision") != 2.0 || two.header("Etag") != `"r2"` {
		t.Errorf("revision = %s, want 2", two.text())
	}
	old := s.must(200, ask{do: "GET /v1/sessions/" + id + "/revisions/1"})
	if old.json("state") != "superseded" || old.json("session.readings.0.power_w") != 152.0 {
		t.Errorf("old revision = %s, want it superseded and as it was", old.text())
	}
	gone := s.must(201, ask{do: "POST /v1/sessions/" + id + "/withdrawals", key: s.key, body: `{"reason":"dusty panel"}`, header: map[string]string{"If-Match": `"r2"`}})
	conforms(t, "WithdrawalReceipt", gone.response.Body.Bytes())
	if got := s.must(200, ask{do: "GET /v1/sessions/" + id}); got.json("state") != "withdrawn" {
		t.Errorf("withdrawn session = %s", got.text())
	}
	if again := s.must(409, ask{do: "POST /v1/sessions/" + id + "/revisions", key: s.key, body: revision, header: map[string]string{"If-Match": `"r2"`}}); again.json("code") != "illegal_transition" {
		t.Errorf("revision of a withdrawn session = %s", again.text())
	}
	if csv := s.must(200, ask{do: "GET /v1/sessions?format=csv&state=accepted,withdrawn"}); !strings.HasPrefix(csv.text(), "id,revision,state,") {
		t.Errorf("CSV = %q", csv.text())
	}
}

func TestDryRunNeedsNoKeyAndStoresNothing(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	body := `{"started_at":"2026-06-14T11:05:00-06:00","site":{"latitude_deg":38.5,"longitude_deg":-106.0,"altitude_m":2150},"rig":{"kind":"mppt_controller","power_read_at":"panel_side"},
	 "plane":{"tilt_deg":35,"azimuth_deg":180},"readings":[{"panel":{"nameplate":{"pmax_w":200}},"taken_at":"2026-06-14T11:22:00-06:00","power_w":152,"irradiance":{"poa_w_m2":912}}]}`
	x := b.must(200, ask{do: "POST /v1/sessions?dry_run=true&include=derivation", body: body})
	conforms(t, "Receipt", x.response.Body.Bytes())
	if x.json("stored") != false || x.json("id") != nil || x.json("sequence") != nil || x.json("readings.0.result.stc_power_w") == nil {
		t.Errorf("dry run = %s, want a result and nothing stored", x.text())
	}
	if head := b.must(200, ask{do: "GET /v1/ledger/head"}); head.json("sequence") != 0.0 {
		t.Errorf("ledger head = %s, want none", head.text())
	}
	if x := b.must(401, ask{do: "POST /v1/sessions", body: body}); x.header("WWW-Authenticate") == "" {
		t.Error("401 without WWW-Authenticate")
	}
}

// People get the same derivation in sentences, by name or by Accept, and never as
// anything that a browser would run.
func TestDerivationInSentences(t *testing.T) {
	t.Parallel()
	s := newScene(t)
	reading := s.must(201, ask{do: "POST /v1/sessions", key: s.key, body: s.session()}).json("readings.0.id").(string)
	target := "GET /v1/readings/" + reading + "/derivation"
	steps := s.must(200, ask{do: target})
	byName := s.must(200, ask{do: target + "?format=text"})
	golden(t, "getDerivationText", byName)
	byAccept := s.must(200, ask{do: target, header: map[string]string{"Accept": "text/plain"}})
	if byName.text() != byAccept.text() || byAccept.header("Content-Type") != "text/plain; charset=utf-8" || byAccept.header("X-Content-Type-Options") != "nosniff" {
		t.Errorf("text by name and by Accept: %v\n%s\nwant the same plain text", byAccept.response.Header(), byAccept.text())
	}
	if got, want := strings.Count(byName.text(), "\n\n")+1, len(steps.json("derivation").([]any)); got != want {
		t.Errorf("%d paragraphs, want one for each of %d steps", got, want)
	}
	if x := s.must(200, ask{do: target + "?format=json", header: map[string]string{"Accept": "text/plain"}}); x.json("reading_id") != reading {
		t.Errorf("format=json = %s, want it to win over Accept", x.text())
	}
	refused(t, s.bench, bad{"no table of steps", ask{do: target, header: map[string]string{"Accept": "text/csv"}}, 406, "not_acceptable", "", ""})
	refused(t, s.bench, bad{"format of lists", ask{do: target + "?format=csv"}, 400, "invalid_parameter", "", "not_one_of"})
}

// A cable gauge given as a cross-section is doubted on the spot, kept as a finding of
// the rig, and nobody decides on it for their own rig.
func TestRigIsDoubted(t *testing.T) {
	t.Parallel()
	s := newScene(t)
	good := s.must(201, ask{do: "POST /v1/rigs", key: s.key, body: rigBody})
	if found, ok := good.json("findings").([]any); !ok || len(found) != 0 || good.json("stored") != true {
		t.Errorf("good rig = %s, want it stored without findings", good.text())
	}
	awg := strings.Replace(rigBody, `"cross_section_mm2": 3.31`, `"cross_section_mm2": 18`, 1)
	dry := s.must(200, ask{do: "POST /v1/rigs?dry_run=true", key: s.key, body: awg})
	if dry.json("findings.0.rule") != "unit_slip" || dry.json("id") != nil || len(s.pages("/v1/findings", "id")) != 0 {
		t.Errorf("dry run = %s, want a doubt and nothing stored", dry.text())
	}
	stored := s.must(201, ask{do: "POST /v1/rigs", key: s.key, body: awg})
	conforms(t, "RigReceipt", stored.response.Body.Bytes())
	rig, finding := stored.json("id").(string), stored.json("findings.0.id").(string)
	kept := s.must(200, ask{do: "GET /v1/findings/" + finding})
	for name, want := range map[string]any{"rule": "unit_slip", "severity": "hold", "rig_id": rig, "tester_id": s.tester, "pointer": "#/cable/cross_section_mm2", "value": 18.0, "state": "open"} {
		if got := kept.json(name); got != want {
			t.Errorf("%s of the finding = %v, want %v", name, got, want)
		}
	}
	doubted := s.must(200, ask{do: "PUT /v1/rigs/" + good.json("id").(string), key: s.key, body: awg, header: map[string]string{"If-Match": `"r1"`}})
	conforms(t, "RigReceipt", doubted.response.Body.Bytes())
	if doubted.json("revision") != 2.0 || doubted.json("findings.0.rig_id") != good.json("id") || doubted.header("Etag") != `"r2"` {
		t.Errorf("changed rig = %s, want revision 2 with a doubt", doubted.text())
	}
	other := strings.Replace(s.session(), s.rig, rig, 1)
	if x := s.must(201, ask{do: "POST /v1/sessions", key: s.key, body: other}); s.must(200, ask{do: "GET /v1/sessions/" + x.json("id").(string)}).json("readings.0.state") != "held" {
		t.Errorf("session with a doubted rig = %s, want its readings held", x.text())
	}
}

// A stored session tells the same cautions as its submission, and a later change of the
// rig does not change what it tells.
func TestStoredCautionsAreThoseOfTheSubmission(t *testing.T) {
	t.Parallel()
	s := newScene(t)
	x := s.must(201, ask{do: "POST /v1/sessions", key: s.key, body: s.session()})
	want, _ := x.json("cautions").([]any)
	if len(want) == 0 || want[len(want)-1].(map[string]any)["id"] != "general" {
		t.Fatalf("cautions of the submission = %v, want some, the closing text last", want)
	}
	s.must(200, ask{do: "PUT /v1/rigs/" + s.rig, key: s.key, body: strings.Replace(rigBody, "mppt_controller", "microinverter", 1), header: map[string]string{"If-Match": `"r1"`}})
	id := x.json("id").(string)
	for _, target := range []string{"/v1/sessions/" + id, "/v1/sessions/" + id + "/revisions/1"} {
		if got := s.must(200, ask{do: "GET " + target}).json("cautions"); !reflect.DeepEqual(got, any(want)) {
			t.Errorf("cautions of %s = %v, want %v", target, got, want)
		}
	}
}
