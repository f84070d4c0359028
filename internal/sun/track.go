package sun

import (
	"math"
	"time"
)

// TrackSpan is the longest time a Track covers with its stated error.
const TrackSpan = 25 * time.Hour

// A Track gives the sun over one site for many instants of one session. Its zero
// value is of no use; NewTrack makes one.
type Track struct {
	horizon
	site Site
	from time.Time
	span time.Duration // negative: too long for parabolas

	half     float64  // of the span, days
	hourRad  parabola // hour angle of the site's meridian, about the middle
	sinDec   parabola // sine of the declination
	firstDay int64    // days since 1970 of the first instant
	sunWM2   [3]float64
}

// A parabola in days goes through three values at -reach, 0 and +reach.
type parabola struct{ c0, c1, c2 float64 }

func through(before, middle, after, reach float64) parabola {
	return parabola{middle, (after - before) / (2 * reach), (after - 2*middle + before) / (2 * reach * reach)}
}

func (p parabola) at(x float64) float64 { return p.c0 + x*(p.c1+x*p.c2) }

// NewTrack prepares the positions of the sun over a site between two instants, in
// either order. The periodic terms are summed once, in the middle, with two
// derivatives; right ascension, sidereal time and declination follow parabolas.
//
// Error: below 0.000001 deg against Position within 12 hours, below 0.000005 deg
// within TrackSpan; for longer spans and for instants outside, At uses Position itself.
//
// Source: our own interpolation of NREL/TP-560-34302 (2008), equations 4 to 46.
func NewTrack(site Site, from, to time.Time) Track {
	if to.Before(from) {
		from, to = to, from
	}
	span := to.Sub(from)
	if span > TrackSpan {
		return Track{site: site, from: from, span: -1, firstDay: unixDay(from), sunWM2: sunOfDays(from)}
	}
	days := daysSinceJ2000(from) + inDays(span)/2
	terms := slowTerms(days, site.DeltaTS)
	const reach = 0.25 // of the parabolas to both sides, days
	var hourDeg, sinDec [3]float64
	var centre Ephemeris
	for i, offset := range [3]float64{-reach, reach, 0} {
		centre = terms.at(days+offset, offset)
		hourDeg[i] = centre.SiderealDeg - siderealPerDay*offset - centre.RightAscensionDeg
		sinDec[i] = math.Sin(centre.DeclinationDeg * deg)
	}
	return Track{
		horizon: newHorizon(site, centre.DistanceAU),
		site:    site, from: from, span: span, half: inDays(span) / 2,
		hourRad:  hourParabola(hourDeg, site.LongitudeDeg, reach),
		sinDec:   through(sinDec[0], sinDec[2], sinDec[1], reach),
		firstDay: unixDay(from),
		sunWM2:   sunOfDays(from),
	}
}

// hourParabola joins the slow part of the hour angle, known to a full turn at three
// instants (before, after, middle), with the mean turn of the earth.
func hourParabola(slowDeg [3]float64, longitudeDeg, reach float64) parabola {
	middle := slowDeg[2]
	before := middle + math.Remainder(slowDeg[0]-middle, 360)
	after := middle + math.Remainder(slowDeg[1]-middle, 360)
	p := through(before, middle, after, reach)
	return parabola{(p.c0 + longitudeDeg) * deg, (p.c1 + siderealPerDay) * deg, p.c2 * deg}
}

// At returns the direction to the sun at an instant.
//
// Error: see NewTrack, in degrees. Source: as Position.
func (tr *Track) At(t time.Time) Angles {
	since := t.Sub(tr.from)
	if since < 0 || since > tr.span {
		return Position(t, tr.site)
	}
	days := inDays(since) - tr.half
	sin := tr.sinDec.at(days)
	return tr.angles(tr.hourRad.at(days), sin, math.Sqrt(1-sin*sin))
}

// ExtraterrestrialWM2 returns the irradiance of Extraterrestrial for the UTC day of
// an instant, in W/m2.
//
// Error: within 0.12 %, as Extraterrestrial. Source: as Extraterrestrial.
func (tr *Track) ExtraterrestrialWM2(t time.Time) float64 {
	if day := unixDay(t) - tr.firstDay; day >= 0 && day < int64(len(tr.sunWM2)) {
		return tr.sunWM2[day]
	}
	return Extraterrestrial(DayOfYear(t))
}

func inDays(d time.Duration) float64 { return float64(d) * (1.0 / (secondsPerDay * 1e9)) }

func unixDay(t time.Time) int64 {
	seconds := t.Unix()
	day := seconds / secondsPerDay
	if seconds%secondsPerDay < 0 {
		day--
	}
	return day
}

func sunOfDays(from time.Time) [3]float64 {
	var w [3]float64
	for i := range w {
		w[i] = Extraterrestrial(DayOfYear(from.UTC().AddDate(0, 0, i)))
	}
	return w
}
