package normalise_test

import (
	"testing"
	"time"

	"evensun/internal/fieldtest"
	"evensun/internal/normalise"
)

// pairSession is a tilted reading and, minutes later, a second one of the same unit, none
// of them metered.
func pairSession(tb testing.TB, minutes float64, change func(second *fieldtest.Reading)) *normalise.Input {
	in := benchSession(tb, 2, false)
	second := &in.Session.Readings[1]
	at := in.Session.Readings[0].TakenAt.Add(time.Duration(minutes * float64(time.Minute)))
	second.TakenAt = &at
	change(second)
	return in
}

func coverQuarter(r *fieldtest.Reading) {
	r.Arrangement = fieldtest.Covered
	r.Cover = &fieldtest.Cover{SectionsCovered: 1, SectionsTotal: 4, ReferenceLabel: "0"}
	r.PowerW, r.CurrentA = ptr(110), ptr(6.1)
}

func layFlat(r *fieldtest.Reading) {
	r.Arrangement, r.PowerW, r.VoltageV, r.CurrentA = fieldtest.Flat, ptr(141), nil, nil
}

// moveTo shifts a session in time.
func moveTo(in *normalise.Input, hours float64) {
	shift := time.Duration(hours * float64(time.Hour))
	in.Session.StartedAt = in.Session.StartedAt.Add(shift)
	in.Session.EndedAt = nil
	for i := range in.Session.Readings {
		at := in.Session.Readings[i].TakenAt.Add(shift)
		in.Session.Readings[i].TakenAt = &at
	}
}

// TestRatioWithoutResult takes readings that have no result of their own, by clouds or by
// a low sun: their ratio to a neighbour stands in the derivation as long as the sun did
// not drift, and not otherwise.
func TestRatioWithoutResult(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name    string
		minutes float64
		hours   float64
		sky     fieldtest.SkyCondition
		second  func(*fieldtest.Reading)
		reason  string
		step    string
		given   bool
	}{
		{"covered, clouds, one minute", 1, 0, fieldtest.BrokenCloud, coverQuarter, "sky_not_clear", "shading", true},
		{"covered, clouds, three minutes", 3, 0, fieldtest.BrokenCloud, coverQuarter, "sky_not_clear", "shading", false},
		{"covered, low sun", 1, 7.4, fieldtest.Clear, coverQuarter, "sun_too_low", "shading", true},
		{"covered, low sun, half an hour", 25, 7.4, fieldtest.Clear, coverQuarter, "sun_too_low", "shading", false},
		{"flat, noon", 4, 0, fieldtest.Clear, layFlat, "", "flat", true},
		{"flat, noon, forty minutes", 40, 0, fieldtest.Clear, layFlat, "", "flat", false},
		{"flat, low sun", 1, 7.4, fieldtest.Clear, layFlat, "sun_too_low", "flat", true},
		{"flat, low sun, half an hour", 25, 7.4, fieldtest.Clear, layFlat, "sun_too_low", "flat", false},
		{"flat, clouds", 1, 0, fieldtest.BrokenCloud, layFlat, "sky_not_clear", "flat", false},
	} {
		in := pairSession(t, c.minutes, c.second)
		in.Session.Sky.Condition = c.sky
		moveTo(in, c.hours)
		got := outcome(t, in, true).Readings[1]
		step := stepNamed(got.Derivation, c.step)
		kept, given := step.Outputs["retained"].(float64)
		if got.Reason != c.reason || given != c.given || given && !(kept > 0) {
			t.Errorf("%s: reason %q, %s step %v; want reason %q, a ratio: %v", c.name, got.Reason, c.step, step.Outputs, c.reason, c.given)
		}
		if (got.Result == nil) != (c.reason != "") {
			t.Errorf("%s: result %v with reason %q", c.name, got.Result, c.reason)
		}
	}
}

// TestRatioIsOfTheReading covers a quarter under clouds and in the sun: what the panel
// kept is the quotient of the powers in both.
func TestRatioIsOfTheReading(t *testing.T) {
	t.Parallel()
	for _, sky := range []fieldtest.SkyCondition{fieldtest.Clear, fieldtest.BrokenCloud} {
		in := pairSession(t, 0.5, coverQuarter)
		in.Session.Sky.Condition = sky
		kept := stepNamed(outcome(t, in, true).Readings[1].Derivation, "shading").Outputs["retained"].(float64)
		near(t, "retained under "+string(sky), kept, 110.0/152.0, 0.001)
	}
}

// TestNoRatioWithoutMaximum holds a controller that finds no maximum to no ratio of flat
// and tilted, whatever reason comes first.
func TestNoRatioWithoutMaximum(t *testing.T) {
	t.Parallel()
	for _, hours := range []float64{0, 7.4} {
		in := pairSession(t, 1, layFlat)
		in.Session.Sky.Condition, in.Rig.Kind = fieldtest.Clear, fieldtest.PWMController
		moveTo(in, hours)
		if step := stepNamed(outcome(t, in, true).Readings[1].Derivation, "flat"); step.Step != "" {
			t.Errorf("%v h later: flat step %v, want none", hours, step.Outputs)
		}
	}
}

// TestPairsOfManyModels lays the last of six panel models flat after its tilted reading:
// it has its ratio like the first one of a session.
func TestPairsOfManyModels(t *testing.T) {
	t.Parallel()
	in := pairSession(t, 5, layFlat)
	pair, model := in.Session.Readings, in.Panels[0]
	in.Session.Readings, in.Panels = nil, nil
	for range 5 {
		other := *model
		in.Session.Readings, in.Panels = append(in.Session.Readings, pair[0]), append(in.Panels, &other)
	}
	in.Session.Readings, in.Panels = append(in.Session.Readings, pair...), append(in.Panels, model, model)
	if r := outcome(t, in, false).Readings[6].Result; r == nil || r.Retention == nil {
		t.Errorf("flat reading of the sixth model: result %+v, want one with its ratio to the tilted reading", r)
	}
}
