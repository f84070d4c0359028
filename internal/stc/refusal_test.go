package stc_test

import (
	"errors"
	"math"
	"strings"
	"testing"

	"evensun/internal/fieldtest"
	"evensun/internal/stc"
)

func wantRefusal(t *testing.T, what string, err error, reason stc.Reason) {
	t.Helper()
	var r *stc.Refusal
	if !errors.As(err, &r) || r.Reason != reason || len(r.Error()) < 10 {
		t.Errorf("%s: error %v, want a refusal for %s", what, err, reason)
	}
}

func TestProcedureRefuses(t *testing.T) {
	t.Parallel()
	q := panelProcedures(8)
	one, two, four := q[0].(procedure1), q[1].(procedure2), q[2].(stc.Procedure4)
	for _, c := range []struct {
		what   string
		change func()
		q      func() stc.Procedure
		reason stc.Reason
	}{
		{"procedure 1 without kappa", func() { one.KappaOhmPerK = 0 }, func() stc.Procedure { return one }, stc.ReasonMissing},
		{"procedure 1 without Isc", func() { one.IscA = 0 }, func() stc.Procedure { return one }, stc.ReasonMissing},
		{"procedure 1 of NaN", func() { one.AlphaAPerK = math.NaN() }, func() stc.Procedure { return one }, stc.ReasonInput},
		{"procedure 2 without Rs", func() { two.SeriesOhm = 0 }, func() stc.Procedure { return two }, stc.ReasonMissing},
		{"procedure 2 without Voc", func() { two.VocSTCV = 0 }, func() stc.Procedure { return two }, stc.ReasonMissing},
		{"procedure 2, positive beta", func() { two = q[1].(procedure2); two.BetaPerK = 0.003 }, func() stc.Procedure { return two }, stc.ReasonInput},
		{"procedure 4 without cells", func() { four.CellsInSeries = 0 }, func() stc.Procedure { return four }, stc.ReasonMissing},
		{"procedure 4 of CIGS", func() { four.Technology = "cigs" }, func() stc.Procedure { return four }, stc.ReasonTechnology},
		{"procedure 4 of an unknown technology", func() { four.Technology = "unknown" }, func() stc.Procedure { return four }, stc.ReasonTechnology},
	} {
		c.change()
		_, err := translatePoint(stc.Point{VoltageV: 17, CurrentA: 7}, fieldConditions[0], stc.Standard(), c.q())
		wantRefusal(t, c.what, err, c.reason)
	}
	_, err := translatePoint(stc.Point{}, stc.Conditions{CellC: 25}, stc.Standard(), q[0])
	wantRefusal(t, "a night", err, stc.ReasonInput)
	_, err = translatePoint(stc.Point{}, stc.Standard(), stc.Conditions{PoaWM2: 1000, CellC: math.NaN()}, q[0])
	wantRefusal(t, "a target without temperature", err, stc.ReasonInput)
}

func TestSweepRefuses(t *testing.T) {
	t.Parallel()
	at := fieldConditions[0]
	q := panelProcedures(panelA(at).ShortCircuitA())[2]
	whole := sweepOf(at, 100)
	from := func(i, j int) stc.Sweep {
		return stc.Sweep{VoltageV: whole.VoltageV[i:j], CurrentA: whole.CurrentA[i:j], At: at}
	}
	for _, c := range []struct {
		what   string
		s      stc.Sweep
		reason stc.Reason
	}{
		{"ends before zero current", from(0, 95), stc.ReasonSweepShort},
		{"starts beyond zero voltage", from(30, 100), stc.ReasonSweepShort},
		{"few points", from(0, 5), stc.ReasonSweepBroken},
		{"nothing", stc.Sweep{At: at}, stc.ReasonSweepBroken},
		{"unequal lengths", stc.Sweep{VoltageV: whole.VoltageV, CurrentA: whole.CurrentA[:50], At: at}, stc.ReasonSweepBroken},
		{"no light", stc.Sweep{VoltageV: whole.VoltageV, CurrentA: whole.CurrentA}, stc.ReasonInput},
	} {
		_, err := stc.TranslateSweep(c.s, stc.Standard(), q)
		wantRefusal(t, c.what, err, c.reason)
	}
	back := sweepOf(at, 100)
	back.VoltageV[40], back.VoltageV[41] = back.VoltageV[41], back.VoltageV[40]
	_, err := stc.TranslateSweep(back, stc.Standard(), q)
	wantRefusal(t, "voltage goes back", err, stc.ReasonSweepBroken)
	if _, err := stc.TranslateSweep(from(0, 95), stc.Conditions{PoaWM2: 500, CellC: 25}, q); err != nil {
		t.Errorf("to less light a sweep need not reach zero current, got %v", err)
	}
	_, err = from(0, 60).Maximum()
	wantRefusal(t, "the maximum lies beyond", err, stc.ReasonNoMaximum)
	_, err = stc.Sweep{}.Maximum()
	wantRefusal(t, "the maximum of nothing", err, stc.ReasonNoMaximum)
}

func TestProcedure3Refuses(t *testing.T) {
	t.Parallel()
	c := func(g, c float64) stc.Conditions { return stc.Conditions{PoaWM2: g, CellC: c} }
	for _, k := range []struct {
		what          string
		first, second stc.Conditions
		target        stc.Conditions
		reason        stc.Reason
	}{
		{"a 1.5", c(800, 35), c(900, 30), c(950, 27.5), stc.ReasonExtrapolation},
		{"a -0.5", c(800, 35), c(900, 30), c(750, 37.5), stc.ReasonExtrapolation},
		{"light and temperature disagree", c(800, 45), c(1100, 60), c(1000, 25), stc.ReasonOffLine},
		{"the same conditions", c(800, 45), c(800, 45), c(800, 45), stc.ReasonInput},
		{"night", c(0, 45), c(800, 45), c(500, 45), stc.ReasonInput},
	} {
		_, err := stc.Fraction(k.first, k.second, k.target)
		wantRefusal(t, k.what, err, k.reason)
	}
	for _, k := range []struct {
		targetWM2 float64
		served    bool
	}{{842, true}, {838, false}, {1158, true}, {1162, false}} {
		if _, err := stc.Fraction(c(900, 25), c(1100, 25), c(k.targetWM2, 25)); (err == nil) != k.served {
			t.Errorf("target %v W/m2 between 900 and 1100: error %v, want served %v", k.targetWM2, err, k.served)
		}
	}
	first, second := sweepOf(c(700, 40), 100), sweepOf(c(900, 30), 100)
	_, err := stc.Between(first, second, 0, 9, c(800, 35))
	wantRefusal(t, "no short-circuit current", err, stc.ReasonMissing)
	short := stc.Sweep{VoltageV: second.VoltageV[:90], CurrentA: second.CurrentA[:90], At: second.At}
	_, err = stc.Between(first, short, 7.4, 9.5, c(800, 35))
	wantRefusal(t, "a sweep without its end", err, stc.ReasonSweepShort)
}

func TestChoose(t *testing.T) {
	t.Parallel()
	sweep := stc.Data{Sweeps: 1, ShortEnd: true, OpenEnd: true, Series: true, Alpha: true, CellsInSeries: 36, Technology: "poly"}
	two := sweep
	two.Sweeps, two.EnclosesSTC = 2, true
	amorphous := sweep
	amorphous.Technology = "amorphous"
	factors := amorphous
	factors.Kappa, factors.Voc, factors.Beta = true, true, true
	noVoc := factors
	noVoc.Voc = false
	for _, c := range []struct {
		what string
		data stc.Data
		want stc.Method
	}{
		{"nothing", stc.Data{}, stc.MethodNone},
		{"a power", stc.Data{Power: true}, stc.MethodSimple},
		{"a point with its nameplate, no kappa", stc.Data{Point: true, Voc: true, Alpha: true, Beta: true, Series: true}, stc.MethodSimple},
		{"a point and the factors of its type", stc.Data{Point: true, Voc: true, Alpha: true, Beta: true, Series: true, Kappa: true}, stc.MethodProcedure2},
		{"a sweep", sweep, stc.MethodProcedure4},
		{"a sweep of thin film", amorphous, stc.MethodSimple},
		{"a sweep of thin film with factors", factors, stc.MethodProcedure2},
		{"the same without Voc", noVoc, stc.MethodProcedure1},
		{"two sweeps around the target", two, stc.MethodProcedure3},
	} {
		got := stc.Choose(c.data)
		if got != c.want {
			t.Errorf("Choose(%s) = %q, want %q", c.what, got, c.want)
		}
		if err := stc.Check(got, c.data); got != stc.MethodNone && err != nil {
			t.Errorf("%s: %q was chosen but is refused: %v", c.what, got, err)
		}
	}
}

func TestCheckSaysWhatIsMissing(t *testing.T) {
	t.Parallel()
	point := stc.Data{Point: true, Voc: true, Alpha: true, Beta: true, Series: true, Technology: "cigs"}
	err := stc.Check(stc.MethodProcedure2, point)
	wantRefusal(t, "procedure 2 without kappa", err, stc.ReasonMissing)
	if err != nil && (!strings.Contains(err.Error(), "kappa") || strings.Contains(err.Error(), "sweep")) {
		t.Errorf("procedure 2 without kappa: %q names the wrong lack", err)
	}
	wantRefusal(t, "procedure 3 of a point", stc.Check(stc.MethodProcedure3, point), stc.ReasonMissing)
	wantRefusal(t, "simple power of nothing", stc.Check(stc.MethodSimple, stc.Data{}), stc.ReasonMissing)
	wantRefusal(t, "an unknown method", stc.Check("procedure_5", point), stc.ReasonMethod)
	cigs := stc.Data{Sweeps: 1, ShortEnd: true, OpenEnd: true, Series: true, Alpha: true, CellsInSeries: 100, Technology: "cigs"}
	wantRefusal(t, "procedure 4 of CIGS", stc.Check(stc.MethodProcedure4, cigs), stc.ReasonTechnology)
	for _, r := range stc.Rules() {
		if stc.Check(r.Method, stc.Data{}) == nil || r.Why == "" || r.Needs.String() == "" {
			t.Errorf("%s is served by no data at all", r.Method)
		}
	}
}

func TestNames(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		technology  fieldtest.Technology
		gamma       float64
		crystalline bool
	}{
		{"mono_perc", -0.0035, true}, {"topcon", -0.0035, true}, {"back_contact", -0.0030, true}, {"heterojunction", -0.0026, true},
		{"poly", -0.0042, true}, {"cigs", -0.0036, false}, {"amorphous", -0.0025, false}, {"perovskite_tandem", -0.0035, false}, {"unknown", -0.0035, false},
	} {
		if got := stc.ClassGamma(c.technology); got != c.gamma {
			t.Errorf("ClassGamma(%q) = %v, want %v", c.technology, got, c.gamma)
		}
		if got := c.technology.Crystalline(); got != c.crystalline {
			t.Errorf("%q.Crystalline() = %v, want %v", c.technology, got, c.crystalline)
		}
	}
	for kind, want := range map[fieldtest.RigKind]float64{"mppt_controller": 0.995, "power_station": 0.995, "electronic_load": 1} {
		if got := stc.TrackingOf(kind); got.Factor != want || !got.Maximum {
			t.Errorf("TrackingOf(%q) = %+v, want factor %v", kind, got, want)
		}
	}
	for _, kind := range []fieldtest.RigKind{"pwm_controller", "resistor"} {
		if got := stc.TrackingOf(kind); got.Maximum || !math.IsNaN(got.Factor) {
			t.Errorf("TrackingOf(%q) = %+v, want no maximum", kind, got)
		}
	}
}

func TestEdgesOfTheWiring(t *testing.T) {
	t.Parallel()
	if got := (stc.Cable{ConnectorPairs: 4}).ResistanceOhm(); math.Abs(got-0.002) > 1e-15 {
		t.Errorf("no cable, 4 plugs: %v ohm, want 0.002", got)
	}
	if got := (stc.Cable{LengthM: 1}).ResistanceOhm(); !math.IsInf(got, 1) {
		t.Errorf("a cable without copper: %v ohm, want +Inf", got)
	}
	if got := stc.VmpFromVoc(24); math.Abs(got-20.04) > 1e-12 {
		t.Errorf("VmpFromVoc(24) = %v, want 20.04", got)
	}
	for technology, want := range map[fieldtest.Technology]bool{"cigs": true, "amorphous": true, "poly": false, "perovskite_tandem": false, "": false} {
		if got := technology.ThinFilm(); got != want || got && technology.Crystalline() {
			t.Errorf("%q.ThinFilm() = %v, want %v", technology, got, want)
		}
	}
}

// NaN in gives NaN out, through every step of a point.
func TestNaNStaysNaN(t *testing.T) {
	t.Parallel()
	nan := math.NaN()
	translate := func(powerW float64, at stc.Conditions) float64 {
		return stc.SimplePower(powerW, at, -0.0035, stc.DefaultLowLight().Efficiency(at.PoaWM2))
	}
	for i, got := range []float64{
		translate(nan, stc.Standard()), translate(100, stc.Conditions{PoaWM2: nan, CellC: 25}), translate(100, stc.Conditions{PoaWM2: 800, CellC: nan}),
		stc.AtTerminals(nan, 1, 1), stc.FromBattery(100, nan, 1), stc.CopperOhmM(nan),
	} {
		if !math.IsNaN(got) {
			t.Errorf("case %d: %v from NaN", i, got)
		}
	}
}
