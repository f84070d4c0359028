package energy

import (
	"encoding/csv"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"evensun/internal/fieldtest"
	"evensun/internal/reftest"
	"evensun/internal/sky"
)

func on(t testing.TB, text string) time.Time {
	t.Helper()
	d, err := time.Parse(time.DateOnly, text)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// worked is the panel, place and plane of the worked examples: 188.5436 W, -0.35 %/K.
func worked(t testing.TB, date string, airC float64) Question {
	t.Helper()
	return Question{
		Site: At(46.9, 9.6, 600), Date: on(t, date), Tilted: &Plane{30, 180},
		Panel:     Panel{PowerW: 188.5436, PowerU: 0.0238, GammaPerK: Estimate{-0.0035, 0.0003}, LowLight: Estimate{0, 0.03}},
		Clearness: UsualClearness(46.9, on(t, date)), Air: Estimate{airC, 2}, Wind: Estimate{2, 1},
	}
}

// Watt-hours of clear days by a script of its own for the equation of the package, with
// 10-minute trapezoids from 00:00 UTC; its sun, sky and temperatures agree with pvlib to
// 1e-9. 0.1 % is the tolerance that the script states.
func TestClearDaysOfAnotherProgram(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		date          string
		airC          float64
		light, energy float64 // Wh/m2, Wh
	}{
		{"2026-06-21", 20, 8076.08, 1382.92},
		{"2026-12-21", 0, 2951.35, 561.38},
	} {
		q := worked(t, c.date, c.airC)
		got := Of(&q).Clear[Tilted]
		if math.Abs(got.LightWhM2/c.light-1) > 1e-3 || math.Abs(got.EnergyWh/c.energy-1) > 1e-3 {
			t.Errorf("%s: %.2f Wh/m2, %.2f Wh, want %.2f and %.2f", c.date, got.LightWhM2, got.EnergyWh, c.light, c.energy)
		}
	}
	q := worked(t, "2026-06-21", 20) // flat, with the air behind it that the script assumes
	d := newDay(&q.Site, Of(&q).Day)
	d.aims[Flat] = aims(Flat, aim{}, d.moments)
	in := q.middle()
	in.ground = 0
	got := d.sums(Flat, &in).clear
	if light, energy := got.poaWhM2, got.yieldWh*q.Panel.PowerW; math.Abs(light/8264.40-1) > 1e-3 || math.Abs(energy/1428.59-1) > 1e-3 {
		t.Errorf("flat in June: %.2f Wh/m2, %.2f Wh, want 8264.40 and 1428.59", light, energy)
	}
}

// measuredWhM2 sums one column of a measured file over a UTC day, by its 5-minute rows.
func measuredWhM2(t *testing.T, file, column, date string) float64 {
	t.Helper()
	f, err := os.Open(reftest.Measured(t, file))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	at := -1
	for i, name := range rows[0] {
		if name == column {
			at = i
		}
	}
	var total float64
	for _, row := range rows[1:] {
		if x, err := strconv.ParseFloat(row[at], 64); err == nil && strings.HasPrefix(row[1], date) {
			total += x / 12
		}
	}
	if total < 1000 {
		t.Fatalf("%s %s %s: only %.0f Wh/m2", file, column, date, total)
	}
	return total
}

// Light of measured clear days (public weather stations): inside the interval that
// turbidity and the sky models leave, 2 standard uncertainties.
func TestLightOfMeasuredClearDays(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		file, column, date string
		site               Site
		albedo             float64
		plane              Plane
	}{
		{"irradiance_5min_site_a.csv", "ghi_w_m2", "2018-10-18", At(32.22969, -110.95534, 786), 0.2, Plane{0, 180}},
		{"irradiance_5min_tilted.csv", "poa_w_m2", "2022-01-02", At(39.7407, -105.1686, 1790), 0.7, Plane{40, 180}},
		{"irradiance_5min_tilted.csv", "poa_w_m2", "2022-01-04", At(39.7407, -105.1686, 1790), 0.7, Plane{40, 180}},
	} {
		measured := measuredWhM2(t, c.file, c.column, c.date)
		c.site.Albedo = c.albedo // snow lay at the second place
		q := Question{Site: c.site, Date: on(t, c.date), Panel: Panel{PowerW: 100}, Tilted: &c.plane, Clearness: Estimate{0.6, 0.05}, Air: Estimate{10, 2}, Wind: UsualWind()}
		got := Of(&q).Clear[Tilted]
		if off := math.Log(got.LightWhM2 / measured); math.Abs(off) > 2*got.Relative {
			t.Errorf("%s %s: %.0f Wh/m2, measured %.0f: off by %.3f, u %.3f", c.file, c.date, got.LightWhM2, measured, off, got.Relative)
		} else {
			t.Logf("%s %s: %.0f Wh/m2, measured %.0f: off by %.3f, u %.3f", c.file, c.date, got.LightWhM2, measured, off, got.Relative)
		}
	}
}

// The extremes that a textbook reader meets: a cloudy December of the English Channel's
// coast, 0.25, and a desert June, 0.75 (from memory), lie within two uncertainties.
func TestUsualClearness(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		latitude  float64
		date      string
		clearness float64
	}{{51.5, "2026-12-15", 0.25}, {33.4, "2026-06-15", 0.75}, {51.5, "2026-06-15", 0.45}, {-33.9, "2026-01-15", 0.58}} {
		got := UsualClearness(c.latitude, on(t, c.date))
		if math.Abs(got.Value-c.clearness) > 2*got.U {
			t.Errorf("%v on %s: %.2f +- %.2f, known %.2f", c.latitude, c.date, got.Value, got.U, c.clearness)
		}
	}
	for latitude := -90.0; latitude <= 90; latitude += 5 {
		for month := 1; month <= 12; month++ {
			got := UsualClearness(latitude, time.Date(2026, time.Month(month), 15, 0, 0, 0, 0, time.UTC))
			if got.Value < 0.3 || got.Value > 0.65 {
				t.Errorf("%v in month %d: %v", latitude, month, got)
			}
			mirrored := UsualClearness(-latitude, time.Date(2026, time.Month(month), 15, 0, 0, 0, 0, time.UTC).AddDate(0, 6, 0))
			if math.Abs(got.Value-mirrored.Value) > 0.01 {
				t.Errorf("%v in month %d: %.3f, half a year later on the other side %.3f", latitude, month, got.Value, mirrored.Value)
			}
		}
	}
}

// Of a typical day's light, the part that is diffuse agrees with the monthly means that
// Erbs et al. (1982, from memory by equation 2.12.1 of Duffie and Beckman) fitted:
// 1.311 - 3.022 K + 3.427 K^2 - 1.821 K^3 for long days. The two bracketing days lie on
// either side of it.
func TestTypicalDayIsPartedAsMonthsAre(t *testing.T) {
	t.Parallel()
	q := worked(t, "2026-06-21", 20)
	d := newDay(&q.Site, Of(&q).Day)
	for _, k := range []float64{0.4, 0.5, 0.6} {
		want := 1.311 + k*(-3.022+k*(3.427-k*1.821))
		in := q.middle()
		bright := d.horizontal(&in).brightness(k)
		sunny := sunnyShare(bright)
		var clear, diffuse, hazy float64
		for i := range d.moments {
			m := &d.moments[i]
			h := sky.ClearSky(&d.place, &m.sun, in.linke)
			over := sky.Erbs(min(bright, overcastShare)*h.GHIWM2, &m.sun)
			clear += bright * h.GHIWM2
			diffuse += sunny*h.DHIWM2 + (1-sunny)*over.DHIWM2
			hazy += sky.Erbs(bright*h.GHIWM2, &m.sun).DHIWM2
		}
		parted, even := diffuse/clear, hazy/clear
		if !(parted < want && want < even) || math.Abs((parted+even)/2-want) > 0.08 {
			t.Errorf("clearness %.1f: diffuse %.3f (clear and overcast hours), %.3f (even haze), months have %.3f", k, parted, even, want)
		}
	}
}

// For random places, days and panels: nothing negative, intervals about their estimates,
// a typical day no better than a clear one, turning never worse than lying on a clear
// day, twice the power twice the energy.
func TestDaysMakeSense(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(8, 3))
	for range 60 {
		latitude, date := 180*r.Float64()-90, on(t, "2026-01-01").AddDate(0, 0, r.IntN(365))
		q := Question{Site: At(latitude, 360*r.Float64()-180, 3000*r.Float64()), Date: date,
			Panel:     Panel{PowerW: 100, PowerU: 0.05, GammaPerK: Estimate{-0.0035, 0.0003}, LowLight: Estimate{0, 0.03}, Bifaciality: 0.5},
			Clearness: UsualClearness(latitude, date), Air: UsualAir(latitude, 300, date), Wind: UsualWind()}
		a := Of(&q)
		q.Panel.PowerW = 200
		double := Of(&q)
		for _, p := range Placements() {
			for name, y := range map[string]Yield{"clear": a.Clear[p], "typical": a.Typical[p]} {
				if !(y.LoWh <= y.EnergyWh && y.EnergyWh <= y.HiWh) || !(y.LoWh >= 0) || y.EnergyWh > 0 && !(y.Relative > 0.05) {
					t.Errorf("%.1f deg on %s, %s %s: %+v", latitude, date.Format(time.DateOnly), p, name, y)
				}
			}
			high := a.Day.NoonElevationDeg > 20 // grazing beams stay outside the cover, light of clouds does not
			if high && a.Typical[p].EnergyWh > a.Clear[p].EnergyWh*1.001 {
				t.Errorf("%.1f deg on %s, %s: typical %.1f above clear %.1f", latitude, date.Format(time.DateOnly), p, a.Typical[p].EnergyWh, a.Clear[p].EnergyWh)
			}
			if math.Abs(double.Clear[p].EnergyWh-2*a.Clear[p].EnergyWh) > 1e-9*double.Clear[p].EnergyWh {
				t.Errorf("%s: twice the power gives %.3f for %.3f Wh", p, double.Clear[p].EnergyWh, a.Clear[p].EnergyWh)
			}
		}
		if a.Clear[Turned].LightWhM2 < a.Clear[Flat].LightWhM2 {
			t.Errorf("%.1f deg on %s: turned gathers %.0f, flat %.0f Wh/m2", latitude, date.Format(time.DateOnly), a.Clear[Turned].LightWhM2, a.Clear[Flat].LightWhM2)
		}
	}
}

func TestPolarNight(t *testing.T) {
	t.Parallel()
	q := worked(t, "2026-12-21", 0)
	q.Site = At(78.2, 15.6, 10)
	a := Of(&q)
	if a.Day.Kind != "polar_night" {
		t.Fatalf("kind %s", a.Day.Kind)
	}
	for _, p := range Placements() {
		if a.Clear[p] != (Yield{}) || a.Typical[p] != (Yield{}) {
			t.Errorf("%s: %+v, %+v", p, a.Clear[p], a.Typical[p])
		}
	}
}

func plate(pmaxW float64) *fieldtest.PanelModel {
	gamma := -0.0035
	return &fieldtest.PanelModel{Slug: "tarn-fold-200", Nameplate: fieldtest.Nameplate{PmaxW: &pmaxW, GammaPmaxPerK: &gamma}}
}

func TestPowerComesFromReadingsFirst(t *testing.T) {
	t.Parallel()
	w, u := 150.0, 9.0
	ranked := fieldtest.MeasureEntry{Measure: fieldtest.StcPower, Entry: &fieldtest.Entry{Estimate: 188, EstimateU: 4}}
	early := fieldtest.MeasureEntry{Measure: fieldtest.StcPower, Unranked: &fieldtest.Unranked{Estimate: &w, EstimateU: &u}}
	for name, c := range map[string]struct {
		entries []fieldtest.MeasureEntry
		w, u    float64
		basis   PowerBasis
	}{
		"ranked":     {[]fieldtest.MeasureEntry{{Measure: fieldtest.ShareOfRating, Entry: &fieldtest.Entry{Estimate: 0.9}}, ranked}, 188, 4, FromReadings},
		"not ranked": {[]fieldtest.MeasureEntry{early}, 150, 9, FromReadings},
		"no reading": {nil, 180, 16, FromNameplate},
	} {
		p, basis, ok := PanelOf(plate(200), &fieldtest.PanelResults{Entries: c.entries})
		if !ok || basis != c.basis || math.Abs(p.PowerW-c.w) > 1e-9 || math.Abs(p.PowerW*p.PowerU-c.u) > 1e-9 {
			t.Errorf("%s: %+v %s %t, want %v W, u %v, from %s", name, p, basis, ok, c.w, c.u, c.basis)
		}
	}
	if _, _, ok := PanelOf(&fieldtest.PanelModel{}, &fieldtest.PanelResults{}); ok {
		t.Error("a panel without any power has a day")
	}
}

// What is given is used and named, what is not is named too.
func TestReportNamesWhatItTook(t *testing.T) {
	t.Parallel()
	tilt, clearness, air := 35.0, 0.62, 18.0
	k := Known{LatitudeDeg: -33.9, LongitudeDeg: 18.4, Date: on(t, "2026-01-15")}
	usual, ok := Report(&k, plate(200), &fieldtest.PanelResults{})
	if !ok || usual.Clearness.Source == "given" || usual.AltitudeM != UsualAltitudeM || len(usual.Assumptions) != 6 {
		t.Errorf("usual: %+v", usual)
	}
	if noon := usual.AzimuthDeg; math.Min(noon, 360-noon) > 1 && math.Abs(noon-180) > 1 {
		t.Errorf("towards the sun at noon is %v deg", noon)
	}
	k.TiltDeg, k.Clearness, k.AirC = &tilt, &clearness, &air
	given, _ := Report(&k, plate(200), &fieldtest.PanelResults{})
	if given.TiltDeg != 35 || given.AzimuthDeg != 0 || given.Clearness.Value != 0.62 || given.Clearness.Source != "given" || given.Air.Value != 18 || len(given.Assumptions) != 5 {
		t.Errorf("given: %+v", given)
	}
}
