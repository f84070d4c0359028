package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"evensun/internal/demo"
	"evensun/internal/fieldtest"
	"evensun/internal/intake"
	"evensun/internal/pgserver"
	"evensun/internal/refresh"
	"evensun/internal/store"
	"evensun/internal/storetest"
)

// A bench is the whole service on a durable PostgreSQL of its own, without limits.
type bench struct {
	db     *database
	in     *intake.Service
	worker *refresh.Worker
	server *httptest.Server
	key    string
}

func newBench(b *testing.B) *bench {
	b.Helper()
	ctx := context.Background()
	pg, err := pgserver.Start(ctx, pgserver.Options{DataDir: storetest.DataDir(b)})
	if err != nil {
		b.Fatal(err)
	}
	db, err := openDatabase(ctx, settings{DatabaseURL: pg.URL(), QueryMode: "cache_statement"})
	if err != nil {
		b.Fatal(err)
	}
	x := &bench{db: db, in: intake.New(db.DB, uuid.NewV7, time.Now), worker: refresh.New(db.DB, refresh.Options{})}
	if _, x.key, err = newTester(ctx, db.DB, "Bench", fieldtest.RoleTester, true); err != nil {
		b.Fatal(err)
	}
	log := slog.New(slog.NewTextHandler(io.Discard, nil))
	api, err := newAPI(settings{BaseURL: "http://bench"}, parts{db: db, in: x.in, worker: x.worker}, log)
	if err != nil {
		b.Fatal(err)
	}
	watch, stop := context.WithCancel(ctx)
	go api.Watch(db.Watch(watch, watchPoll))
	x.server = httptest.NewServer(api.Handler())
	b.Cleanup(func() {
		x.server.Close()
		stop()
		if err := db.close(ctx); err != nil {
			b.Error(err)
		}
		if err := pg.Stop(ctx); err != nil {
			b.Error(err)
		}
	})
	return x
}

// body is a session of n readings, the i-th of its kind.
func body(b *testing.B, i, n int) []byte {
	b.Helper()
	at := time.Date(2026, 6, 14, 17, 0, 0, 0, time.UTC).Add(time.Duration(i) * time.Second)
	nameplate := map[string]any{"pmax_w": 200, "voc_v": 24.2, "isc_a": 10.6, "vmp_v": 20.2, "imp_a": 9.9, "gamma_pmax_per_k": -0.0035}
	readings := make([]any, n)
	for k := range readings {
		panel := map[string]any{"model": fmt.Sprintf("bench-%d", k%5)}
		if k < 5 && i == 0 {
			panel["nameplate"] = nameplate
		}
		readings[k] = map[string]any{
			"panel": panel, "taken_at": at.Add(time.Duration(k) * time.Minute), "voltage_v": 18.1, "current_a": 8.42, "power_w": 152,
			"irradiance": map[string]any{"poa_w_m2": 912, "sensor": "reference_cell"}, "back_temperature_c": 47.5, "warm_up_min": 20,
		}
	}
	raw, err := json.Marshal(map[string]any{
		"started_at": at, "ended_at": at.Add(time.Hour), "site": map[string]any{"latitude_deg": 38.5, "longitude_deg": -106.0, "altitude_m": 2150},
		"sky": map[string]any{"condition": "clear"}, "plane": map[string]any{"tilt_deg": 35, "azimuth_deg": 180},
		"rig":      map[string]any{"kind": "mppt_controller", "power_read_at": "panel_side", "instrument": "inline_meter", "cable": map[string]any{"length_m": 5, "cross_section_mm2": 3.31}},
		"readings": readings,
	})
	if err != nil {
		b.Fatal(err)
	}
	return raw
}

func (x *bench) post(b *testing.B, raw []byte) []byte {
	b.Helper()
	req, err := http.NewRequest(http.MethodPost, x.server.URL+"/v1/sessions", bytes.NewReader(raw))
	if err != nil {
		b.Fatal(err)
	}
	req.Header.Set("Content-Type", "application/json")
	req.Header.Set("Authorization", "Bearer "+x.key)
	resp, err := http.DefaultClient.Do(req)
	if err != nil {
		b.Fatal(err)
	}
	answer, err := io.ReadAll(resp.Body)
	if err != nil {
		b.Fatal(err)
	}
	resp.Body.Close()
	if resp.StatusCode != http.StatusCreated {
		b.Fatalf("%d %s", resp.StatusCode, answer)
	}
	return answer
}

// BenchmarkIngestHTTP submits sessions of 50 readings over HTTP, checked, normalised and
// stored with everything around them, in turn with a bare durable insert of the same
// rows by pgx, and reports the ratio measured in this run.
func BenchmarkIngestHTTP(b *testing.B) {
	x := newBench(b)
	ctx := context.Background()
	floor := storetest.NewBare(b, x.db.url)
	x.post(b, body(b, 0, 50))
	var whole, bare time.Duration
	for i := 1; b.Loop(); i++ {
		raw := body(b, i, 50)
		began := time.Now()
		answer := x.post(b, raw)
		whole += time.Since(began)
		w := sameRows(b, raw, answer)
		between := time.Now()
		floor.Insert(ctx, b, w)
		bare += time.Since(between)
	}
	b.ReportMetric(float64(whole)/float64(bare), "x-bare-insert")
	b.ReportMetric(whole.Seconds()*1000/float64(b.N), "ms/session")
	b.ReportMetric(bare.Seconds()*1000/float64(b.N), "ms/bare")
}

// sameRows are the rows of a session that was just stored.
func sameRows(b *testing.B, raw, answer []byte) store.SessionWrite {
	b.Helper()
	var r fieldtest.Receipt
	w := store.SessionWrite{TesterID: uuid.New(), RigID: uuid.New(), Raw: raw}
	if err := json.Unmarshal(answer, &r); err != nil {
		b.Fatal(err)
	}
	if err := json.Unmarshal(raw, &w.Session); err != nil {
		b.Fatal(err)
	}
	w.ID, w.SHA256, w.Judged = *r.ID, r.SHA256, r.Readings
	return w
}

// BenchmarkServeRanking reads the demonstration's ranking over HTTP in turn with a static echo handler of
// the same size, and reports our rate as a share of the static one's.
func BenchmarkServeRanking(b *testing.B) {
	x := newBench(b)
	d := &filling{db: x.db.DB, in: x.in, week: demo.NewWeekend(demoSeed, time.Now())}
	for _, step := range []func(context.Context) error{d.people, d.models, d.rigs, d.sessions, x.worker.Once} {
		if err := step(context.Background()); err != nil {
			b.Fatal(err)
		}
	}
	url := x.server.URL + "/v1/rankings/share-of-rating"
	same := fetch(b, url)
	e := echo.New()
	e.GET("/", func(c echo.Context) error { return c.Blob(http.StatusOK, "application/json", same) })
	static := httptest.NewServer(e)
	defer static.Close()
	var ours, floor time.Duration
	for b.Loop() {
		began := time.Now()
		fetch(b, url)
		between := time.Now()
		fetch(b, static.URL)
		ours, floor = ours+between.Sub(began), floor+time.Since(between)
	}
	b.ReportMetric(float64(floor)/float64(ours), "of-static")
	b.ReportMetric(float64(len(same)), "bytes")
}

// plain asks for no compression: the static handler has none, and unpacking would count
// as ours.
var plain = &http.Client{Transport: &http.Transport{DisableCompression: true}}

func fetch(b *testing.B, url string) []byte {
	b.Helper()
	resp, err := plain.Get(url)
	if err != nil {
		b.Fatal(err)
	}
	defer resp.Body.Close()
	raw, err := io.ReadAll(resp.Body)
	if err != nil {
		b.Fatal(err)
	}
	if resp.StatusCode != http.StatusOK {
		b.Fatalf("%d %s", resp.StatusCode, raw)
	}
	return raw
}
