package limits_test

import (
	"fmt"
	"math"
	"testing"

	"evensun/internal/limits"
	"evensun/internal/reftest"
)

// oneSided are the rules of group A that a smaller value can never break.
func oneSided() []string {
	return []string{"current_above_isc", "voltage_above_voc", "power_above_rating", "power_above_diode_bound", "power_above_sun"}
}

// scaled is a reading of group A in poaWM2 of light and at cellC, each value a
// share of its nameplate value.
func scaled(share, poaWM2, cellC float64) limits.ReadingInput {
	in := honest()
	in.POAWM2, in.UPOAWM2, in.CellC = poaWM2, 0.02*poaWM2, cellC
	in.ClearPOATL2WM2 = math.NaN()                                           // no rule of the sky here
	in.VoltageV, in.CurrentA, in.PowerW = share*24.2, share*10.6, math.NaN() // with all three, slips of the pen explain some
	in.UVoltageV, in.UCurrentA = 0.006*in.VoltageV, 0.012*in.CurrentA
	return in
}

// worse reports the rules of group A that after doubts more than before.
func worse(t *testing.T, what string, before, after *limits.Report) {
	t.Helper()
	for _, rule := range oneSided() {
		if verdictOf(after, rule) > verdictOf(before, rule) {
			t.Errorf("%s: %s went from %v to %v", what, rule, verdictOf(before, rule), verdictOf(after, rule))
		}
	}
}

func FuzzGroupAIsMonotone(f *testing.F) {
	f.Add(0.9, 912.0, 49.5, 0.5)
	f.Add(1.05, 1000.0, 25.0, 0.1)
	f.Add(1.2, 400.0, 10.0, 0.9)
	f.Add(1.5, 1100.0, 70.0, 0.01)
	f.Fuzz(func(t *testing.T, share, poa, cell, step float64) {
		share, poa = reftest.Fold(share, 0.01, 2), reftest.Fold(poa, 50, 1400)
		cell, step = reftest.Fold(cell, -20, 85), reftest.Fold(step, 0.001, 1)
		base := scaled(share, poa, cell)
		before := judge(base)

		more := base
		more.UVoltageV, more.UCurrentA = base.UVoltageV*(1+step), base.UCurrentA*(1+step)
		worse(t, "less sure meters", before, judge(more))

		more = base
		more.POAWM2 *= 1 + step
		worse(t, "more light", before, judge(more))

		more = base
		more.UPOAWM2 *= 1 + step
		worse(t, "less sure light", before, judge(more))

		more = base
		more.Panel.ToleranceHigh += step
		worse(t, "a wider tolerance", before, judge(more))

		more = scaled(share*(1-step/2), poa, cell)
		worse(t, "less of everything", before, judge(more))

		more = scaled(share*(1+step/10), poa, cell)
		worse(t, "more of everything, seen backwards", judge(more), before)
	})
}

func FuzzMissingInputIsLenient(f *testing.F) {
	f.Add(1.0, 912.0, 49.5)
	f.Add(1.1, 1000.0, 10.0)
	f.Fuzz(func(t *testing.T, share, poa, cell float64) {
		share, poa, cell = reftest.Fold(share, 0.01, 2), reftest.Fold(poa, 50, 1400), reftest.Fold(cell, -20, 85)
		base := scaled(share, poa, cell)
		before := judge(base)
		nan := math.NaN()
		for name, drop := range map[string]func(in *limits.ReadingInput){
			"alpha":      func(in *limits.ReadingInput) { in.Panel.AlphaPerK = nan },
			"beta":       func(in *limits.ReadingInput) { in.Panel.BetaPerK = nan },
			"gamma":      func(in *limits.ReadingInput) { in.Panel.GammaPerK = nan },
			"cells":      func(in *limits.ReadingInput) { in.Panel.CellsInSeries = nan },
			"cell area":  func(in *limits.ReadingInput) { in.Panel.CellAreaM2 = nan },
			"technology": func(in *limits.ReadingInput) { in.Panel.Technology = limits.UnknownCells },
			"Isc":        func(in *limits.ReadingInput) { in.Panel.IscA = nan },
			"Voc":        func(in *limits.ReadingInput) { in.Panel.VocV = nan },
			"Pmax":       func(in *limits.ReadingInput) { in.Panel.PmaxW = nan },
		} {
			in := base
			drop(&in)
			worse(t, "without "+name, before, judge(in))
		}
	})
}

// FuzzDoubtsAreFinite: whatever comes in, every doubt has a rule, a field, finite
// numbers that break their relation, and a reason.
func FuzzDoubtsAreFinite(f *testing.F) {
	f.Add(18.1, 8.42, 152.0, 912.0, 49.5, 24.0, 1.5, 30.0)
	f.Add(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
	f.Add(-5.0, 1e300, -1e300, 5000.0, 400.0, 77.0, 90.0, 100.0)
	f.Add(math.Inf(1), math.NaN(), 1e-300, math.Inf(-1), math.NaN(), math.Inf(1), -1.0, 180.0)
	f.Fuzz(func(t *testing.T, v, i, p, poa, cell, air, wind, zenith float64) {
		for _, kind := range []limits.Kind{limits.OperatingPoint, limits.OpenCircuit, limits.ShortCircuit, limits.IVSweep} {
			in := honest()
			in.Kind, in.VoltageV, in.CurrentA, in.PowerW = kind, v, i, p
			in.POAWM2, in.CellC, in.AirC, in.WindMS, in.ApparentZenithDeg = poa, cell, air, wind, zenith
			for _, d := range judge(in).Doubts {
				wellFormed(t, d)
			}
		}
	})
}

func wellFormed(t *testing.T, d limits.Doubt) {
	t.Helper()
	if d.Rule == "" || d.Field == "" || d.Unit == "" || d.Reason == "" || d.Source == "" || d.Severity == limits.OK {
		t.Errorf("a doubt without all its members: %+v", d)
	}
	if math.IsInf(d.Value, 0) || math.IsNaN(d.Value) || math.IsInf(d.Limit, 0) || math.IsNaN(d.Limit) {
		t.Errorf("a doubt with numbers that no document can carry: %+v", d)
	}
	if d.Relation == "<=" && d.Value < d.Limit || d.Relation == ">=" && d.Value > d.Limit {
		t.Errorf("%s: %v %s %v holds, and is doubted: %s", d.Rule, d.Value, d.Relation, d.Limit, d.Reason)
	}
}

func TestPairsOnBothSides(t *testing.T) {
	t.Parallel()
	nan := math.NaN()
	covered := func(p float64) limits.Severity {
		var out limits.Report
		limits.Covered(&limits.CoveredInput{PowerW: p, UPowerW: 0.9, ReferenceW: 152, UReferenceW: 0.9, IrradianceRatio: 1.004, Retention: nan, URetention: nan, SectionsCovered: nan, SectionsTotal: nan, Transmission: nan}, &out)
		return out.Worst()
	}
	if a, b, c := covered(155.1), covered(155.2), covered(171.8); a != limits.OK || b != limits.Hold || c != limits.Reject {
		t.Errorf("covered 155.1, 155.2, 171.8 W: %v, %v, %v, want ok, hold, reject", a, b, c)
	}
	flat := func(q float64) limits.Severity {
		var out limits.Report
		limits.Flat(&limits.FlatInput{Measured: q, Expected: 0.84, URelMeasured: 0.01, URelExpected: 0.03}, &out)
		for _, d := range out.Doubts {
			wellFormed(t, d)
		}
		return out.Worst()
	}
	if a, b, c, d := flat(0.789), flat(0.787), flat(0.763), flat(0.925); a != limits.OK || b != limits.Note || c != limits.Hold || d != limits.Hold {
		t.Errorf("flat 0.789, 0.787, 0.763, 0.925: %v, %v, %v, %v, want ok, note, hold, hold", a, b, c, d)
	}
	retention := func(r float64) limits.Severity {
		var out limits.Report
		limits.Covered(&limits.CoveredInput{PowerW: 75, ReferenceW: 152, IrradianceRatio: 1, Retention: r, URetention: 0.01, SectionsCovered: 2, SectionsTotal: 4, Transmission: nan}, &out)
		return out.Worst()
	}
	if a, b := retention(0.549), retention(0.551); a != limits.OK || b != limits.Hold {
		t.Errorf("retention 0.549, 0.551 of a half: %v, %v, want ok, hold", a, b)
	}
}

func TestPairGivesNoRatioAcrossChangingLight(t *testing.T) {
	t.Parallel()
	tests := []struct {
		in    limits.PairInput
		ratio bool
		want  limits.Severity
	}{
		{limits.PairInput{FirstWM2: 912, SecondWM2: 915, SkyClear: true, MinutesApart: 4}, true, limits.OK},
		{limits.PairInput{FirstWM2: 912, SecondWM2: 930, SkyClear: true, MinutesApart: 8}, true, limits.Note},
		{limits.PairInput{FirstWM2: 912, SecondWM2: 915, SkyClear: true, MinutesApart: 31}, false, limits.Note},
		{limits.PairInput{FirstWM2: 912, SecondWM2: 915, MinutesApart: 3}, false, limits.Note},
		{limits.PairInput{FirstWM2: 912, SecondWM2: 700, Measured: true, MinutesApart: 3}, false, limits.Note},
		{limits.PairInput{FirstWM2: 912, SecondWM2: 860, Measured: true, MinutesApart: 45}, true, limits.Note},
	}
	for _, test := range tests {
		var out limits.Report
		_, ratio := limits.Pair(&test.in, &out)
		if ratio != test.ratio || out.Worst() != test.want {
			t.Errorf("Pair(%+v) = ratio %v, %v, want %v, %v", test.in, ratio, out.Worst(), test.ratio, test.want)
		}
		for _, d := range out.Doubts {
			wellFormed(t, d)
		}
	}
}

func TestWeatherSuggests(t *testing.T) {
	t.Parallel()
	var out limits.Report
	got := limits.Weather(&limits.WeatherInput{AirC: 77, WindMS: 3}, &out)
	if got.AirC != 25 || got.WindMS != 3 || len(out.Doubts) != 1 || out.Doubts[0].Rule != "unit_slip" {
		t.Errorf("Weather(77, 3) = %+v, %+v, want 25 C and one unit_slip", got, out.Doubts)
	}
	out.Reset()
	got = limits.Weather(&limits.WeatherInput{AirC: -61, WindMS: 80}, &out)
	if got.AirC != -61 || len(out.Doubts) != 2 || out.Worst() != limits.Reject {
		t.Errorf("Weather(-61, 80) = %+v, %+v, want two rejects", got, out.Doubts)
	}
}

func TestResultAgainstArea(t *testing.T) {
	t.Parallel()
	set := limits.Default()
	for power, want := range map[float64]limits.Severity{200: limits.OK, 256: limits.Hold, 300: limits.Reject} {
		var out limits.Report
		limits.Result(&set, &limits.ResultInput{PowerW: power, UPowerW: 6, Panel: panelA()}, &out)
		if out.Worst() != want {
			t.Errorf("%v W at STC on 0.95 m2: %v, want %v", power, out.Worst(), want)
		}
	}
}

func TestRigSlips(t *testing.T) {
	t.Parallel()
	for mm2, want := range map[float64]limits.Severity{3.31: limits.OK, 18: limits.Hold, 17.5: limits.OK} {
		var out limits.Report
		limits.Rig(&limits.RigInput{CableLengthM: 5, CableMM2: mm2}, &out)
		if out.Worst() != want {
			t.Errorf("a cable of %v mm2: %v, want %v", mm2, out.Worst(), want)
		}
	}
	var out limits.Report
	limits.Rig(&limits.RigInput{CableLengthM: 500, CableMM2: 4}, &out)
	if out.Worst() != limits.Hold {
		t.Errorf("a cable of 500 m: %v, want hold (cm)", out.Worst())
	}
}

func TestCatalogue(t *testing.T) {
	t.Parallel()
	seen := map[string]bool{}
	for _, r := range limits.Rules() {
		if r.ID == "" || r.Group == "" || r.Doubts == "" || r.Source == "" || len(r.Severities) == 0 || seen[r.ID] {
			t.Errorf("rule %+v is incomplete or stands twice", r)
		}
		seen[r.ID] = true
		for _, share := range []*float64{r.FalseAlarmReadings, r.FalseAlarmSessions, r.Power} {
			if share != nil && (*share < 0 || *share > 1) {
				t.Errorf("rule %s states a share of %g", r.ID, *share)
			}
		}
		if r.FalseAlarmReadings == nil || r.FalseAlarmSessions == nil {
			t.Errorf("rule %s does not state its false alarms", r.ID)
		}
	}
	if len(seen) != 42 {
		t.Errorf("%d rules, want 42", len(seen))
	}
}

func ExampleReading() {
	set := limits.Default()
	in := limits.NewReading()
	in.Panel.IscA, in.Panel.AlphaPerK = 10.6, 0.0005
	in.Kind, in.CurrentA, in.UCurrentA = limits.ShortCircuit, 11.3, 0.13
	in.POAWM2, in.UPOAWM2 = 912, 18.24
	in.CellC, in.UCellK = 49.5, 2
	var out limits.Report
	limits.Reading(&set, &in, &out)
	for _, d := range out.Doubts {
		if d.Rule == "current_above_isc" {
			fmt.Printf("%s: %.1f %s %.2f %s\n", d.Severity, d.Value, d.Relation, d.Limit, d.Unit)
		}
	}
	// Output: hold: 11.3 <= 10.97 A
}

func ExampleIdealFillFactor() {
	fmt.Printf("%.6f\n", limits.IdealFillFactor(0.65, 1, 25, 1))
	// Output: 0.838062
}

func ExampleUnitSlips() {
	for _, s := range limits.UnitSlips(limits.QuantityTemperature, 77, -40, 50) {
		fmt.Printf("%.0f C if 77 was in %s\n", s.Converted, s.Unit)
	}
	// Output: 25 C if 77 was in F
}
