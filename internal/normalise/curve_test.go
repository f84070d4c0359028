package normalise_test

import (
	"encoding/json"
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"evensun/internal/diode"
	"evensun/internal/fieldtest"
	"evensun/internal/normalise"
	"evensun/internal/stc"
)

// exactPanel is a panel whose every curve is known: five parameters near the nameplate
// of the example.
func exactPanel() diode.Reference {
	const voc0, shunt, diodeV, light = 24.2, 250.0, 36 * 8.617333262e-5 * 298.15, 10.606
	return diode.Reference{
		PhotocurrentA: light, SaturationA: (light - voc0/shunt) / math.Expm1(voc0/diodeV),
		SeriesOhm: 0.14, ShuntOhm: shunt, DiodeV: diodeV, AlphaAPerK: 0.0053,
	}.Silicon()
}

const backStepK = 3 // of a panel on a kickstand

// seen is a state of the panel: light and cell temperature, and what a meter reads.
type seen struct{ poaWM2, cellC float64 }

func (s seen) top() diode.PowerPoint { return exactPanel().At(s.poaWM2, s.cellC).MaximumPower() }

// point is the example's first reading with the panel in a state, read without error.
func (s seen) point(first fieldtest.Reading) fieldtest.Reading {
	top := s.top()
	r := first
	r.VoltageV, r.CurrentA, r.PowerW = ptr(top.VoltageV), ptr(top.CurrentA), nil
	r.Irradiance = fieldtest.Irradiance{POAWM2: ptr(s.poaWM2), Sensor: fieldtest.ReferenceCell}
	r.BackTemperatureC = ptr(s.cellC - backStepK*s.poaWM2/1000)
	return r
}

// sweep is the same as a whole curve of 60 points, past both axes.
func (s seen) sweep(first fieldtest.Reading) fieldtest.Reading {
	c, r := exactPanel().At(s.poaWM2, s.cellC), s.point(first)
	r.Kind, r.VoltageV, r.CurrentA, r.Sweep = fieldtest.IVSweep, nil, nil, &fieldtest.Sweep{}
	top := c.OpenCircuitV() + 0.05
	for i := range 60 {
		v := top * (1 - math.Pow(1-float64(i)/59, 1.5))
		r.Sweep.VoltageV, r.Sweep.CurrentA = append(r.Sweep.VoltageV, v), append(r.Sweep.CurrentA, c.CurrentA(v))
	}
	return r
}

// exactSession is a session of such readings on a rig that finds the maximum, without
// a cable.
func exactSession(tb testing.TB, readings ...func(fieldtest.Reading) fieldtest.Reading) *normalise.Input {
	in := benchSession(tb, 1, true)
	in.Rig = fieldtest.Rig{Kind: fieldtest.ElectronicLoad, PowerReadAt: fieldtest.PanelSide, Instrument: fieldtest.BenchMeter}
	in.Rig.Cable.LengthM = ptr(0)
	first, panel := in.Session.Readings[0], in.Panels[0]
	in.Session.Readings, in.Panels = nil, nil
	for i, make := range readings {
		at := first.TakenAt.Add(time.Duration(i) * time.Minute)
		r := make(first)
		r.TakenAt, r.Label = &at, ""
		in.Session.Readings, in.Panels = append(in.Session.Readings, r), append(in.Panels, panel)
	}
	return in
}

// TestExactCurve takes points and sweeps of a known panel through the chain: what comes
// out is its power at standard test conditions. A point errs by the nameplate's gamma and
// the low-light curve of another panel, a sweep by procedure 4, two sweeps hardly.
func TestExactCurve(t *testing.T) {
	t.Parallel()
	truth := seen{1000, 25}.top().PowerW
	for _, s := range []seen{{500, 35}, {700, 40}, {800, 45}, {900, 30}, {1000, 60}, {1100, 50}, {1000, 25}} {
		in := exactSession(t, s.point, s.sweep)
		most := []float64{0.03, 0.01}
		for i, method := range []string{"simple_power", "procedure_4"} {
			r := outcome(t, in, false).Readings[i].Result
			if r == nil || r.Method != method {
				t.Fatalf("%+v by %s: result %+v", s, method, r)
			}
			if off := math.Abs(r.StcPowerW - truth); !(off < r.StcPowerUW && off < most[i]*truth) {
				t.Errorf("%+v by %s: %v W, u %v W, want %v W within u", s, method, r.StcPowerW, r.StcPowerUW, truth)
			}
		}
	}
}

// TestWrongSample drops one sample of a sweep, another at each place: the power stays the
// panel's, by procedure 4 too, and the derivation says that the sample was left out.
func TestWrongSample(t *testing.T) {
	t.Parallel()
	truth := seen{1000, 25}.top().PowerW
	for k := 1; k < 59; k += 3 {
		in := exactSession(t, func(first fieldtest.Reading) fieldtest.Reading {
			r := seen{900, 30}.sweep(first)
			r.Sweep.CurrentA[k] /= 3
			return r
		})
		out := outcome(t, in, true).Readings[0]
		if out.Result == nil || out.Result.Method != "procedure_4" {
			t.Fatalf("sample %d: %+v, %s", k, out.Result, out.Reason)
		}
		if off := math.Abs(out.Result.StcPowerW - truth); !(off < 0.01*truth) {
			t.Errorf("sample %d: %v W, want %v W", k, out.Result.StcPowerW, truth)
		}
		if step := stepNamed(out.Derivation, "sweep_points"); k < 50 && step.Outputs["left_out"] != 1.0 {
			t.Errorf("sample %d: step %+v, want one left out", k, step)
		}
	}
}

// TestBetweenSweeps lays standard test conditions between two sweeps: the panel's power
// comes out within 0.1 %, for both, whatever the nameplate says of its coefficients.
func TestBetweenSweeps(t *testing.T) {
	t.Parallel()
	truth := seen{1000, 25}.top().PowerW
	for _, pair := range [][2]seen{{{800, 15}, {1100, 30}}, {{900, 35}, {1100, 15}}, {{700, 25}, {1060, 25}}, {{1000, 5}, {1000, 60}}} {
		in := exactSession(t, pair[0].sweep, pair[1].sweep)
		in.Panels[0].Nameplate.GammaPmaxPerK, in.Panels[0].Nameplate.AlphaIscPerK = nil, nil
		out := outcome(t, in, true)
		for i, r := range out.Readings {
			if r.Result == nil || r.Result.Method != "procedure_3" {
				t.Fatalf("%v, sweep %d: %+v, %s; want procedure_3", pair, i, r.Result, r.Reason)
			}
			near(t, "power between sweeps", r.Result.StcPowerW, truth, 1e-3*truth)
			step := stepNamed(r.Derivation, "curve_translation")
			if a, ok := step.Inputs["fraction"].(float64); !ok || !(a >= -0.3 && a <= 1.3) || step.Inputs["other_label"] != []string{"2", "1"}[i] {
				t.Errorf("%v, sweep %d: inputs %v, want the fraction and the other's label", pair, i, step.Inputs)
			}
		}
	}
}

func stepNamed(steps []fieldtest.Step, name string) fieldtest.Step {
	for _, s := range steps {
		if s.Step == name {
			return s
		}
	}
	return fieldtest.Step{}
}

// TestNoPartner offers pairs of sweeps that procedure 3 cannot use: they keep procedure 4,
// and whoever asks for procedure 3 by name hears why.
func TestNoPartner(t *testing.T) {
	t.Parallel()
	both := func(a, b seen) *normalise.Input { return exactSession(t, a.sweep, b.sweep) }
	otherUnit := both(seen{800, 15}, seen{1100, 30})
	otherUnit.Session.Readings[1].Panel.Specimen = "unit-2"
	shaded := both(seen{800, 15}, seen{1100, 30})
	for i := range shaded.Session.Readings[1].Sweep.CurrentA {
		shaded.Session.Readings[1].Sweep.CurrentA[i] *= 0.8
	}
	for _, c := range []struct {
		name, why string
		in        *normalise.Input
	}{
		{"too far to one side", "outside", both(seen{500, 20}, seen{600, 21})},
		{"light and heat do not agree", "do not agree", both(seen{800, 45}, seen{900, 50})},
		{"alike", "same conditions", both(seen{800, 45}, seen{801, 45.1})},
		{"another unit", "two sweeps", otherUnit},
		{"one of them shaded", "do not follow the light", shaded},
	} {
		for i, r := range outcome(t, c.in, false).Readings {
			if r.Result == nil || r.Result.Method != "procedure_4" {
				t.Errorf("%s: sweep %d by %+v, want procedure_4", c.name, i, r.Result)
			}
		}
		opts := normalise.Defaults()
		opts.Method = stc.MethodProcedure3
		_, err := normalise.Session(t.Context(), c.in, opts)
		var refusal *stc.Refusal
		if !errors.As(err, &refusal) || !strings.Contains(refusal.Error(), c.why) {
			t.Errorf("%s: procedure 3 by name: %v, want a refusal that says %q", c.name, err, c.why)
		}
	}
}

// TestBetweenByName asks for procedure 3, and for simpler ways, on two sweeps.
func TestBetweenByName(t *testing.T) {
	t.Parallel()
	in := exactSession(t, seen{800, 15}.sweep, seen{1100, 30}.sweep)
	for _, method := range []stc.Method{stc.MethodProcedure3, stc.MethodProcedure4, stc.MethodSimple} {
		opts := normalise.Defaults()
		opts.Method = method
		out, err := normalise.Session(t.Context(), in, opts)
		if err != nil {
			t.Fatal(err)
		}
		if got := out.Readings[0].Result.Method; got != string(method) {
			t.Errorf("%s by name: method %s", method, got)
		}
	}
	for _, method := range []stc.Method{stc.MethodProcedure1, stc.MethodProcedure2} {
		opts := normalise.Defaults()
		opts.Method = method
		_, err := normalise.Session(t.Context(), in, opts)
		if err == nil || !strings.Contains(err.Error(), "series resistance") && !strings.Contains(err.Error(), "kappa") {
			t.Errorf("%s by name: %v, want a refusal that names series resistance or its coefficient", method, err)
		}
	}
}

// TestOpenCircuitThermometer gives no temperature at all but an open-circuit voltage of
// the same panel: the chain finds the cells' temperature, and the power follows.
//
// Expected: Voc of the exact curve; Tc = 25 + (Voc/(24.2 (1 + 0.045 ln(G/1000))) - 1)/beta
// with the panel's beta between 25 and 50 C.
func TestOpenCircuitThermometer(t *testing.T) {
	t.Parallel()
	for _, s := range []seen{{800, 45}, {1000, 55}, {600, 40}} {
		voc := exactPanel().At(s.poaWM2, s.cellC).OpenCircuitV()
		in := exactSession(t, s.point, func(first fieldtest.Reading) fieldtest.Reading {
			r := s.point(first)
			r.Kind, r.VoltageV, r.CurrentA = fieldtest.OpenCircuit, &voc, nil
			return r
		})
		beta := (exactPanel().At(1000, 50).OpenCircuitV()/exactPanel().At(1000, 25).OpenCircuitV() - 1) / 25
		in.Session.Weather, in.Panels[0].Nameplate.BetaVocPerK = fieldtest.Weather{}, &beta
		for i := range in.Session.Readings {
			in.Session.Readings[i].BackTemperatureC = nil
		}
		r := outcome(t, in, false).Readings[0].Result
		want := 25 + (voc/(24.2*(1+0.045*math.Log(s.poaWM2/1000)))-1)/beta
		if r.CellMethod != "from_voc" {
			t.Fatalf("%+v: heat by %s, want from_voc", s, r.CellMethod)
		}
		near(t, "cell temperature by voltage", r.CellC, want, 1e-9)
		near(t, "cell temperature", r.CellC, s.cellC, 3)
		near(t, "power", r.StcPowerW, seen{1000, 25}.top().PowerW, r.StcPowerUW)
	}
}

// TestOutcomeCarriesNoFalseNumber writes outcomes of sweeps as JSON.
func TestOutcomeCarriesNoFalseNumber(t *testing.T) {
	t.Parallel()
	in := exactSession(t, seen{800, 15}.sweep, seen{1100, 30}.sweep)
	if _, err := json.Marshal(outcome(t, in, true)); err != nil {
		t.Error(err)
	}
}
