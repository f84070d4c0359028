package energy

import (
	"math"
	"time"

	"evensun/internal/budget"
	"evensun/internal/fieldtest"
	"evensun/internal/stc"
	"evensun/internal/sun"
)

// A Panel is what a panel does with light.
type Panel struct {
	PowerW    float64  // at standard test conditions
	PowerU    float64  // its standard uncertainty, relative
	GammaPerK Estimate // temperature coefficient of power, 1/K
	// LowLight is how ln P grows with ln(G/1000) beside the usual curve; 0 where nobody knows.
	LowLight    Estimate
	Bifaciality float64 // rear over front short-circuit current; 0: the rear is dark
}

// A Question is one panel on one day.
type Question struct {
	Site      Site
	Date      time.Time // the calendar day, as in sun.DayOf
	Panel     Panel
	Tilted    *Plane // nil: towards the sun at noon
	Clearness Estimate
	Air       Estimate // C
	Wind      Estimate // m/s at the panel
}

// A Plane is where a panel faces all day.
type Plane struct {
	TiltDeg    float64 // 0 flat, 90 upright
	AzimuthDeg float64 // clockwise from true north
}

// UsualWind is the wind at a panel near the ground, 1.5 m/s (common practice, no source).
func UsualWind() Estimate { return Estimate{1.5, 1} }

// A Yield is what one placement brings on one day.
type Yield struct {
	EnergyWh, LoWh, HiWh float64 // with the interval that holds the truth in 95 of 100
	Relative             float64 // standard uncertainty
	LightWhM2            float64 // on the plane
}

// An Answer is the day of a panel.
type Answer struct {
	Day            sun.Day
	Tilted         Plane
	Clear, Typical map[Placement]Yield
	Brightness     float64 // light of the typical day over that of the clear one
}

// Of returns what a panel yields on a day. Without a sun above 2 deg all yields are 0.
//
// Error: in each Yield. Checked against the sums of physics tables in the tests to
// 0.1 %; a clear-sky day of the sky models alone has 4 %.
//
// Source: see the package; the interval is that of JCGM 100:2008, 5.1, on ln E.
func Of(q *Question) Answer {
	noon := sun.DayOf(q.Site.observer(), q.Date)
	d := newDay(&q.Site, noon)
	a := Answer{Day: noon, Clear: map[Placement]Yield{}, Typical: map[Placement]Yield{}}
	a.Tilted = q.plane(noon)
	for _, p := range Placements() {
		d.aims[p] = aims(p, aim{a.Tilted.TiltDeg, a.Tilted.AzimuthDeg}, d.moments)
	}
	middle := q.middle()
	a.Brightness = d.horizontal(&middle).brightness(middle.clearness)
	for _, p := range Placements() {
		a.Clear[p], a.Typical[p] = q.yields(d, p)
	}
	return a
}

// plane is the one asked for, else that towards the sun at noon.
func (q *Question) plane(day sun.Day) Plane {
	if q.Tilted != nil {
		return *q.Tilted
	}
	at := sun.Position(day.Noon, q.Site.observer())
	return Plane{TiltDeg: max(0, min(90, 90-at.ElevationDeg())), AzimuthDeg: at.AzimuthDeg}
}

// middle holds the best value of every input.
func (q *Question) middle() inputs {
	return inputs{
		linke: q.Site.Turbidity.Middle(), clearness: q.Clearness.Value, even: 0.5, airC: q.Air.Value, windMS: q.Wind.Value, ground: 0.5,
		gammaPerK: q.Panel.GammaPerK.Value, lowLight: q.Panel.LowLight.Value, rear: q.Panel.Bifaciality, albedo: q.Site.Albedo,
	}
}

// A move is one input at both ends of its uncertainty; the yield's standard uncertainty
// by it is half the difference, over the root of three where all values between the ends
// are equally likely.
type move struct {
	low, high inputs
	over      float64 // 2, or 2 sqrt 3
}

const rectangular = 2 * 1.7320508075688772 // 2 sqrt 3

// moves are the inputs that are not known.
func (q *Question) moves() []move {
	sky := budget.ClearSkyOf(fieldtest.Clear, false)
	var all []move
	add := func(over float64, set func(in *inputs, side float64)) {
		m := move{low: q.middle(), high: q.middle(), over: over}
		set(&m.low, -1)
		set(&m.high, 1)
		all = append(all, m)
	}
	half := (q.Site.Turbidity.High - q.Site.Turbidity.Low) / 2
	add(rectangular, func(in *inputs, side float64) { in.linke += side * half })
	add(2, func(in *inputs, side float64) { in.clearness = max(0.02, in.clearness+side*q.Clearness.U) })
	add(rectangular, func(in *inputs, side float64) { in.even += side / 2 })
	add(2, func(in *inputs, side float64) { in.airC += side * q.Air.U })
	add(2, func(in *inputs, side float64) { in.windMS = max(0, in.windMS+side*q.Wind.U) })
	add(2, func(in *inputs, side float64) { in.heatK += side * modelUK })
	add(rectangular, func(in *inputs, side float64) { in.ground += side / 2 })
	add(2, func(in *inputs, side float64) { in.tiltDeg += side * sky.TiltDeg })
	add(2, func(in *inputs, side float64) { in.turnDeg += side * sky.AzimuthDeg })
	add(2, func(in *inputs, side float64) { in.gammaPerK += side * q.Panel.GammaPerK.U })
	add(2, func(in *inputs, side float64) { in.lowLight += side * q.Panel.LowLight.U })
	add(2, func(in *inputs, side float64) { in.rear *= 1 + side*rearU })
	add(rectangular, func(in *inputs, side float64) { in.albedo = max(0, in.albedo+side*sky.AlbedoHalfWidth) })
	return all
}

const (
	modelUK = 4.0 // of celltemp.King on a panel that stands, at 1000 W/m2
	rearU   = 0.4 // of sky.RearEstimate
)

// yields sums both days of a placement with every input where it is and moved.
func (q *Question) yields(d *day, p Placement) (clear, typical Yield) {
	middle := q.middle()
	best := d.sums(p, &middle)
	models := budget.ClearSkyOf(fieldtest.Clear, false)
	fixed := square(q.Panel.PowerU) + square(models.Model) + square(trackerU)
	clearVar, typicalVar := fixed+square(models.Sky), fixed
	for _, m := range q.moves() {
		low, high := d.sums(p, &m.low), d.sums(p, &m.high)
		clearVar += square((high.clear.yieldWh - low.clear.yieldWh) / m.over / best.clear.yieldWh)
		typicalVar += square((high.typical.yieldWh - low.typical.yieldWh) / m.over / best.typical.yieldWh)
	}
	return q.yield(best.clear, clearVar), q.yield(best.typical, typicalVar)
}

const trackerU = 0.005 // of the tracker's share (common practice, no source)

func square(x float64) float64 { return x * x }

// yield puts a sum and its relative variance into watt-hours of the panel.
func (q *Question) yield(s sum, variance float64) Yield {
	if !(s.yieldWh > 0) {
		return Yield{LightWhM2: s.poaWhM2}
	}
	e, u := s.yieldWh*q.Panel.PowerW, math.Sqrt(variance)
	return Yield{EnergyWh: e, LoWh: e * math.Exp(-normal95*u), HiWh: e * math.Exp(normal95*u), Relative: u, LightWhM2: s.poaWhM2}
}

const normal95 = 1.959963984540054

// efficiency is that at some light over that at 1000 W/m2.
func (in *inputs) efficiency(effectiveWM2 float64) float64 {
	return stc.DefaultLowLight().Efficiency(effectiveWM2) * math.Pow(effectiveWM2/1000, in.lowLight)
}
