package budget_test

import (
	"fmt"
	"math"
	"testing"

	"evensun/internal/budget"
	"evensun/internal/reftest"
)

// budget1 is the working point of the first worked budget.
func budget1() working {
	return working{
		TerminalW: 156.05540901877, CableW: 4.05540901877, PoaWM2: 912, CellC: 50.236, AirC: 25,
		GammaPerK: -0.0035, K1: -0.006756, K2: -0.016444, BackToCellK: 3,
	}
}

func ExampleBudget() {
	var b budget.Budget
	b.Reset(188.54)
	b.Add("meter", budget.Rig, 0.0117*188.54, budget.ClassDegreesOfFreedom)
	b.Add("irradiance", budget.Rig, 0.0148*188.54, budget.ClassDegreesOfFreedom)
	b.Add("plane", budget.Reading, 0.0080*188.54, budget.CertainDegreesOfFreedom)
	r := b.Combine(false)
	fmt.Printf("%.1f W, u %.2f W, 95 %%: %.1f to %.1f W\n", r.Value, r.Standard, r.Lower, r.Upper)
	fmt.Printf("rig %.2f %%, reading %.2f %%\n", 100*r.Of(budget.Rig), 100*r.Of(budget.Reading))
	// Output:
	// 188.5 W, u 3.86 W, 95 %: 180.5 to 196.6 W
	// rig 1.89 %, reading 0.80 %
}

func ExampleBudget_Move() {
	volts, amperes := 12.0, 2.0
	ohms := func() float64 { return volts / amperes }
	var b budget.Budget
	b.Reset(ohms())
	b.Move("voltage", budget.Rig, budget.CertainDegreesOfFreedom, &volts, 0.1/budget.Sqrt3, ohms)
	b.Move("current", budget.Rig, budget.ClassDegreesOfFreedom, &amperes, 0.02, ohms)
	r := b.Combine(false)
	fmt.Printf("%.3f ohm, u %.3f ohm, k %.2f\n", r.Value, r.Standard, r.Coverage)
	// Output: 6.000 ohm, u 0.067 ohm, k 2.18
}

func TestInputStandard(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		d    distribution
		want float64
	}{{normal, 6}, {rectangular, 3.4641016151377544}, {triangular, 2.449489742783178}} {
		if got := (input{width: 6, distribution: c.d}).standard(); math.Abs(got-c.want) > 1e-12 {
			t.Errorf("Standard(width 6, distribution %d) = %v, want %v", c.d, got, c.want)
		}
	}
	if got, want := budget.OfDisplay(1), 0.288675; math.Abs(got-want) > 1e-6 {
		t.Errorf("OfDisplay(1) = %v, want %v", got, want)
	}
}

// The relative sensitivities that budget 1 prints, to the printed digits.
func TestSensitivitiesPrinted(t *testing.T) {
	t.Parallel()
	s := budget1().at()
	for _, c := range []struct {
		name      string
		got, want float64
		tol       float64
	}{
		{"Indicated", s.Indicated, 0.974013, 5e-7}, {"Resistance", s.Resistance, 0.025987, 5e-7},
		{"Current", s.Current, 0.051974, 5e-7}, {"Tracker", s.Tracker, -1, 0}, {"Metered", s.Metered, -0.985772, 5e-7},
		{"CellPerK", s.CellPerK, 0.0038391, 5e-8}, {"GammaPerPerK", s.GammaPerPerK, -27.68095, 5e-6},
		{"BackToCellPerK", s.BackToCellPerK, 0.0035013, 5e-8},
	} {
		if math.Abs(c.got-c.want) > c.tol {
			t.Errorf("%s = %.7f, want %v within %v", c.name, c.got, c.want, c.tol)
		}
	}
}

// The closed forms are the derivatives of the model: differences over a small
// step agree to the second order of that step.
func FuzzSensitivities(f *testing.F) {
	f.Add(912.0, 47.5, 20.0, -0.0035, 8.42)
	f.Add(420.0, 30.0, 25.0, -0.0026, 2.0)
	f.Fuzz(func(t *testing.T, poa, back, air, gamma, current float64) {
		in := meteredIn{PowerW: 20 + poaFold(poa)/6, PoaWM2: poaFold(poa), BackC: reftest.Fold(back, 0, 75)}
		gamma, current = reftest.Fold(gamma, -0.006, -0.001), reftest.Fold(current, 0.1, 20)
		const ohm, dT = 0.0572, 3.0
		cell := in.BackC + dT*in.PoaWM2/1000
		w := working{TerminalW: in.PowerW + current*current*ohm, CableW: current * current * ohm, PoaWM2: in.PoaWM2,
			CellC: cell, AirC: reftest.Fold(air, -20, 45), GammaPerK: gamma, K1: -0.006756, K2: -0.016444, BackToCellK: dT}
		s := w.at()
		x := []float64{0, 0, 0, current, ohm, 0.995, 0, 0, 0, 0, 0, 0, 0, dT, gamma, 0, 0}
		model := metered(in)
		for _, c := range []struct {
			name   string
			input  int
			step   float64
			closed float64
		}{
			{"P", 0, 1e-4, s.Indicated}, {"I", 3, 1e-4 * current, s.Current / current}, {"R", 4, 1e-4 * ohm, s.Resistance / ohm},
			{"m", 5, 1e-4, s.Tracker / 0.995}, {"G", 6, 1e-4, s.Metered}, {"Tm", 11, 1e-2, s.CellPerK},
			{"dT", 13, 1e-2, s.BackToCellPerK}, {"gamma", 14, 1e-7, s.GammaPerPerK}, {"e", 15, 1e-4, s.LowLight}, {"method", 16, 1e-4, s.Method},
		} {
			at := x[c.input]
			x[c.input] = at + c.step
			up := math.Log(model(x))
			x[c.input] = at - c.step
			down := math.Log(model(x))
			x[c.input] = at
			numeric := (up - down) / (2 * c.step)
			if math.Abs(numeric-c.closed) > 1e-6*math.Abs(c.closed)+1e-8/c.step*1e-4 {
				t.Errorf("%s at %+v: closed form %v, differences %v", c.name, w, c.closed, numeric)
			}
		}
	})
}

func poaFold(x float64) float64 { return reftest.Fold(x, 100, 1300) }

// Estimated irradiance moves a modelled cell temperature along.
func TestSensitivityEstimated(t *testing.T) {
	t.Parallel()
	const a, bW, dT, air, wind, gamma, poa = -3.56, -0.075, 3.0, 17.0, 2.0, -0.0035, 794.0
	cell := func(g, w, air float64) float64 { return air + g*(math.Exp(a+bW*w)+dT/1000) }
	lnP := func(g, w, air float64) float64 {
		return -math.Log(g) - math.Log(1+gamma*(cell(g, w, air)-25)) - math.Log(lowLight(g))
	}
	s := working{TerminalW: 130, CableW: 3, PoaWM2: poa, CellC: cell(poa, wind, air), AirC: air, WindMS: wind,
		GammaPerK: gamma, K1: -0.006756, K2: -0.016444, BackToCellK: dT, WindA: a, WindBW: bW}.at()
	const h = 1e-4
	for _, c := range []struct {
		name            string
		closed, numeric float64
	}{
		{"Estimated", s.Estimated, (lnP(poa*(1+h), wind, air) - lnP(poa*(1-h), wind, air)) / (2 * h)},
		{"WindPerMS", s.WindPerMS, (lnP(poa, wind+h, air) - lnP(poa, wind-h, air)) / (2 * h)},
		{"CellPerK", s.CellPerK, (lnP(poa, wind, air+h) - lnP(poa, wind, air-h)) / (2 * h)},
	} {
		if math.Abs(c.closed-c.numeric) > 1e-7 {
			t.Errorf("%s = %v, differences give %v", c.name, c.closed, c.numeric)
		}
	}
	if s.Estimated < s.Metered {
		t.Errorf("Estimated = %v, Metered = %v; a hotter modelled cell should cancel part of a high irradiance", s.Estimated, s.Metered)
	}
}

// The parts by scope add up in quadrature to the total, whatever the parts.
func FuzzScopesAddUp(f *testing.F) {
	f.Add(0.01, 0.02, 0.03, 0.004, 0.05, 100.0)
	f.Fuzz(func(t *testing.T, reading, session, rig, model, common, value float64) {
		var b budget.Budget
		b.Reset(reftest.Fold(value, 1, 1000))
		for i, part := range []float64{reading, session, rig, model, common, rig, reading} {
			addRelative(&b, "part", allScopes()[i%5], reftest.Fold(part, -0.3, 0.3), 8)
		}
		r := b.Combine(false)
		var squares float64
		for _, s := range allScopes() {
			squares += r.Of(s) * r.Of(s)
		}
		if math.Abs(math.Sqrt(squares)-r.Relative()) > 1e-12 {
			t.Errorf("scopes add up to %v, the total is %v", math.Sqrt(squares), r.Relative())
		}
		if r.Standard > 0 && !(r.Lower < r.Value && r.Value < r.Upper && r.Lower > 0 || !r.Logarithmic) {
			t.Errorf("interval %v..%v of %v", r.Lower, r.Upper, r.Value)
		}
		if r.Standard > 0 && r.Effective < 8*(1-1e-12) {
			t.Errorf("effective degrees of freedom %v below the least of its parts, 8", r.Effective)
		}
	})
}

// Knowing one input less well never makes the result better known.
func FuzzWiderInputNeverHelps(f *testing.F) {
	f.Add(uint8(6), 1.3)
	f.Add(uint8(13), 4.0)
	c := reftest.Cases[meteredIn](f, uncertaintyFile, "metered_back_sensor")[0]
	f.Fuzz(func(t *testing.T, which uint8, factor float64) {
		inputs := inputsOf(t, c.In.Inputs)
		var b budget.Budget
		evaluate(&b, metered(c.In), inputs)
		before := b.Combine(false)
		wider := &inputs[int(which)%len(inputs)]
		wider.width *= reftest.Fold(factor, 1, 5)
		evaluate(&b, metered(c.In), inputs)
		if after := b.Combine(false); after.Standard < before.Standard*(1-1e-12) {
			t.Errorf("%s wider: u fell from %v to %v", wider.name, before.Standard, after.Standard)
		}
	})
}

func TestIntervals(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		value, standard, k float64
		linear, log        budget.Interval95
	}{
		{188.5436, 4.4810, 2.0290, budget.Interval95{Lower: 179.45, Upper: 197.64}, budget.Interval95{Lower: 179.67, Upper: 197.86}},
		{181.7621, 10.4379, 2.0205, budget.Interval95{Lower: 160.67, Upper: 202.85}, budget.Interval95{Lower: 161.85, Upper: 204.12}},
		{173.9798, 16.5635, 2.0022, budget.Interval95{Lower: 140.82, Upper: 207.14}, budget.Interval95{Lower: 143.78, Upper: 210.52}},
	} {
		if got := budget.Linear(c.value, c.standard, c.k); !near(got, c.linear, 0.006) {
			t.Errorf("Linear(%v, %v, %v) = %v, want %v", c.value, c.standard, c.k, got, c.linear)
		}
		if got := budget.Logarithmic(c.value, c.standard, c.k); !near(got, c.log, 0.006) {
			t.Errorf("Logarithmic(%v, %v, %v) = %v, want %v", c.value, c.standard, c.k, got, c.log)
		}
	}
}

func near(a, b budget.Interval95, tol float64) bool {
	return math.Abs(a.Lower-b.Lower) <= tol && math.Abs(a.Upper-b.Upper) <= tol
}

func TestIntervalRule(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		share     float64
		estimated bool
		want      bool
	}{{0.049, false, false}, {0.051, false, true}, {0.01, true, true}} {
		var b budget.Budget
		b.Reset(100)
		addRelative(&b, "part", budget.Rig, c.share, budget.CertainDegreesOfFreedom)
		if got := b.Combine(c.estimated).Logarithmic; got != c.want {
			t.Errorf("u %v, estimated %v: logarithmic = %v, want %v", c.share, c.estimated, got, c.want)
		}
	}
}

func TestTooManyPartsAnswerNaN(t *testing.T) {
	t.Parallel()
	var b budget.Budget
	b.Reset(100)
	for range budget.MaxParts {
		b.Add("part", budget.Rig, 1, 8)
	}
	if r := b.Combine(false); b.Full() || math.Abs(r.Standard-math.Sqrt(budget.MaxParts)) > 1e-12 {
		t.Errorf("u of %d parts of 1 = %v, full %v", budget.MaxParts, r.Standard, b.Full())
	}
	b.Add("one more", budget.Rig, 1, 8)
	if r := b.Combine(false); !b.Full() || !math.IsNaN(r.Standard) || !math.IsNaN(r.Upper) {
		t.Errorf("u of one part too many = %v (full %v), want NaN", r.Standard, b.Full())
	}
}

func TestNothingAllocates(t *testing.T) {
	var b budget.Budget
	var r budget.Result
	x, y := 3.0, 2.0
	model := func() float64 { return x * y }
	if n := testing.AllocsPerRun(20, func() {
		b.Reset(model())
		for range 10 {
			b.Move("x", budget.Rig, 8, &x, 0.1, model)
			b.Move("y", budget.Reading, 8, &y, 0.1, model)
		}
		r = b.Combine(true)
	}); n != 0 {
		t.Errorf("Move and Combine made %v allocations, want 0 (%v)", n, r.Value)
	}
}

// A moved input comes back exactly, and one that is certain has no part.
func TestMoveLeavesTheInput(t *testing.T) {
	t.Parallel()
	var b budget.Budget
	x := 0.1
	b.Reset(x)
	b.Move("x", budget.Rig, 8, &x, 0.3, func() float64 { return 2 * x })
	b.Move("certain", budget.Rig, 8, &x, 0, func() float64 { return 2 * x })
	if got := b.Parts(); x != 0.1 || len(got) != 1 || math.Abs(got[0].Contribution-0.6) > 1e-15 {
		t.Errorf("x is %v with parts %+v, want 0.1 and one part of 0.6", x, got)
	}
}

// A ratio of two results with one shared error keeps the difference of the
// sensitivities only; a result against itself is known exactly.
func TestContrast(t *testing.T) {
	t.Parallel()
	var a, b budget.Budget
	a.Reset(200)
	addRelative(&a, "G", budget.Session, -0.05, 8)
	addRelative(&a, "flicker", budget.Reading, 0.003, 8)
	b.Reset(100)
	addRelative(&b, "G", budget.Session, -0.04, 8)
	addRelative(&b, "flicker", budget.Reading, 0.004, 8)
	got := budget.Contrast(&a, &b, 0, budget.OfOneSession)
	want := budget.Comparison{Ratio: 2, Shared: 0.01, Own: 0.005, Standard: math.Hypot(0.01, 0.005), Covariance: 0.002}
	if math.Abs(got.Ratio-2) > 1e-12 || math.Abs(got.Shared-want.Shared) > 1e-12 || math.Abs(got.Own-want.Own) > 1e-12 ||
		math.Abs(got.Standard-want.Standard) > 1e-12 || math.Abs(got.Covariance-want.Covariance) > 1e-12 {
		t.Errorf("Contrast = %+v, want %+v", got, want)
	}
	itself := budget.Contrast(&a, &a, 0, func(budget.Part) bool { return true })
	if itself.Standard != 0 || itself.Ratio != 1 {
		t.Errorf("a result against itself: %+v, want ratio 1 known exactly", itself)
	}
	none := budget.Contrast(&a, &b, 0, func(budget.Part) bool { return false })
	apart := math.Hypot(a.Combine(false).Relative(), b.Combine(false).Relative())
	if math.Abs(none.Standard-apart) > 1e-12 || none.Covariance != 0 {
		t.Errorf("nothing shared: %+v, want u %v", none, apart)
	}
}

func TestPlaneShare(t *testing.T) {
	t.Parallel()
	if got, want := budget.PlaneShare(0.85, 20, budget.PlaneLooseDeg), 0.00809941068318; math.Abs(got-want) > 1e-12 {
		t.Errorf("PlaneShare(0.85, 20, 1.5) = %v, want %v", got, want)
	}
	if got := budget.PlaneShare(0.85, 95, 1.5); got != 0 {
		t.Errorf("PlaneShare with the sun behind the plane = %v, want 0", got)
	}
}
