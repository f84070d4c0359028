package sun

import (
	"math"
	"time"
)

// A DayKind tells whether the sun rises and sets on a day.
type DayKind string

// The kinds of days.
const (
	OrdinaryDay DayKind = "ordinary"    // the sun rises, sets, or both
	PolarDay    DayKind = "polar_day"   // it does not set
	PolarNight  DayKind = "polar_night" // it does not rise
)

// RiseElevationDeg is the height of the sun's centre without refraction at which its
// upper limb touches the horizon: 16' of radius and 34' of refraction.
const RiseElevationDeg = -0.8333

// GoodElevationDeg is the sun height from which a field test is worth the trouble:
// below 20 deg spectrum, tilt and turbidity errors outgrow the rest (common
// practice, no source).
const GoodElevationDeg = 20.0

// A Window is a stretch of time. An end that is an end of the solar day too is
// where the search ended, not where the condition did.
type Window struct{ From, To time.Time }

// A Day has the events of one solar day: from twelve hours before noon to twelve
// after. Rise is zero where the sun was up at the day's beginning, Set where it is
// still up at its end, and both are on a PolarDay or PolarNight.
type Day struct {
	Kind             DayKind
	Noon             time.Time // the sun on the meridian
	NoonElevationDeg float64   // apparent height at noon
	Rise, Set        time.Time
}

// DayOf returns rise, noon and set of the sun at a site on a date. The date is the
// calendar date (year, month, day) of the instant in UTC, taken as the date in the
// site's mean solar time, so that noon lies near 12 h - longitude/15 of it.
//
// Error: 2 s between the polar circles for a flat horizon and mean refraction;
// minutes where the sun grazes the horizon. A stay above or below the horizon of
// less than five minutes may be missed.
//
// Source: NREL/TP-560-34302 (2008), appendix A.2, for the definition of -0.8333 deg.
func DayOf(site Site, date time.Time) Day {
	s := solarDay(site, date)
	noon := s.track.At(s.noon)
	day := Day{Noon: s.noon.UTC(), NoonElevationDeg: noon.ElevationDeg(), Kind: OrdinaryDay}
	up := s.windows(func(a Angles) float64 { return 90 - RiseElevationDeg - a.ZenithDeg })
	if len(up) == 0 {
		day.Kind = PolarNight
		return day
	}
	rise, set := up[0].From, up[len(up)-1].To
	if len(up) == 1 && rise.Equal(s.from) && set.Equal(s.to) {
		day.Kind = PolarDay
		return day
	}
	if !rise.Equal(s.from) {
		day.Rise = rise
	}
	if !set.Equal(s.to) {
		day.Set = set
	}
	return day
}

// A Wish says which sun a tester wants. The plane counts only where
// MaxIncidenceDeg is above 0.
type Wish struct {
	MinElevationDeg float64 // apparent sun height, GoodElevationDeg by default practice
	MaxIncidenceDeg float64 // on the plane below, 0 to 90; 0: any
	TiltDeg         float64 // 0 flat, 90 upright
	AzimuthDeg      float64 // the way the plane faces, clockwise from true north
}

// GoodSun returns when on a date (as in DayOf) the sun at a site meets a wish: none,
// one, or two windows (a steep plane that faces the pole sees summer mornings and
// evenings), in order.
//
// Error: 2 s; windows shorter than five minutes may be missed.
func GoodSun(site Site, date time.Time, wish Wish) []Window {
	east, north, up := normal(wish.TiltDeg, wish.AzimuthDeg)
	minCos := math.Cos(wish.MaxIncidenceDeg * deg)
	minUp := math.Sin(wish.MinElevationDeg * deg)
	s := solarDay(site, date)
	return s.windows(func(a Angles) float64 {
		margin := a.Up - minUp
		if wish.MaxIncidenceDeg > 0 {
			margin = math.Min(margin, a.East*east+a.North*north+a.Up*up-minCos)
		}
		return margin
	})
}

// normal is the unit vector of a plane to the east, north and up.
func normal(tiltDeg, azimuthDeg float64) (east, north, up float64) {
	sinB, cosB := math.Sincos(tiltDeg * deg)
	sinA, cosA := math.Sincos(azimuthDeg * deg)
	return sinB * sinA, sinB * cosA, cosB
}

// A span is one solar day of a site.
type span struct {
	track          Track
	noon, from, to time.Time
}

func solarDay(site Site, date time.Time) span {
	y, m, d := date.UTC().Date()
	guess := time.Date(y, m, d, 12, 0, 0, 0, time.UTC).Add(hours(-site.LongitudeDeg / 15))
	reach := 12*time.Hour + 20*time.Minute
	s := span{track: NewTrack(site, guess.Add(-reach), guess.Add(reach)), noon: guess}
	for range 3 {
		hourDeg := math.Remainder(s.track.hourRad.at(inDays(s.noon.Sub(guess)))/deg, 360)
		s.noon = s.noon.Add(hours(-hourDeg / 15))
	}
	s.from, s.to = s.noon.Add(-12*time.Hour), s.noon.Add(12*time.Hour)
	return s
}

func hours(h float64) time.Duration {
	if math.IsNaN(h) {
		return 0
	}
	return time.Duration(h * float64(time.Hour))
}

// windows returns when the margin is at least 0, looking every five minutes and
// halving the steps where it changes its sign. A NaN margin counts as below 0.
func (s *span) windows(margin func(Angles) float64) []Window {
	const step = 5 * time.Minute
	var found []Window
	good := func(t time.Time) bool { return margin(s.track.At(t)) >= 0 }
	inside := false
	for t := s.from; !t.After(s.to); t = t.Add(step) {
		now := good(t)
		if now == inside {
			continue
		}
		edge := t
		if t.After(s.from) {
			edge = change(t.Add(-step), t, good)
		}
		if now {
			found = append(found, Window{edge, s.to})
		} else {
			found[len(found)-1].To = edge
		}
		inside = now
	}
	return found
}

// change returns, to 1 ms, when a condition changes between two instants.
func change(from, to time.Time, good func(time.Time) bool) time.Time {
	start := good(from)
	for to.Sub(from) > time.Millisecond {
		middle := from.Add(to.Sub(from) / 2)
		if good(middle) == start {
			from = middle
		} else {
			to = middle
		}
	}
	return from
}
