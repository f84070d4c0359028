package httpapi_test

import (
	"context"
	"errors"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"evensun/internal/contract"
	"evensun/internal/fieldtest"
	"evensun/internal/httpapi"
	"evensun/internal/ranking"
	"evensun/internal/store"
)

// One full exchange of every operation, and one of every kind of refusal, stand in
// testdata/golden for people to read and for this test to compare with.
func TestGoldenExchanges(t *testing.T) {
	t.Parallel()
	s := newScene(t, func(c *httpapi.Config) {
		c.Compare, c.Suggest, c.Recommend = compares{}, suggests{}, recommends{}
		c.Rules = []httpapi.Rule{{Rule: "current_above_isc", Group: "reading against sun and nameplate", Severities: []string{"reject", "hold"}, Doubts: "More current than the sun can drive.", Source: "single-diode model"}}
	})
	k := castOn(t, s)
	s.publish("stc-power", "", 3)
	s.must(201, ask{do: "POST /v1/panel-models", key: s.key, body: strings.Replace(panelBody, "tarn-fold-200", "halden-120", 1)})
	_, operations := described(t)
	slices.SortStableFunc(operations, func(a, b *contract.Operation) int { return order(a) - order(b) })
	for _, o := range operations {
		if slices.Contains([]string{"getOpenapiYaml", "getOpenapiJson", "getDocs", "listQuantities"}, o.ID) {
			continue // whole documents, which other tests hold
		}
		sample := k.samples[o.ID]
		if sample.path == "" {
			sample.path = o.Path
		}
		a := ask{do: o.Method + " " + strings.Replace(sample.path+sample.query, "200b", "200", 1), key: k.keyFor(o), body: sample.body, header: map[string]string{}}
		if o.ID == "comparePanels" {
			a.do = "GET /v1/comparisons?models=tarn-fold-200,halden-120&latitude_deg=38.5&longitude_deg=-106&date=2026-06-21"
		}
		if sample.match != "" {
			a.header["If-Match"] = sample.match
		}
		if sample.media != "" {
			a.header["Content-Type"] = sample.media
		}
		if o.ID == "withdrawSession" {
			a.header["If-Match"] = `"r2"` // it was revised before
		}
		x := s.send(a)
		if x.status() >= 300 {
			t.Errorf("%s = %d %s", o.ID, x.status(), x.text())
			continue
		}
		golden(t, o.ID, x)
	}
}

// order puts reading first, then what adds, then what changes what there is.
func order(o *contract.Operation) int {
	switch {
	case o.Method == http.MethodGet:
		return 0
	case strings.HasPrefix(o.ID, "create"), strings.HasPrefix(o.ID, "add"), o.ID == "submitSession", o.ID == "registerTester":
		return 1
	case o.ID == "withdrawSession", o.ID == "revokeKey":
		return 3
	case o.ID == "revokeKeys":
		return 4
	}
	return 2
}

// keyFor returns the key of the first caller that may make the request.
func (k cast) keyFor(o *contract.Operation) string {
	for _, w := range k.callers {
		if denied(o, w) == 0 && (w.owner || w.role != fieldtest.RoleTester) {
			return w.key
		}
	}
	return ""
}

type recommends struct{}

func (recommends) Recommend(_ context.Context, w ranking.Wish) (fieldtest.Recommendation, error) {
	use, _ := fieldtest.UseNamed(w.Uses[0])
	return fieldtest.Recommendation{
		Uses: []fieldtest.WeightedUse{{Use: use, Weight: 1, Unit: "W"}}, ComputedThrough: 3, Verdict: "none", Headline: "The data cannot say which of 2 panels is best for this.", Compared: 2,
		Candidates: []fieldtest.Candidate{
			{PanelModel: "halden-120", Probability: 0.6, Figures: []fieldtest.UseFigure{{Use: use.Name, Value: 118, ValueLo: 113, ValueHi: 123, Rank: 1, RankLo: 1, RankHi: 2}}, Why: "Best with a probability of 60 %."},
			{PanelModel: "tarn-fold-200", Probability: 0.4, Figures: []fieldtest.UseFigure{{Use: use.Name, Value: 117, ValueLo: 112, ValueHi: 122, Rank: 2, RankLo: 1, RankHi: 2}}, Why: "Best with a probability of 40 %."},
		},
		Separates:   []fieldtest.Separation{{A: "halden-120", B: "tarn-fold-200", Ratio: 1.01, RatioLo: 0.97, RatioHi: 1.05, Coverage: 0.95, ProbabilityABetter: 0.6, Most: use.Name, Sentence: "halden-120 is 1.0 % ahead of tarn-fold-200 (-3.0 to 5.0 %): too close to call."}},
		LeftOut:     []fieldtest.LeftOut{},
		MeasureNext: "Read halden-120, tarn-fold-200 side by side in one session: each tilted to the sun, twice.",
		Cautions:    []fieldtest.Caution{},
	}, nil
}

type suggests struct{}

func (suggests) Suggest(context.Context, float64, float64, []string) (httpapi.Suggestions, error) {
	return httpapi.Suggestions{Items: []httpapi.Suggestion{{
		Models: []string{"halden-120", "tarn-fold-200"}, Reason: "Never measured in one session.", RunningOrder: []string{"halden-120", "tarn-fold-200", "halden-120"},
		ExpectedGain: &ranking.Gain{PairsToldApart: 1.2, RankWidthRanks: 0.3, ToldApartProbability: 0.4, RatioUNowRelative: 0.02, RatioUThenRelative: 0.015},
	}}}, nil
}

// failsWith is a store that answers reads of a rig with an error.
type failsWith struct {
	httpapi.Store
	err error
}

func (f failsWith) LedgerHead(context.Context) (h ledgerHead, err error) { return h, f.err }

func TestGoldenRefusals(t *testing.T) {
	t.Parallel()
	s := newScene(t)
	session, _, _ := s.doubtful()
	key := map[string]string{"Idempotency-Key": "0123456789abcdef"}
	s.must(201, ask{do: "POST /v1/rigs", key: s.key, body: rigBody, header: key})
	seen := map[string]bool{}
	for _, c := range []struct {
		code fieldtest.RefusalKind
		ask  ask
	}{
		{fieldtest.MalformedRequest, ask{do: "POST /v1/rigs", key: s.key, body: `{"kind": "resistor", "kind": "other"}`}},
		{fieldtest.InvalidParameter, ask{do: "GET /v1/sessions?stat=accepted&page_size=0"}},
		{fieldtest.CursorInvalid, ask{do: "GET /v1/rigs?cursor=abc"}},
		{fieldtest.Unauthenticated, ask{do: "POST /v1/rigs", body: rigBody}},
		{fieldtest.Forbidden, ask{do: "POST /v1/findings/01970000-0000-7000-8000-000000000000/verdicts", key: s.key, body: `{"verdict":"keep"}`}},
		{fieldtest.NotFound, ask{do: "GET /v1/panel-models/nobody"}},
		{fieldtest.MethodNotAllowed, ask{do: "DELETE /v1/sessions/" + session, key: s.key}},
		{fieldtest.NotAcceptable, ask{do: "GET /v1/sessions", header: map[string]string{"Accept": "application/xml"}}},
		{fieldtest.UnsupportedMediaType, ask{do: "POST /v1/rigs", key: s.key, body: rigBody, header: map[string]string{"Content-Type": "text/plain"}}},
		{fieldtest.NameTaken, ask{do: "POST /v1/panel-models", key: s.key, body: panelBody}},
		{fieldtest.PreconditionFailed, ask{do: "PUT /v1/rigs/" + s.rig, key: s.key, body: rigBody, header: map[string]string{"If-Match": `"r9"`}}},
		{fieldtest.PayloadTooLarge, ask{do: "POST /v1/rigs", key: s.key, body: strings.Repeat(" ", 1<<20+1)}},
		{fieldtest.ValidationFailed, ask{do: "POST /v1/rigs", key: s.key, body: `{"kind": "resitor", "power_read_at": "panel_side", "max_power_w": -5, "acuracy": null}`}},
		{fieldtest.PhysicallyImpossible, ask{do: "POST /v1/sessions", key: s.key, body: s.session(`"current_a": 8.42, "power_w": 152`, `"current_a": 42.0, "power_w": 760`)}},
		{fieldtest.IdempotencyKeyReused, ask{do: "POST /v1/rigs", key: s.key, body: strings.Replace(rigBody, "bench 1", "bench 2", 1), header: key}},
		{fieldtest.PreconditionRequired, ask{do: "PUT /v1/rigs/" + s.rig, key: s.key, body: rigBody}},
		{fieldtest.NotYetIncluded, ask{do: "GET /v1/rankings/stc-power?at_least=6"}},
		{fieldtest.IllegalTransition, ask{do: "POST /v1/sessions/" + session + "/withdrawals", key: s.key, body: `{"reason":"again"}`, header: map[string]string{"If-Match": `"r1"`}}},
	} {
		if c.code == fieldtest.IllegalTransition {
			s.must(201, c.ask)
		}
		x := s.send(c.ask)
		if x.json("code") != string(c.code) {
			t.Errorf("%s = %s, want %s", c.ask.do, x.text(), c.code)
			continue
		}
		if len(x.sent) > 1<<20 {
			x.sent = "(1 MiB and a byte)"
		}
		golden(t, "problem/"+string(c.code), x)
		seen[string(c.code)] = true
	}
	for kind, err := range map[string]error{
		"internal": errors.New("ERROR: relation does not exist (SQLSTATE 42P01)"), "read_only": &fieldtest.Refusal{Kind: fieldtest.ReadOnly, Detail: "The database takes no writes at the moment."},
		"overloaded": context.DeadlineExceeded, "idempotency_key_in_use": &fieldtest.Refusal{Kind: fieldtest.IdempotencyKeyInUse}, "gone": &fieldtest.Refusal{Kind: fieldtest.Gone},
	} {
		b := newBench(t, func(c *httpapi.Config) { c.Store, c.Log = failsWith{c.Store, err}, quiet() })
		golden(t, "problem/"+kind, b.send(ask{do: "GET /v1/ledger/head"}))
		seen[kind] = true
	}
	limited := newBench(t, func(c *httpapi.Config) { c.Limits.AnonymousPerMinute = 1 })
	limited.must(200, ask{do: "GET /v1/ledger/head"})
	golden(t, "problem/rate_limited", limited.send(ask{do: "GET /v1/ledger/head"}))
	if len(seen)+1 != 24 {
		t.Errorf("%d kinds have a file, there are 24", len(seen)+1)
	}
}

// A file that no exchange writes any more misleads.
func TestGoldenFilesAreAllUsed(t *testing.T) {
	t.Parallel()
	_, operations := described(t)
	used := map[string]bool{"getDerivationText.txt": true}
	for _, o := range operations {
		used[o.ID+".txt"] = true
	}
	files, err := filepath.Glob(filepath.Join("..", "..", "testdata", "golden", "*.txt"))
	if err != nil || len(files) == 0 {
		t.Fatalf("%d golden files, %v", len(files), err)
	}
	for _, f := range files {
		if !used[filepath.Base(f)] {
			t.Errorf("%s is of no operation", f)
		}
	}
	if _, err := os.Stat(filepath.Join("..", "..", "testdata", "golden", "problem")); err != nil {
		t.Error(err)
	}
}

var _ httpapi.Store = (*store.DB)(nil)
