package stc_test

import (
	"math"
	"testing"

	"evensun/internal/diode"
	"evensun/internal/stc"
)

// panelA returns the exact curve of the synthetic panel of physics.md 5.2.
func panelA(at stc.Conditions) diode.Curve {
	return diode.Reference{PhotocurrentA: 10.60, SaturationA: 3.3e-11, SeriesOhm: 0.13, ShuntOhm: 150, DiodeV: 0.925, AlphaAPerK: 0.0053}.Silicon().At(at.PoaWM2, at.CellC)
}

const (
	panelAIsc   = 10.5908213
	panelAVoc   = 24.4938545
	panelAPmp   = 202.992149
	panelAAlpha = 0.00050000 // 1/K
	panelABeta  = -0.00297260
)

// panelProcedures are the three procedures with factors fitted to panel A.
func panelProcedures(iscA float64) []stc.Procedure {
	return []stc.Procedure{
		procedure1{IscA: iscA, AlphaAPerK: panelAAlpha * panelAIsc, BetaVPerK: panelABeta * panelAVoc, SeriesOhm: 0.15395, KappaOhmPerK: 0.000932},
		procedure2{VocSTCV: panelAVoc, AlphaPerK: panelAAlpha, BetaPerK: panelABeta, B1: 0.0377, B2: 0.0015, SeriesOhm: 0.11607, KappaOhmPerK: 0.000898},
		stc.Procedure4{IscA: iscA, AlphaAPerK: panelAAlpha * panelAIsc, SeriesOhm: 0.13, CellsInSeries: 36, Technology: "mono_perc"},
	}
}

// sweepOf samples the exact curve from 0 V to a little beyond open circuit.
func sweepOf(at stc.Conditions, points int) stc.Sweep {
	c := panelA(at)
	s := stc.Sweep{At: at}
	for i := range points {
		v := 1.02 * c.OpenCircuitV() * float64(i) / float64(points-1)
		s.VoltageV, s.CurrentA = append(s.VoltageV, v), append(s.CurrentA, c.CurrentA(v))
	}
	return s
}

var fieldConditions = []stc.Conditions{{PoaWM2: 800, CellC: 45}, {PoaWM2: 600, CellC: 50}, {PoaWM2: 1000, CellC: 60}, {PoaWM2: 900, CellC: 30}}

func stcError(t *testing.T, at stc.Conditions, q stc.Procedure) float64 {
	t.Helper()
	moved, err := stc.TranslateSweep(sweepOf(at, 3000), stc.Standard(), q)
	if err != nil {
		t.Fatal(err)
	}
	top, err := moved.Maximum()
	if err != nil {
		t.Fatal(err)
	}
	return 100 * (top.PowerW()/panelAPmp - 1)
}

// The errors that physics.md 4.6 states for fitted factors; procedure 4 to half
// a unit of the printed digit.
func TestProceduresOnExactSweeps(t *testing.T) {
	t.Parallel()
	procedure4 := []float64{0.03, 0.21, -0.37, 0.08}
	for i, at := range fieldConditions {
		q := panelProcedures(panelA(at).ShortCircuitA())
		if e := stcError(t, at, q[0]); math.Abs(e) > 0.0155 {
			t.Errorf("procedure 1 from %+v errs by %.4f %%, want within 0.015", at, e)
		}
		if e := stcError(t, at, q[1]); math.Abs(e) > 0.125 {
			t.Errorf("procedure 2 from %+v errs by %.4f %%, want within 0.12", at, e)
		}
		if e := stcError(t, at, q[2]); math.Abs(e-procedure4[i]) > 0.0051 {
			t.Errorf("procedure 4 from %+v errs by %.4f %%, want %v", at, e, procedure4[i])
		}
	}
}

// Without kappa procedures 1 and 2 lose up to 1.6 %; that is why Check refuses
// them and why these two are moved by hand.
func TestProceduresWithoutKappa(t *testing.T) {
	t.Parallel()
	one, two := []float64{-0.67, -0.67, -1.61, -0.10}, []float64{-0.84, -1.05, -1.50, -0.21}
	for i, at := range fieldConditions {
		isc := panelA(at).ShortCircuitA()
		q1 := procedure1{IscA: isc, AlphaAPerK: panelAAlpha * panelAIsc, BetaVPerK: panelABeta * panelAVoc, SeriesOhm: 0.13}
		q2 := procedure2{VocSTCV: panelAVoc, AlphaPerK: panelAAlpha, BetaPerK: panelABeta, B1: 0.0377, B2: 0.0015, SeriesOhm: 0.13}
		for _, c := range []struct {
			q         stc.Procedure
			want, tol float64 // half a printed digit; B1, B2 of the second row were not printed
		}{{q1, one[i], 0.0051}, {q2, two[i], 0.0101}} {
			if err := c.q.Check(); err == nil {
				t.Errorf("%s without kappa was accepted", c.q.Method())
			}
			if e := unchecked(t, at, c.q); math.Abs(e-c.want) > c.tol {
				t.Errorf("%s without kappa from %+v errs by %.4f %%, want %v", c.q.Method(), at, e, c.want)
			}
		}
	}
}

func unchecked(t *testing.T, at stc.Conditions, q stc.Procedure) float64 {
	t.Helper()
	s := sweepOf(at, 3000)
	for i, v := range s.VoltageV {
		p := q.Translate(stc.Point{VoltageV: v, CurrentA: s.CurrentA[i]}, at, stc.Standard())
		s.VoltageV[i], s.CurrentA[i] = p.VoltageV, p.CurrentA
	}
	top, err := s.Maximum()
	if err != nil {
		t.Fatal(err)
	}
	return 100 * (top.PowerW()/panelAPmp - 1)
}

// Simple scaling of exact maxima stays within 0.25 % in its range.
func TestSimplePowerOnExactCurves(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		at   stc.Conditions
		want float64
	}{
		{stc.Conditions{PoaWM2: 800, CellC: 45}, 203.309}, {stc.Conditions{PoaWM2: 600, CellC: 50}, 202.932},
		{stc.Conditions{PoaWM2: 1000, CellC: 60}, 202.534}, {stc.Conditions{PoaWM2: 500, CellC: 35}, 202.915},
	} {
		got := stc.SimplePower(panelA(c.at).MaximumPower().PowerW, c.at, -0.00352485, 1)
		if math.Abs(got-c.want) > 5.1e-4 || math.Abs(got/panelAPmp-1) > 0.0025 {
			t.Errorf("Power from %+v = %.4f W, want %v", c.at, got, c.want)
		}
	}
}

// The worked point of procedure 3 and the whole curve between two exact ones.
func TestProcedure3(t *testing.T) {
	t.Parallel()
	first, second, target := stc.Conditions{PoaWM2: 700, CellC: 40}, stc.Conditions{PoaWM2: 900, CellC: 30}, stc.Conditions{PoaWM2: 800, CellC: 35}
	a, err := stc.Fraction(first, second, target)
	if err != nil || math.Abs(a-0.5) > 1e-12 {
		t.Fatalf("Fraction = %v (%v), want 0.5", a, err)
	}
	got := stc.MixPoints(stc.Point{VoltageV: 19.227657, CurrentA: 7.0141441}, stc.Point{VoltageV: 19.720726, CurrentA: 9.0994225}, a)
	if math.Abs(got.VoltageV-19.474191) > 1e-6 || math.Abs(got.CurrentA-8.0567833) > 1e-6 {
		t.Errorf("MixPoints = %+v, want 19.474191 V, 8.0567833 A", got)
	}
	mixed, err := stc.Between(sweepOf(first, 400), sweepOf(second, 400), panelA(first).ShortCircuitA(), panelA(second).ShortCircuitA(), target)
	if err != nil {
		t.Fatal(err)
	}
	top, err := mixed.Maximum()
	want := panelA(target).MaximumPower().PowerW
	if err != nil || math.Abs(top.PowerW()/want-1) > 5e-4 || mixed.At != target {
		t.Errorf("maximum between the sweeps = %v W at %+v (%v), want %v within 0.05 %%", top.PowerW(), mixed.At, err, want)
	}
}

// The current of a panel known only by its power, for the cable's loss.
func TestCurrentFromPower(t *testing.T) {
	t.Parallel()
	if got, want := stc.CurrentFromPower(180, 20, 50, -0.004), 10.0; math.Abs(got-want) > 1e-12 {
		t.Errorf("CurrentFromPower = %v, want %v", got, want)
	}
	for _, at := range fieldConditions { // 1.2 % of the true current at the maximum
		top := panelA(at).MaximumPower()
		got := stc.CurrentFromPower(top.PowerW, 20.3452501, at.CellC, stc.VmpSlope(panelABeta))
		if want := top.PowerW / top.VoltageV; math.Abs(got/want-1) > 0.012 {
			t.Errorf("current at the maximum under %+v = %v A, want %v A within 1.2 %%", at, got, want)
		}
	}
}
