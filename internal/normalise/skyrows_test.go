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
	"evensun/internal/sky"
)

type sessionChange = func(in *normalise.Input, r *fieldtest.Reading)

// estimated is the example without a light meter, changed.
func estimated(tb testing.TB, changes ...sessionChange) *normalise.Input {
	in := benchSession(tb, 1, false)
	for _, change := range changes {
		change(in, &in.Session.Readings[0])
	}
	return in
}

func watts(tb testing.TB, in *normalise.Input) float64 {
	tb.Helper()
	r := outcome(tb, in, false).Readings[0]
	if r.Result == nil {
		tb.Fatalf("no result: %s", r.Reason)
	}
	return r.Result.StcPowerW
}

func as(condition fieldtest.SkyCondition) sessionChange {
	return func(in *normalise.Input, _ *fieldtest.Reading) { in.Session.Sky.Condition = condition }
}

func linke(x float64) sessionChange {
	return func(in *normalise.Input, _ *fieldtest.Reading) { in.Session.Sky.LinkeTurbidity = &x }
}

func tilt(deg float64) sessionChange {
	return func(in *normalise.Input, _ *fieldtest.Reading) { in.Session.Plane.TiltDeg = &deg }
}

func azimuth(deg float64) sessionChange {
	return func(in *normalise.Input, _ *fieldtest.Reading) { in.Session.Plane.AzimuthDeg = &deg }
}

func albedo(x float64) sessionChange {
	return func(in *normalise.Input, _ *fieldtest.Reading) { in.Session.Site.GroundAlbedo = &x }
}

func magnetic(in *normalise.Input, _ *fieldtest.Reading) {
	in.Session.Plane.AzimuthReference = "magnetic"
}

func altitude(m *float64) sessionChange {
	return func(in *normalise.Input, _ *fieldtest.Reading) { in.Session.Site.AltitudeM = m }
}

// TestSkyInputsByTwoSessions holds the parts of the sky's inputs to two more sessions each,
// one with the input high and one with it low by its own standard uncertainty.
func TestSkyInputsByTwoSessions(t *testing.T) {
	t.Parallel()
	none := func(*normalise.Input, *fieldtest.Reading) {}
	for _, c := range []struct {
		name, part, scope string
		base, high, low   sessionChange
		dof               float64
	}{
		{"turbidity of a clear sky, 2 to 5", "turbidity", "session", as(fieldtest.Clear), linke(3.5 + 1.5/root3), linke(3.5 - 1.5/root3), sure},
		{"turbidity of haze, 4 to 8", "turbidity", "session", as(fieldtest.Haze), linke(6 + 2/root3), linke(6 - 2/root3), sure},
		{"turbidity of thin haze, 3 to 6", "turbidity", "session", as(fieldtest.ThinHaze), linke(4.5 + 1.5/root3), linke(4.5 - 1.5/root3), sure},
		{"turbidity unknown, 2 to 7", "turbidity", "session", as(fieldtest.UnknownSky), linke(4.5 + 2.5/root3), linke(4.5 - 2.5/root3), sure},
		{"turbidity stated, half 0.5", "turbidity", "session", linke(3), linke(3 + 0.5/root3), linke(3 - 0.5/root3), sure},
		{"tilt 3 deg", "tilt", "reading", none, tilt(38), tilt(32), single},
		{"azimuth 5 deg", "azimuth", "session", none, azimuth(185), azimuth(175), single},
		{"azimuth by compass 10 deg", "azimuth", "session", magnetic, azimuth(190), azimuth(170), single},
		{"albedo of dry grass 0.1", "ground", "session", none, albedo(sky.AlbedoOf("dry_grass") + 0.1/root3), albedo(sky.AlbedoOf("dry_grass") - 0.1/root3), sure},
		{"altitude 300 m +- 300 m", "altitude_not_given", "session", altitude(nil), altitude(ptr(300 + 300/root3)), altitude(ptr(300 - 300/root3)), sure},
	} {
		in := estimated(t, c.base)
		share := math.Abs(watts(t, estimated(t, c.base, c.high))-watts(t, estimated(t, c.base, c.low))) / 2 / watts(t, in)
		assertPart(t, in, rowCase{c.name, nil, c.part, share, c.scope, c.dof})
	}
}

// TestTimeByTwoSessions leaves out the time of a reading in a session of 50 minutes.
func TestTimeByTwoSessions(t *testing.T) {
	t.Parallel()
	untimed := func(in *normalise.Input, r *fieldtest.Reading) {
		end := in.Session.StartedAt.Add(minutesOf(50))
		in.Session.EndedAt, r.TakenAt = &end, nil
	}
	at := func(minutes float64) sessionChange {
		return func(in *normalise.Input, r *fieldtest.Reading) {
			untimed(in, r)
			when := in.Session.StartedAt.Add(minutesOf(minutes))
			r.TakenAt = &when
		}
	}
	in := estimated(t, untimed)
	near(t, "power by the middle", watts(t, in), watts(t, estimated(t, at(25))), 1e-6)
	u := 25 / root3
	share := math.Abs(watts(t, estimated(t, at(25+u)))-watts(t, estimated(t, at(25-u)))) / 2 / watts(t, in)
	assertPart(t, in, rowCase{"time not given", nil, "time_not_given", share, "reading", sure})
	assertPart(t, estimated(t, at(25)), rowCase{"time given", nil, "time_not_given", 0, "", 0})
}

// closedForms are the sensitivities of an estimate at its own light and temperature:
// to the light as a whole, which heats the panel too, to what the cells make of it alone,
// and to the temperature.
func closedForms(r *fieldtest.Result, airC float64) (sLight, sOptics, sK float64) {
	d := 1 - 0.0035*(r.CellC-25)
	l := math.Log(r.EffectiveWM2 / 1000)
	e := 1 - 0.006756*l - 0.016444*l*l
	sOptics = 1 + (-0.006756-2*0.016444*l)/e
	return sOptics - 0.0035*(r.CellC-airC)/d, sOptics, 0.0035 / d
}

// TestEstimatedRows holds the other rows of an estimate to the closed forms.
func TestEstimatedRows(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		condition fieldtest.SkyCondition
		state     float64
	}{{fieldtest.Clear, 0.03}, {fieldtest.Haze, 0.06}, {fieldtest.ThinHaze, 0.06}, {fieldtest.UnknownSky, 0.10}} {
		in := estimated(t, as(c.condition), altitude(ptr(1500)))
		steps := outcome(t, in, true).Readings[0]
		light, optics, perK := closedForms(steps.Result, 24)
		beam := stepNamed(steps.Derivation, "incidence_modifier").Outputs["beam"].(float64)
		name := "estimate under " + string(c.condition)
		for _, row := range []rowCase{
			{name, nil, "sky_model", 0.04 * light, "session", single},
			{name, nil, "state_of_the_sky", c.state * light, "session", single},
			{name, nil, "cover", (0.25*(1-beam) + 0.005) * optics, "common", single},
			{name, nil, "spectrum", 0.015 * optics, "session", single},
			{name, nil, "place_rounded", beamPart(steps) * 0.04 * math.Pi / 180 * light, "session", single},
			{name, nil, "air", 1 * perK, "session", single},
			{name, nil, "temperature_model", 2 * perK, "model", single},
			{name, nil, "temperature_common", 3.5 * perK, "common", single},
		} {
			assertPart(t, in, row)
		}
	}
}

// beamPart is the share of the beam times the tangent of its incidence, from the
// derivation.
func beamPart(j normalise.Judged) float64 {
	onPlane := stepNamed(j.Derivation, "transposition").Outputs
	angle := stepNamed(j.Derivation, "incidence").Outputs["angle_deg"].(float64)
	return onPlane["beam_w_m2"].(float64) / onPlane["poa_w_m2"].(float64) * math.Tan(angle*math.Pi/180)
}

// TestHighSite takes the same estimate up: above 2000 m the model of the sky is less sure.
func TestHighSite(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ altitudeM, share float64 }{{0, 0.04}, {2000, 0.04}, {3000, math.Hypot(0.04, 0.05/root3)}, {4000, math.Hypot(0.04, 0.10/root3)}} {
		in := estimated(t, as(fieldtest.Clear), altitude(&c.altitudeM))
		light, _, _ := closedForms(outcome(t, in, false).Readings[0].Result, 24)
		assertPart(t, in, rowCase{"high site", nil, "sky_model", c.share * light, "session", single})
	}
}

// TestHighSiteExpectation holds the light of an estimate to the middle of what a clear sky
// may send: the model's where it is trusted, 10 % less at 4000 m, 15 % less at 6000 m. A
// measured light stays as it is.
func TestHighSiteExpectation(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ altitudeM, factor float64 }{{0, 1}, {2000, 1}, {3000, 0.95}, {4000, 0.90}, {6000, 0.85}} {
		j := outcome(t, estimated(t, as(fieldtest.Clear), altitude(&c.altitudeM)), true).Readings[0]
		model := stepNamed(j.Derivation, "transposition").Outputs["poa_w_m2"].(float64)
		used := stepNamed(j.Derivation, "effective_irradiance").Inputs["poa_w_m2"].(float64)
		near(t, fmt.Sprintf("light at %v m over the model's", c.altitudeM), used/model, c.factor, 1e-9)
	}
	high := 4000.0
	metered := benchSession(t, 1, true)
	metered.Session.Site.AltitudeM = &high
	near(t, "measured light", outcome(t, metered, false).Readings[0].Result.EffectiveWM2, 912, 1e-9)
}

// TestFromHorizontalIsSaid gives a horizontal light only: that its split is a guess must
// stand beside the result.
func TestFromHorizontalIsSaid(t *testing.T) {
	t.Parallel()
	in := benchSession(t, 1, true)
	in.Session.Readings[0].Irradiance = fieldtest.Irradiance{GHIWM2: ptr(880), Sensor: fieldtest.ThermopilePyranometer}
	r := outcome(t, in, false).Readings[0].Result
	if r == nil || r.IrradianceOrigin != fieldtest.OriginFromGHI || !slices.ContainsFunc(r.Defaults, func(d string) bool { return strings.Contains(d, "clearness") }) {
		t.Errorf("result by a horizontal meter %+v, want one that names the split among its defaults", r)
	}
}

// TestPlaneRows holds the error of a meter's plane, and of a place, to beam share times
// tangent of incidence times angle.
func TestPlaneRows(t *testing.T) {
	t.Parallel()
	clear := outcome(t, estimated(t, as(fieldtest.Clear)), true).Readings[0]
	deg := math.Pi / 180
	metered := func(change sessionChange) *normalise.Input {
		in := benchSession(t, 1, true)
		change(in, &in.Session.Readings[0])
		return in
	}
	sensor := func(s fieldtest.Sensor) sessionChange {
		return func(_ *normalise.Input, r *fieldtest.Reading) { r.Irradiance.Sensor = s }
	}
	rounded := func(d float64) sessionChange {
		return func(in *normalise.Input, r *fieldtest.Reading) {
			r.Irradiance.Sensor, in.Session.Site.PlaceRoundingDeg = fieldtest.ThermopilePyranometer, &d
		}
	}
	for _, c := range []rowCase{
		{"held beside", sensor(fieldtest.ReferenceCell), "plane", beamPart(clear) * 1.5 * deg * sLight, "reading", single},
		{"fixed to the frame", sensor(fieldtest.ReferencePanel), "plane", beamPart(clear) * 0.5 * deg * sLight, "reading", single},
		{"cell needs no place", sensor(fieldtest.ReferenceCell), "place_rounded", 0, "", 0},
		{"place to 0.1", rounded(0.1), "place_rounded", beamPart(clear) * 0.04 * deg * sLight, "session", single},
		{"place to 0.01", rounded(0.01), "place_rounded", beamPart(clear) * 0.004 * deg * sLight, "session", single},
		{"place as given", rounded(0), "place_rounded", 0, "", 0},
	} {
		assertPart(t, metered(c.change), c)
	}
}

// TestRestOfTheRows: a plane nobody stated, light made of a level meter's, a rear, air
// without wind and nothing known of heat.
func TestRestOfTheRows(t *testing.T) {
	t.Parallel()
	level := func(_ *normalise.Input, r *fieldtest.Reading) {
		r.Irradiance = fieldtest.Irradiance{GHIWM2: ptr(980), Sensor: fieldtest.SiliconPyranometer}
	}
	in := estimated(t, level)
	light, _, _ := closedForms(outcome(t, in, false).Readings[0].Result, 24)
	assertPart(t, in, rowCase{"from level light", nil, "split_of_horizontal", 0.06 * light, "session", single})
	assertPart(t, in, rowCase{"from level light", nil, "light_meter", 0.025 * light, "rig", single})

	cold := estimated(t, func(in *normalise.Input, _ *fieldtest.Reading) { in.Session.Weather = fieldtest.Weather{} })
	_, _, perK := closedForms(outcome(t, cold, false).Readings[0].Result, 20)
	assertPart(t, cold, rowCase{"nothing known of heat", nil, "temperature_session", 12 * perK, "session", single})

	for _, c := range []struct {
		name string
		wind *float64
		u    float64
	}{{"wind measured", ptr(1.5), 1}, {"wind assumed", nil, 1.5 / root3}} {
		in := estimated(t, func(in *normalise.Input, _ *fieldtest.Reading) { in.Session.Weather.WindSpeedMS = c.wind })
		j := outcome(t, in, true).Readings[0]
		poa := stepNamed(j.Derivation, "transposition").Outputs["poa_w_m2"].(float64)
		_, _, perK := closedForms(j.Result, 24)
		assertPart(t, in, rowCase{c.name, nil, "wind", c.u * perK * poa * 0.075 * math.Exp(-3.56-0.075*1.5), "session", single})
	}
}

// TestRearRows lights the rear of a two-sided panel: measured 5 %, else 40 % of which 25 %
// belong to the model's bifaciality.
func TestRearRows(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name       string
		rear       *float64
		own, model float64
	}{{"measured", ptr(90), 0.05, 0.05}, {"estimated", nil, math.Sqrt(0.16 - 0.0625), 0.25}} {
		in := benchSession(t, 1, true)
		in.Panels[0].Construction.Bifaciality = ptr(0.7)
		in.Session.Readings[0].Irradiance.RearWM2 = c.rear
		j := outcome(t, in, true).Readings[0]
		rear := stepNamed(j.Derivation, "effective_irradiance").Outputs["rear_w_m2"].(float64)
		_, optics, _ := closedForms(j.Result, 24)
		share := 0.7 * rear / j.Result.EffectiveWM2 * optics
		assertPart(t, in, rowCase{"rear " + c.name, nil, "rear_light", c.own * share, "reading", single})
		assertPart(t, in, rowCase{"rear " + c.name, nil, "bifaciality", c.model * share, "model", single})
	}
}

func minutesOf(x float64) time.Duration { return time.Duration(x * float64(time.Minute)) }
