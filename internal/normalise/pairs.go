package normalise

import (
	"context"
	"math"
	"slices"
	"strconv"

	"evensun/internal/budget"
	"evensun/internal/diode"
	"evensun/internal/fieldtest"
	"evensun/internal/limits"
)

// repeatShare is the relative repeatability of one reading in a ratio (common
// practice, no source).
const repeatShare = 0.003

// relate judges readings that belong together: covered with its reference, flat with
// a tilted one.
func (s *setup) relate(readings []reading) {
	for i := range readings {
		r := &readings[i]
		switch r.arrangement {
		case fieldtest.Covered:
			s.relateCovered(readings, r)
		case fieldtest.Flat:
			s.relateFlat(readings, r)
		}
	}
}

// pairOf says how much the sun changed from reference to reading and whether a ratio
// may be given.
type pairOf struct {
	lightRatio float64 // reading over reference
	u          float64 // relative, by the change
	given      bool
}

func (s *setup) pair(reference, r *reading) pairOf {
	metered := reference.origin == fieldtest.OriginMeasured && r.origin == fieldtest.OriginMeasured
	first, second := lightsOf(reference, r, metered)
	in := limits.PairInput{
		FirstWM2: lit(first), SecondWM2: lit(second), Measured: metered,
		SkyClear:     s.condition == fieldtest.Clear,
		MinutesApart: math.Abs(r.takenAt.Sub(reference.takenAt).Minutes()),
	}
	u, ok := limits.Pair(&in, &r.report)
	return pairOf{lightRatio: lit(second) / lit(first), u: zeroIfMissing(u), given: ok && first > 0 && second > 0}
}

// lightsOf are the two lights whose change matters to a pair. In one plane they are the
// irradiances themselves. Flat and tilted see different light of one sky: there it is
// the sky that may have changed, told by the meters relative to the clear sky of each
// plane, else by the sun's height.
func lightsOf(reference, r *reading, metered bool) (first, second float64) {
	flat := r.arrangement == fieldtest.Flat
	switch {
	case metered && flat:
		return 1000 * reference.poaWM2 / reference.clear.POAWM2(), 1000 * r.poaWM2 / r.clear.POAWM2()
	case metered:
		return reference.poaWM2, r.poaWM2
	case flat:
		return reference.clear.GHIWM2, r.clear.GHIWM2
	}
	return reference.clear.POAWM2(), r.clear.POAWM2()
}

// lit is a light that a ratio can be taken of; without any there is nothing to compare.
func lit(poaWM2 float64) float64 {
	if poaWM2 > 0 {
		return poaWM2
	}
	return missing
}

// relateCovered computes what a covered panel kept.
func (s *setup) relateCovered(readings []reading, r *reading) {
	cover := s.session.Readings[r.index].Cover
	if cover == nil {
		return
	}
	reference := s.labelled(readings, cover.ReferenceLabel)
	if reference == nil || !hasPower(reference) || !hasPower(r) {
		return
	}
	p := s.pair(reference, r)
	powerU, referenceU := s.readingU(r), s.readingU(reference)
	power, referenceW := r.point.panelW(), reference.point.panelW()
	in := limits.CoveredInput{
		PowerW: power, UPowerW: powerU * power, ReferenceW: referenceW, UReferenceW: referenceU * referenceW,
		IrradianceRatio: p.lightRatio, Retention: missing, URetention: missing,
		SectionsCovered: float64(cover.SectionsCovered), SectionsTotal: float64(cover.SectionsTotal),
		Transmission: number(cover.Transmission), LabelOfReference: cover.ReferenceLabel,
	}
	limits.Covered(&in, &r.report)
	if !p.given {
		return
	}
	value := power / referenceW / p.lightRatio
	u := value * math.Sqrt(square(powerU)+square(referenceU)+square(p.u))
	covered := float64(cover.SectionsCovered) * (1 - zeroIfMissing(in.Transmission)) / float64(cover.SectionsTotal)
	transmission := zeroIfMissing(in.Transmission)
	r.retention = &fieldtest.Retention{
		Measure: fieldtest.ShadeRetention, Value: value, U: u, CoverClass: CoverClass(covered), ReferenceLabel: cover.ReferenceLabel,
		SectionsCovered: &cover.SectionsCovered, SectionsTotal: &cover.SectionsTotal, Transmission: &transmission, VoltageRatio: voltageRatio(reference, r),
	}
	r.coverRatio = coverRatio{reference: reference, retained: value, u: u}
}

// coverRatio is a covered reading beside its reference.
type coverRatio struct {
	reference   *reading
	retained, u float64
}

// CoverClass returns the class of a covered share of the light (0 to 1) for ranking:
// "0.25", "0.33" or "0.50" within 0.04, empty outside. Classes are measurands of their
// own.
func CoverClass(covered float64) string {
	for _, c := range []struct {
		share float64
		name  string
	}{{0.25, "0.25"}, {1.0 / 3, "0.33"}, {0.5, "0.50"}} {
		if math.Abs(covered-c.share) <= 0.04+1e-9 { // 0.54 is within
			return c.name
		}
	}
	return ""
}

// readingU is the relative standard uncertainty of a power within one session and rig:
// what the display's step and repetition leave.
func (s *setup) readingU(r *reading) float64 {
	return math.Hypot(r.power.Step, repeatShare)
}

func hasPower(r *reading) bool { return r.point.indicatedW > 0 }

func (s *setup) labelled(readings []reading, label string) *reading {
	for i := range readings {
		if labelOf(&s.session.Readings[i], i) == label && readings[i].arrangement != fieldtest.Covered {
			return &readings[i]
		}
	}
	return nil
}

// labelOf is a reading's label, by default its number.
func labelOf(r *fieldtest.Reading, index int) string {
	if r.Label != "" {
		return r.Label
	}
	return strconv.Itoa(index + 1)
}

// relateFlat compares a flat reading with the nearest tilted one of the same unit and
// takes sun angle and usual heating out.
func (s *setup) relateFlat(readings []reading, r *reading) {
	if !s.comparable(r) {
		return
	}
	reference := s.nearestTilted(readings, r)
	if reference == nil {
		return
	}
	s.budgetForRatio(reference)
	s.budgetForRatio(r)
	p := s.pair(reference, r)
	measured := r.point.panelW() / reference.point.panelW()
	expected := r.yield() / reference.yield()
	contrast := budget.Contrast(&r.budget, &reference.budget, p.u, budget.OfOneSession)
	own := math.Hypot(s.readingU(r), s.readingU(reference))
	expectedU := math.Sqrt(max(0, square(contrast.Standard)-square(own)))
	limits.Flat(&limits.FlatInput{Measured: measured, Expected: expected, URelMeasured: own, URelExpected: expectedU}, &r.report)
	if !p.given {
		return
	}
	sun := r.point.effectiveWM2() / reference.point.effectiveWM2()
	heat, rest := expected/sun, measured/expected
	r.retention = &fieldtest.Retention{
		Measure: fieldtest.FlatRetention, Value: rest, U: rest * contrast.Standard,
		ReferenceLabel: labelOf(&s.session.Readings[reference.index], reference.index),
		SunPart:        &sun, HeatPart: &heat, Rest: &rest,
	}
}

// comparable tells whether a reading can stand in a ratio of flat and tilted: one with a
// result, or one whose sun was too low for a result but not for a ratio, in which most of
// the sky's error cancels.
func (s *setup) comparable(r *reading) bool {
	return r.reason == "" || r.reason == sunTooLow && hasPower(r) && r.angles.ElevationDeg() > 0 && s.tracking(r).Maximum
}

// budgetForRatio fills the budget of a comparable reading that has no result of its own.
func (s *setup) budgetForRatio(r *reading) {
	if r.reason == "" || len(r.budget.Parts()) > 0 {
		return
	}
	r.value = r.point.stcW()
	s.estimateU(r)
	r.value = missing
}

// yield is what light and heat make of a panel, relative to its power at standard test
// conditions: G_eff/1000 (1 + gamma (Tc-25)) e(G_eff).
func (r *reading) yield() float64 {
	p := &r.point
	return p.effectiveWM2() / 1000 * (1 + p.gammaPerK*(p.cellC()-25)) * p.relativeEfficiency()
}

func (s *setup) nearestTilted(readings []reading, r *reading) *reading {
	var nearest *reading
	for i := range readings {
		o := &readings[i]
		if o.arrangement != fieldtest.Tilted || !s.comparable(o) || o.rated != r.rated || o.specimen != r.specimen {
			continue
		}
		if nearest == nil || o.takenAt.Sub(r.takenAt).Abs() < nearest.takenAt.Sub(r.takenAt).Abs() {
			nearest = o
		}
	}
	return nearest
}

// inferWiring asks, unit by unit, which wiring explains its covered readings; only those
// units are asked of which a reading's derivation is wanted.
func (s *setup) inferWiring(ctx context.Context, readings []reading, library *diode.Library, wanted func(index int) bool) error {
	for i := range readings {
		r := &readings[i]
		if r.coverRatio.reference == nil || r.wiring != nil {
			continue
		}
		if err := ctx.Err(); err != nil {
			return err
		}
		var evidence []diode.CoveredReading
		var group []*reading
		for j := i; j < len(readings); j++ {
			o := &readings[j]
			if o.coverRatio.reference != nil && o.rated == r.rated && o.specimen == r.specimen {
				evidence = append(evidence, s.coveredReading(o))
				group = append(group, o)
			}
		}
		w := &wiringFound{}
		if slices.ContainsFunc(group, func(o *reading) bool { return wanted(o.index) }) {
			w = inferenceOf(evidence, library)
		}
		for _, o := range group {
			o.wiring = w
		}
	}
	return nil
}

// wiringFound is what the covered readings of a unit say of its wiring.
type wiringFound struct {
	inference  diode.Inference
	suggestion *diode.Suggestion
	ok         bool
}

func inferenceOf(evidence []diode.CoveredReading, library *diode.Library) *wiringFound {
	inference, err := library.Infer(diode.CommonPrior(), evidence)
	if err != nil {
		return &wiringFound{}
	}
	w := &wiringFound{inference: inference, ok: true}
	if inference.Conclusion != diode.Undecided {
		return w
	}
	if next, err := library.NextReading(inference, evidence[0].Cover.Sections); err == nil {
		w.suggestion = &next
	}
	return w
}

func (s *setup) coveredReading(r *reading) diode.CoveredReading {
	cover := s.session.Readings[r.index].Cover
	return diode.CoveredReading{
		Cover:    diode.Cover{Sections: cover.SectionsTotal, Covered: cover.SectionsCovered, Transmission: zeroIfMissing(number(cover.Transmission))},
		Retained: r.coverRatio.retained, URetained: r.coverRatio.u, VoltageRatio: zeroIfMissing(number(voltageRatio(r.coverRatio.reference, r))),
	}
}

// voltageRatio is the panel's voltage under a cover over that without, nil where one was
// not read.
func voltageRatio(reference, r *reading) *float64 {
	if !isGiven(r.voltageV) || !isGiven(reference.voltageV) || !(reference.voltageV > 0) {
		return nil
	}
	ratio := r.voltageV / reference.voltageV
	return &ratio
}
