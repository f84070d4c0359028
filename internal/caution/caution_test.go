package caution_test

import (
	"fmt"
	"math"
	"regexp"
	"testing"

	"evensun/internal/caution"
	"evensun/internal/reftest"
)

func find(list []caution.Caution, id string) (caution.Caution, bool) {
	for _, c := range list {
		if c.ID == id {
			return c, true
		}
	}
	return caution.Caution{}, false
}

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s = %v, want %v within %v", what, got, want, tolerance)
	}
}

// Values worked by an independent script of ours: 24.2 V, beta -0.0029.
func TestColdVoltage(t *testing.T) {
	t.Parallel()
	for lowest, want := range map[float64]float64{0: 25.9545, -10: 26.6563, -20: 27.3581, -30: 28.0599} {
		near(t, fmt.Sprintf("ColdVoltage(1, 24.2, -0.0029, %v)", lowest), caution.ColdVoltage(1, 24.2, -0.0029, lowest), want, 5.1e-5)
	}
	near(t, "two panels", caution.ColdVoltage(2, 24.2, -0.0029, -10), 53.3126, 5e-5)
	near(t, "three panels", caution.ColdVoltage(3, 24.2, -0.0029, -10), 79.9689, 5e-5)
	near(t, "code table", 24.2*caution.CodeFactor(-10), 27.588, 1e-9)
	near(t, "code table at -6", caution.CodeFactor(-6), 1.14, 0)
}

func TestHeatIndex(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ airF, humidity, want float64 }{
		{90, 50, 34.776}, {95, 50, 40.675}, {100, 40, 42.920}, {104, 10, 36.705},
	} {
		near(t, fmt.Sprintf("HeatIndex(%v F, %v)", c.airF, c.humidity), caution.HeatIndex((c.airF-32)/1.8, c.humidity), c.want, 6e-4)
	}
	if got := caution.HeatIndex(0, 100); !math.IsNaN(got) {
		t.Errorf("HeatIndex(0, 100) = %v, want NaN: the regression says nothing about frost", got)
	}
}

func TestWindForce(t *testing.T) {
	t.Parallel()
	near(t, "8 m/s", caution.WindForce(8, 1.12), 52.68, 5e-3)
	near(t, "12 m/s", caution.WindForce(12, 1.12), 118.54, 5e-3)
}

func TestAmpacity(t *testing.T) {
	t.Parallel()
	for mm2, want := range map[float64]float64{5.2612: 30, 3.3088: 20, 2.0809: 15, 1.3087: 10, 0.8231: 7} {
		near(t, fmt.Sprintf("Ampacity(%v)", mm2), caution.Ampacity(mm2), want, 0.01)
	}
	if got := caution.Ampacity(4); got < 20 || got > 30 {
		t.Errorf("Ampacity(4) = %v, want between AWG 12 and 10", got)
	}
}

func panelA() caution.Panel {
	return caution.Panel{VocV: 24.2, IscA: 10.6, BetaPerK: -0.0029, MassKg: 6.4, PanelAreaM2: 1.12}
}

func quiet() (caution.Session, caution.Panel, caution.Rig) {
	s := caution.Session{CurrentA: 8, VoltageV: 18, HottestC: 50, AirC: 20, HumidityPercent: 40, WindMS: 2, ElevationDeg: 40, POAWM2: 700, Ground: "grass", Sky: "clear", CableLossShare: 0.02}
	r := caution.Rig{Kind: "electronic_load", PanelsInSeries: 1, PanelsInParallel: 1, LowestAirC: -10, MaxVoltageV: 100, CableMM2: 3.31, BatteryVoltageV: math.NaN()}
	return s, panelA(), r
}

func TestQuietSessionHasOnlyTheClosingText(t *testing.T) {
	t.Parallel()
	s, p, r := quiet()
	list := caution.Of(&s, &p, &r)
	if len(list) != 1 || list[0] != caution.Closing() {
		t.Errorf("Of(quiet) = %+v, want the closing text alone", list)
	}
}

// TestTriggers moves one thing of a quiet session across each line.
func TestTriggers(t *testing.T) {
	t.Parallel()
	type change = func(s *caution.Session, p *caution.Panel, r *caution.Rig)
	tests := []struct {
		id     string
		level  caution.Level
		change change
	}{
		{"series_voltage_cold", caution.Warn, func(s *caution.Session, p *caution.Panel, r *caution.Rig) { r.PanelsInSeries, r.MaxVoltageV = 3, 60 }},
		{"series_voltage_cold", caution.Inform, func(s *caution.Session, p *caution.Panel, r *caution.Rig) { r.PanelsInSeries, r.MaxVoltageV = 2, 60 }},
		{"touch_voltage", caution.Warn, func(s *caution.Session, p *caution.Panel, r *caution.Rig) { r.PanelsInSeries = 3 }},
		{"touch_voltage", caution.Inform, func(s *caution.Session, p *caution.Panel, r *caution.Rig) { r.PanelsInSeries = 2 }},
		{"touch_voltage", caution.Inform, func(s *caution.Session, p *caution.Panel, r *caution.Rig) { p.VocV, s.Rain = 30, true }},
		{"parallel_reverse_current", caution.Warn, func(s *caution.Session, p *caution.Panel, r *caution.Rig) { r.PanelsInParallel = 3 }},
		{"dc_arc", caution.Warn, func(s *caution.Session, p *caution.Panel, r *caution.Rig) { s.ShortCircuit = true }},
		{"dc_arc", caution.Inform, func(s *caution.Session, p *caution.Panel, r *caution.Rig) { s.VoltageV = 21 }},
		{"cable_current", caution.Warn, func(s *caution.Session, p *caution.Panel, r *caution.Rig) { r.CableMM2 = 1.3087 }},
		{"cable_current", caution.Inform, func(s *caution.Session, p *caution.Panel, r *caution.Rig) { s.CableLossShare = 0.11 }},
		{"hot_surface", caution.Warn, func(s *caution.Session, p *caution.Panel, r *caution.Rig) { s.HottestC = 70.5 }},
		{"hot_surface", caution.Inform, func(s *caution.Session, p *caution.Panel, r *caution.Rig) { s.HottestC = 56 }},
		{"battery", caution.Inform, func(s *caution.Session, p *caution.Panel, r *caution.Rig) { r.BatteryVoltageV = 13.3 }},
		{"battery_cold", caution.Warn, func(s *caution.Session, p *caution.Panel, r *caution.Rig) { r.BatteryVoltageV, s.AirC = 13.3, -1 }},
		{"wind_load", caution.Inform, func(s *caution.Session, p *caution.Panel, r *caution.Rig) { s.WindMS = 8 }},
		{"wind_load", caution.Warn, func(s *caution.Session, p *caution.Panel, r *caution.Rig) { s.WindMS = 12 }},
		{"lifting", caution.Inform, func(s *caution.Session, p *caution.Panel, r *caution.Rig) { p.MassKg = 16 }},
		{"lifting", caution.Warn, func(s *caution.Session, p *caution.Panel, r *caution.Rig) { p.MassKg = 24 }},
		{"heat_illness", caution.Inform, func(s *caution.Session, p *caution.Panel, r *caution.Rig) { s.AirC, s.HumidityPercent = 32.3, 50 }},
		{"heat_illness", caution.Warn, func(s *caution.Session, p *caution.Panel, r *caution.Rig) { s.AirC, s.HumidityPercent = 35, 50 }},
		{"heat_illness", caution.Warn, func(s *caution.Session, p *caution.Panel, r *caution.Rig) { s.AirC, s.HumidityPercent = 38, math.NaN() }},
		{"eyes_and_skin", caution.Inform, func(s *caution.Session, p *caution.Panel, r *caution.Rig) { s.Ground = "snow" }},
		{"eyes_and_skin", caution.Inform, func(s *caution.Session, p *caution.Panel, r *caution.Rig) { s.ElevationDeg = 46 }},
		{"storm_and_water", caution.Inform, func(s *caution.Session, p *caution.Panel, r *caution.Rig) { s.Sky, s.WindMS = "overcast", 8.1 }},
		{"mains", caution.Warn, func(s *caution.Session, p *caution.Panel, r *caution.Rig) { r.Kind = "microinverter" }},
	}
	for _, test := range tests {
		s, p, r := quiet()
		test.change(&s, &p, &r)
		list := caution.Of(&s, &p, &r)
		c, ok := find(list, test.id)
		if !ok || c.Level != test.level {
			t.Errorf("%s: %+v, want level %s", test.id, c, test.level)
		}
		if list[len(list)-1] != caution.Closing() {
			t.Errorf("%s: the list does not end with the closing text", test.id)
		}
	}
}

// TestMissingInformsWithoutNumber: nothing known, no warning and no invented
// measurement; the fixed thresholds of the advice itself may stand.
func TestMissingInformsWithoutNumber(t *testing.T) {
	t.Parallel()
	s, p, r := caution.NewSession(), caution.NewPanel(), caution.NewRig()
	list := caution.Of(&s, &p, &r)
	if len(list) < 8 {
		t.Errorf("only %d cautions when nothing is known", len(list))
	}
	digits := regexp.MustCompile(`NaN|\d+(\.\d+)? ?(V|A|C|N|kg|m/s)\b`)
	for _, c := range list {
		if c.Level != caution.Inform || digits.MatchString(c.Text) {
			t.Errorf("%+v, want inform without a number", c)
		}
	}
}

func FuzzColdVoltage(f *testing.F) {
	f.Add(2.0, 24.2, -10.0)
	f.Add(1.0, 40.0, 24.0)
	f.Fuzz(func(t *testing.T, n, voc, lowest float64) {
		n, voc, lowest = reftest.Fold(n, 1, 8), reftest.Fold(voc, 5, 60), reftest.Fold(lowest, -50, 24)
		got := caution.ColdVoltage(n, voc, -0.0029, lowest)
		if got < n*voc {
			t.Errorf("%v panels of %v V at %v C: %v V, less than at 25 C", n, voc, lowest, got)
		}
		if colder := caution.ColdVoltage(n, voc, -0.0029, lowest-1); colder <= got {
			t.Errorf("colder by 1 K: %v V, not more than %v V", colder, got)
		}
		if caution.CodeFactor(lowest-5) < caution.CodeFactor(lowest) {
			t.Errorf("the code table falls with cold at %v C", lowest)
		}
	})
}

func FuzzHeatIndex(f *testing.F) {
	f.Add(35.0, 50.0)
	f.Fuzz(func(t *testing.T, air, humidity float64) {
		air, humidity = reftest.Fold(air, 33, 45), reftest.Fold(humidity, 40, 80)
		got := caution.HeatIndex(air, humidity)
		if damper := caution.HeatIndex(air, humidity+1); damper < got {
			t.Errorf("%v C: %v at %v %%, %v one percent damper", air, got, humidity, damper)
		}
		if hotter := caution.HeatIndex(air+1, humidity); hotter < got {
			t.Errorf("%v %%: %v at %v C, %v one kelvin hotter", humidity, got, air, hotter)
		}
	})
}

func ExampleOf() {
	s, p, r := caution.NewSession(), caution.NewPanel(), caution.NewRig()
	s.HottestC, s.AirC, s.WindMS, s.ElevationDeg = 50, 20, 2, 40
	p.VocV, p.IscA, p.BetaPerK, p.MassKg, p.PanelAreaM2 = 24.2, 10.6, -0.0029, 6.4, 1.12
	r.PanelsInSeries, r.MaxVoltageV, r.CableMM2 = 3, 60, 3.31
	for _, c := range caution.Of(&s, &p, &r) {
		fmt.Println(c.Level, c.ID)
	}
	// Output:
	// warn series_voltage_cold
	// warn touch_voltage
	// inform dc_arc
	// inform general
}

func ExampleColdVoltage() {
	fmt.Printf("%.1f V\n", caution.ColdVoltage(3, 24.2, -0.0029, -10))
	// Output: 80.0 V
}
