package httpapi_test

import (
	"context"
	"encoding/json"
	"fmt"
	"runtime"
	"strings"
	"testing"
	"time"

	"evensun/internal/audit"
	"evensun/internal/fieldtest"
	"evensun/internal/httpapi"
	"evensun/internal/store"
	"evensun/internal/storetest"

	"github.com/google/uuid"
)

func TestAllMeasuresAreServedBeforeAnyData(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	list := b.must(200, ask{do: "GET /v1/rankings"})
	conforms(t, "RankingList", list.response.Body.Bytes())
	for i, m := range fieldtest.Measures() {
		if list.json(fmt.Sprintf("items.%d.measure", i)) != m.Name {
			t.Errorf("item %d = %v, want %s", i, list.json(fmt.Sprintf("items.%d.measure", i)), m.Name)
		}
		x := b.must(200, ask{do: "GET /v1/rankings/" + m.Name})
		conforms(t, "Ranking", x.response.Body.Bytes())
		if entries, ok := x.json("entries").([]any); !ok || len(entries) != 0 || x.json("model") != nil || x.json("computed_through") != 0.0 || x.json("unit") != m.Unit {
			t.Errorf("%s before any data = %s", m.Name, x.text())
		}
		if !strings.Contains(x.text(), `"computed_at":null`) || x.json("headline") != "Nothing has been measured yet." {
			t.Errorf("%s before any data was computed at %v: %v", m.Name, x.json("computed_at"), x.json("headline"))
		}
	}
	for query, want := range map[string]string{"power-per-price?currency=CHF": "No panel with a price in CHF has been ranked.", "stc-power?component=2": "There is no group of panels of this number."} {
		if x := b.must(200, ask{do: "GET /v1/rankings/" + query}); x.json("headline") != want {
			t.Errorf("%s = %v, want %q", query, x.json("headline"), want)
		}
	}
	csv := b.must(200, ask{do: "GET /v1/rankings/stc-power?format=csv"})
	if !strings.HasPrefix(csv.text(), "measure,unit,") || strings.Count(csv.text(), "\r\n") != 1 {
		t.Errorf("CSV before any data = %q", csv.text())
	}
}

// publish stores a ranking of two panels as if it had been computed.
func (b *bench) publish(measure, key string, through int64) store.RankingRow {
	b.t.Helper()
	m, _ := fieldtest.MeasureNamed(measure)
	r := fieldtest.Ranking{Measure: m.Name, Unit: m.Unit, Currency: key, SHA256: strings.Repeat("ab", 32), ComputedThrough: through, ComputedAt: &at,
		Headline: "Two panels.", Unranked: []fieldtest.Unranked{{PanelModel: "quill-leaf-60", Reason: "readings_held", Needs: "a verdict: 3 readings wait for a reviewer", Held: 3}}, Cautions: []fieldtest.Caution{}, Entries: []fieldtest.Entry{
			{PanelModel: "tarn-fold-200", Rank: 1, RankLo: 1, RankHi: 1, TieGroup: "a", Estimate: 188.5, EstimateU: 2, EstimateLo: 184, EstimateHi: 192, Coverage: 0.95, Testers: 4, Component: 1, Sentence: "First."},
			{PanelModel: "halden-120", Rank: 2, RankLo: 2, RankHi: 2, TieGroup: "b", Estimate: 117.4, EstimateU: 2, EstimateLo: 113, EstimateHi: 121, Coverage: 0.95, Testers: 2, Component: 2, Sentence: "Second."},
		}}
	body, err := json.Marshal(r)
	if err != nil {
		b.t.Fatal(err)
	}
	row := store.RankingRow{Measure: measure, Key: key, ComputedThrough: through, ComputedAt: at, SHA256: r.SHA256, Body: body}
	if err := b.store.PublishRankings(context.Background(), []store.RankingRow{row}, nil); err != nil {
		b.t.Fatal(err)
	}
	return row
}

func TestRankingIsSentAsPublished(t *testing.T) {
	t.Parallel()
	s := newScene(t)
	row := s.publish("stc-power", "", 3)
	x := s.must(200, ask{do: "GET /v1/rankings/stc-power"})
	conforms(t, "Ranking", x.response.Body.Bytes())
	tag := x.header("Etag")
	if len(tag) != 18 || x.header("Evensun-As-Of") != "3" || x.json("computed_through") != 3.0 {
		t.Errorf("headers %v, want 16 digits of the content's hash and 3", x.response.Header())
	}
	var got, want fieldtest.Ranking
	if json.Unmarshal(x.response.Body.Bytes(), &got) != nil || json.Unmarshal(row.Body, &want) != nil || fmt.Sprint(got) != fmt.Sprint(want) {
		t.Errorf("sent %s, published %s", x.text(), row.Body)
	}
	s.must(304, ask{do: "GET /v1/rankings/stc-power", header: map[string]string{"If-None-Match": tag}})
	s.publish("stc-power", "component=2", 4) // a list of its own, of the same inputs
	other := s.must(200, ask{do: "GET /v1/rankings/stc-power?component=2"})
	if other.json("computed_through") != 4.0 || other.header("Etag") == tag {
		t.Errorf("component 2 = %s, tag %s; other bytes need another tag", other.text(), other.header("Etag"))
	}
	if none := s.must(200, ask{do: "GET /v1/rankings/stc-power?component=7"}); none.json("entries.0") != nil {
		t.Errorf("a component that is not there = %s", none.text())
	}
	csv := s.must(200, ask{do: "GET /v1/rankings/stc-power?format=csv"})
	if lines := strings.Split(csv.text(), "\r\n"); len(lines) != 5 || !strings.HasPrefix(lines[1], "stc-power,W,,,3,tarn-fold-200,1,1,1,a,188.5,2,184,192,") ||
		lines[3] != "stc-power,W,,,3,quill-leaf-60,,,,,,,,,,,,,,,0,0,0,,,,,,,,,,,readings_held,a verdict: 3 readings wait for a reviewer,3" {
		t.Errorf("CSV = %q", csv.text())
	}
	s.publish("power-per-price", "EUR", 3)
	if x := s.must(200, ask{do: "GET /v1/rankings/power-per-price?currency=EUR"}); x.json("currency") != "EUR" {
		t.Errorf("in EUR = %s", x.text())
	}
	results := s.must(200, ask{do: "GET /v1/panel-models/tarn-fold-200/results"})
	conforms(t, "PanelResults", results.response.Body.Bytes())
	if results.json("entries.0.entry.rank") != 1.0 || results.json("entries.1.entry") != nil {
		t.Errorf("results = %s", results.text())
	}
}

func TestReadYourOwnWrite(t *testing.T) {
	t.Parallel()
	s := newScene(t)
	sequence := s.must(201, ask{do: "POST /v1/sessions", key: s.key, body: s.session()}).header("Evensun-Sequence")
	target := "GET /v1/rankings/stc-power?at_least=" + sequence
	early := s.must(503, ask{do: target})
	problemIsWhole(t, "not yet included", early)
	if early.json("code") != "not_yet_included" || fmt.Sprint(early.json("requested")) != sequence || early.json("computed_through") == nil || early.header("Retry-After") == "" {
		t.Errorf("early = %s", early.text())
	}
	// Another arrangement's ranking is not touched by the write, so it covers it.
	if x := s.must(200, ask{do: "GET /v1/rankings/flat-retention?at_least=" + sequence}); fmt.Sprint(x.json("computed_through")) != sequence {
		t.Errorf("an untouched ranking = %s, want it to cover %s", x.text(), sequence)
	}
	if x := s.must(200, ask{do: "GET /v1/rankings/flat-retention?format=csv&at_least=" + sequence}); x.header("Cache-Control") != "no-cache" {
		t.Errorf("a fresh table may be kept: %q", x.header("Cache-Control"))
	}
	done := make(chan exchange, 1)
	waiting := storetest.Bounded(t, "the answer of a request that waits for a ranking")
	go func() { done <- s.send(ask{do: target, header: map[string]string{"Prefer": "respond-async, wait=20"}}) }()
	s.computeAndPublish(sequence)
	for {
		select {
		case x := <-done:
			if x.status() != 200 || x.header("Preference-Applied") != "wait=20" || x.header("Evensun-As-Of") != sequence || x.header("Cache-Control") != "no-cache" {
				t.Errorf("waited = %d %v %s", x.status(), x.response.Header(), x.text())
			}
			return
		case <-waiting.Done():
			t.Fatal(context.Cause(waiting))
		default:
			runtime.Gosched()
			s.server.Published() // as often as it takes the request to begin waiting
		}
	}
}

// computeAndPublish does what the worker does: takes the marks, publishes, and frees
// them.
func (s scene) computeAndPublish(sequence string) {
	s.t.Helper()
	var through int64
	if _, err := fmt.Sscan(sequence, &through); err != nil {
		s.t.Fatal(err)
	}
	for {
		mark, err := s.store.LeaseMark(context.Background(), time.Minute)
		if err != nil {
			s.t.Fatal(err)
		}
		if mark == nil {
			return
		}
		s.publish("stc-power", "", through)
		if err := s.store.FinishMark(context.Background(), *mark); err != nil {
			s.t.Fatal(err)
		}
	}
}

func TestTooManyWaiters(t *testing.T) {
	t.Parallel()
	s := newScene(t, func(c *httpapi.Config) { c.MaxWaiters = -1 })
	sequence := s.must(201, ask{do: "POST /v1/sessions", key: s.key, body: s.session()}).header("Evensun-Sequence")
	refused(t, s.bench, bad{"a waiter too many", ask{do: "GET /v1/rankings/stc-power?at_least=" + sequence, header: map[string]string{"Prefer": "wait=1"}}, 503, "overloaded", "", ""})
}

// refits remembers what it was asked.
type refits struct{ asked *httpapi.RefitQuery }

func (r refits) Refit(_ context.Context, q httpapi.RefitQuery) (store.RankingRow, error) {
	*r.asked = q
	return store.RankingRow{SHA256: strings.Repeat("cd", 32), Body: []byte(`{"measure":"stc-power","entries":[]}`)}, nil
}

func TestFilteredRankingIsARefit(t *testing.T) {
	t.Parallel()
	var asked httpapi.RefitQuery
	b := newBench(t, func(c *httpapi.Config) { c.Refit = refits{&asked} })
	x := b.must(200, ask{do: "GET /v1/rankings/stc-power?from=2026-01-01T00:00:00Z&rig_kind=resistor,other&sensor=measured&near=38.5,-106,50&panel_model=tarn-fold-200&min_testers=3&component=2"})
	if len(x.header("Etag")) != 18 {
		t.Errorf("tag %s", x.header("Etag"))
	}
	want := httpapi.RefitQuery{Measure: fieldtest.Measures()[0], From: asked.From, RigKinds: []string{"resistor", "other"}, Metered: true,
		Near: &store.Near{LatitudeDeg: 38.5, LongitudeDeg: -106, DistanceKm: 50}, PanelModels: []string{"tarn-fold-200"}, MinTesters: 3, Component: 2}
	if asked.From == nil || asked.From.Format(time.RFC3339) != "2026-01-01T00:00:00Z" || *asked.Near != *want.Near {
		t.Errorf("asked %+v", asked)
	}
	asked.Near, want.Near = nil, nil
	if fmt.Sprint(asked) != fmt.Sprint(want) {
		t.Errorf("asked %+v, want %+v", asked, want)
	}
}

// compares answers with the models it was asked for.
type compares struct{}

func (compares) Compare(_ context.Context, measure, _ string, models []string) (fieldtest.Comparison, error) {
	return fieldtest.Comparison{Measure: measure, ComputedThrough: 7, Pairs: []fieldtest.Pair{{A: models[0], B: models[1], Basis: "same_session"}}}, nil
}

func TestCompare(t *testing.T) {
	t.Parallel()
	s := newScene(t, func(c *httpapi.Config) { c.Compare = compares{} })
	s.must(201, ask{do: "POST /v1/panel-models", key: s.key, body: strings.Replace(panelBody, "tarn-fold-200", "halden-120", 1)})
	x := s.must(200, ask{do: "GET /v1/comparisons?models=tarn-fold-200,halden-120"})
	conforms(t, "Comparison", x.response.Body.Bytes())
	if x.json("measure") != "stc-power" || x.json("pairs.0.b") != "halden-120" || x.header("Evensun-As-Of") != "7" {
		t.Errorf("comparison = %s", x.text())
	}
	for name, c := range map[string]bad{
		"one model":       {"", ask{do: "GET /v1/comparisons?models=tarn-fold-200"}, 400, "invalid_parameter", "", "too_few"},
		"a model twice":   {"", ask{do: "GET /v1/comparisons?models=tarn-fold-200,tarn-fold-200"}, 400, "invalid_parameter", "", "not_expected"},
		"unknown model":   {"", ask{do: "GET /v1/comparisons?models=tarn-fold-200,nobody"}, 404, "not_found", "", ""},
		"stray currency":  {"", ask{do: "GET /v1/comparisons?models=tarn-fold-200,halden-120&currency=EUR"}, 400, "invalid_parameter", "", "not_expected"},
		"unknown measure": {"", ask{do: "GET /v1/comparisons?models=tarn-fold-200,halden-120&measure=beauty"}, 400, "invalid_parameter", "", "not_one_of"},
	} {
		c.name = name
		refused(t, s.bench, c)
	}
}

// agrees answers with one number.
type agrees struct{}

func (agrees) Agreement(_ context.Context, tester uuid.UUID) (audit.Agreement, error) {
	offset, ratio := 0.021, 1.034
	return audit.Agreement{TesterID: tester, Testers: 4, Offset: &offset,
		Panels: []audit.PanelAgreement{{PanelModel: "tarn-fold-200", Ratio: &ratio, Weight: 1, Share: 0.2, Sessions: 2, Readings: 5}}}, nil
}

func TestAgreementHasNumbersAndFindings(t *testing.T) {
	t.Parallel()
	s := newScene(t, func(c *httpapi.Config) { c.Agree = agrees{} })
	x := s.must(200, ask{do: "GET /v1/testers/" + s.tester + "/agreement"})
	conforms(t, "Agreement", x.response.Body.Bytes())
	if x.json("tester_id") != s.tester || x.json("offset_relative") != 0.021 || x.json("panels.0.ratio") != 1.034 || x.json("zeta") != nil {
		t.Errorf("agreement = %s", x.text())
	}
}
