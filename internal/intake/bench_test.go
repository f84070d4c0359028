package intake_test

import (
	"fmt"
	"github.com/go-json-experiment/json"
	"testing"
	"time"

	"evensun/internal/contract"
	"evensun/internal/intake"
	"evensun/internal/ledger"
)

func session50(tb testing.TB) []byte {
	tb.Helper()
	at := time.Date(2026, 6, 14, 17, 22, 0, 0, time.UTC)
	readings := make([]any, 50)
	for i := range readings {
		r := map[string]any{
			"label": fmt.Sprint("A", i), "panel": map[string]any{"model": "tarn-fold-200"}, "taken_at": at.Add(time.Duration(i) * time.Minute),
			"voltage_v": 18.1, "current_a": 8.42, "power_w": 152, "irradiance": map[string]any{"poa_w_m2": 912, "sensor": "reference_cell"},
			"back_temperature_c": 47.5, "warm_up_min": 20,
		}
		if i == 0 {
			r["panel"] = map[string]any{"model": "tarn-fold-200", "nameplate": map[string]any{"pmax_w": 200, "voc_v": 24.2, "isc_a": 10.6, "vmp_v": 20.2, "imp_a": 9.9, "gamma_pmax_per_k": -0.0035}}
		}
		readings[i] = r
	}
	raw, err := json.Marshal(map[string]any{
		"started_at": at, "ended_at": at.Add(time.Hour), "site": map[string]any{"latitude_deg": 38.5, "longitude_deg": -106.0, "altitude_m": 2150},
		"sky": map[string]any{"condition": "clear"}, "plane": map[string]any{"tilt_deg": 35, "azimuth_deg": 180},
		"rig":      map[string]any{"kind": "mppt_controller", "power_read_at": "panel_side", "instrument": "inline_meter", "cable": map[string]any{"length_m": 5, "cross_section_mm2": 3.31}},
		"readings": readings,
	})
	if err != nil {
		tb.Fatal(err)
	}
	return raw
}

// BenchmarkJudge splits what a 50-reading session costs before the database.
func BenchmarkJudge(b *testing.B) {
	raw := session50(b)
	now := time.Date(2026, 7, 1, 0, 0, 0, 0, time.UTC)
	var decode, judge, encode, hash time.Duration
	b.ReportAllocs()
	for b.Loop() {
		t0 := time.Now()
		s, err := contract.Session(raw, now)
		if err != nil {
			b.Fatal(err)
		}
		t1 := time.Now()
		r, err := intake.Offline(b.Context(), s, intake.JudgeOptions{})
		if err != nil {
			b.Fatal(err)
		}
		t2 := time.Now()
		if _, err := json.Marshal(r, json.Deterministic(true)); err != nil {
			b.Fatal(err)
		}
		t3 := time.Now()
		if _, err := ledger.HashOf(s); err != nil {
			b.Fatal(err)
		}
		t4 := time.Now()
		decode, judge, encode, hash = decode+t1.Sub(t0), judge+t2.Sub(t1), encode+t3.Sub(t2), hash+t4.Sub(t3)
	}
	us := func(d time.Duration) float64 { return float64(d.Microseconds()) / float64(b.N) }
	b.ReportMetric(us(decode), "us-contract")
	b.ReportMetric(us(judge), "us-judge")
	b.ReportMetric(us(encode), "us-encode")
	b.ReportMetric(us(hash), "us-hash")
}
