package energy

import (
	"time"

	"evensun/internal/fieldtest"
	"evensun/internal/sky"
	"evensun/internal/sun"
)

// UsualAltitudeM stands in for an altitude that is not given, as for sessions (common
// practice, no source).
const UsualAltitudeM = 300

// Known is what somebody asks for and knows of a day. A nil pointer is not known: the usual
// value is taken and named in the answer.
type Known struct {
	LatitudeDeg, LongitudeDeg float64
	Date                      time.Time
	AltitudeM                 *float64
	TiltDeg, AzimuthDeg       *float64 // of the panel that stays propped up
	LinkeTurbidity            *float64
	Clearness                 *float64 // 0 to 1
	AirC, WindMS              *float64
}

// Report answers what is asked of a panel, rounded; false for a panel without a known
// power.
func Report(k *Known, m *fieldtest.PanelModel, r *fieldtest.PanelResults) (fieldtest.PanelEnergy, bool) {
	panel, basis, ok := PanelOf(m, r)
	if !ok {
		return fieldtest.PanelEnergy{}, false
	}
	out := fieldtest.PanelEnergy{
		PanelModel: m.Slug, ComputedThrough: r.ComputedThrough, Date: k.Date.Format(time.DateOnly), LatitudeDeg: k.LatitudeDeg, LongitudeDeg: k.LongitudeDeg,
		StcPowerW: fieldtest.Significant(panel.PowerW), StcPowerUW: fieldtest.Significant(panel.PowerW * panel.PowerU), PowerBasis: string(basis),
		Coverage: 0.95, Assumptions: assumptions(k, basis),
	}
	q := k.question(panel, &out)
	a := Of(&q)
	out.Sun = sunDay(a.Day)
	out.TiltDeg, out.AzimuthDeg = fieldtest.Significant(a.Tilted.TiltDeg), fieldtest.Significant(a.Tilted.AzimuthDeg)
	out.ClearDay, out.TypicalDay = dayEnergy(a.Clear), dayEnergy(a.Typical)
	return out, true
}

// question fills in what is not known and writes down what was taken.
func (k *Known) question(panel Panel, out *fieldtest.PanelEnergy) Question {
	out.AltitudeM = known(k.AltitudeM, UsualAltitudeM)
	q := Question{Site: At(k.LatitudeDeg, k.LongitudeDeg, out.AltitudeM), Date: k.Date, Panel: panel}
	if k.LinkeTurbidity != nil {
		q.Site.Turbidity = sky.TurbidityGiven(*k.LinkeTurbidity)
	}
	q.Clearness, out.Clearness = quantity(k.Clearness, GivenClearness, UsualClearness(k.LatitudeDeg, k.Date), "1",
		"mean over land by latitude and season, from memory; places of one latitude differ by the uncertainty")
	q.Air, out.Air = quantity(k.AirC, givenAir, UsualAir(k.LatitudeDeg, out.AltitudeM, k.Date), "Cel",
		"usual by day for latitude, altitude and season, common practice")
	q.Wind, out.Wind = quantity(k.WindMS, givenWind, UsualWind(), "m/s", "usual near the ground, common practice")
	q.Tilted = k.plane()
	return q
}

// plane is the one that somebody named; a tilt alone faces the equator.
func (k *Known) plane() *Plane {
	if k.TiltDeg == nil {
		return nil
	}
	equator := 180.0
	if k.LatitudeDeg < 0 {
		equator = 0
	}
	return &Plane{TiltDeg: *k.TiltDeg, AzimuthDeg: known(k.AzimuthDeg, equator)}
}

// A temperature or a wind that somebody names for a whole day is off by 2 K and 0.5 m/s
// (common practice, no source).
func givenAir(c float64) Estimate   { return Estimate{c, 2} }
func givenWind(ms float64) Estimate { return Estimate{ms, 0.5} }

func known(x *float64, usual float64) float64 {
	if x != nil {
		return *x
	}
	return usual
}

func quantity(given *float64, of func(float64) Estimate, usual Estimate, unit, source string) (Estimate, fieldtest.DayQuantity) {
	e := usual
	if given != nil {
		e, source = of(*given), "given"
	}
	return e, fieldtest.DayQuantity{Value: fieldtest.Significant(e.Value), U: fieldtest.Significant(e.U), Unit: unit, Source: source}
}

func sunDay(d sun.Day) fieldtest.SunDay {
	instant := func(t time.Time) *time.Time {
		if t.IsZero() {
			return nil
		}
		t = t.UTC().Truncate(time.Second)
		return &t
	}
	return fieldtest.SunDay{Kind: string(d.Kind), Rise: instant(d.Rise), Noon: d.Noon.UTC().Truncate(time.Second), Set: instant(d.Set),
		NoonElevationDeg: fieldtest.Significant(d.NoonElevationDeg)}
}

func dayEnergy(by map[Placement]Yield) fieldtest.DayEnergy {
	of := func(p Placement) fieldtest.Energy {
		y := by[p]
		return fieldtest.Energy{EnergyWh: fieldtest.Significant(y.EnergyWh), EnergyLoWh: fieldtest.Significant(y.LoWh),
			EnergyHiWh: fieldtest.Significant(y.HiWh), InsolationWhM2: fieldtest.Significant(y.LightWhM2)}
	}
	return fieldtest.DayEnergy{Tilted: of(Tilted), Flat: of(Flat), Turned: of(Turned)}
}

// assumptions are sentences that a reader of the figures needs.
func assumptions(k *Known, basis PowerBasis) []string {
	all := []string{
		"Everything that the panel gives is taken: a battery that is full at noon takes less.",
		"A typical day is the mean of many at this time of the year, its interval that of the mean: single days differ more.",
		"Turned means that the panel faces the sun at sunrise and again every two hours.",
		"The horizon is flat and nothing throws a shadow.",
	}
	if k.TiltDeg == nil {
		all = append(all, "No tilt was named: the propped panel faces the sun at noon.")
	}
	if basis == FromNameplate {
		all = append(all, "Nobody has read this panel yet: its power is taken as 90 % of its label, give or take 16 %.")
	}
	return all
}
