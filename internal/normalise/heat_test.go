package normalise_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"evensun/internal/fieldtest"
	"evensun/internal/normalise"
)

// voltage is the open-circuit reading of the exact panel under the same light and heat.
func (s seen) voltage(first fieldtest.Reading) fieldtest.Reading {
	r := s.point(first)
	voc := exactPanel().At(s.poaWM2, s.cellC).OpenCircuitV()
	r.Kind, r.VoltageV, r.CurrentA = fieldtest.OpenCircuit, &voc, nil
	return r
}

// heatCase is a session whose first reading is the power, with what its readings know of
// their heat.
type heatCase struct {
	name   string
	change func(in *normalise.Input)
	method string
	cellC  float64 // NaN: not compared
	why    string  // part of a reason in the derivation
}

// TestSurestHeat lets the chain choose between a sensor, an open-circuit voltage and the
// air. The exact panel is at 45 C under 800 W/m2; its voltage changes by -0.0030/K.
//
// Standard uncertainties: thermocouple sqrt(1+1+0.8667), shiny front sqrt(4+9+4+0.64),
// nameplate's voltage sqrt(1+2.89+25) K, voltage calibrated by a thermocouple
// sqrt(1+2.89+2.87), kickstand model about 4.4, flat about 7 K (physics 3.6, 7.2).
func TestSurestHeat(t *testing.T) {
	t.Parallel()
	nan := math.NaN()
	back, air := 45-3*0.8, 20.0
	cases := []heatCase{
		{"thermocouple", func(in *normalise.Input) { in.Session.Readings[0].BackTemperatureC = &back }, "back_temperature", 45, "less certain"},
		{"voltage against the nameplate and air", func(*normalise.Input) {}, "king_open_rack_polymer", nan, "less certain"},
		{"no air", func(in *normalise.Input) { in.Session.Weather = fieldtest.Weather{} }, "from_voc", nan, "no sensor on the panel"},
		{"flat: the model is worse than the nameplate", func(in *normalise.Input) {
			for i := range in.Session.Readings {
				in.Session.Readings[i].Arrangement = fieldtest.Flat
			}
		}, "from_voc", nan, "less certain"},
		{"voltage calibrated in the session", func(in *normalise.Input) {
			in.Session.Readings[1].BackTemperatureC = &back
		}, "from_voc", 45, "less certain"},
		{"shiny front beside a calibrated voltage", func(in *normalise.Input) {
			front := 38.0
			in.Session.Readings[0].BackTemperatureC, in.Session.Readings[0].BackTemperatureSensor = &front, fieldtest.InfraredFront
			in.Session.Readings[1].BackTemperatureC = &back
		}, "from_voc", 45, "less certain"},
		{"no coefficient of voltage", func(in *normalise.Input) { in.Panels[0].Nameplate.BetaVocPerK = nil }, "king_open_rack_polymer", nan, "no temperature coefficient of voltage"},
		{"another unit's voltage", func(in *normalise.Input) {
			in.Session.Readings[1].Panel.Specimen, in.Session.Readings[1].BackTemperatureC = "unit-9", &back
		}, "king_open_rack_polymer", nan, "no open-circuit voltage of this unit"},
	}
	for _, c := range cases {
		s := seen{800, 45}
		in := exactSession(t, s.point, s.voltage)
		in.Session.Weather = fieldtest.Weather{AirTemperatureC: &air, WindSpeedMS: ptr(1)}
		beta := (exactPanel().At(1000, 50).OpenCircuitV()/exactPanel().At(1000, 25).OpenCircuitV() - 1) / 25
		in.Panels[0].Nameplate.BetaVocPerK = &beta
		for i := range in.Session.Readings {
			in.Session.Readings[i].BackTemperatureC = nil
		}
		c.change(in)
		checkHeat(t, c, &outcome(t, in, true).Readings[0])
	}
}

func checkHeat(t *testing.T, c heatCase, j *normalise.Judged) {
	t.Helper()
	if j.Result == nil || j.Result.CellMethod != c.method {
		t.Errorf("%s: result %+v, want heat by %s", c.name, j.Result, c.method)
		return
	}
	if !math.IsNaN(c.cellC) {
		near(t, c.name+": cells", j.Result.CellC, c.cellC, 0.2)
	}
	for _, step := range j.Derivation {
		if step.Step != "cell_temperature" {
			continue
		}
		others, _ := step.Outputs["not_used"].([]map[string]any)
		if len(others) != 2 {
			t.Errorf("%s: not used %v, want two other kinds of evidence", c.name, others)
		}
		var reasons []string
		for _, o := range others {
			reasons = append(reasons, o["reason"].(string))
		}
		if told := strings.Join(reasons, "; "); !strings.Contains(told, c.why) {
			t.Errorf("%s: the others were not used because %q, want %q among it", c.name, told, c.why)
		}
	}
}

// TestNoCircularHeat gives a sweep without any temperature a voltage far above its
// nameplate: that must show as too high, not pass for cold cells.
func TestNoCircularHeat(t *testing.T) {
	t.Parallel()
	in := exactSession(t, seen{800, 45}.sweep)
	in.Session.Weather, in.Session.Readings[0].BackTemperatureC = fieldtest.Weather{}, nil
	beta := -0.003
	in.Panels[0].Nameplate.BetaVocPerK = &beta
	if got := outcome(t, in, true).Readings[0].Result.CellMethod; got != "king_open_rack_polymer" {
		t.Errorf("heat of a lone sweep by %s, want the model in air of 20 C", got)
	}
}

// TestChooserKnowsTheBudget compares the uncertainty by which evidence is chosen with the
// one that the budget counts, for every kind of evidence.
func TestChooserKnowsTheBudget(t *testing.T) {
	t.Parallel()
	back, volts := 42.0, 23.0
	for name, change := range map[string]func(r *fieldtest.Reading, in *normalise.Input){
		"thermocouple": func(r *fieldtest.Reading, _ *normalise.Input) { r.BackTemperatureC = &back },
		"infrared back": func(r *fieldtest.Reading, _ *normalise.Input) {
			r.BackTemperatureC, r.BackTemperatureSensor = &back, fieldtest.InfraredBack
		},
		"infrared front": func(r *fieldtest.Reading, _ *normalise.Input) {
			r.BackTemperatureC, r.BackTemperatureSensor = &back, fieldtest.InfraredFront
		},
		"air":          func(*fieldtest.Reading, *normalise.Input) {},
		"air, no wind": func(_ *fieldtest.Reading, in *normalise.Input) { in.Session.Weather.WindSpeedMS = nil },
		"nothing":      func(_ *fieldtest.Reading, in *normalise.Input) { in.Session.Weather = fieldtest.Weather{} },
		"flat":         func(r *fieldtest.Reading, _ *normalise.Input) { r.Arrangement = fieldtest.Flat },
		"flat, nothing": func(r *fieldtest.Reading, in *normalise.Input) {
			r.Arrangement, in.Session.Weather = fieldtest.Flat, fieldtest.Weather{}
		},
		"nameplate voltage": func(_ *fieldtest.Reading, in *normalise.Input) {
			open := in.Session.Readings[0]
			open.Kind, open.VoltageV, open.CurrentA, open.PowerW, open.Label = fieldtest.OpenCircuit, &volts, nil, nil, "open"
			in.Session.Readings, in.Panels = append(in.Session.Readings, open), append(in.Panels, in.Panels[0])
			in.Session.Weather = fieldtest.Weather{}
		},
	} {
		in := benchSession(t, 1, true)
		in.Session.Readings[0].BackTemperatureC = nil
		change(&in.Session.Readings[0], in)
		chain, err := normalise.NewChain(in)
		if err != nil {
			t.Fatal(err)
		}
		chosen, counted := chain.HeatUK()
		if math.Abs(chosen/counted-1) > 1e-3 {
			t.Errorf("%s: chosen by %v K, budget of %v K", name, chosen, counted)
		}
	}
}

// TestStillWarming reads the back of a unit twice, two minutes apart: where it surely moved
// by more than 1 K/min both readings count 5 K less sure, whatever is said of the warm-up.
//
// A thermocouple's two readings differ by chance by 2 sqrt2 K at most.
func TestStillWarming(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name     string
		later    float64 // K
		minutes  float64
		change   func(second *fieldtest.Reading)
		doubtful bool
	}{
		{"steady", 0.5, 2, nil, false},
		{"by chance", 4.5, 2, nil, false},
		{"warming", 5.5, 2, nil, true},
		{"cooling", -5.5, 2, nil, true},
		{"long after", 20, 11, nil, false},
		{"another unit", 9, 2, func(r *fieldtest.Reading) { r.Panel.Specimen = "unit-9" }, false},
		{"another sensor", 9, 2, func(r *fieldtest.Reading) { r.BackTemperatureSensor = fieldtest.InfraredFront }, false},
	} {
		in := benchSession(t, 2, true)
		second := &in.Session.Readings[1]
		at := in.Session.Readings[0].TakenAt.Add(time.Duration(c.minutes * float64(time.Minute)))
		warmer := *in.Session.Readings[0].BackTemperatureC + c.later
		second.TakenAt, second.BackTemperatureC = &at, &warmer
		if c.change != nil {
			c.change(second)
		}
		for i, j := range outcome(t, in, false).Readings {
			found := slices.ContainsFunc(j.Findings, func(f fieldtest.Finding) bool {
				return f.Rule == "thermal_transient" && f.Pointer == fmt.Sprintf("#/readings/%d/back_temperature_c", i)
			})
			if found != c.doubtful {
				t.Errorf("%s: reading %d: thermal_transient %v, want %v", c.name, i, found, c.doubtful)
			}
		}
	}
}

// TestCautionsRestOnNoSlip heats a panel to 131 F, sent as C: nothing is said of a panel
// that reached 131 C.
func TestCautionsRestOnNoSlip(t *testing.T) {
	t.Parallel()
	in := benchSession(t, 1, true)
	in.Session.Readings[0].BackTemperatureC = ptr(118)
	for _, c := range outcome(t, in, false).Cautions {
		if c.ID == "hot_surface" && c.Level != "inform" {
			t.Errorf("caution %q rests on a temperature in doubt", c.Text)
		}
	}
}
