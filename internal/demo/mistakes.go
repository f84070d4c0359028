package demo

import (
	"math"
	"time"

	"evensun/internal/fieldtest"
	"evensun/internal/limits"
	"evensun/internal/sky"
)

// mistake is what goes wrong in a session and the rule that should notice.
type mistake struct {
	rule string
	how  manner                               // during the session
	then func(s *scene, x *fieldtest.Session) // on paper
}

// manner is a mistake that changes what happens, not only what is written.
type manner int

const (
	lyingDown     manner = iota + 1 // the panels lie flat and are recorded as tilted
	heldAtBattery                   // a controller without tracker pulls the panel down
)

// highCurrent mistypes a short-circuit current so that it lies above what the sun
// allows, not so far that it is impossible.
func highCurrent(s *scene, x *fieldtest.Session) {
	for i := range x.Readings {
		r := &x.Readings[i]
		if r.Kind == fieldtest.ShortCircuit {
			r.CurrentA = shown(1.07*s.mostA(s.plan.panels[0], *r.TakenAt), new(0.01))
			return
		}
	}
}

// mostA is the largest current that a lenient judge without a light meter believes:
// nameplate with its tolerance under the brightest clear sky.
func (s *scene) mostA(which int, t time.Time) float64 {
	n, set, is := &s.panels[which].Nameplate, limits.Default(), s.at(t, fieldtest.Tilted, 1)
	brightest := s.over(t, fieldtest.Tilted)
	return *n.IscA * (1 + set.CurrentToleranceHold) * set.ClearHold * sky.MostLenientWM2(&brightest, 3) / 1000 * (1 + *n.AlphaIscPerK*(is.cellC+8-25))
}

func fahrenheit(_ *scene, x *fieldtest.Session) {
	x.Weather.AirTemperatureC = new(math.Round(*x.Weather.AirTemperatureC*1.8 + 32))
}

// earlierByThreeHours is a clock that was set to another zone.
func earlierByThreeHours(_ *scene, x *fieldtest.Session) { shift(x, -3*time.Hour) }

func shift(x *fieldtest.Session, by time.Duration) {
	x.StartedAt, x.EndedAt = x.StartedAt.Add(by), new(x.EndedAt.Add(by))
	for i := range x.Readings {
		x.Readings[i].TakenAt = new(x.Readings[i].TakenAt.Add(by))
	}
}

// throttled lets the battery fill up for the last reading: the voltage climbs towards
// open circuit and little current flows.
func throttled(s *scene, x *fieldtest.Session) {
	r := &x.Readings[len(x.Readings)-1]
	is := s.at(*r.TakenAt, fieldtest.Tilted, 1)
	s.read(r, s.plan.panels[0], 0.97*s.openV(s.plan.panels[0], is), 0.45**r.CurrentA)
}

// swappedLabels writes each of the first two panels' names beside the other.
func swappedLabels(s *scene, x *fieldtest.Session) {
	one, two := s.panels[s.plan.panels[0]].Slug, s.panels[s.plan.panels[1]].Slug
	for i := range x.Readings {
		p := &x.Readings[i].Panel
		switch p.Model {
		case one:
			p.Model = two
		case two:
			p.Model = one
		}
	}
}

func shadedMeter(_ *scene, x *fieldtest.Session) {
	for i := range x.Readings {
		g := &x.Readings[i].Irradiance
		g.POAWM2 = new(math.Round(0.69 * *g.POAWM2))
	}
}

// coverMixedUp writes an uncovered reading, a little above its reference, as covered.
func coverMixedUp(_ *scene, x *fieldtest.Session) { raiseCovered(x, 1.05) }

func raiseCovered(x *fieldtest.Session, factor float64) {
	r := &x.Readings[1]
	r.VoltageV, r.CurrentA = x.Readings[0].VoltageV, new(tidy(*x.Readings[0].CurrentA*factor))
}

// copied returns the session of another day with this day's times.
func copied(x *fieldtest.Session, start time.Time) fieldtest.Session {
	out := *x
	out.Readings = append([]fieldtest.Reading(nil), x.Readings...)
	shift(&out, start.Sub(x.StartedAt))
	return out
}
