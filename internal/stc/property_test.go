package stc_test

import (
	"math"
	"testing"

	"evensun/internal/reftest"
	"evensun/internal/stc"
)

// The same power under more light is a weaker panel; under the same light with
// hotter cells a stronger one; twice the power is twice the panel.
func FuzzSimplePower(f *testing.F) {
	f.Add(150.0, 870.0, 49.61, -0.0035)
	f.Add(60.0, 400.0, 75.0, -0.006)
	f.Fuzz(func(t *testing.T, power, poa, cell, gamma float64) {
		power, poa, cell = reftest.Fold(power, 1, 500), reftest.Fold(poa, 200, 1390), reftest.Fold(cell, -10, 85)
		coefficient := reftest.Fold(gamma, -0.006, -0.001)
		translate := func(powerW float64, at stc.Conditions) float64 {
			return stc.SimplePower(powerW, at, coefficient, stc.DefaultLowLight().Efficiency(at.PoaWM2))
		}
		got := translate(power, stc.Conditions{PoaWM2: poa, CellC: cell})
		if brighter := translate(power, stc.Conditions{PoaWM2: poa + 5, CellC: cell}); brighter >= got {
			t.Errorf("%v W under %v W/m2 gives %v W, under 5 W/m2 more %v W", power, poa, got, brighter)
		}
		if hotter := translate(power, stc.Conditions{PoaWM2: poa, CellC: cell + 1}); hotter <= got {
			t.Errorf("%v W at %v C gives %v W, 1 K hotter %v W", power, cell, got, hotter)
		}
		if double := translate(2*power, stc.Conditions{PoaWM2: poa, CellC: cell}); math.Abs(double-2*got) > 1e-12*double {
			t.Errorf("twice the power gives %v W, want %v W", double, 2*got)
		}
	})
}

// Procedure 2 there and back is the identity.
func FuzzProcedure2RoundTrip(f *testing.F) {
	f.Add(17.0, 7.0, 750.0, 50.0, 800.0, 40.0)
	f.Add(0.0, 8.0, 300.0, 5.0, 1200.0, 75.0)
	f.Fuzz(func(t *testing.T, voltage, current, g1, t1, g2, t2 float64) {
		q := procedure2{VocSTCV: 24, AlphaPerK: 0.0005, BetaPerK: -0.003, B1: 0.06, B2: 0.002, SeriesOhm: 0.2, KappaOhmPerK: 0.001}
		p := stc.Point{VoltageV: reftest.Fold(voltage, 0, 24), CurrentA: reftest.Fold(current, 0, 10)}
		from := stc.Conditions{PoaWM2: reftest.Fold(g1, 100, 1300), CellC: reftest.Fold(t1, -10, 80)}
		to := stc.Conditions{PoaWM2: reftest.Fold(g2, 100, 1300), CellC: reftest.Fold(t2, -10, 80)}
		back := q.Translate(q.Translate(p, from, to), to, from)
		if math.Abs(back.VoltageV-p.VoltageV) > 24e-12 || math.Abs(back.CurrentA-p.CurrentA) > 10e-12 {
			t.Errorf("%+v from %+v to %+v and back is %+v", p, from, to, back)
		}
	})
}

// No procedure moves a point whose conditions are already met, and more light
// means more current by all of them.
func FuzzProcedures(f *testing.F) {
	f.Add(17.0, 7.0, 750.0, 50.0, 30.0)
	f.Fuzz(func(t *testing.T, voltage, current, poa, cell, more float64) {
		p := stc.Point{VoltageV: reftest.Fold(voltage, 0, 24), CurrentA: reftest.Fold(current, 0.01, 10)}
		at := stc.Conditions{PoaWM2: reftest.Fold(poa, 100, 1300), CellC: reftest.Fold(cell, -10, 80)}
		brighter := stc.Conditions{PoaWM2: at.PoaWM2 + reftest.Fold(more, 1, 300), CellC: at.CellC}
		for _, q := range panelProcedures(10.5) {
			if stay, err := translatePoint(p, at, at, q); err != nil || math.Abs(stay.VoltageV-p.VoltageV) > 1e-12 || math.Abs(stay.CurrentA-p.CurrentA) > 1e-12 {
				t.Errorf("%s moved %+v to %+v without a change (%v)", q.Method(), p, stay, err)
			}
			if lit, err := translatePoint(p, at, brighter, q); err != nil || lit.CurrentA <= p.CurrentA {
				t.Errorf("%s: more light took %v A to %v A (%v)", q.Method(), p.CurrentA, lit.CurrentA, err)
			}
		}
	})
}

// Procedure 1 is known not to be its own inverse: 17 V and 7 A come back as
// 17.0545 V and 7.0375 A.
func TestProcedure1RoundTrip(t *testing.T) {
	t.Parallel()
	q := procedure1{IscA: 8, AlphaAPerK: 0.006, BetaVPerK: -0.08, SeriesOhm: 0.2, KappaOhmPerK: 0.001}
	from := stc.Conditions{PoaWM2: 750, CellC: 50}
	there := q.Translate(stc.Point{VoltageV: 17, CurrentA: 7}, from, stc.Standard())
	q.IscA = 8*1000/750.0 - 0.006*25
	back := q.Translate(there, stc.Standard(), from)
	if math.Abs(back.VoltageV-17.0545) > 5e-5 || math.Abs(back.CurrentA-7.0375) > 5e-5 {
		t.Errorf("there and back gives %+v, want 17.0545 V, 7.0375 A", back)
	}
}

// A cable never adds power, and a longer, thinner or hotter one loses more.
func FuzzCable(f *testing.F) {
	f.Add(5.0, 3.31, 45.0, 9.0, uint8(1))
	f.Fuzz(func(t *testing.T, length, area, temperature, current float64, pairs uint8) {
		c := stc.Cable{LengthM: reftest.Fold(length, 0.1, 50), AreaMM2: reftest.Fold(area, 0.5, 35), ConductorC: reftest.Fold(temperature, -20, 90), ConnectorPairs: int(pairs)}
		current = reftest.Fold(current, 0.1, 30)
		base := stc.AtTerminals(100, current, c.ResistanceOhm())
		if base <= 100 {
			t.Errorf("%+v at %v A loses %v W", c, current, base-100)
		}
		longer, thinner, hotter := c, c, c
		longer.LengthM *= 1.1
		thinner.AreaMM2 /= 1.1
		hotter.ConductorC += 10
		for _, worse := range []stc.Cable{longer, thinner, hotter} {
			if got := stc.AtTerminals(100, current, worse.ResistanceOhm()); got <= base {
				t.Errorf("%+v loses %v W, %+v %v W", worse, got-100, c, base-100)
			}
		}
	})
}

// Low light costs efficiency and the reference conditions are their own.
func FuzzLowLight(f *testing.F) {
	f.Add(500.0)
	f.Fuzz(func(t *testing.T, poa float64) {
		poa = reftest.Fold(poa, 50, 700)
		dim, less := stc.DefaultLowLight().Efficiency(poa), stc.DefaultLowLight().Efficiency(0.9*poa)
		if less >= dim || dim > 1.001 || dim < 0.85 {
			t.Errorf("efficiency %v at %v W/m2 and %v at a tenth less", dim, poa, less)
		}
		if got := (stc.LowLight{}).Efficiency(poa); got != 1 {
			t.Errorf("no low light model: efficiency %v, want 1", got)
		}
	})
}

// Exact sweeps anywhere in the field's range come back to the panel's rating by
// procedure 4 within 1 %, and procedure 3 between two of them lands on the third.
func FuzzSweeps(f *testing.F) {
	f.Add(800.0, 45.0, 950.0, 60.0, 0.5)
	f.Add(450.0, 20.0, 1150.0, 70.0, 1.2)
	f.Fuzz(func(t *testing.T, g1, t1, g2, t2, a float64) {
		first := stc.Conditions{PoaWM2: reftest.Fold(g1, 400, 1200), CellC: reftest.Fold(t1, 10, 70)}
		second := stc.Conditions{PoaWM2: reftest.Fold(g2, 400, 1200), CellC: reftest.Fold(t2, 10, 70)}
		q := panelProcedures(panelA(first).ShortCircuitA())[2]
		moved, err := stc.TranslateSweep(sweepOf(first, 300), stc.Standard(), q)
		if err != nil {
			t.Fatal(err)
		}
		if top, err := moved.Maximum(); err != nil || math.Abs(top.PowerW()/panelAPmp-1) > 0.01 {
			t.Errorf("procedure 4 from %+v gives %v W (%v), want %v", first, top.PowerW(), err, panelAPmp)
		}
		a = reftest.Fold(a, 0, 1)
		target := stc.Conditions{PoaWM2: first.PoaWM2 + a*(second.PoaWM2-first.PoaWM2), CellC: first.CellC + a*(second.CellC-first.CellC)}
		mixed, err := stc.Between(sweepOf(first, 300), sweepOf(second, 300), panelA(first).ShortCircuitA(), panelA(second).ShortCircuitA(), target)
		if err != nil {
			return // the same conditions twice, or a pair that shares too little: refused is right
		}
		top, err := mixed.Maximum()
		if want := panelA(target).MaximumPower().PowerW; err != nil || math.Abs(top.PowerW()/want-1) > 0.01 {
			t.Errorf("procedure 3 between %+v and %+v at %.2f gives %v W (%v), want %v", first, second, a, top.PowerW(), err, want)
		}
	})
}

// Whatever numbers a sweep holds, the answer is a refusal or a finite power that
// is at least that of its best sample.
func FuzzMaximumOfAnything(f *testing.F) {
	f.Add(5.0, 4.9, 3.0, 1.0, 2.0, 3.0)
	f.Add(math.Inf(1), math.NaN(), -1.0, 0.0, 0.0, 0.0)
	f.Fuzz(func(t *testing.T, i1, i2, i3, v1, v2, v3 float64) {
		s := stc.Sweep{VoltageV: []float64{0, v1, v2, v3, 30}, CurrentA: []float64{5, i1, i2, i3, 0}, At: stc.Standard()}
		top, err := s.Maximum()
		if err != nil {
			return
		}
		if math.IsNaN(top.PowerW()) || math.IsInf(top.PowerW(), 0) {
			t.Errorf("maximum of %+v is %v W", s, top.PowerW())
		}
		for k, v := range s.VoltageV {
			if p := v * s.CurrentA[k]; top.PowerW() < p-1e-9*math.Abs(p) {
				t.Errorf("maximum of %+v is %v W, sample %d has %v W", s, top.PowerW(), k, p)
			}
		}
	})
}
