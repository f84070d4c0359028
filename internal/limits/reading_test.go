package limits_test

import (
	"math"
	"strings"
	"testing"

	"evensun/internal/limits"
	"evensun/internal/seedrand"
)

// honest is a metered reading of the 200 W panel of the documents that no rule
// doubts.
func honest() limits.ReadingInput {
	in := limits.NewReading()
	in.Panel = panelA()
	in.VoltageV, in.UVoltageV, in.StepV = 18.1, 0.11, 0.1
	in.CurrentA, in.UCurrentA, in.StepA = 8.42, 0.1, 0.01
	in.PowerW, in.UPowerW, in.StepW = 152, 2.3, 1
	in.OneDisplay, in.Rig = true, limits.MPPTController
	in.BatteryVoltageV, in.MaxCurrentA, in.CableOhm = 13.3, 20, 0.0572
	in.POAWM2, in.UPOAWM2 = 912, 18.24
	in.GHIWM2 = 850
	in.Sky, in.ApparentZenithDeg, in.ExtraterrestrialWM2 = limits.Clear, 30, 1316.69
	in.TiltDeg, in.IncidenceDeg, in.UPlaneDeg, in.GroundAlbedo = 35, 12, 3, 0.2
	in.ClearPOATL2WM2, in.ClearPOALimitWM2, in.ClearPOAHighTLWM2, in.ClearPOAWM2 = 1117.2, 1120, 980, 1050
	in.ClearGHIWM2 = 960
	in.CellC, in.UCellK, in.CellMeasured, in.BackC = 49.5, 2, true, 46.8
	in.AirC, in.WindMS, in.WarmUpMin = 24, 1.5, 20
	return in
}

func panelA() limits.NameplateInput {
	n := limits.NewNameplate()
	n.PmaxW, n.VocV, n.IscA, n.VmpV, n.ImpA, n.ToleranceHigh = 200, 24.2, 10.6, 20.2, 9.9, 0.05
	n.GammaPerK, n.BetaPerK, n.AlphaPerK = -0.0035, -0.0029, 0.0005
	n.CellsInSeries, n.Technology = 36, limits.MonoPERC
	n.CellAreaM2, n.PanelAreaM2, n.MassKg = 0.95, 1.12, 6.4
	return n
}

func judge(in limits.ReadingInput) *limits.Report {
	set := limits.Default()
	var out limits.Report
	limits.Reading(&set, &in, &out)
	return &out
}

func verdictOf(r *limits.Report, rule string) limits.Severity {
	for _, d := range r.Doubts {
		if d.Rule == rule {
			return d.Severity
		}
	}
	return limits.OK
}

func TestHonestReadingIsNotDoubted(t *testing.T) {
	t.Parallel()
	out := judge(honest())
	if len(out.Doubts) != 0 || len(out.Skipped()) != 0 {
		t.Errorf("doubts %+v, skipped %+v, want none", out.Doubts, out.Skipped())
	}
	if got := len(out.Checked()); got < 25 {
		t.Errorf("only %d rules ran: %v", got, out.Checked())
	}
}

// TestBothSides moves one thing of the honest reading to either side of a limit.
func TestBothSides(t *testing.T) {
	t.Parallel()
	type change = func(in *limits.ReadingInput, x float64)
	current := func(in *limits.ReadingInput, x float64) { in.CurrentA, in.PowerW, in.VoltageV = x, math.NaN(), 1 }
	short := func(in *limits.ReadingInput, x float64) {
		in.Kind, in.CurrentA, in.PowerW, in.VoltageV = limits.ShortCircuit, x, math.NaN(), math.NaN()
	}
	power := func(in *limits.ReadingInput, x float64) {
		in.PowerW, in.VoltageV, in.CurrentA = x, math.NaN(), math.NaN()
	}
	poa := func(in *limits.ReadingInput, x float64) { in.POAWM2 = x }
	cases := []struct {
		rule     string
		ok, bad  float64
		severity limits.Severity
		change   change
	}{
		{"current_above_isc", 10.90, 10.92, limits.Hold, current},
		{"current_above_isc", 11.73, 11.74, limits.Reject, current},
		{"current_above_isc", 10.90, 10.92, limits.Hold, short},
		{"voltage_above_voc", 23.62, 23.64, limits.Hold, func(in *limits.ReadingInput, x float64) { in.VoltageV = x }},
		{"voltage_above_voc", 24.43, 24.44, limits.Reject, func(in *limits.ReadingInput, x float64) { in.VoltageV = x }},
		{"power_above_rating", 189.4, 189.6, limits.Hold, power},
		{"power_above_diode_bound", 212.6, 212.7, limits.Hold, power},
		{"power_above_diode_bound", 248.5, 248.6, limits.Reject, power},
		{"power_above_sun", 282.2, 282.4, limits.Reject, power},
		{"power_not_v_times_i", 150.0, 149.8, limits.Hold, func(in *limits.ReadingInput, x float64) { in.PowerW = x }},
		{"irradiance_above_clear_sky", 1209, 1210, limits.Note, poa},
		{"irradiance_above_clear_sky", 1432, 1433, limits.Hold, poa},
		{"irradiance_above_clear_sky", 2200, 2201, limits.Reject, poa},
		{"horizontal_irradiance_impossible", 1379, 1380, limits.Hold, func(in *limits.ReadingInput, x float64) { in.GHIWM2 = x }},
		{"horizontal_irradiance_impossible", 1761, 1762, limits.Reject, func(in *limits.ReadingInput, x float64) { in.GHIWM2 = x }},
		{"sun_below_horizon", 90.3, 90.4, limits.Reject, func(in *limits.ReadingInput, x float64) { in.ApparentZenithDeg = x }},
		{"sun_behind_panel", 96, 96.1, limits.Hold, func(in *limits.ReadingInput, x float64) { in.IncidenceDeg, in.POAWM2 = x, 980 }},
		{"irradiance_below_clear_sky", 895, 894, limits.Note, poa},
		{"irradiance_below_clear_sky", 748, 747, limits.Hold, poa},
		{"horizontal_taken_for_plane", 980, 950, limits.Note, func(in *limits.ReadingInput, x float64) { in.POAWM2, in.ClearGHIWM2, in.ClearPOAWM2 = x, 940, 1070 }},
		{"sun_too_low", 69.9, 70.1, limits.Note, func(in *limits.ReadingInput, x float64) { in.ApparentZenithDeg = x }},
		{"sun_too_low", 69.9, 70.1, limits.Note, func(in *limits.ReadingInput, x float64) { in.ApparentZenithDeg, in.POAWM2 = x, math.NaN() }},
		{"irradiance_too_low", 400, 399, limits.Note, poa},
		{"cell_temperature_implausible", 92.5, 92.6, limits.Hold, func(in *limits.ReadingInput, x float64) { in.CellC = x }},
		{"cell_temperature_implausible", 27, 26.9, limits.Hold, func(in *limits.ReadingInput, x float64) { in.CellC = x }},
		{"cell_temperature_implausible", 92.5, 110.1, limits.Reject, func(in *limits.ReadingInput, x float64) { in.CellC = x }},
		{"air_temperature_implausible", -40, -41, limits.Hold, func(in *limits.ReadingInput, x float64) { in.AirC = x }},
		{"air_temperature_implausible", -40, -61, limits.Reject, func(in *limits.ReadingInput, x float64) { in.AirC = x }},
		{"wind_implausible", 17, -0.1, limits.Reject, func(in *limits.ReadingInput, x float64) { in.WindMS = x }},
		{"wind_implausible", 17, 76, limits.Reject, func(in *limits.ReadingInput, x float64) { in.WindMS = x }},
		{"thermal_transient", 5, 4.9, limits.Note, func(in *limits.ReadingInput, x float64) { in.WarmUpMin = x }},
		{"thermal_transient", 1, 1.1, limits.Note, func(in *limits.ReadingInput, x float64) { in.RateKPerMin = -x }},
		// 20.2 V at 49.5 C and 912 W/m2: 20.2 (1 - 0.0036 x 24.5)(1 + 0.05 ln 0.912) = 18.334 V.
		{"off_maximum_power", 16.87, 16.86, limits.Note, func(in *limits.ReadingInput, x float64) { in.VoltageV, in.CurrentA = x, 0 }},
		{"off_maximum_power", 16.14, 16.13, limits.Hold, func(in *limits.ReadingInput, x float64) { in.VoltageV, in.CurrentA = x, 0 }},
		{"off_maximum_power", 19.79, 19.81, limits.Note, func(in *limits.ReadingInput, x float64) { in.VoltageV, in.CurrentA, in.Panel.BetaPerK = x, 0, -0.0029 }},
		{"off_maximum_power", 20.52, 20.54, limits.Hold, func(in *limits.ReadingInput, x float64) { in.VoltageV, in.CurrentA, in.Panel.BetaPerK = x, 0, -0.0029 }},
		{"headroom_conflict", 13.39, 13.37, limits.Hold, func(in *limits.ReadingInput, x float64) { in.VoltageV = x }},
		{"headroom_conflict", 14.8, 14.83, limits.Hold, func(in *limits.ReadingInput, x float64) { in.VoltageV, in.Rig = x, limits.PWMController }},
		{"clipped_by_controller", 139, 140, limits.Note, func(in *limits.ReadingInput, x float64) { in.PowerW, in.MaxPowerW = x, 150 }},
		{"clipped_by_controller", 145, 146, limits.Hold, func(in *limits.ReadingInput, x float64) { in.PowerW, in.MaxPowerW = x, 150 }},
		{"throttled_by_battery", 117, 116, limits.Hold, func(in *limits.ReadingInput, x float64) { in.VoltageV, in.CurrentA, in.PowerW = 22, 5.3, x }},
		{"open_circuit_low", 21.12, 21.10, limits.Note, func(in *limits.ReadingInput, x float64) {
			in.Kind, in.VoltageV, in.CurrentA, in.PowerW = limits.OpenCircuit, x, math.NaN(), math.NaN()
		}},
		{"open_circuit_low", 17.95, 17.94, limits.Hold, func(in *limits.ReadingInput, x float64) {
			in.Kind, in.VoltageV, in.CurrentA, in.PowerW = limits.OpenCircuit, x, math.NaN(), math.NaN()
		}},
		{"cable_loss_large", 0.23, 0.24, limits.Note, func(in *limits.ReadingInput, x float64) { in.CableOhm = x }},
		{"cable_loss_large", 2.14, 2.15, limits.Hold, func(in *limits.ReadingInput, x float64) { in.CableOhm = x }},
		{"resolution_coarse", 3, 3.6, limits.Note, func(in *limits.ReadingInput, x float64) { in.VoltageV, in.PowerW, in.StepV = 18, math.NaN(), x }},
		{"sweep_not_monotonic", 0.066, 0.067, limits.Hold, func(in *limits.ReadingInput, x float64) {
			in.Kind, in.SweepCurrentA, in.USweepCurrentA = limits.IVSweep, []float64{10, 10 + x, 0}, 0.02
		}},
		{"current_irradiance_conflict", 10.45, 10.7, limits.Note, func(in *limits.ReadingInput, x float64) {
			in.Kind, in.CurrentA, in.PowerW, in.VoltageV = limits.ShortCircuit, x, math.NaN(), math.NaN()
		}},
	}
	for _, c := range cases {
		fine, bad := honest(), honest()
		c.change(&fine, c.ok)
		c.change(&bad, c.bad)
		before, after := verdictOf(judge(fine), c.rule), verdictOf(judge(bad), c.rule)
		if before >= c.severity || after != c.severity {
			t.Errorf("%s: %v at %v, %v at %v, want below %v, then %v", c.rule, before, c.ok, after, c.bad, c.severity, c.severity)
		}
	}
}

func TestRigWithoutTracker(t *testing.T) {
	t.Parallel()
	in := honest()
	in.Rig, in.VoltageV = limits.PWMController, 13.6
	if got := verdictOf(judge(in), "not_a_tracker"); got != limits.Hold {
		t.Errorf("a PWM controller: %v, want hold", got)
	}
	in.Kind, in.SweepCurrentA = limits.IVSweep, []float64{10, 0}
	if got := verdictOf(judge(in), "not_a_tracker"); got != limits.OK {
		t.Errorf("a sweep on a PWM controller: %v, want ok", got)
	}
}

func TestSlipExplainsTheOthers(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name   string
		change func(in *limits.ReadingInput)
		vanish string
		words  string
	}{
		{"air in Fahrenheit", func(in *limits.ReadingInput) { in.AirC = 75 }, "air_temperature_implausible", "degrees Fahrenheit"},
		{"back in Fahrenheit", func(in *limits.ReadingInput) { in.BackC, in.CellC = 116, 118.7 }, "cell_temperature_implausible", "degrees Fahrenheit"},
		{"wind in km/h", func(in *limits.ReadingInput) { in.WindMS = 25 }, "wind_implausible", "mph"},
		{"current in mA", func(in *limits.ReadingInput) { in.CurrentA, in.UCurrentA = 8420, 100 }, "current_above_isc", "mA"},
		{"current ten times", func(in *limits.ReadingInput) { in.CurrentA = 84.2 }, "current_above_isc", "decimal point"},
		{"power in mW", func(in *limits.ReadingInput) { in.PowerW = 152000 }, "power_above_sun", "mW"},
		{"power ten times", func(in *limits.ReadingInput) { in.PowerW = 1520 }, "power_above_diode_bound", "decimal point"},
	}
	for _, test := range tests {
		in := honest()
		test.change(&in)
		out := judge(in)
		if len(out.Doubts) != 1 || out.Doubts[0].Rule != "unit_slip" || out.Doubts[0].Severity != limits.Hold {
			t.Errorf("%s: %+v, want one unit_slip", test.name, out.Doubts)
			continue
		}
		if !strings.Contains(out.Doubts[0].Reason, test.words) {
			t.Errorf("%s: %q does not name %q", test.name, out.Doubts[0].Reason, test.words)
		}
	}
}

// TestInflatedCurrentIsNoSlip guards the refusal: a current somewhat too high must
// not pass as milliamperes.
func TestInflatedCurrentIsNoSlip(t *testing.T) {
	t.Parallel()
	in := honest()
	in.CurrentA, in.PowerW = 15.3, math.NaN()
	out := judge(in)
	if got := verdictOf(out, "current_above_isc"); got != limits.Reject {
		t.Errorf("15.3 A: %v, want reject", got)
	}
	if got := verdictOf(out, "unit_slip"); got != limits.OK {
		t.Errorf("15.3 A taken for a slip: %+v", out.Doubts)
	}
}

func TestMissingNeverRejects(t *testing.T) {
	t.Parallel()
	in := limits.NewReading()
	in.Panel.PmaxW, in.PowerW = 200, 152
	out := judge(in)
	if out.Worst() > limits.Note {
		t.Errorf("rating and power alone: %+v", out.Doubts)
	}
	for _, s := range out.Skipped() {
		if len(s.Missing) == 0 {
			t.Errorf("%s skipped without a missing input", s.Rule)
		}
	}
	empty := judge(limits.NewReading())
	if empty.Worst() > limits.Note {
		t.Errorf("nothing measured: %+v", empty.Doubts)
	}
}

// TestMeterIsNotNeeded: without a meter a clear sky still bounds the current.
func TestMeterIsNotNeeded(t *testing.T) {
	t.Parallel()
	in := honest()
	in.POAWM2, in.UPOAWM2, in.CurrentA, in.PowerW = math.NaN(), math.NaN(), 13.7, math.NaN()
	out := judge(in)
	if got := verdictOf(out, "current_above_isc"); got != limits.Hold {
		t.Errorf("13.7 A under a clear sky: %v, want hold", got)
	}
	in.ClearPOALimitWM2, in.Sky = math.NaN(), limits.UnknownSky
	if got := verdictOf(judge(in), "current_above_isc"); got != limits.OK {
		t.Errorf("13.7 A with nothing known about the light: %v, want ok", got)
	}
}

// TestReasonNeverContradicts reads the two numbers back out of a reason.
func TestReasonNeverContradicts(t *testing.T) {
	t.Parallel()
	in := honest()
	in.CurrentA, in.PowerW, in.VoltageV = 10.9071, math.NaN(), 1
	for _, d := range judge(in).Doubts {
		if d.Rule != "current_above_isc" {
			continue
		}
		words := strings.Fields(d.Reason)
		if words[0] == words[4] {
			t.Errorf("%q shows the same number twice", d.Reason)
		}
		return
	}
	t.Error("10.9071 A is not doubted")
}

func TestBatterySideIsComparedOnThePanelSide(t *testing.T) {
	t.Parallel()
	in := honest()
	in.PowerReadAt, in.PowerW = limits.BatterySide, 145.2
	if out := judge(in); len(out.Doubts) != 0 {
		t.Errorf("145.2 W at the battery for 152 W at the panel: %+v", out.Doubts)
	}
	in.PowerW = 125
	if got := verdictOf(judge(in), "power_not_v_times_i"); got != limits.Hold {
		t.Errorf("125 W at the battery for 152 W at the panel: %v, want hold", got)
	}
}

func TestReadingCostsNoMemoryWhenAllIsWell(t *testing.T) {
	set, in := limits.Default(), honest()
	var out limits.Report
	got := testing.AllocsPerRun(100, func() {
		out.Reset()
		limits.Reading(&set, &in, &out)
	})
	if got != 0 {
		t.Errorf("%v allocations, want 0", got)
	}
}

func BenchmarkReading(b *testing.B) {
	set, in := limits.Default(), honest()
	var out limits.Report
	b.ReportAllocs()
	for b.Loop() {
		out.Reset()
		limits.Reading(&set, &in, &out)
	}
}

func BenchmarkDoubtedReading(b *testing.B) {
	set, in := limits.Default(), honest()
	in.CurrentA = 12
	var out limits.Report
	for b.Loop() {
		out.Reset()
		limits.Reading(&set, &in, &out)
	}
}

// TestCures gives readings with one slip of a usual kind and asks what the finding advises,
// and that nothing else refuses for the same cause.
func TestCures(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name   string
		change func(in *limits.ReadingInput)
		rule   string
		advice string
		not    string // a rule that must be silent
	}{
		{"two in series at maximum power", func(in *limits.ReadingInput) { in.VoltageV, in.PowerW = 36.2, 305 }, "voltage_above_voc", "two panels in series", ""},
		{"two in parallel", func(in *limits.ReadingInput) { in.CurrentA, in.PowerW = 16.84, 305 }, "current_above_isc", "were two connected", ""},
		{"voltage and current exchanged", func(in *limits.ReadingInput) { in.VoltageV, in.CurrentA = 8.42, 18.1 }, "current_above_isc", "was it 18.1 V and 8.42 A", ""},
		{"another hour, no meter", func(in *limits.ReadingInput) {
			in.POAWM2, in.UPOAWM2, in.ClearPOALimitWM2, in.ClearPOAWM2 = math.NaN(), math.NaN(), 150, 140
		}, "current_above_isc", "time, place and plane", ""},
		{"power in kW", func(in *limits.ReadingInput) { in.PowerW, in.UPowerW = 0.152, 0.002 }, "power_not_v_times_i", "152 W if it is in kW", ""},
		{"light in kW/m2", func(in *limits.ReadingInput) { in.POAWM2, in.UPOAWM2 = 0.912, 0.018 }, "unit_slip", "912 W/m2 if it is in kW/m2", "irradiance_below_clear_sky"},
		{"azimuth turned, no meter", func(in *limits.ReadingInput) {
			in.POAWM2, in.UPOAWM2, in.ClearPOALimitWM2, in.ClearPOAWM2 = math.NaN(), math.NaN(), 150, 140
			in.IncidenceDeg, in.IncidenceTurnedDeg, in.TiltDeg, in.ApparentZenithDeg = 120, 10, 60, 60
		}, "sun_behind_panel", "turned by 180 deg", "current_above_isc"},
		{"azimuth turned, metered", func(in *limits.ReadingInput) {
			in.ClearPOATL2WM2, in.ClearPOAWM2, in.ClearPOAHighTLWM2, in.IncidenceDeg, in.IncidenceTurnedDeg, in.TiltDeg, in.ApparentZenithDeg = 40, 40, 40, 120, 10, 60, 60
		}, "sun_behind_panel", "turned by 180 deg", "irradiance_above_clear_sky"},
	} {
		in := honest()
		c.change(&in)
		out := judge(in)
		found := false
		for _, d := range out.Doubts {
			found = found || d.Rule == c.rule && strings.Contains(d.Reason, c.advice)
		}
		if !found {
			t.Errorf("%s: %+v, want %s that advises %q", c.name, out.Doubts, c.rule, c.advice)
		}
		if c.not != "" && verdictOf(out, c.not) != limits.OK {
			t.Errorf("%s: %s as well, which the plane explains", c.name, c.not)
		}
	}
}

// TestLightInAnotherUnitIsOneSlip sends the light in kW/m2: neither current nor power, whose
// bounds it makes a thousand times too low, may be called milliamperes or milliwatts.
func TestLightInAnotherUnitIsOneSlip(t *testing.T) {
	t.Parallel()
	in := honest()
	in.POAWM2, in.UPOAWM2 = 0.912, 0.018
	out := judge(in)
	if len(out.Doubts) != 1 || out.Doubts[0].Field != "irradiance/poa_w_m2" {
		t.Errorf("doubts %+v, want the slip of the irradiance alone", out.Doubts)
	}
	in.CurrentA, in.PowerW, in.VoltageV = 0.001, 0.01, 10 // a dark panel under a dark meter
	if s := verdictOf(judge(in), "unit_slip"); s != limits.OK {
		t.Errorf("hardly any light and hardly any current: unit_slip %v, want none", s)
	}
}

// TestCableExplainsThePower gives a cable of 500 m: the power is most of it reckoned, and
// held for the cable, not refused as more than the cells can yield.
func TestCableExplainsThePower(t *testing.T) {
	t.Parallel()
	in := honest()
	in.CableOhm = 5.72
	out := judge(in)
	set := limits.Default()
	limits.Result(&set, &limits.ResultInput{PowerW: 675, UPowerW: 60, Panel: in.Panel}, out)
	if verdictOf(out, "cable_loss_large") != limits.Hold || verdictOf(out, "efficiency_above_limit") != limits.OK {
		t.Errorf("doubts %+v, want cable_loss_large to hold and no efficiency_above_limit", out.Doubts)
	}
}

// TestGraverDoubtStays turns a panel so far that a meter's claim is only held by its own
// rule but refused by another: the refusal stays.
func TestGraverDoubtStays(t *testing.T) {
	t.Parallel()
	in := honest()
	in.ClearPOATL2WM2, in.ClearPOAWM2, in.ClearPOAHighTLWM2, in.IncidenceDeg, in.IncidenceTurnedDeg = 40, 40, 40, 100, 10
	in.TiltDeg, in.ApparentZenithDeg = 60, 30
	in.Sky = limits.UnknownSky
	out := judge(in)
	if got, plane := verdictOf(out, "irradiance_above_clear_sky"), verdictOf(out, "sun_behind_panel"); plane != limits.Hold || got != limits.Reject {
		t.Errorf("sun_behind_panel %v, irradiance_above_clear_sky %v, want hold and reject", plane, got)
	}
}

// TestDawn reads the light before sunrise: 8 W/m2 of twilight and a voltage far below Vmp
// are what a panel shows then.
func TestDawn(t *testing.T) {
	t.Parallel()
	in := honest()
	in.ApparentZenithDeg, in.ClearPOATL2WM2, in.ClearPOALimitWM2, in.ClearPOAHighTLWM2, in.ClearPOAWM2, in.ClearGHIWM2, in.GHIWM2 = 91.7, 0, 0, 0, 0, 0, math.NaN()
	in.POAWM2, in.UPOAWM2, in.VoltageV, in.CurrentA, in.PowerW = 8, 0.4, 13.5, 0.05, 0.675
	out := judge(in)
	for _, rule := range []string{"irradiance_above_clear_sky", "off_maximum_power", "sun_below_horizon"} {
		if s := verdictOf(out, rule); s != limits.OK {
			t.Errorf("%s doubts twilight: %v", rule, s)
		}
	}
	in.POAWM2 = 70
	if s := verdictOf(judge(in), "sun_below_horizon"); s != limits.Reject {
		t.Errorf("70 W/m2 with the sun below the horizon: %v, want reject", s)
	}
}

// TestHonestSweepNoise draws sweeps whose current scatters as their meter is said to: not
// one in twenty may be held for it.
func TestHonestSweepNoise(t *testing.T) {
	t.Parallel()
	draw, held := seedrand.New(11), 0
	for range 400 {
		in := honest()
		in.Kind, in.USweepCurrentA, in.StepA, in.VoltageV, in.CurrentA, in.PowerW = limits.IVSweep, 0.005, 0, math.NaN(), math.NaN(), math.NaN()
		for range 45 {
			in.SweepCurrentA = append(in.SweepCurrentA, 8.4+0.005*draw.Normal())
		}
		if verdictOf(judge(in), "sweep_not_monotonic") != limits.OK {
			held++
		}
	}
	if held > 20 {
		t.Errorf("%d of 400 sweeps of honest noise held, want at most 20", held)
	}
}

// TestTwoCoefficientsAtOnce names every coefficient in percent, not one a submission.
func TestTwoCoefficientsAtOnce(t *testing.T) {
	t.Parallel()
	n := panelA()
	n.GammaPerK, n.BetaPerK = -0.35, -0.29
	var out limits.Report
	set := limits.Default()
	limits.PanelModel(&set, &n, &out)
	named := 0
	for _, d := range out.Doubts {
		if d.Rule != "nameplate_coefficients" {
			continue
		}
		named++
		if !strings.Contains(d.Reason, "The same holds for beta_voc_per_k") {
			t.Errorf("gamma and beta in percent: %q, want both named", d.Reason)
		}
	}
	if named != 1 {
		t.Errorf("%d findings of nameplate_coefficients, want one", named)
	}
}

// TestPowerDoubtedOnce asks about the result of a power that no cells can make of this
// light: the reading has said so.
func TestPowerDoubtedOnce(t *testing.T) {
	t.Parallel()
	in := honest()
	in.VoltageV, in.CurrentA, in.PowerW = math.NaN(), math.NaN(), 320
	out := judge(in)
	set := limits.Default()
	limits.Result(&set, &limits.ResultInput{PowerW: 390, UPowerW: 8, Panel: in.Panel}, out)
	if verdictOf(out, "power_above_sun") != limits.Reject || verdictOf(out, "efficiency_above_limit") != limits.OK {
		t.Errorf("doubts %+v, want power_above_sun alone of the two", out.Doubts)
	}
}

// What the budget carries is no doubt: a panel that collapses under its cover, a step of
// one watt beside fine volts and amperes, typed decimals beside a class's usual step, a
// warm-up that nobody stated.
func TestHonestHabitsAreNoDoubt(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		rule   string
		change func(*limits.ReadingInput)
	}{
		"collapsed under its cover": {"headroom_conflict", func(in *limits.ReadingInput) {
			in.Arrangement, in.VoltageV, in.CurrentA, in.PowerW = limits.CoveredPanel, 12.9, 0.4, 5
		}},
		"a watt beside fine volts and amperes": {"resolution_coarse", func(in *limits.ReadingInput) {
			in.VoltageV, in.CurrentA, in.PowerW, in.StepW = 19, 0.19, 4, 1
		}},
		"volts and amperes coarser than the watts": {"resolution_coarse", func(in *limits.ReadingInput) {
			in.VoltageV, in.CurrentA, in.PowerW, in.StepV, in.StepW = 18, 8.42, 152, 18, 1
		}},
		"typed decimals": {"resolution_coarse", func(in *limits.ReadingInput) {
			in.VoltageV, in.CurrentA, in.PowerW, in.StepW = math.NaN(), math.NaN(), 4.5, 1
		}},
		"warm-up not stated": {"thermal_transient", func(in *limits.ReadingInput) { in.WarmUpMin = math.NaN() }},
	} {
		t.Run(name, func(t *testing.T) {
			in := honest()
			c.change(&in)
			if out := judge(in); verdictOf(out, c.rule) != limits.OK {
				t.Errorf("%s doubts it: %+v", c.rule, out.Doubts)
			}
		})
	}
	in := honest()
	in.VoltageV, in.CurrentA, in.PowerW = 12.9, 8.42, 108.6
	if got := verdictOf(judge(in), "headroom_conflict"); got != limits.Hold {
		t.Errorf("12.9 V uncovered on a battery of 13.3 V: %v, want hold", got)
	}
	in = honest()
	in.VoltageV, in.CurrentA, in.PowerW, in.StepW = math.NaN(), math.NaN(), 4, 1
	if got := verdictOf(judge(in), "resolution_coarse"); got != limits.Note {
		t.Errorf("4 W in steps of one watt alone: %v, want note", got)
	}
}

func TestTypedStep(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ value, step, want float64 }{
		{152, 1, 1}, {152.4, 1, 0.1}, {18.05, 0.1, 0.01}, {18.05, 0.05, 0.05}, {18, 0.1, 0.1}, {7.1234567, 1, 1}, {0.19, 0.01, 0.01},
	} {
		if got := limits.TypedStep(c.value, c.step); got != c.want {
			t.Errorf("TypedStep(%v, %v) = %v, want %v", c.value, c.step, got, c.want)
		}
	}
	if got := limits.TypedStep(152, math.NaN()); limits.Given(got) {
		t.Errorf("TypedStep without a step = %v, want none", got)
	}
}

// With the sun below 20 deg the margin of 30 W/m2 stands on both sides of a clear sky.
func TestLowSunMargin(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ zenith, want float64 }{{69.9, 0}, {70.1, 30}, {85, 30}} {
		if got := limits.LowSunMarginWM2(c.zenith); got != c.want {
			t.Errorf("margin at %v deg = %v, want %v", c.zenith, got, c.want)
		}
	}
	in := honest()
	in.ApparentZenithDeg, in.POAWM2, in.UPOAWM2 = 75, 150, 0
	in.ClearPOATL2WM2, in.ClearPOAHighTLWM2 = 118, 118
	if got := verdictOf(judge(in), "irradiance_above_clear_sky"); got != limits.OK {
		t.Errorf("150 W/m2 where 124 + 30 are allowed: %v", got)
	}
	in.POAWM2 = 154.5
	if got := verdictOf(judge(in), "irradiance_above_clear_sky"); got != limits.Note {
		t.Errorf("154.5 W/m2 where 123.9 + 30 are allowed: %v, want note", got)
	}
	in.POAWM2 = 64
	if got := verdictOf(judge(in), "irradiance_below_clear_sky"); got != limits.Hold {
		t.Errorf("64 W/m2 where 94.4 - 30 are the least: %v, want hold", got)
	}
	in.POAWM2 = 65
	if got := verdictOf(judge(in), "irradiance_below_clear_sky"); got != limits.Note {
		t.Errorf("65 W/m2 where 94.4 - 30 are the least: %v, want note", got)
	}
}
