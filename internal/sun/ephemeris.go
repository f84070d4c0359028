package sun

import (
	"math"
	"time"
)

//go:generate sh -c "go run ./internal/maketables < ../../testdata/reference/physics/spa-terms.csv > tables.go.new && mv tables.go.new tables.go"

const (
	deg   = math.Pi / 180
	inDeg = 180 / math.Pi

	secondsPerDay  = 86400
	daysPerCentury = 36525
	j2000Unix      = 946728000 // 2000-01-01T12:00:00Z
	j2000Julian    = 2451545.0
	siderealPerDay = 360.98564736629 // degrees the earth turns in a day, to the stars
)

// An Ephemeris is the place of the sun seen from the centre of the earth and every
// quantity on the way to it, in degrees unless the name says otherwise.
type Ephemeris struct {
	JulianDay                float64 // days, universal time
	HeliocentricLongitudeDeg float64 // of the earth, 0 to 360
	HeliocentricLatitudeDeg  float64
	DistanceAU               float64 // earth to sun, astronomical units
	NutationLongitudeDeg     float64
	NutationObliquityDeg     float64
	ObliquityDeg             float64 // true obliquity of the ecliptic
	ApparentLongitudeDeg     float64 // of the sun, with nutation and aberration
	SiderealDeg              float64 // apparent sidereal time at Greenwich, 0 to 360
	RightAscensionDeg        float64 // 0 to 360
	DeclinationDeg           float64
}

// Geocentric returns the place of the sun for an instant, seen from the centre of
// the earth, by equations 4 to 31 of the report.
//
// deltaTS is TT - UT1 in seconds, 69.2 in 2017 to 2030 (DefaultDeltaTS).
//
// Error: 0.0003 deg for the years -2000 to 6000 as the report states it; +6 s in
// deltaTS moves the sun by less than 0.0001 deg.
//
// Source: I. Reda, A. Andreas, NREL/TP-560-34302 (2008), equations 4 to 31.
func Geocentric(t time.Time, deltaTS float64) Ephemeris {
	days := daysSinceJ2000(t)
	return slowTerms(days, deltaTS).at(days, 0)
}

// A jet is a quantity and its first and second derivative by the day.
type jet struct{ value, perDay, perDay2 float64 }

// at returns the quantity a few hours away, by its Taylor series.
func (j jet) at(days float64) float64 {
	return j.value + days*(j.perDay+days*j.perDay2/2)
}

// slow holds what changes little within a day, about one instant.
type slow struct {
	longitudeDeg, latitudeDeg, distanceAU jet
	nutationDeg, nutationObliquityDeg     jet
	meanObliquityDeg                      float64
}

func daysSinceJ2000(t time.Time) float64 {
	return (float64(t.Unix()-j2000Unix) + float64(t.Nanosecond())*1e-9) / secondsPerDay
}

// slowTerms sums the periodic terms at an instant, days after J2000 in UT.
func slowTerms(days, deltaTS float64) slow {
	centuries := (days + deltaTS/secondsPerDay) / daysPerCentury
	millennia := centuries / 10
	var s slow
	s.longitudeDeg = sumPowers(longitudeTerms[:], millennia).scaled(1 / (1e8 * deg))
	s.latitudeDeg = sumPowers(latitudeTerms[:], millennia).scaled(1 / (1e8 * deg))
	s.distanceAU = sumPowers(distanceTerms[:], millennia).scaled(1e-8)
	s.nutationDeg, s.nutationObliquityDeg = sumNutation(centuries)
	s.meanObliquityDeg = meanObliquityDeg(millennia / 10)
	return s
}

// at completes the place of the sun: days after J2000, offset days from the instant
// at which the terms were summed.
func (s slow) at(days, offset float64) Ephemeris {
	e := Ephemeris{
		JulianDay:                j2000Julian + days,
		HeliocentricLongitudeDeg: turn(s.longitudeDeg.at(offset)),
		HeliocentricLatitudeDeg:  s.latitudeDeg.at(offset),
		DistanceAU:               s.distanceAU.at(offset),
		NutationLongitudeDeg:     s.nutationDeg.at(offset),
		NutationObliquityDeg:     s.nutationObliquityDeg.at(offset),
	}
	e.ObliquityDeg = s.meanObliquityDeg + e.NutationObliquityDeg
	aberrationDeg := -20.4898 / (3600 * e.DistanceAU)
	e.ApparentLongitudeDeg = turn(e.HeliocentricLongitudeDeg + 180 + e.NutationLongitudeDeg + aberrationDeg)
	e.SiderealDeg = turn(meanSiderealDeg(days) + e.NutationLongitudeDeg*math.Cos(e.ObliquityDeg*deg))
	e.RightAscensionDeg, e.DeclinationDeg = equatorial(e.ApparentLongitudeDeg, -e.HeliocentricLatitudeDeg, e.ObliquityDeg)
	return e
}

// A periodic term is A*cos(B + C*millennia).
type periodic struct{ a, b, c float64 }

// A nutation term has the multiples of five arguments and the coefficients of the
// longitude (a + b*centuries) and the obliquity (c + d*centuries).
type nutation struct {
	multiples  [5]float64
	a, b, c, d float64
}

// sumPowers is the sum over k of millennia^k times the terms of power k, by Horner's
// rule on jets; derivatives come by the day.
func sumPowers(tables [][]periodic, millennia float64) jet {
	var sum jet
	for k := len(tables) - 1; k >= 0; k-- {
		term := sumTerms(tables[k], millennia)
		sum = jet{
			sum.value*millennia + term.value,
			sum.perDay*millennia + sum.value + term.perDay,
			sum.perDay2*millennia + 2*sum.perDay + term.perDay2,
		}
	}
	const perDay = 1.0 / (10 * daysPerCentury)
	return jet{sum.value, sum.perDay * perDay, sum.perDay2 * perDay * perDay}
}

func sumTerms(terms []periodic, millennia float64) jet {
	var sum jet
	for _, p := range terms {
		sin, cos := math.Sincos(p.b + p.c*millennia)
		sum.value += p.a * cos
		sum.perDay -= p.a * p.c * sin
		sum.perDay2 -= p.a * p.c * p.c * cos
	}
	return sum
}

func (j jet) scaled(by float64) jet {
	return jet{j.value * by, j.perDay * by, j.perDay2 * by}
}

// sumNutation returns nutation in longitude and obliquity, equations 15 to 23. The
// drift of the coefficients within a day is left out of the derivatives.
func sumNutation(centuries float64) (longitude, obliquity jet) {
	x, rate := nutationArguments(centuries)
	for _, n := range nutationTerms {
		var argument, perDay float64
		for j, m := range n.multiples {
			argument += m * x[j]
			perDay += m * rate[j]
		}
		sin, cos := math.Sincos(argument)
		a, c := n.a+n.b*centuries, n.c+n.d*centuries
		longitude = jet{longitude.value + a*sin, longitude.perDay + a*cos*perDay, longitude.perDay2 - a*sin*perDay*perDay}
		obliquity = jet{obliquity.value + c*cos, obliquity.perDay - c*sin*perDay, obliquity.perDay2 - c*cos*perDay*perDay}
	}
	return longitude.scaled(1 / 36e6), obliquity.scaled(1 / 36e6)
}

// nutationArguments returns elongation, anomalies, latitude argument and node of
// equations 15 to 19 in radians, and their change a day.
func nutationArguments(t float64) (x, perDay [5]float64) {
	for i, c := range [5][4]float64{
		{297.85036, 445267.111480, -0.0019142, 1.0 / 189474},
		{357.52772, 35999.050340, -0.0001603, -1.0 / 300000},
		{134.96298, 477198.867398, 0.0086972, 1.0 / 56250},
		{93.27191, 483202.017538, -0.0036825, 1.0 / 327270},
		{125.04452, -1934.136261, 0.0020708, 1.0 / 450000},
	} {
		x[i] = math.Mod(c[0]+t*(c[1]+t*(c[2]+t*c[3])), 360) * deg
		perDay[i] = c[1] * deg / daysPerCentury
	}
	return x, perDay
}

// meanObliquityDeg is equation 24; u counts ten thousand years from J2000.
func meanObliquityDeg(u float64) float64 {
	sum := 0.0
	for _, c := range [...]float64{2.45, 5.79, 27.87, 7.12, -39.05, -249.67, -51.38, 1999.25, -1.55, -4680.93, 84381.448} {
		sum = sum*u + c
	}
	return sum / 3600
}

// meanSiderealDeg is equation 28 without the turn to 0 to 360.
func meanSiderealDeg(days float64) float64 {
	c := days / daysPerCentury
	return 280.46061837 + siderealPerDay*days + c*c*(0.000387933-c/38710000)
}

// equatorial turns ecliptic longitude and latitude into right ascension and
// declination, equations 30 and 31.
func equatorial(longitudeDeg, latitudeDeg, obliquityDeg float64) (ascensionDeg, declinationDeg float64) {
	sinL, cosL := math.Sincos(longitudeDeg * deg)
	sinB, cosB := math.Sincos(latitudeDeg * deg)
	sinE, cosE := math.Sincos(obliquityDeg * deg)
	ascensionDeg = turn(math.Atan2(sinL*cosE-sinB/cosB*sinE, cosL) / deg)
	return ascensionDeg, math.Asin(sinB*cosE+cosB*sinE*sinL) / deg
}

// turn brings an angle into 0 to 360.
func turn(angleDeg float64) float64 {
	r := math.Mod(angleDeg, 360)
	if r < 0 {
		r += 360
	}
	return r
}
