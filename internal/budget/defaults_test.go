package budget_test

import (
	"fmt"
	"math"
	"testing"

	"github.com/google/go-cmp/cmp"

	"evensun/internal/budget"
	"evensun/internal/reftest"
)

func ExampleElectricalOf() {
	e := budget.ElectricalOf("inline_meter")
	p := e.OfPower(152)
	fmt.Printf("shown: rig %.2f %%, reading %.2f %%, display %.3f %%\n", 100*p.Rig, 100*p.Reading, 100*p.Step)
	p = e.OfProduct(18.1, 8.42)
	fmt.Printf("V times I: rig %.2f %%, reading %.2f %%, display %.3f %%\n", 100*p.Rig, 100*p.Reading, 100*p.Step)
	// Output:
	// shown: rig 1.20 %, reading 0.30 %, display 0.019 %
	// V times I: rig 1.17 %, reading 0.28 %, display 0.038 %
}

// Every class is better than the one for what nobody knows, and reads better
// than it is calibrated.
func TestElectricalClasses(t *testing.T) {
	t.Parallel()
	unknown := budget.ElectricalOf("")
	if unknown != budget.ElectricalOf("other") || unknown.RigPower != 0.025 {
		t.Errorf("unknown instrument = %+v, want that of other", unknown)
	}
	for _, name := range []string{"bench_meter", "data_logger", "inline_meter", "controller_display", "clamp_meter"} {
		e := budget.ElectricalOf(name)
		if e.RigPower >= unknown.RigPower || e.ReadingPower > e.RigPower || e.RigVoltage > e.RigCurrent {
			t.Errorf("%s = %+v", name, e)
		}
		if product, shown := e.OfProduct(18, 8).Rig, e.RigPower; math.Abs(product/shown-1) > 0.15 {
			t.Errorf("%s: V times I is known to %v, the power shown to %v", name, product, shown)
		}
	}
	clamp := budget.ElectricalOf("clamp_meter").OfProduct(18, 2)
	if want := math.Hypot(0.002, 0.03); math.Abs(clamp.Reading-want) > 1e-12 {
		t.Errorf("clamp at 2 A: reading part %v, want %v from its zero drift of 0.06 A", clamp.Reading, want)
	}
}

func TestIrradianceClasses(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		sensor     string
		calibrated bool
		iso        string
		airMass    float64
		want       budget.Irradiance
	}{
		{"reference_cell", true, "", 1.5, budget.Irradiance{Rig: 0.015, RigPerK: 0.0005, Spectrum: 0.005, Reading: 0.003, Usable: true}},
		{"reference_cell", false, "", 1.5, budget.Irradiance{Rig: 0.03, RigPerK: 0.0005, Spectrum: 0.005, Reading: 0.003, Usable: true}},
		{"reference_panel", false, "", 1.5, budget.Irradiance{Rig: 0.02, Spectrum: 0.005, Reading: 0.003, Usable: true}},
		{"thermopile_pyranometer", false, "A", 1.5, budget.Irradiance{Rig: 0.01, Spectrum: 0.015, Reading: 0.005, Angular: 0.005, Usable: true}},
		{"thermopile_pyranometer", false, "C", 3, budget.Irradiance{Rig: 0.04, Spectrum: 0.03, Reading: 0.005, Angular: 0.005, Usable: true}},
		{"thermopile_pyranometer", false, "", 5, budget.Irradiance{Rig: 0.02, Spectrum: 0.06, Reading: 0.005, Angular: 0.005, Usable: true}},
		{"silicon_pyranometer", false, "", 5, budget.Irradiance{Rig: 0.025, Spectrum: 0.015, Reading: 0.005, Angular: 0.005, Usable: true}},
		{"phone", true, "", 1.5, budget.Irradiance{}},
		{"", true, "", 1.5, budget.Irradiance{}},
		{"other", false, "", 1.5, budget.Irradiance{Rig: 0.05, Spectrum: 0.02, Reading: 0.01, Usable: true}},
	} {
		if diff := cmp.Diff(c.want, budget.IrradianceOf(c.sensor, c.calibrated, c.iso, c.airMass)); diff != "" {
			t.Errorf("IrradianceOf(%q, %v, %q, %v) (-want +got):\n%s", c.sensor, c.calibrated, c.iso, c.airMass, diff)
		}
	}
}

func TestClearSkyRanges(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		condition              string
		low, high, tlow, thigh float64
		sky                    float64
	}{
		{"clear", 2, 5, 3, 7, 0.03}, {"thin_haze", 3, 6, 4, 7, 0.06}, {"haze", 4, 8, 5, 9, 0.06}, {"unknown", 2, 7, 3, 8, 0.10},
	} {
		got, tropical := budget.ClearSkyOf(c.condition, false, false), budget.ClearSkyOf(c.condition, true, true)
		if got.TurbidityLow != c.low || got.TurbidityHigh != c.high || got.Sky != c.sky || got.AzimuthDeg != 5 {
			t.Errorf("ClearSkyOf(%q) = %+v, want %v..%v, sky %v", c.condition, got, c.low, c.high, c.sky)
		}
		if tropical.TurbidityLow != c.tlow || tropical.TurbidityHigh != c.thigh || tropical.AzimuthDeg != 10 {
			t.Errorf("ClearSkyOf(%q, tropical lowland, magnetic) = %+v, want %v..%v", c.condition, tropical, c.tlow, c.thigh)
		}
	}
}

// The worked budgets' rows follow from the classes where those are the defaults.
func TestRowsOfTheWorkedBudgets(t *testing.T) {
	t.Parallel()
	metered := inputsOf(t, reftest.Cases[meteredIn](t, uncertaintyFile, "metered_back_sensor")[0].In.Inputs)
	clear := inputsOf(t, clearSkyCases(t)[0].In.Inputs)
	haze := inputsOf(t, clearSkyCases(t)[1].In.Inputs)
	display := budget.ElectricalOf("controller_display").OfPower(168)
	meter := budget.ElectricalOf("inline_meter").OfPower(152)
	var rows []budget.Input
	rows = meter.AppendTo(rows)
	rows = budget.IrradianceOf("reference_cell", true, "", 1.2).AppendTo(rows, 0)
	rows = budget.TemperatureOf("thermocouple", false).AppendTo(rows)
	compareRows(t, "metered", rows, metered, map[string]string{"Tc_rig": "Tm_rig", "Tc_read": "Tm_read"}, 8)
	compareRows(t, "clear sky", budget.ClearSkyOf("clear", false, false).AppendTo(display.AppendTo(nil)), clear, nil, 8)
	compareRows(t, "haze", budget.ClearSkyOf("haze", false, false).AppendTo(nil), haze, nil, 6)
}

// compareRows compares standard uncertainty and degrees of freedom of the rows
// that both sides have; the display step is the one in relative terms.
func compareRows(t *testing.T, what string, rows, want []budget.Input, alias map[string]string, least int) {
	t.Helper()
	compared := 0
	for _, r := range rows {
		for _, w := range want {
			if (r.Name != w.Name && alias[r.Name] != w.Name) || r.Name == "Pres" {
				continue
			}
			compared++
			if math.Abs(r.Standard()-w.Standard()) > 1e-12 || r.DegreesOfFreedom != w.DegreesOfFreedom {
				t.Errorf("%s: row %s has u %v (%v), want %v (%v)", what, r.Name, r.Standard(), r.DegreesOfFreedom, w.Standard(), w.DegreesOfFreedom)
			}
		}
	}
	if compared < least-1 {
		t.Errorf("%s: compared %d rows, want %d", what, compared, least-1)
	}
}

func TestTemperatureClasses(t *testing.T) {
	t.Parallel()
	air := budget.TemperatureOf("air", false)
	if together := math.Hypot(air.ModelK, air.CommonK); math.Abs(together-4) > 0.04 {
		t.Errorf("a modelled cell temperature is known to %v K, want 4.0", together)
	}
	if flat := budget.TemperatureOf("air", true); flat.ModelK != 0 || flat.BackToCellK != 1 {
		t.Errorf("flat = %+v, want the model's spread left to the caller", flat)
	}
	if got, want := budget.FlatModelK(77.5271, 49.3839), 8.124; math.Abs(got-want) > 0.001 {
		t.Errorf("FlatModelK(77.5, 49.4) = %v, want %v", got, want)
	}
	for source, session := range map[string]float64{"": 12, "infrared_front": 3, "thermocouple": 0} {
		if got := budget.TemperatureOf(source, false).SessionK; got != session {
			t.Errorf("TemperatureOf(%q).SessionK = %v, want %v", source, got, session)
		}
	}
	if rows := budget.TemperatureOf("infrared_front", false).AppendTo(nil); len(rows) != 4 || rows[3].Distribution != budget.Normal || rows[3].Width != 1 {
		t.Errorf("rows of infrared_front = %+v", rows)
	}
}

func TestTranslationRows(t *testing.T) {
	t.Parallel()
	rows := budget.AppendTranslation(nil, -0.0035, true, 400, false)
	var b budget.Budget
	b.Reset(200)
	b.AddInput(&rows[0], -25)
	b.AddInput(&rows[1], -1)
	b.AddInput(&rows[2], 1)
	want := math.Sqrt(math.Pow(25*0.0005/math.Sqrt(3), 2) + math.Pow(0.030*math.Log(2.5), 2) + 0.003*0.003)
	if got := b.Combine(false).Relative(); math.Abs(got-want) > 1e-12 {
		t.Errorf("gamma, e(G) and method at 400 W/m2, 50 C: %v, want %v", got, want)
	}
	if stated, class := rows[0].Width, budget.AppendTranslation(nil, -0.0035, false, 400, true); class[0].Width <= stated || class[1].Width <= rows[1].Width {
		t.Errorf("a class gamma and a thin film should be wider: %+v", class)
	}
	if got := budget.AppendTranslation(nil, -0.0035, true, 1000, false); len(got) != 2 {
		t.Errorf("at 1000 W/m2 the low light has no row, got %+v", got)
	}
}

func TestShares(t *testing.T) {
	t.Parallel()
	if got, want := budget.IncidenceShare(0.99522), 0.006195; math.Abs(got-want) > 1e-6 {
		t.Errorf("IncidenceShare(0.99522) = %v, want %v", got, want)
	}
	for airMass, want := range map[float64]float64{1: 0.015, 2: 0.015, 3: 0.03, 4: 0.03, 4.1: 0.06} {
		if got := budget.SpectrumShare(airMass); got != want {
			t.Errorf("SpectrumShare(%v) = %v, want %v", airMass, got, want)
		}
	}
	if got, want := budget.DriftShare(-0.0185885298, 0.005), 0.01057655894; math.Abs(got-want) > 1e-10 {
		t.Errorf("DriftShare = %v, want %v", got, want)
	}
}
