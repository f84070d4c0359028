package intake

import (
	"math"
	"strconv"
	"time"

	"evensun/internal/fieldtest"
)

// defaultRoundingDeg is how places are rounded when the tester does not say, about
// 11 km.
const defaultRoundingDeg = 0.1

// Prepare fills what a session leaves out and rounds its place. The result is what is
// judged, stored and hashed; the finer place is gone.
func Prepare(s fieldtest.Session) fieldtest.Session {
	s.Site = rounded(s.Site)
	s.Readings = append([]fieldtest.Reading(nil), s.Readings...)
	for i := range s.Readings {
		fill(&s.Readings[i], i)
	}
	if s.EndedAt == nil {
		end := lastInstant(&s)
		s.EndedAt = &end
	}
	if s.Sky.Condition == "" {
		s.Sky.Condition = fieldtest.UnknownSky
	}
	return s
}

func fill(r *fieldtest.Reading, index int) {
	if r.Label == "" {
		r.Label = strconv.Itoa(index + 1)
	}
	if r.Kind == "" {
		r.Kind = fieldtest.OperatingPoint
	}
	if r.Arrangement == "" {
		r.Arrangement = fieldtest.Tilted
	}
	if r.Panel.Specimen == "" {
		r.Panel.Specimen = "unit-1"
	}
}

func lastInstant(s *fieldtest.Session) time.Time {
	last := s.StartedAt
	for i := range s.Readings {
		if at := s.Readings[i].TakenAt; at != nil && at.After(last) {
			last = *at
		}
	}
	return last
}

// rounded rounds a place as asked, and the altitude to 10 m with it.
func rounded(site fieldtest.Site) fieldtest.Site {
	step := defaultRoundingDeg
	if site.PlaceRoundingDeg != nil {
		step = *site.PlaceRoundingDeg
	}
	site.PlaceRoundingDeg = &step
	if step == 0 {
		return site
	}
	site.LatitudeDeg, site.LongitudeDeg = roundTo(site.LatitudeDeg, step), roundTo(site.LongitudeDeg, step)
	if site.AltitudeM != nil {
		altitude := math.Round(*site.AltitudeM/10) * 10
		site.AltitudeM = &altitude
	}
	return site
}

// roundTo rounds to a multiple of 0.1 or 0.01 and returns the nearest double to that
// decimal number.
func roundTo(x, step float64) float64 {
	per := math.Round(1 / step)
	return math.Round(x*per) / per
}
