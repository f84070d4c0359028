package normalise_test

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"os/exec"
	"strings"
	"testing"

	"evensun/internal/normalise"
)

const numpyFolder = "../../testdata/independent/chain/"

// numpyCase is a reading as the array version of the chain had it, and what it found.
type numpyCase struct {
	UTC       string             `json:"utc"`
	Latitude  float64            `json:"lat"`
	Longitude float64            `json:"lon"`
	AltitudeM float64            `json:"alt"`
	TiltDeg   float64            `json:"tilt"`
	FacingDeg float64            `json:"facing"`
	Linke     float64            `json:"linke"`
	Albedo    float64            `json:"albedo"`
	AirC      float64            `json:"air"`
	WindMS    float64            `json:"wind"`
	PowerW    float64            `json:"power"`
	POAWM2    *float64           `json:"poa"`
	BackC     *float64           `json:"back"`
	GammaPerK float64            `json:"gamma"`
	Want      map[string]float64 `json:"want"`
}

func (c numpyCase) input(tb testing.TB) *normalise.Input {
	irradiance := map[string]any{}
	if c.POAWM2 != nil {
		irradiance["poa_w_m2"], irradiance["sensor"] = *c.POAWM2, "reference_cell"
	}
	raw, err := json.Marshal(map[string]any{
		"started_at": c.UTC,
		"site":       map[string]any{"latitude_deg": c.Latitude, "longitude_deg": c.Longitude, "altitude_m": c.AltitudeM, "ground_albedo": c.Albedo},
		"sky":        map[string]any{"condition": "clear", "linke_turbidity": c.Linke},
		"rig":        map[string]any{"kind": "mppt_controller", "power_read_at": "panel_side", "instrument": "inline_meter", "cable": map[string]any{"length_m": 0}},
		"weather":    map[string]any{"air_temperature_c": c.AirC, "wind_speed_m_s": c.WindMS},
		"plane":      map[string]any{"tilt_deg": c.TiltDeg, "azimuth_deg": c.FacingDeg},
		"readings": []any{map[string]any{
			"panel":    map[string]any{"nameplate": map[string]any{"pmax_w": 200, "gamma_pmax_per_k": c.GammaPerK}, "construction": map[string]any{"technology": "mono_perc"}},
			"taken_at": c.UTC, "power_w": c.PowerW, "irradiance": irradiance, "back_temperature_c": c.BackC, "warm_up_min": 20,
		}},
	})
	if err != nil {
		tb.Fatal(err)
	}
	return session(tb, raw)
}

// TestNumpy compares the chain with an array version of it, written from the formulas
// alone, to 1e-9. Source: testdata/independent/chain.
func TestNumpy(t *testing.T) {
	t.Parallel()
	raw, err := os.ReadFile(numpyFolder + "chain.json")
	if err != nil {
		t.Fatal(err)
	}
	var cases []numpyCase
	if err := json.Unmarshal(raw, &cases); err != nil || len(cases) != 20 {
		t.Fatalf("%d cases, %v; want 20", len(cases), err)
	}
	for _, c := range cases {
		j := outcome(t, c.input(t), true).Readings[0]
		if j.Result == nil {
			t.Fatalf("%s: no result: %s", c.UTC, j.Reason)
		}
		sun := stepNamed(j.Derivation, "sun_position").Outputs
		poa := stepNamed(j.Derivation, "effective_irradiance").Inputs["poa_w_m2"]
		for name, got := range map[string]any{
			"apparent_zenith_deg": sun["apparent_zenith_deg"], "azimuth_deg": sun["azimuth_deg"], "poa_w_m2": poa,
			"effective_w_m2": j.Result.EffectiveWM2, "cell_c": j.Result.CellC, "stc_power_w": j.Result.StcPowerW,
		} {
			want, ok := c.Want[name]
			have, number := got.(float64)
			if !ok || !number || !(math.Abs(have-want) <= 1e-9*math.Max(1, math.Abs(want))) {
				t.Errorf("%s: %s = %v, by the array version %v, want within 1e-9", c.UTC, name, got, want)
			}
		}
	}
}

// BenchmarkNumpy prints what a reading costs in numpy arrays of 2000, by the script's own
// stopwatch, beside what it costs here in sessions of 50. Ours leaves out preparing the
// session, above all the sun's periodic terms, which a session sums once and the arrays
// once a reading.
func BenchmarkNumpy(b *testing.B) {
	python := "/usr/bin/python3"
	if _, err := os.Stat(python); err != nil {
		python = "python3"
	}
	told, err := exec.Command(python, numpyFolder+"chain.py", "bench", "2000").Output()
	if err != nil {
		b.Skipf("no Python with numpy here: %v", err)
	}
	for _, line := range strings.Split(strings.TrimSpace(string(told)), "\n") {
		var name string
		var theirs float64
		if _, err := fmt.Sscan(line, &name, &theirs); err != nil {
			b.Fatal(err)
		}
		b.Run(name, func(b *testing.B) {
			const n = 50
			chain, err := normalise.NewChain(benchSession(b, n, name == "metered"))
			if err != nil {
				b.Fatal(err)
			}
			for b.Loop() {
				chain.Point()
			}
			ours := float64(b.Elapsed().Nanoseconds()) / float64(b.N*n)
			b.ReportMetric(ours, "ns/reading")
			b.ReportMetric(theirs, "numpy-ns/reading")
			b.ReportMetric(theirs/ours, "numpy-x")
		})
	}
}
