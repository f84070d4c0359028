package normalise_test

import (
	"math"
	"testing"

	"evensun/internal/fieldtest"
	"evensun/internal/normalise"
)

// A rowCase isolates one row of the table of default inputs: the example's first reading,
// changed, and what that row must add to its budget.
type rowCase struct {
	name   string
	change func(in *normalise.Input, r *fieldtest.Reading)
	part   string
	share  float64 // relative standard uncertainty times relative sensitivity
	scope  string
	dof    float64
}

// Sensitivities of the example by the closed forms, G 912 W/m2, back 47.5 C, gamma
// -0.0035/K: D = 1 - 0.0035 (50.236 - 25), L = ln 0.912, e = 1 - 0.006756 L - 0.016444 L^2.
const (
	sTemperature = 0.0035 / 0.911674 // per K
	sPower       = 0.974013          // (P - I^2 R)/P at the terminals
	sCable       = 0.025987          // I^2 R/P
	sLight       = 0.985772          // metered, back sensor
	sOptics      = 0.996275          // of the effective irradiance alone: 1 + (k1 + 2 k2 L)/e
	lowLog       = 0.092115          // |L|
	exampleW     = 152.0
)

var (
	root3  = math.Sqrt(3)
	single = 8.0
	sure   = math.Inf(1)
)

// plain takes from the example's rig what it states of itself, so that its class counts.
func plain(in *normalise.Input) {
	in.Rig.Accuracy, in.Rig.Resolution = fieldtest.Accuracy{}, fieldtest.Resolution{}
}

func class(i fieldtest.Instrument) func(*normalise.Input, *fieldtest.Reading) {
	return func(in *normalise.Input, _ *fieldtest.Reading) { plain(in); in.Rig.Instrument = i }
}

func product(i fieldtest.Instrument) func(*normalise.Input, *fieldtest.Reading) {
	return func(in *normalise.Input, r *fieldtest.Reading) { class(i)(in, r); r.PowerW = nil }
}

func instrumentRows() []rowCase {
	var rows []rowCase
	for _, c := range []struct {
		kind               fieldtest.Instrument
		rig, reading, step float64
	}{
		{fieldtest.BenchMeter, 0.0016, 0.0007, 0.01}, {fieldtest.DataLogger, 0.0045, 0.0015, 0.1}, {fieldtest.InlineMeter, 0.012, 0.003, 0.1},
		{fieldtest.ControllerDisplay, 0.015, 0.003, 1}, {fieldtest.OtherInstrument, 0.025, 0.006, 1}, {"", 0.025, 0.006, 1},
	} {
		name := "power of " + string(c.kind)
		rows = append(rows,
			rowCase{name, class(c.kind), "meter", c.rig * sPower, "rig", single},
			rowCase{name, class(c.kind), "flicker", c.reading * sPower, "reading", single},
			rowCase{name, class(c.kind), "display_step", c.step / (2 * root3) / exampleW * sPower, "reading", sure})
	}
	for _, c := range []struct {
		kind         fieldtest.Instrument
		rigV, rigA   float64
		readV, readA float64
		stepV, stepA float64
	}{
		{fieldtest.BenchMeter, 0.0005, 0.0015, 0.0005, 0.0005, 0.001, 0.001}, {fieldtest.DataLogger, 0.002, 0.004, 0.001, 0.001, 0.01, 0.01},
		{fieldtest.InlineMeter, 0.006, 0.010, 0.002, 0.002, 0.01, 0.01}, {fieldtest.ControllerDisplay, 0.006, 0.012, 0.002, 0.003, 0.1, 0.1},
		{fieldtest.ClampMeter, 0.005, 0.015, 0.002, 0.06 / 8.42, 0.01, 0.1}, {fieldtest.OtherInstrument, 0.010, 0.020, 0.003, 0.005, 0.1, 0.1},
	} {
		name := "volts and amperes of " + string(c.kind)
		rows = append(rows,
			rowCase{name, product(c.kind), "meter", math.Hypot(c.rigV, c.rigA) * sPower, "rig", single},
			rowCase{name, product(c.kind), "flicker", math.Hypot(c.readV, c.readA) * sPower, "reading", single},
			rowCase{name, product(c.kind), "display_step", math.Hypot(c.stepV/18.1, c.stepA/8.42) / (2 * root3) * sPower, "reading", sure})
	}
	return append(rows,
		rowCase{"stated accuracy", func(*normalise.Input, *fieldtest.Reading) {}, "meter", 0.02 / root3 * sPower, "rig", single})
}

// light puts a light meter in place of the example's.
func light(i fieldtest.Irradiance) func(*normalise.Input, *fieldtest.Reading) {
	return func(_ *normalise.Input, r *fieldtest.Reading) { i.POAWM2 = ptr(912); r.Irradiance = i }
}

func lightRows() []rowCase {
	yes := true
	var rows []rowCase
	for _, c := range []struct {
		name                   string
		meter                  fieldtest.Irradiance
		rig, spectrum, reading float64
		dof                    float64
	}{
		{"cell with certificate", fieldtest.Irradiance{Sensor: fieldtest.ReferenceCell, Calibrated: &yes}, 0.015, 0.005, 0.003, 50},
		{"cell without", fieldtest.Irradiance{Sensor: fieldtest.ReferenceCell}, 0.03, 0.005, 0.003, single},
		{"reference panel", fieldtest.Irradiance{Sensor: fieldtest.ReferencePanel}, 0.02, 0.005, 0.003, single},
		{"thermopile A", fieldtest.Irradiance{Sensor: fieldtest.ThermopilePyranometer, ISO9060Class: "A"}, 0.01, 0.015, 0.005, single},
		{"thermopile B", fieldtest.Irradiance{Sensor: fieldtest.ThermopilePyranometer, ISO9060Class: "B"}, 0.02, 0.015, 0.005, single},
		{"thermopile C", fieldtest.Irradiance{Sensor: fieldtest.ThermopilePyranometer, ISO9060Class: "C"}, 0.04, 0.015, 0.005, single},
		{"thermopile of no class", fieldtest.Irradiance{Sensor: fieldtest.ThermopilePyranometer}, 0.02, 0.015, 0.005, single},
		{"silicon pyranometer", fieldtest.Irradiance{Sensor: fieldtest.SiliconPyranometer}, 0.025, 0.015, 0.005, single},
		{"other sensor", fieldtest.Irradiance{Sensor: fieldtest.OtherSensor}, 0.05, 0.02, 0.01, single},
		{"sensor not named", fieldtest.Irradiance{}, 0.05, 0.02, 0.01, single},
	} {
		rows = append(rows,
			rowCase{c.name, light(c.meter), "light_meter", c.rig * sLight, "rig", c.dof},
			rowCase{c.name, light(c.meter), "light_spectrum", c.spectrum * sLight, "session", single},
			rowCase{c.name, light(c.meter), "light_not_simultaneous", c.reading * sLight, "reading", single})
	}
	thermopile := light(fieldtest.Irradiance{Sensor: fieldtest.ThermopilePyranometer})
	return append(rows,
		rowCase{"weight of the angle", thermopile, "light_angular", 0.005 * sOptics, "common", single},
		rowCase{"a cell needs none", light(fieldtest.Irradiance{Sensor: fieldtest.ReferenceCell}), "light_angular", 0, "", 0},
		rowCase{"spectrum of thin film", func(in *normalise.Input, _ *fieldtest.Reading) { in.Panels[0].Construction.Technology = fieldtest.CIGS }, "light_spectrum", 0.01 * sLight, "session", single},
		rowCase{"haze", func(in *normalise.Input, _ *fieldtest.Reading) { in.Session.Sky.Condition = fieldtest.Haze }, "unsteady_light", 0.01 * sLight, "reading", single},
		rowCase{"clear", func(*normalise.Input, *fieldtest.Reading) {}, "unsteady_light", 0, "", 0})
}

func back(sensor fieldtest.BackSensor) func(*normalise.Input, *fieldtest.Reading) {
	return func(_ *normalise.Input, r *fieldtest.Reading) { r.BackTemperatureSensor = sensor }
}

func warm(minutes *float64) func(*normalise.Input, *fieldtest.Reading) {
	return func(_ *normalise.Input, r *fieldtest.Reading) { r.WarmUpMin = minutes }
}

func temperatureRows() []rowCase {
	return []rowCase{
		{"thermocouple", back(fieldtest.Thermocouple), "temperature_sensor", 1 * sTemperature, "rig", single},
		{"thermocouple", back(fieldtest.Thermocouple), "temperature_reading", 1 * sTemperature, "reading", single},
		{"thermocouple", back(fieldtest.Thermocouple), "back_to_cell", 2 / root3 * 0.912 * sTemperature, "common", sure},
		{"sensor not named", back(""), "temperature_sensor", 1 * sTemperature, "rig", single},
		{"infrared on the back", back(fieldtest.InfraredBack), "temperature_sensor", 2 * sTemperature, "rig", single},
		{"infrared on the back", back(fieldtest.InfraredBack), "temperature_reading", 2 * sTemperature, "reading", single},
		{"infrared on the back", back(fieldtest.InfraredBack), "back_to_cell", 2 / root3 * 0.912 * sTemperature, "common", sure},
		{"infrared on the front", back(fieldtest.InfraredFront), "temperature_sensor", 2 * sTemperature, "rig", single},
		{"infrared on the front", back(fieldtest.InfraredFront), "temperature_session", 3 * sTemperature, "session", single},
		{"infrared on the front", back(fieldtest.InfraredFront), "temperature_reading", 2 * sTemperature, "reading", single},
		{"infrared on the front", back(fieldtest.InfraredFront), "front_to_cell", 1 * 0.912 * sTemperature, "common", single},
		{"warm", warm(ptr(5)), "warm_up", 0, "", 0},
		{"too short in the sun", warm(ptr(4)), "warm_up", 5 * sTemperature, "reading", single},
		{"time in the sun not stated", warm(nil), "warm_up", 3 * sTemperature, "reading", single},
	}
}

func side(s fieldtest.Side, efficiency *float64) func(*normalise.Input, *fieldtest.Reading) {
	return func(in *normalise.Input, _ *fieldtest.Reading) {
		in.Rig.PowerReadAt, in.Rig.ConverterEfficiency, in.Rig.Cable.LengthM = s, efficiency, ptr(0)
	}
}

func wiringRows() []rowCase {
	none := func(in *normalise.Input, _ *fieldtest.Reading) { in.Rig.Cable = fieldtest.Cable{} }
	kind := func(k fieldtest.RigKind) func(*normalise.Input, *fieldtest.Reading) {
		return func(in *normalise.Input, _ *fieldtest.Reading) { in.Rig.Kind = k }
	}
	classed := func(in *normalise.Input, r *fieldtest.Reading) { plain(in) }
	panelW := exampleW/0.96 + 1
	return []rowCase{
		{"tracker", kind(fieldtest.MPPTController), "tracker", 0.005 / root3 / 0.995, "rig", sure},
		{"electronic load", kind(fieldtest.ElectronicLoad), "tracker", 0, "", 0},
		{"cable stated", classed, "cable_resistance", 0.25 / root3 * sCable, "rig", sure},
		{"cable stated", classed, "cable_current", 0.012 * 2 * sCable, "rig", single},
		{"cable stated", classed, "cable_not_stated", 0, "", 0},
		{"cable not stated", none, "cable_not_stated", 0.02 / root3 / 1.02, "rig", sure},
		{"cable not stated", none, "cable_resistance", 0, "", 0},
		{"battery side", side(fieldtest.BatterySide, nil), "converter", 0.035 / root3 / 0.96 * (exampleW / 0.96 / panelW), "rig", sure},
		{"battery side", side(fieldtest.BatterySide, nil), "converter_own_use", 1 / panelW, "rig", single},
		{"battery side, stated", side(fieldtest.BatterySide, ptr(0.95)), "converter", 0.02 / root3 / 0.95 * (exampleW / 0.95 / (exampleW/0.95 + 1)), "rig", sure},
		{"side unknown", side(fieldtest.UnknownSide, nil), "side_not_stated", 0.025 / root3 / 1.025, "rig", sure},
		{"panel side", side(fieldtest.PanelSide, nil), "side_not_stated", 0, "", 0},
	}
}

func translationRows() []rowCase {
	asIs := func(*normalise.Input, *fieldtest.Reading) {}
	class := func(in *normalise.Input, _ *fieldtest.Reading) { in.Panels[0].Nameplate.GammaPmaxPerK = nil }
	film := func(in *normalise.Input, _ *fieldtest.Reading) { in.Panels[0].Construction.Technology = fieldtest.CIGS }
	return []rowCase{
		{"gamma stated", asIs, "temperature_coefficient", 0.0005 / root3 * 25.236 / 0.911674, "model", sure},
		{"gamma by class", class, "temperature_coefficient", 0.0010 / root3 * 25.236 / 0.911674, "model", sure},
		{"low light, crystalline", asIs, "low_light_efficiency", 0.030 * lowLog / 1.000483, "model", single},
		{"low light, thin film", film, "low_light_efficiency", 0.10 * lowLog / 1.000483, "model", single},
		{"translation", asIs, "translation", 0.003, "common", single},
	}
}

// TestRows holds every row of the table of default inputs that a metered reading can have
// to its size, its scope and its degrees of freedom, by hand from the closed forms of the
// sensitivities. Sizes agree within 1 % and the third order of the part, which the budget's
// differences have and the closed forms have not.
func TestRows(t *testing.T) {
	t.Parallel()
	var rows []rowCase
	for _, group := range [][]rowCase{instrumentRows(), lightRows(), temperatureRows(), wiringRows(), translationRows()} {
		rows = append(rows, group...)
	}
	for _, c := range rows {
		in := benchSession(t, 1, true)
		c.change(in, &in.Session.Readings[0])
		assertPart(t, in, c)
	}
}

func assertPart(t *testing.T, in *normalise.Input, c rowCase) {
	t.Helper()
	chain, err := normalise.NewChain(in)
	if err != nil {
		t.Fatal(err)
	}
	share, scope, dof := chain.Part(0, c.part)
	if dof > 1e300 {
		dof = sure
	}
	if scope != c.scope || dof != c.dof || !(math.Abs(share-c.share) <= 0.01*c.share+c.share*c.share*c.share) {
		t.Errorf("%s: part %s = %.6f, %q, dof %v; want %.6f, %q, dof %v", c.name, c.part, share, scope, dof, c.share, c.scope, c.dof)
	}
}
