package celltemp_test

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"sort"
	"strconv"
	"testing"
	"time"

	"evensun/internal/celltemp"
	"evensun/internal/fieldtest"
	"evensun/internal/reftest"
)

type airCase struct {
	Mounting string  `json:"mounting"`
	A        float64 `json:"a"`
	B        float64 `json:"b_w"`
	Delta    float64 `json:"delta_t_k"`
	POA      float64 `json:"poa_w_m2"`
	Air      float64 `json:"air_temperature_c"`
	Wind     float64 `json:"wind_speed_m_s"`
}

func ExampleKing() {
	t := celltemp.King(1000, 20, 1, celltemp.OpenRackPolymer())
	fmt.Printf("back %.1f C, cells %.1f C\n", t.ModuleC, t.CellC)
	// Output: back 46.4 C, cells 49.4 C
}

func TestKing(t *testing.T) {
	t.Parallel()
	ours := map[string]celltemp.Mounting{
		"glass_glass_open": celltemp.Mounting{Name: "open glass", A: -3.47, BPerMS: -0.0594, DeltaK: 3}, "glass_polymer_open": celltemp.OpenRackPolymer(),
		"glass_glass_close_roof": celltemp.Mounting{Name: "close roof", A: -2.98, BPerMS: -0.0471, DeltaK: 1}, "glass_polymer_insulated": celltemp.InsulatedPolymer(),
	}
	for _, c := range reftest.Cases[airCase](t, "physics/celltemp.json", "king_2004") {
		t.Run(c.Name, func(t *testing.T) {
			m, ok := ours[c.In.Mounting]
			if !ok || m.A != c.In.A || m.BPerMS != c.In.B || m.DeltaK != c.In.Delta {
				t.Fatalf("mounting %s = %+v, want %+v", c.In.Mounting, m, c.In)
			}
			got := celltemp.King(c.In.POA, c.In.Air, c.In.Wind, m)
			c.Check(t, "module_c", got.ModuleC)
			c.Check(t, "cell_c", got.CellC)
		})
	}
}

func TestFromVoc(t *testing.T) {
	t.Parallel()
	type in struct {
		Form string  `json:"form"`
		Voc  float64 `json:"voc_v"`
		STC  float64 `json:"voc_stc_v"`
		Beta float64 `json:"beta_voc_per_k"`
		D    float64 `json:"d"`
		POA  float64 `json:"poa_w_m2"`
	}
	for _, c := range reftest.Cases[in](t, "physics/celltemp.json", "from_voc") {
		if c.In.Form != "product" {
			continue // the sum of the effects is another model
		}
		th := celltemp.Thermometer{VocSTCV: c.In.STC, BetaPerK: c.In.Beta, D: c.In.D}
		c.Check(t, "cell_c", celltemp.FromVoc(c.In.Voc, c.In.POA, th))
	}
}

// The temperature step of the end-to-end cases: which method, and its result.
func TestBestEndToEnd(t *testing.T) {
	t.Parallel()
	type in struct {
		Arrangement fieldtest.Arrangement `json:"arrangement"`
		Air         *float64              `json:"air_temperature_c"`
		Wind        *float64              `json:"wind_speed_m_s"`
		Back        *float64              `json:"back_temperature_c"`
	}
	for _, c := range reftest.Cases[in](t, "physics/end_to_end.json") {
		t.Run(c.Name, func(t *testing.T) {
			want := c.Out["cell_temperature"].(map[string]any)
			effective := c.Out["effective_irradiance"].(map[string]any)["effective_w_m2"].(float64)
			poa := effective
			if tr, ok := c.Out["transposition"].(map[string]any); ok {
				poa = tr["poa_w_m2"].(float64) // heat comes from all the light, whatever its angle
			}
			got := celltemp.Best(celltemp.Measured{Arrangement: c.In.Arrangement, POAWM2: poa, BackC: c.In.Back, AirC: c.In.Air, WindMS: c.In.Wind})
			if string(got.Method) != want["method"] {
				t.Errorf("Best took %v, want %v", got.Method, want["method"])
			}
			if math.Abs(got.CellC-want["cell_c"].(float64)) > 0.01 {
				t.Errorf("Best = %v C, want %v", got.CellC, want["cell_c"])
			}
			if module, ok := want["module_c"].(float64); ok && math.Abs(got.ModuleC-module) > 0.01 {
				t.Errorf("module at %v C, want %v", got.ModuleC, module)
			}
		})
	}
}

// A fielded roof system on a clear day has no wind of its own; a weather station a few
// hundred metres away has.
func TestKingAgainstMeasuredSystem(t *testing.T) {
	t.Parallel()
	system := readCSV(t, reftest.Measured(t, "pv_system_15min.csv"))
	wind := windByMinute(t, readCSV(t, reftest.Measured(t, "irradiance_5min_tilted.csv")))
	var king []float64
	for _, row := range system {
		if row["time_utc"][:10] != "2022-01-04" || number(t, row, "poa_w_m2") < 600 {
			continue
		}
		back := []float64{number(t, row, "module_temperature_1_c"), number(t, row, "module_temperature_2_c"), number(t, row, "module_temperature_3_c")}
		sort.Float64s(back)
		poa, air, w := number(t, row, "poa_w_m2"), number(t, row, "air_temperature_c"), windAbout(t, wind, row["time_utc"])
		king = append(king, celltemp.King(poa, air, w, celltemp.OpenRackPolymer()).ModuleC-back[1])
	}
	mean, sd := meanSD(king)
	t.Logf("%d readings: King minus measured back %.2f +- %.2f K", len(king), mean, sd)
	if len(king) < 20 || math.Abs(mean) > 4 || sd > 4 {
		t.Errorf("King: %d readings, bias %v K, scatter %v K; want 20 or more, within the 4 K we claim", len(king), mean, sd)
	}
}

// windByMinute is the wind by the minute's stamp.
func windByMinute(t *testing.T, rows []map[string]string) map[string]float64 {
	t.Helper()
	wind := map[string]float64{}
	for _, row := range rows {
		wind[row["time_utc"][:16]] = number(t, row, "wind_speed_m_s")
	}
	return wind
}

// windAbout is the mean wind of the 15 minutes up to an instant.
func windAbout(t *testing.T, wind map[string]float64, utc string) float64 {
	t.Helper()
	at, err := time.Parse(time.RFC3339, utc)
	if err != nil {
		t.Fatal(err)
	}
	sum, n := 0.0, 0.0
	for m := range 15 {
		if w, ok := wind[at.Add(-time.Duration(m)*time.Minute).Format("2006-01-02T15:04")]; ok {
			sum, n = sum+w, n+1
		}
	}
	if n == 0 {
		t.Fatalf("no wind about %s", utc)
	}
	return sum / n
}

func readCSV(t *testing.T, name string) []map[string]string {
	t.Helper()
	f, err := os.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	all, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var rows []map[string]string
	for _, fields := range all[1:] {
		row := map[string]string{}
		for i, head := range all[0] {
			row[head] = fields[i]
		}
		rows = append(rows, row)
	}
	return rows
}

func number(t *testing.T, row map[string]string, name string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(row[name], 64)
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	return v
}

func meanSD(x []float64) (mean, sd float64) {
	for _, v := range x {
		mean += v / float64(len(x))
	}
	for _, v := range x {
		sd += (v - mean) * (v - mean) / float64(len(x)-1)
	}
	return mean, math.Sqrt(sd)
}
