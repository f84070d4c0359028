package conclusion_test

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"evensun/internal/conclusion"
	"evensun/internal/diode"
	"evensun/internal/fieldtest"
)

func pointer[T any](x T) *T { return &x }

func tester(n byte) uuid.UUID { return uuid.UUID{15: n} }

// kept is a reading with one of four sections in the dark.
func kept(by byte, retained, voltage float64) conclusion.Covered {
	k := &fieldtest.Retention{Measure: fieldtest.ShadeRetention, Value: retained, U: 0.02, SectionsCovered: pointer(1), SectionsTotal: pointer(4), Transmission: pointer(0.05)}
	if voltage > 0 {
		k.VoltageRatio = &voltage
	}
	return conclusion.Covered{TesterID: tester(by), Specimen: "unit-1", Retention: k}
}

func TestWiringOf(t *testing.T) {
	t.Parallel()
	var l diode.Library
	for name, c := range map[string]struct {
		readings                          []conclusion.Covered
		want                              string
		units, testers, voltages, decides int
	}{
		"parallel by two testers": {[]conclusion.Covered{kept(1, 0.75, 0.99), kept(1, 0.76, 1), kept(2, 0.75, 1)}, "parallel", 2, 2, 3, 0},
		"bypass diodes":           {[]conclusion.Covered{kept(1, 0.73, 0.73), kept(2, 0.74, 0.74)}, "series_bypass", 2, 2, 2, 0},
		"without a voltage":       {[]conclusion.Covered{kept(1, 0.74, 0), kept(2, 0.74, 0)}, "undecided", 2, 2, 0, 1},
		"they contradict":         {[]conclusion.Covered{kept(1, 0.75, 1), kept(2, 0.73, 0.73)}, "undecided", 2, 2, 2, 1},
		"none":                    {nil, "undecided", 0, 0, 0, 1},
	} {
		got := conclusion.WiringOf(&l, c.readings, pointer(6))
		if got.Conclusion != c.want || got.Readings != len(c.readings) || got.Units != c.units || got.Testers != c.testers || got.WithVoltage != c.voltages {
			t.Errorf("%s: %+v", name, got)
		}
		p := got.Posterior
		if sum := p.Series + p.SeriesBypass + p.Parallel + p.TwoStrings; math.Abs(sum-1) > 1e-5 {
			t.Errorf("%s: posterior adds to %v", name, sum)
		}
		if (got.Decides != nil) != (c.decides == 1) || got.Sentence == "" {
			t.Errorf("%s: decides %+v, %q", name, got.Decides, got.Sentence)
		}
		slices.Reverse(c.readings)
		if again := conclusion.WiringOf(&l, c.readings, pointer(6)); again.Posterior != got.Posterior || again.Sentence != got.Sentence {
			t.Errorf("%s: backwards %+v", name, again)
		}
	}
	first := conclusion.WiringOf(&l, nil, pointer(6)).Decides
	if first.SectionsCovered != 1 || *first.SectionsTotal != 6 || first.Chance != nil || !strings.Contains(first.Sentence, "1 of 6 sections") {
		t.Errorf("to begin with: %+v", first)
	}
	next := conclusion.WiringOf(&l, []conclusion.Covered{kept(1, 0.74, 0)}, nil).Decides
	if next.Chance == nil || !(*next.Chance > 0.5) || *next.SectionsTotal != 4 || !strings.Contains(next.Sentence, "volts") {
		t.Errorf("next: %+v", next)
	}
}

// Of a collapse no single controller can tell why: a sweep can, and no chance is told.
func TestWiringOfACollapse(t *testing.T) {
	t.Parallel()
	var l diode.Library
	got := conclusion.WiringOf(&l, []conclusion.Covered{kept(1, 0.05, 0), kept(1, 0.06, 0)}, nil)
	if got.Conclusion != "undecided" || got.Decides == nil || got.Decides.Chance != nil || !strings.Contains(got.Decides.Sentence, "sweep") {
		t.Errorf("%+v", got)
	}
	swept := kept(1, 0.05, 0)
	swept.Swept = true
	if got := conclusion.WiringOf(&l, []conclusion.Covered{swept}, nil); got.Conclusion != "series" {
		t.Errorf("swept: %+v", got)
	}
}

// What is no covered reading, or says too little of its cover, says nothing.
func TestWiringLeavesOutWhatIsNoCover(t *testing.T) {
	t.Parallel()
	var l diode.Library
	flat, bare, wild := kept(1, 0.75, 1), kept(1, 0.75, 1), kept(1, 0.75, 1)
	flat.Retention.Measure = fieldtest.FlatRetention
	bare.Retention.SectionsTotal = nil
	wild.Retention.Value = 7
	got := conclusion.WiringOf(&l, []conclusion.Covered{flat, bare, wild, {TesterID: tester(1)}}, nil)
	if got.Readings != 0 || got.Conclusion != "undecided" {
		t.Errorf("%+v", got)
	}
}

// The tester sees each unit that the session covered, and only those.
func TestSessionWirings(t *testing.T) {
	t.Parallel()
	var l diode.Library
	slug := "tarn-fold-200"
	reading := func(model *string, unit string, arrangement fieldtest.Arrangement, k *fieldtest.Retention) fieldtest.JudgedReading {
		return fieldtest.JudgedReading{PanelModel: model, Specimen: unit, Arrangement: arrangement, Kind: fieldtest.OperatingPoint, Result: &fieldtest.Result{Retention: k}}
	}
	got := conclusion.SessionWirings(&l, []fieldtest.JudgedReading{
		reading(&slug, "unit-1", fieldtest.Tilted, nil),
		reading(&slug, "unit-1", fieldtest.Covered, kept(0, 0.75, 1).Retention),
		reading(nil, "unit-1", fieldtest.Covered, kept(0, 0.73, 0.73).Retention),
		reading(&slug, "unit-2", fieldtest.Covered, nil),
		reading(&slug, "unit-1", fieldtest.Covered, kept(0, 0.76, 0.99).Retention),
		{PanelModel: &slug, Specimen: "unit-2", Arrangement: fieldtest.Covered},
	})
	var told []string
	for _, c := range got {
		name := "inline"
		if c.PanelModel != nil {
			name = *c.PanelModel
		}
		told = append(told, name+" "+c.Specimen+" "+c.Wiring.Conclusion)
	}
	want := []string{"tarn-fold-200 unit-1 parallel", "inline unit-1 series_bypass", "tarn-fold-200 unit-2 undecided"}
	if !slices.Equal(told, want) || got[0].Wiring.Readings != 2 {
		t.Errorf("%v, want %v", told, want)
	}
	if none := conclusion.SessionWirings(&l, nil); none == nil || len(none) != 0 {
		t.Errorf("nothing covered: %v", none)
	}
}

func TestShadeOf(t *testing.T) {
	t.Parallel()
	ranked := conclusion.ShadeOf(1.0/3, &fieldtest.MeasureEntry{Entry: &fieldtest.Entry{Estimate: 0.65, EstimateU: 0.01, EstimateLo: 0.62, EstimateHi: 0.68, Readings: 9, Sessions: 4, Testers: 3}})
	if !ranked.Ranked || *ranked.Kept != 0.65 || *ranked.KeptLo != 0.62 || ranked.Testers != 3 || ranked.Needs != "" || ranked.Cover != 0.333333 {
		t.Errorf("ranked: %+v", ranked)
	}
	early := conclusion.ShadeOf(0.25, &fieldtest.MeasureEntry{Unranked: &fieldtest.Unranked{Estimate: pointer(0.5), EstimateU: pointer(0.02), Needs: "a second session", Readings: 1}})
	if early.Ranked || math.Abs(*early.KeptLo-0.4608) > 1e-9 || math.Abs(*early.KeptHi-0.5392) > 1e-9 || early.Needs != "a second session" {
		t.Errorf("early: %+v", early)
	}
	if none := conclusion.ShadeOf(0.5, nil); none.Kept != nil || none.Needs == "" {
		t.Errorf("none: %+v", none)
	}
}

// Worked example of flat against tilted (39.7 N): in June the sun's height leaves 0.980 and
// the heat 0.946 of it, in December 0.530 and 1.007; what is left of a sound panel is 1.
func TestFlatOf(t *testing.T) {
	t.Parallel()
	flat := func(sun, heat, rest float64) *fieldtest.Retention {
		return &fieldtest.Retention{Measure: fieldtest.FlatRetention, Value: rest, SunPart: &sun, HeatPart: &heat, Rest: &rest}
	}
	readings := []*fieldtest.Retention{flat(0.980223, 0.946061, 1), flat(0.530390, 1.007044, 1), nil, {Measure: fieldtest.ShadeRetention}}
	place := func(lo, x, hi float64) *fieldtest.MeasureEntry {
		return &fieldtest.MeasureEntry{Entry: &fieldtest.Entry{Estimate: x, EstimateLo: lo, EstimateHi: hi}}
	}
	for _, c := range []struct {
		place *fieldtest.MeasureEntry
		says  string
	}{
		{place(0.97, 1.0, 1.03), "explain all of it"}, {place(0.90, 0.93, 0.96), "loses 7 % more"}, {place(1.01, 1.04, 1.07), "gives 4 % more"}, {nil, "53 to 93 % of tilted"},
	} {
		got := conclusion.FlatOf(readings, c.place)
		if got.Readings != 2 || math.Abs(*got.GaveHi-0.927351) > 1e-5 || math.Abs(*got.GaveLo-0.534126) > 1e-5 || math.Abs(*got.SunPart-0.755307) > 1e-5 {
			t.Errorf("%+v", got)
		}
		if !strings.Contains(got.Sentence, c.says) {
			t.Errorf("says %q, want %q", got.Sentence, c.says)
		}
	}
	if none := conclusion.FlatOf(nil, nil); none.Gave != nil || none.Sentence == "" {
		t.Errorf("none: %+v", none)
	}
}

// Within a session the order is that of the mean shares; whether it is more than chance
// follows from what the panels do not share.
func TestOrders(t *testing.T) {
	t.Parallel()
	day := time.Date(2026, 6, 14, 12, 0, 0, 0, time.UTC)
	read := func(session byte, panel string, minute int, share, u float64) conclusion.Tilted {
		return conclusion.Tilted{SessionID: uuid.UUID{0: session}, TesterID: tester(1), Panel: panel, TakenAt: day.Add(time.Duration(minute) * time.Minute), ShareOfRating: share, U: u, ModelU: 0.003}
	}
	got := conclusion.Orders([]conclusion.Tilted{
		read(1, "b", 5, 0.90, 0.005), read(1, "a", 0, 0.95, 0.005), read(1, "b", 9, 0.92, 0.005), read(1, "c", 12, 0.905, 0.005),
		read(2, "a", 600, 0.93, 0.005), read(2, "b", 605, 0.94, 0.005), read(3, "a", 900, 0.9, 0.005),
	})
	a := got["a"]
	if len(a) != 2 || a[0].Place != 2 || a[1].Place != 1 || !a[1].TakenAt.Equal(day) {
		t.Fatalf("a: %+v", a)
	}
	first := a[1].Panels
	if first[0].PanelModel != "a" || first[1].PanelModel != "b" || math.Abs(first[1].ShareOfRating-0.91) > 1e-9 || first[2].PanelModel != "c" {
		t.Errorf("order: %+v", first)
	}
	if !first[0].AheadOfNext || first[1].AheadOfNext || first[2].AheadOfNext {
		t.Errorf("0.95 before 0.91 is more than chance, 0.91 before 0.905 is not: %+v", first)
	}
	if want := 0.91 * math.Hypot(0.005/math.Sqrt2, 0.003); math.Abs(first[1].ShareU-want) > 1e-6 {
		t.Errorf("u of a mean of two %v, want %v", first[1].ShareU, want)
	}
}

func TestOfNone(t *testing.T) {
	t.Parallel()
	m := &fieldtest.PanelModel{Slug: "tarn-fold-200", Construction: fieldtest.Construction{Sections: pointer(4), WiringClaimed: "parallel"}}
	c := conclusion.OfNone(m)
	if c.PanelModel != m.Slug || c.WiringClaimed != "parallel" || len(c.Shade) != 3 || c.Sessions == nil || *c.Wiring.Decides.SectionsTotal != 4 || c.Heat.Basis != conclusion.Class {
		t.Errorf("%+v", c)
	}
	for _, s := range []string{c.Wiring.Sentence, c.Flat.Sentence, c.Heat.Sentence, c.WeakLight.Sentence} {
		if s == "" || strings.Contains(s, "%!") {
			t.Errorf("sentence %q", s)
		}
	}
}
