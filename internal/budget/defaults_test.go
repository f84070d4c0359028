package budget_test

import (
	"fmt"
	"math"
	"testing"

	"github.com/google/go-cmp/cmp"

	"evensun/internal/budget"
	"evensun/internal/fieldtest"
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
	for _, name := range []fieldtest.Instrument{"bench_meter", "data_logger", "inline_meter", "controller_display", "clamp_meter"} {
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
		sensor     fieldtest.Sensor
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

func TestClearSkyClasses(t *testing.T) {
	t.Parallel()
	for condition, sky := range map[fieldtest.SkyCondition]float64{
		"clear": 0.03, "thin_haze": 0.06, "haze": 0.06, "scattered_cloud": 0.10, "unknown": 0.10, "": 0.10,
	} {
		want := budget.ClearSky{Model: 0.04, Sky: sky, AzimuthDeg: 5, TiltDeg: 3, AlbedoHalfWidth: 0.1}
		if got := budget.ClearSkyOf(condition, false); got != want {
			t.Errorf("ClearSkyOf(%q) = %+v, want %+v", condition, got, want)
		}
		want.AzimuthDeg = 10
		if got := budget.ClearSkyOf(condition, true); got != want {
			t.Errorf("ClearSkyOf(%q) by compass = %+v, want %+v", condition, got, want)
		}
	}
}

// The worked budgets' inputs follow from the classes where those are the defaults.
func TestClassesOfTheWorkedBudgets(t *testing.T) {
	t.Parallel()
	metered := byName(inputsOf(t, reftest.Cases[meteredIn](t, uncertaintyFile, "metered_back_sensor")[0].In.Inputs))
	clear := byName(inputsOf(t, clearSkyCases(t)[0].In.Inputs))
	haze := byName(inputsOf(t, clearSkyCases(t)[1].In.Inputs))
	display, meter := budget.ElectricalOf("controller_display").OfPower(168), budget.ElectricalOf("inline_meter").OfPower(152)
	cell := budget.IrradianceOf("reference_cell", true, "", 1.2)
	clearRow, hazeRow := budget.ClearSkyOf("clear", false), budget.ClearSkyOf("haze", false)
	for _, c := range []struct {
		name string
		in   input
		u    float64
	}{
		{"P", metered["P"], meter.Rig}, {"Prep", metered["Prep"], meter.Reading}, {"P of a display", clear["P"], display.Rig},
		{"Gcal", metered["Gcal"], cell.Rig}, {"Grep", metered["Grep"], cell.Reading}, {"spec", metered["spec"], cell.Spectrum},
		{"meth", metered["meth"], budget.MethodShare},
		{"m", metered["m"], budget.TrackerHalf / budget.Sqrt3},
		{"model", clear["model"], clearRow.Model}, {"sky", clear["sky"], clearRow.Sky}, {"tilt", clear["tilt"], clearRow.TiltDeg},
		{"azim", clear["azim"], clearRow.AzimuthDeg}, {"rho", clear["rho"], clearRow.AlbedoHalfWidth / budget.Sqrt3}, {"sky of haze", haze["sky"], hazeRow.Sky},
	} {
		if c.in.name == "" || !(math.Abs(c.in.standard()-c.u) <= 1e-12) {
			t.Errorf("%s: the class has u %v, the worked budget %+v", c.name, c.u, c.in)
		}
	}
}

func byName(inputs []input) map[string]input {
	named := map[string]input{}
	for _, in := range inputs {
		named[in.name] = in
	}
	return named
}

// The weak light of a thin film is known worse, and that of 1000 W/m2 exactly.
func TestLowLightShare(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		poaWM2   float64
		thinFilm bool
		want     float64
	}{{1000, false, 0}, {400, false, 0.030 * math.Log(2.5)}, {1100, false, 0.030 * math.Log(1.1)}, {400, true, 0.10 * math.Log(2.5)}} {
		if got := budget.LowLightShare(c.poaWM2, c.thinFilm); math.Abs(got-c.want) > 1e-12 {
			t.Errorf("LowLightShare(%v, %v) = %v, want %v", c.poaWM2, c.thinFilm, got, c.want)
		}
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
}
