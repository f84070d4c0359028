package snapshot

import (
	"math"
	"strconv"

	"evensun/internal/fieldtest"
)

// digits is how many significant digits computed numbers keep.
const digits = 12

// Rounded returns x as snapshots hold computed numbers: with twelve significant
// digits, correctly rounded in decimal. What is not finite is left as it is.
func Rounded(x float64) float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return x
	}
	r, err := strconv.ParseFloat(strconv.FormatFloat(x, 'e', digits-1, 64), 64)
	if err != nil { // only past the largest double
		return x
	}
	return r
}

func roundAll(list ...*float64) {
	for _, x := range list {
		if x != nil {
			*x = Rounded(*x)
		}
	}
}

// roundedCopy returns a pointer to the rounded value, nil for nil.
func roundedCopy(x *float64) *float64 {
	if x == nil {
		return nil
	}
	r := Rounded(*x)
	return &r
}

// roundedResult returns a copy of a result with all its numbers rounded.
func roundedResult(r *fieldtest.Result) *fieldtest.Result {
	if r == nil {
		return nil
	}
	c := *r
	p := &c.Parts
	roundAll(&c.StcPowerW, &c.StcPowerUW, &c.StcPowerLoW, &c.StcPowerHiW, &c.Coverage, &c.EffectiveWM2, &c.CellC,
		&c.GammaRelative, &c.LowLightRelative, &p.Reading, &p.Session, &p.Rig, &p.Model, &p.Common)
	c.ShareOfRating = roundedCopy(r.ShareOfRating)
	if r.Retention != nil {
		k := *r.Retention
		roundAll(&k.Value, &k.U)
		k.SunPart, k.HeatPart, k.Rest = roundedCopy(k.SunPart), roundedCopy(k.HeatPart), roundedCopy(k.Rest)
		k.Transmission, k.VoltageRatio = roundedCopy(k.Transmission), roundedCopy(k.VoltageRatio)
		c.Retention = &k
	}
	return &c
}

// roundedRanking returns a copy of a ranking with all its numbers rounded.
func roundedRanking(r fieldtest.Ranking) fieldtest.Ranking {
	if r.Model != nil {
		m := *r.Model
		for _, x := range []**float64{&m.SessionSD, &m.TesterSD, &m.InteractionSD, &m.CellSD, &m.ResidualSD, &m.SpecimenSD,
			&m.LogLikelihood, &m.Q, &m.QDof, &m.I2, &m.CriticalValue} {
			*x = roundedCopy(*x)
		}
		r.Model = &m
	}
	r.LevelU = roundedCopy(r.LevelU)
	r.Entries = append([]fieldtest.Entry{}, r.Entries...)
	for i := range r.Entries {
		roundEntry(&r.Entries[i])
	}
	r.Unranked = append([]fieldtest.Unranked{}, r.Unranked...)
	for i := range r.Unranked {
		u := &r.Unranked[i]
		u.Estimate, u.EstimateU = roundedCopy(u.Estimate), roundedCopy(u.EstimateU)
	}
	return r
}

func roundEntry(e *fieldtest.Entry) {
	roundAll(&e.Estimate, &e.EstimateU, &e.EstimateLo, &e.EstimateHi, &e.Coverage, &e.PScore, &e.ContrastU, &e.ContrastLo, &e.ContrastHi)
	e.Best = roundedCopy(e.Best)
	e.PredictionLo, e.PredictionHi = roundedCopy(e.PredictionLo), roundedCopy(e.PredictionHi)
	if e.MaxShift != nil {
		s := *e.MaxShift
		s.Relative = Rounded(s.Relative)
		e.MaxShift = &s
	}
}
