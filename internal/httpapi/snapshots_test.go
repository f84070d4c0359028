package httpapi_test

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"strings"
	"testing"

	"evensun/internal/ledger"
)

// filled is a scene with sessions of two testers and a snapshot of them.
func filled(t *testing.T) (s scene, name string) {
	t.Helper()
	s = newScene(t)
	s.must(201, ask{do: "POST /v1/sessions", key: s.key, body: s.session()})
	s.must(201, ask{do: "POST /v1/sessions", key: s.key, body: s.session("field-14", "field-15", "2026-06-14", "2026-06-15", `"power_w": 153`, `"power_w": 154`)})
	x := s.must(201, ask{do: "POST /v1/snapshots", key: operatorKey})
	conforms(t, "SnapshotManifest", x.response.Body.Bytes())
	name, _ = x.json("name").(string)
	if x.header("Location") != "/v1/snapshots/"+name || x.header("Evensun-Sequence") == "" {
		t.Errorf("POST /v1/snapshots answers Location %q, Evensun-Sequence %q", x.header("Location"), x.header("Evensun-Sequence"))
	}
	return s, name
}

// Whoever has a snapshot's document can check its hash and those of all files.
func TestSnapshotHashesCanBeChecked(t *testing.T) {
	t.Parallel()
	s, name := filled(t)
	x := s.must(200, ask{do: "GET /v1/snapshots/" + name})
	conforms(t, "SnapshotManifest", x.response.Body.Bytes())
	var manifest map[string]any
	if err := json.Unmarshal(x.response.Body.Bytes(), &manifest); err != nil {
		t.Fatal(err)
	}
	said := manifest["snapshot_sha256"]
	delete(manifest, "snapshot_sha256")
	if got, err := ledger.HashOf(manifest); err != nil || got != said {
		t.Errorf("hash of the manifest = %s, %v, it says %v", got, err, said)
	}
	if c := x.header("Cache-Control"); c != "public, max-age=31536000, immutable" {
		t.Errorf("Cache-Control = %q", c)
	}
	files := 0
	for _, f := range manifest["files"].([]any) {
		info := f.(map[string]any)
		x := s.must(200, ask{do: fmt.Sprintf("GET /v1/snapshots/%s/files/%s", name, info["name"])})
		sum := sha256.Sum256(x.response.Body.Bytes())
		if hex.EncodeToString(sum[:]) != info["sha256"] || float64(x.response.Body.Len()) != info["size"] {
			t.Errorf("%s has %d bytes, want those of the manifest, %v", info["name"], x.response.Body.Len(), info)
		}
		if c := x.header("Cache-Control"); !strings.Contains(c, "immutable") || x.header("Content-Type") != info["media_type"] {
			t.Errorf("%s is sent as %q, cached as %q", info["name"], x.header("Content-Type"), c)
		}
		s.must(304, ask{do: fmt.Sprintf("GET /v1/snapshots/%s/files/%s", name, info["name"]), header: map[string]string{"If-None-Match": x.header("ETag")}})
		files++
	}
	if files != 6 {
		t.Errorf("the snapshot has %d files, want 6", files)
	}
}

// A snapshot's ranking stays as it is while the live one moves on.
func TestRankingOfSnapshotStays(t *testing.T) {
	t.Parallel()
	s, name := filled(t)
	at := "GET /v1/rankings/stc-power?snapshot=" + name
	first := s.must(200, ask{do: at})
	conforms(t, "Ranking", first.response.Body.Bytes())
	if first.json("entries.0.panel_model") != "tarn-fold-200" || first.header("Evensun-As-Of") == "" || !strings.Contains(first.header("Cache-Control"), "immutable") {
		t.Errorf("ranking of %s = %s, as of %q", name, first.text(), first.header("Evensun-As-Of"))
	}
	s.must(201, ask{do: "POST /v1/sessions", key: s.key, body: s.session("field-14", "field-16", "2026-06-14", "2026-06-16", `"power_w": 153`, `"power_w": 150`)})
	second := s.must(201, ask{do: "POST /v1/snapshots", key: operatorKey}).json("name")
	if second != name+"-2" {
		t.Errorf("the second snapshot is %v, want %s-2", second, name)
	}
	if again := s.must(200, ask{do: at}); again.text() != first.text() || again.header("ETag") != first.header("ETag") {
		t.Errorf("the ranking of %s has changed from %s to %s", name, first.text(), again.text())
	}
	if other := s.must(200, ask{do: at + "-2"}); other.text() == first.text() {
		t.Errorf("the ranking of %s-2 is that of %s", name, name)
	}
	s.must(304, ask{do: at, header: map[string]string{"If-None-Match": first.header("ETag")}})
	csv := s.must(200, ask{do: at + "&format=csv"})
	if !strings.HasPrefix(csv.text(), "measure,unit,") {
		t.Errorf("as CSV: %s", csv.text())
	}
	for _, h := range []string{"Evensun-As-Of", "Cache-Control"} {
		if csv.header(h) != first.header(h) {
			t.Errorf("as CSV with %s %q, as JSON %q", h, csv.header(h), first.header(h))
		}
	}
}

func TestSnapshotsAreListed(t *testing.T) {
	t.Parallel()
	s, name := filled(t)
	s.must(201, ask{do: "POST /v1/snapshots", key: operatorKey})
	x := s.must(200, ask{do: "GET /v1/snapshots?page_size=1"})
	conforms(t, "SnapshotPage", x.response.Body.Bytes())
	next, _ := x.json("next").(string)
	if x.json("items.0.name") != name+"-2" || next == "" {
		t.Fatalf("first page = %s", x.text())
	}
	y := s.must(200, ask{do: "GET " + strings.TrimPrefix(next, "https://evensun.example")})
	if y.json("items.0.name") != name || y.json("next") != nil || y.json("items.0.href") != "/v1/snapshots/"+name {
		t.Errorf("second page = %s", y.text())
	}
	if csv := s.must(200, ask{do: "GET /v1/snapshots?format=csv"}); strings.Count(csv.text(), "\r\n") != 3 {
		t.Errorf("as CSV: %q", csv.text())
	}
	if x := s.must(200, ask{do: "GET /v1/changes?page_size=200"}); !strings.Contains(x.text(), `"/v1/snapshots/`+name+`"`) {
		t.Errorf("changes do not lead to the snapshot: %s", x.text())
	}
}

// A request that is sent again makes no second snapshot.
func TestCreateSnapshotOnce(t *testing.T) {
	t.Parallel()
	s := newScene(t)
	a := ask{do: "POST /v1/snapshots", key: operatorKey, header: map[string]string{"Idempotency-Key": "snapshot-of-monday"}}
	first, again := s.must(201, a), s.must(201, a)
	if again.text() != first.text() || again.header("Idempotency-Replayed") != "true" {
		t.Errorf("sent again: %s, want %s", again.text(), first.text())
	}
	if x := s.must(200, ask{do: "GET /v1/snapshots"}); x.json("items.1") != nil {
		t.Errorf("there are two snapshots: %s", x.text())
	}
}

func TestBadSnapshotRequests(t *testing.T) {
	t.Parallel()
	s, name := filled(t)
	for _, c := range []bad{
		{"no such snapshot", ask{do: "GET /v1/snapshots/2001-w01"}, 404, "not_found", "", ""},
		{"no name of a snapshot", ask{do: "GET /v1/snapshots/latest"}, 404, "not_found", "", ""},
		{"no such file", ask{do: "GET /v1/snapshots/" + name + "/files/other.csv"}, 404, "not_found", "", ""},
		{"no name of a file", ask{do: "GET /v1/snapshots/" + name + "/files/..%2Fother.csv"}, 404, "not_found", "", ""},
		{"ranking of no snapshot", ask{do: "GET /v1/rankings/stc-power?snapshot=2001-w01"}, 404, "not_found", "", ""},
		{"currency without a price", ask{do: "GET /v1/rankings/power-per-price?currency=CHF&snapshot=" + name}, 404, "not_found", "", ""},
		{"a refit of a snapshot", ask{do: "GET /v1/rankings/stc-power?sensor=measured&snapshot=" + name}, 400, "invalid_parameter", "", "not_expected"},
		{"a fresh snapshot", ask{do: "GET /v1/rankings/stc-power?at_least=1&snapshot=" + name}, 400, "invalid_parameter", "", "not_expected"},
		{"a forged cursor", ask{do: "GET /v1/snapshots?cursor=abc"}, 400, "cursor_invalid", "", ""},
		{"a tester's snapshot", ask{do: "POST /v1/snapshots", key: s.key}, 403, "forbidden", "", ""},
		{"nobody's snapshot", ask{do: "POST /v1/snapshots"}, 401, "unauthenticated", "", ""},
	} {
		refused(t, s.bench, c)
	}
}
