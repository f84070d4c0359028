package conclusion

import (
	"fmt"
	"slices"

	"evensun/internal/fieldtest"
)

// covers are the covered shares that are ranked, rising.
func covers() []float64 { return []float64{0.25, 1.0 / 3, 0.5} }

// ShadeOf returns what a panel keeps with a share of its sections covered, from its place
// in the ranking of that share; nil: it has none.
func ShadeOf(cover float64, place *fieldtest.MeasureEntry) fieldtest.ShadeConclusion {
	s := fieldtest.ShadeConclusion{Cover: fieldtest.Significant(cover), Needs: "a reading with that share of the sections covered, beside one without a cover"}
	switch {
	case place == nil:
	case place.Entry != nil:
		e := place.Entry
		s.Kept, s.KeptU, s.KeptLo, s.KeptHi = &e.Estimate, &e.EstimateU, &e.EstimateLo, &e.EstimateHi
		s.Ranked, s.Needs, s.Readings, s.Sessions, s.Testers = true, "", e.Readings, e.Sessions, e.Testers
	case place.Unranked != nil:
		u := place.Unranked
		s.Needs, s.Readings, s.Sessions, s.Testers = u.Needs, u.Readings, u.Sessions, u.Testers
		if u.Estimate != nil && u.EstimateU != nil {
			s.Kept, s.KeptU = u.Estimate, u.EstimateU
			s.KeptLo, s.KeptHi = around(*u.Estimate, *u.EstimateU)
		}
	}
	return s
}

// around is the interval that holds 95 % of a normal distribution, not below 0.
func around(x, u float64) (lo, hi *float64) {
	const normal95 = 1.96
	a, b := fieldtest.Significant(max(0, x-normal95*u)), fieldtest.Significant(x+normal95*u)
	return &a, &b
}

// FlatOf returns what a panel gives flat of what it gives tilted: read from the flat
// readings that count, the rest from its place in the ranking of flat-retention, nil: it
// has none.
func FlatOf(readings []*fieldtest.Retention, place *fieldtest.MeasureEntry) fieldtest.FlatConclusion {
	var gave, suns, heats []float64
	for _, k := range readings {
		if k == nil || k.Measure != fieldtest.FlatRetention || k.SunPart == nil || k.HeatPart == nil || k.Rest == nil {
			continue
		}
		gave = append(gave, *k.Rest**k.SunPart**k.HeatPart)
		suns, heats = append(suns, *k.SunPart), append(heats, *k.HeatPart)
	}
	f := fieldtest.FlatConclusion{Readings: len(gave)}
	if len(gave) == 0 {
		f.Sentence = "Nobody has read it flat on the ground beside a tilted reading."
		return f
	}
	f.Gave, f.GaveLo, f.GaveHi = middle(gave), rounded(slices.Min(gave)), rounded(slices.Max(gave))
	f.SunPart, f.HeatPart = middle(suns), middle(heats)
	rest := ShadeOf(0, place) // the same members of the same kind of place
	f.Rest, f.RestU, f.RestLo, f.RestHi = rest.Kept, rest.KeptU, rest.KeptLo, rest.KeptHi
	f.Sentence = flatSentence(&f)
	return f
}

// middle is the median.
func middle(x []float64) *float64 {
	x = slices.Sorted(slices.Values(x))
	n := len(x)
	return rounded((x[(n-1)/2] + x[n/2]) / 2)
}

func rounded(x float64) *float64 {
	x = fieldtest.Significant(x)
	return &x
}

func flatSentence(f *fieldtest.FlatConclusion) string {
	s := fmt.Sprintf("Flat on the ground it gave %.0f to %.0f %% of tilted; the sun's height explains a factor of %.2f and the heat one of %.2f.",
		100**f.GaveLo, 100**f.GaveHi, *f.SunPart, *f.HeatPart)
	switch {
	case f.Rest == nil || f.RestLo == nil || f.RestHi == nil:
		return s
	case *f.RestLo <= 1 && 1 <= *f.RestHi:
		return s + " The two explain all of it, within the uncertainty."
	case *f.RestHi < 1:
		return s + fmt.Sprintf(" It loses %.0f %% more than that.", 100*(1-*f.Rest))
	}
	return s + fmt.Sprintf(" It gives %.0f %% more than that.", 100*(*f.Rest-1))
}

func heatSentence(h *fieldtest.HeatConclusion) string {
	by := map[string]string{Readings: "by its readings", Nameplate: "by its label; its readings do not tell", Class: "as is usual for its cells; neither label nor readings tell"}[h.Basis]
	return fmt.Sprintf("It loses %.2f %% a kelvin, %s: with cells of 65 C it keeps %.0f %% of what it gives at 25 C.", -100*h.TemperaturePerK, by, 100*h.KeptHot)
}

func weakSentence(l *fieldtest.WeakLightConclusion) string {
	by := map[string]string{Readings: "by its readings", Class: "as is usual for its cells; its readings do not tell"}[l.Basis]
	return fmt.Sprintf("In light of 200 W/m2 its efficiency is %.0f %% of that at 1000 W/m2, %s.", 100*l.Efficiency, by)
}
