package limits

import (
	"math"
)

// A PairInput is two readings that somebody wants to divide by each other.
type PairInput struct {
	FirstWM2, SecondWM2 float64 // measured, or the clear-sky value where Measured is false
	Measured            bool    // both have a usable meter
	SkyClear            bool
	MinutesApart        float64
}

// Pair appends to out what is doubted about comparing two readings, and returns
// whether their ratio may be given and the relative standard uncertainty that the
// sun adds to it.
func Pair(in *PairInput, out *Report) (addedURelative float64, ratioGiven bool) {
	lacks := lack(in.FirstWM2, lacksPOA) | lack(in.SecondWM2, lacksPOA) | lack(in.MinutesApart, lacksTime)
	if !out.ready(ruleSunDrift, lacks) {
		return math.NaN(), false
	}
	d := SunDrift(in.FirstWM2, in.SecondWM2, in.Measured, in.SkyClear, in.MinutesApart)
	if d.Verdict == OK {
		return d.AddedURelative, d.RatioGiven
	}
	basis := []Input{given("poa_first_w_m2", in.FirstWM2, 0), given("poa_second_w_m2", in.SecondWM2, 0), given("minutes_apart", in.MinutesApart, 0)}
	if !in.Measured {
		basis[0].Origin, basis[1].Origin = FromModel, FromModel
	}
	doubt := Doubt{Severity: d.Verdict, Field: "taken_at", Value: in.MinutesApart, Relation: "<=", Unit: "min", Limit: 30, Basis: basis}
	effect := "The ratio is corrected by the clear sky and counts as less sure."
	if in.Measured {
		effect = "The ratio is corrected by the meter."
	}
	if !d.RatioGiven {
		effect = "No ratio is given: take the two readings closer together."
	}
	if d.Limit > 0 {
		doubt.Value, doubt.Limit, doubt.Unit = d.LogRatio, d.Limit, "1"
		v, l := compared(100*d.LogRatio, 100*d.Limit)
		doubt.Reason = "Between the two readings the sun changed by " + v + " %, more than " + l + " %. " + effect
	} else {
		if !(in.MinutesApart > 30) {
			doubt.Limit = 2
		}
		v, l := compared(in.MinutesApart, doubt.Limit)
		doubt.Reason = "Without a meter " + v + " min are too long between two readings; " + l + " min are the limit under this sky. " + effect
	}
	out.add(doubt, ruleSunDrift, "", "")
	return d.AddedURelative, d.RatioGiven
}

// A CoveredInput is a covered reading with its uncovered reference.
type CoveredInput struct {
	PowerW, UPowerW         float64 // covered, reading part of u
	ReferenceW, UReferenceW float64 // uncovered, reading part of u
	IrradianceRatio         float64 // covered over reference; the clear-sky ratio where not metered
	Retention, URetention   float64 // power ratio over irradiance ratio; NaN: computed here
	SectionsCovered         float64
	SectionsTotal           float64
	Transmission            float64 // of the cover, 0 to 1; NaN: 0
	LabelOfReference        string
}

// Covered appends to out what is doubted about a covered reading against its
// uncovered reference.
func Covered(in *CoveredInput, out *Report) {
	lacks := lack(in.PowerW, lacksPower) | lack(in.ReferenceW, lacksRatio) | lack(in.IrradianceRatio, lacksPOA)
	if out.ready(ruleCovered, lacks) {
		coveredAbove(in, out)
	}
	if out.ready(ruleRetention, lacks|lack(in.SectionsCovered, lacksCover)|lack(in.SectionsTotal, lacksCover)) {
		retentionAbove(in, out)
	}
}

func coveredAbove(in *CoveredInput, out *Report) {
	s, limit := CoveredAboveUncovered(or(in.UPowerW, 0), in.ReferenceW, or(in.UReferenceW, 0), in.IrradianceRatio).Above(in.PowerW)
	if s == OK {
		return
	}
	out.add(Doubt{Severity: s, Field: "power_w", Value: in.PowerW, Limit: limit, Relation: "<=", Unit: "W",
		Basis: []Input{given("reference_power_w", in.ReferenceW, 0), modelled("irradiance_ratio", in.IrradianceRatio), given("u_power_w", in.UPowerW, 0),
			given("u_reference_power_w", in.UReferenceW, 0), word("reference_label", in.LabelOfReference)}},
		ruleCovered, "what the same panel gave uncovered, brought to this light", "Were the two readings swapped, or did clouds pass at the reference?")
}

func retentionAbove(in *CoveredInput, out *Report) {
	retention, u := in.Retention, in.URetention
	if !Given(retention) {
		retention = in.PowerW / in.ReferenceW / in.IrradianceRatio
	}
	if !Given(u) {
		u = retention * math.Hypot(or(in.UPowerW, 0)/in.PowerW, or(in.UReferenceW, 0)/in.ReferenceW)
	}
	bound, b := RetentionAboveBound(in.SectionsCovered, in.SectionsTotal, in.Transmission, or(u, 0))
	s, limit := b.Above(retention)
	if s == OK {
		return
	}
	out.add(Doubt{Severity: s, Field: "cover/sections_covered", Value: retention, Limit: limit, Relation: "<=", Unit: "1",
		Basis: []Input{given("sections_covered", in.SectionsCovered, 0), given("sections_total", in.SectionsTotal, 0),
			given("transmission", in.Transmission, 0), modelled("bound", bound), modelled("u_retention", u)}},
		ruleRetention, "the share that any wiring can keep with so much covered, with its margin", "Was less covered than stated, or does the cover let light through (transmission)?")
}

// A FlatInput is the flat-to-tilted power ratio of a panel with what sun angle and
// heat make one expect.
type FlatInput struct {
	Measured, Expected         float64 // ratios
	URelMeasured, URelExpected float64 // relative standard uncertainties
}

// Flat appends to out what is doubted about a flat reading against a tilted one.
func Flat(in *FlatInput, out *Report) {
	if !out.ready(ruleFlatRatio, lack(in.Measured, lacksRatio)|lack(in.Expected, lacksRatio)) {
		return
	}
	um, ue := or(in.URelMeasured, 0), or(in.URelExpected, 0.03)
	z, s := FlatRatioConflict(in.Measured, in.Expected, um, ue)
	if s == OK {
		return
	}
	_, allowed := flatLimits().Above(z)
	relation, sign := "<=", 1.0
	if in.Measured < in.Expected {
		relation, sign = ">=", -1
	}
	out.add(Doubt{Severity: s, Field: "arrangement", Value: in.Measured, Limit: in.Expected * math.Exp(sign*allowed*math.Hypot(um, ue)), Relation: relation, Unit: "1",
		Basis: []Input{modelled("expected_ratio", in.Expected), modelled("u_rel_measured", um), given("u_rel_expected", in.URelExpected, ue), modelled("z", z)}},
		ruleFlatRatio, "the flat-to-tilted ratio that sun angle and heat allow", "Check tilt and azimuth of the tilted reading, and whether the flat one lay level and unshaded.")
}
