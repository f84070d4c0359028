package httpapi_test

import (
	"context"
	"encoding/json"
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"evensun/internal/fieldtest"
	"evensun/internal/httpapi"
	"evensun/internal/refresh"
	"evensun/internal/store"
)

// background is a real worker in the words of the API.
type background struct{ *refresh.Worker }

func (b background) Compare(ctx context.Context, measure, currency string, models []string) (fieldtest.Comparison, error) {
	c, err := b.Worker.Compare(ctx, measure, currency, models)
	if err != nil {
		return fieldtest.Comparison{}, err
	}
	return *c, nil
}

func (b background) Refit(ctx context.Context, q httpapi.RefitQuery) (store.RankingRow, error) {
	return b.Filtered(ctx, q.Measure.Name, refresh.Filter{From: q.From, To: q.To, RigKinds: q.RigKinds, Metered: q.Metered, Near: q.Near,
		Panels: q.PanelModels, Component: q.Component, MinTesters: q.MinTesters})
}

// newWorking returns a bench whose worker runs until the test ends.
func newWorking(t *testing.T) *bench {
	t.Helper()
	var worker *refresh.Worker
	var db *store.DB
	b := newBench(t, func(c *httpapi.Config) {
		db = c.Store.(*store.DB)
		worker = refresh.New(db, refresh.Options{Now: c.Now, Settle: -1})
		w := background{worker}
		c.Compare, c.Refit, c.Results, c.Agree, c.Suggest = w, w, worker, worker, worker
	})
	ctx, stop := context.WithCancel(context.WithoutCancel(t.Context()))
	var running sync.WaitGroup
	running.Go(func() {
		if err := worker.Run(ctx); err != nil {
			t.Errorf("Run() = %v", err)
		}
	})
	running.Go(func() { b.server.Watch(db.Watch(ctx, time.Second)) })
	t.Cleanup(func() { stop(); running.Wait() })
	return b
}

// A fieldHand is a tester with a rig.
type fieldHand struct{ id, key, rig string }

func (b *bench) fieldHand(name string) fieldHand {
	b.t.Helper()
	id, key := b.tester(name)
	return fieldHand{id, key, b.must(201, ask{do: "POST /v1/rigs", key: key, body: rigBody}).json("id").(string)}
}

// measures submits a session of one day with two readings of every panel, each a share
// of what a good panel gives, and returns its sequence.
func (b *bench) measures(h fieldHand, day int, panels map[string]float64) string {
	b.t.Helper()
	x := b.submits(h, day, panels, "")
	if x.json("readings.0.state") != "counted" {
		b.t.Fatalf("session of June %d = %s, want its readings counted", day, x.text())
	}
	return x.header("Evensun-Sequence")
}

// submits is measures with more members for every reading.
func (b *bench) submits(h fieldHand, day int, panels map[string]float64, more string) exchange {
	b.t.Helper()
	var readings []string
	for _, slug := range []string{"tarn-fold-200", "halden-200", "ostra-200"} {
		share, ok := panels[slug]
		if !ok {
			continue
		}
		for k := range 2 {
			watts := 152*share + 0.4*float64((day+k)%3)
			readings = append(readings, fmt.Sprintf(`{"panel": {"model": %q}, "taken_at": "2026-06-%02dT11:%02d:00-06:00", "voltage_v": 18.1, "current_a": %.2f, "power_w": %.1f,
			 "irradiance": {"poa_w_m2": 912, "sensor": "reference_cell"}, "back_temperature_c": 47.5, "warm_up_min": 20%s}`, slug, day, 20+2*len(readings), watts/18.1, watts, more))
		}
	}
	body := fmt.Sprintf(`{"started_at": "2026-06-%02dT11:05:00-06:00", "ended_at": "2026-06-%02dT12:10:00-06:00", "rig": {"id": %q},
	 "site": {"latitude_deg": 38.5, "longitude_deg": -106.0, "altitude_m": 2150, "ground": "dry_grass"}, "sky": {"condition": "clear"},
	 "weather": {"air_temperature_c": 24.0, "wind_speed_m_s": 1.5}, "plane": {"tilt_deg": 35, "azimuth_deg": 180}, "readings": [%s]}`, day, day, h.rig, strings.Join(readings, ","))
	return b.must(201, ask{do: "POST /v1/sessions", key: h.key, body: body})
}

// covering waits for a ranking that covers a write, as a client does.
func (b *bench) covering(sequence, query string) fieldtest.Ranking {
	b.t.Helper()
	x := b.must(200, ask{do: "GET /v1/rankings/stc-power?at_least=" + sequence + query, header: map[string]string{"Prefer": "wait=30"}})
	return b.rankingOf(x)
}

func (b *bench) rankingOf(x exchange) fieldtest.Ranking {
	b.t.Helper()
	conforms(b.t, "Ranking", x.response.Body.Bytes())
	var r fieldtest.Ranking
	if err := json.Unmarshal(x.response.Body.Bytes(), &r); err != nil {
		b.t.Fatal(err)
	}
	return r
}

func placed(r fieldtest.Ranking) string {
	var slugs []string
	for _, e := range r.Entries {
		slugs = append(slugs, e.PanelModel)
	}
	return strings.Join(slugs, " ")
}

// From three testers' sessions to the ranking, and everything that rests on it, with
// nothing but requests.
func TestFromSessionsToRankings(t *testing.T) {
	t.Parallel()
	b := newWorking(t)
	hands := []fieldHand{b.fieldHand("North Lawn"), b.fieldHand("South Roof"), b.fieldHand("East Yard")}
	for _, slug := range []string{"tarn-fold-200", "halden-200", "ostra-200"} {
		b.must(201, ask{do: "POST /v1/panel-models", key: hands[0].key, body: strings.Replace(panelBody, "tarn-fold-200", slug, 1)})
	}
	sequence := ""
	for round := range 2 {
		for i, h := range hands {
			sequence = b.measures(h, 14+3*round+i, map[string]float64{"tarn-fold-200": 1, "halden-200": 0.9})
		}
	}
	for i, h := range hands[:2] { // ostra-200 is never side by side with another
		sequence = b.measures(h, 22+i, map[string]float64{"ostra-200": 0.95})
	}
	all := b.covering(sequence, "")
	if placed(all) != "tarn-fold-200 halden-200" || all.Entries[0].Testers != 3 || all.Entries[0].Readings != 12 {
		t.Fatalf("ranking = %+v, want tarn-fold-200 before halden-200, of 3 testers and 12 readings", all.Entries)
	}
	b.unconnected(sequence)
	b.filters()
	b.comparison()
	b.record(hands[0].id)
}

// A panel whose maker's short-circuit current was entered ten times too small is in no
// ranking until that is corrected; then it is, without any reviewer.
func TestACorrectedNameplateEntersTheRanking(t *testing.T) {
	t.Parallel()
	b := newWorking(t)
	hands := []fieldHand{b.fieldHand("North Lawn"), b.fieldHand("South Roof"), b.fieldHand("East Yard")}
	right := strings.Replace(panelBody, "tarn-fold-200", "halden-200", 1)
	wrong := strings.NewReplacer(`"voc_v": 24.2, "isc_a": 10.6, "vmp_v": 20.2, "imp_a": 9.9`, `"isc_a": 1.06`).Replace(right)
	b.must(201, ask{do: "POST /v1/panel-models", key: hands[0].key, body: panelBody})
	b.must(201, ask{do: "POST /v1/panel-models", key: hands[0].key, body: wrong})
	var last exchange
	for round := range 2 {
		for i, h := range hands {
			last = b.submits(h, 14+3*round+i, map[string]float64{"tarn-fold-200": 1, "halden-200": 0.9}, `, "contest": [{"rule": "current_above_isc", "reason": "as the label says"}]`)
			if last.json("readings.0.state") != "counted" || last.json("readings.2.state") != "held" {
				t.Fatalf("session = %s, want only the readings of halden-200 held", last.text())
			}
		}
	}
	if before := b.covering(last.header("Evensun-Sequence"), ""); strings.Contains(placed(before), "halden-200") {
		t.Fatalf("ranking = %s, want no panel that is held", placed(before))
	}
	x := b.must(200, ask{do: "PUT /v1/panel-models/halden-200", key: hands[0].key, body: right, header: map[string]string{"If-Match": `"r1"`}})
	session := b.must(200, ask{do: "GET /v1/sessions/" + last.json("id").(string)})
	if session.json("readings.2.state") != "counted" || session.json("readings.2.findings.0.state") != "obsolete" {
		t.Errorf("session = %s, want its readings counted and the finding obsolete", session.text())
	}
	if after := b.covering(x.header("Evensun-Sequence"), ""); placed(after) != "tarn-fold-200 halden-200" || after.Entries[1].Readings != 12 {
		t.Errorf("ranking = %+v, want tarn-fold-200 before halden-200 with 12 readings", after.Entries)
	}
}

func (b *bench) unconnected(sequence string) {
	second := b.covering(sequence, "&component=2")
	if placed(second) != "ostra-200" || len(second.Unranked) != 2 || second.Unranked[0].Reason != "not_connected" {
		b.t.Errorf("component 2 = %+v and unranked %+v, want ostra-200 alone, the others not connected", second.Entries, second.Unranked)
	}
	if third := b.covering(sequence, "&component=3"); len(third.Entries) != 0 {
		b.t.Errorf("component 3 = %+v, want no entries", third.Entries)
	}
}

func (b *bench) filters() {
	for filter, readings := range map[string]int{
		"rig_kind=mppt_controller": 12, "rig_kind=resistor,other": 0, "sensor=measured": 12, "near=38.5,-106,50": 12, "near=-38.5,106,50": 0,
		"from=2026-06-17T00:00:00Z": 6, "to=2026-06-17T00:00:00Z": 6, "from=2026-06-15T00:00:00Z&to=2026-06-18T00:00:00Z": 6,
		"min_testers=3": 12, "min_testers=4": 0, "panel_model=tarn-fold-200,halden-200": 12,
		"rig_kind=mppt_controller&sensor=measured&near=38.5,-106,50&from=2026-06-01T00:00:00Z&to=2026-07-01T00:00:00Z&min_testers=3": 12,
	} {
		r := b.rankingOf(b.must(200, ask{do: "GET /v1/rankings/stc-power?" + filter}))
		got := 0
		for _, e := range r.Entries {
			if e.PanelModel == "tarn-fold-200" {
				got = e.Readings
			}
		}
		if got != readings {
			b.t.Errorf("%s: tarn-fold-200 has a place from %d readings, want %d", filter, got, readings)
		}
	}
}

func (b *bench) comparison() {
	x := b.must(200, ask{do: "GET /v1/comparisons?models=tarn-fold-200,halden-200"})
	conforms(b.t, "Comparison", x.response.Body.Bytes())
	ratio, ok := x.json("pairs.0.ratio").(float64)
	if x.json("pairs.0.a") == "halden-200" {
		ratio = 1 / ratio
	}
	if !ok || ratio < 1.08 || ratio > 1.14 || x.json("pairs.0.told_apart") != true {
		b.t.Errorf("comparison = %s, want a ratio near 1/0.9, told apart", x.text())
	}
}

func (b *bench) record(tester string) {
	x := b.must(200, ask{do: "GET /v1/panel-models/tarn-fold-200/results"})
	conforms(b.t, "PanelResults", x.response.Body.Bytes())
	list, _ := x.json("contributions").([]any)
	if len(list) != 12 || x.json("entries.0.entry.rank") != 1.0 {
		b.t.Errorf("results = %s, want 12 contributions and rank 1", x.text())
	}
	agreement := b.must(200, ask{do: "GET /v1/testers/" + tester + "/agreement"})
	conforms(b.t, "Agreement", agreement.response.Body.Bytes())
	if panels, _ := agreement.json("panels").([]any); len(panels) == 0 || agreement.json("offset_relative") == nil {
		b.t.Errorf("agreement = %s, want numbers on panels", agreement.text())
	}
	b.must(404, ask{do: "GET /v1/testers/0197b1b1-0000-7000-8000-000000000000/agreement"})
}
