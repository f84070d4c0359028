package sun

import (
	"math"
	"time"
)

// DefaultDeltaTS is TT - UT1 in seconds for 2017 to 2030 (observed 69.1 to 69.4).
const DefaultDeltaTS = 69.2

// A Site is where an observer stands and the air around him. At fills it.
type Site struct {
	LatitudeDeg  float64 // north positive, -90 to 90
	LongitudeDeg float64 // east positive, -180 to 180
	AltitudeM    float64 // above the ellipsoid, -400 to 9000
	PressurePa   float64 // of the air, for refraction and air mass
	AirC         float64 // temperature of the air, for refraction only
	DeltaTS      float64 // TT - UT1 in seconds
}

// At returns the site at a latitude, longitude (deg, -90 to 90 and
// -180 to 180) and altitude (m, -400 to 9000) with the
// pressure of the standard atmosphere, air of 12 C and the default TT - UT1.
//
// Error: that of StandardPressure; the temperature moves refraction alone.
//
// Source: pressure by StandardPressure; 12 C is common practice, no source.
func At(latitudeDeg, longitudeDeg, altitudeM float64) Site {
	return Site{
		LatitudeDeg: latitudeDeg, LongitudeDeg: longitudeDeg, AltitudeM: altitudeM,
		PressurePa: StandardPressure(altitudeM), AirC: 12, DeltaTS: DefaultDeltaTS,
	}
}

// Angles are the direction to the centre of the sun as seen from a site. East, North
// and Up are the components of the unit vector towards the apparent sun, so that the
// cosine of an angle of incidence is three products.
type Angles struct {
	ZenithDeg         float64 // from the vertical, without refraction
	ApparentZenithDeg float64 // from the vertical, as seen through the air
	AzimuthDeg        float64 // clockwise from true north, 0 to 360

	East, North, Up float64
}

// ElevationDeg returns the apparent height of the sun above the horizon in degrees.
//
// Error: that of the angle it comes from. Source: definition.
func (a Angles) ElevationDeg() float64 { return 90 - a.ApparentZenithDeg }

// Position returns the direction to the sun at an instant and a site by the full
// algorithm. For many instants of one session Track is about thirty times cheaper.
//
// Error: 0.0003 deg (the report's figure), refraction near the horizon aside.
//
// Source: I. Reda, A. Andreas, NREL/TP-560-34302 (2008), equations 4 to 46. The
// parallax is written as a difference of vectors, which is the same in exact numbers.
func Position(t time.Time, site Site) Angles {
	e := Geocentric(t, site.DeltaTS)
	sin, cos := math.Sincos(e.DeclinationDeg * deg)
	h := newHorizon(site, e.DistanceAU)
	return h.angles((e.SiderealDeg+site.LongitudeDeg-e.RightAscensionDeg)*deg, sin, cos)
}

// Hours are the hour angle, before and after the observer's parallax, and the
// declination after it; degrees.
type Hours struct {
	HourAngleDeg              float64 // west of the meridian, 0 to 360
	TopocentricHourAngleDeg   float64
	TopocentricDeclinationDeg float64
}

// HourAngles returns the quantities between Geocentric and Position for an audit, in
// degrees.
//
// Error: 0.0003 deg, as Position.
//
// Source: NREL/TP-560-34302 (2008), equations 32 to 40.
func HourAngles(e Ephemeris, site Site) Hours {
	h := newHorizon(site, e.DistanceAU)
	hourDeg := turn(e.SiderealDeg + site.LongitudeDeg - e.RightAscensionDeg)
	sinD, cosD := math.Sincos(e.DeclinationDeg * deg)
	meridian, west, pole := h.topocentric(hourDeg*deg, sinD, cosD)
	return Hours{
		HourAngleDeg:              hourDeg,
		TopocentricHourAngleDeg:   turn(math.Atan2(west, meridian) / deg),
		TopocentricDeclinationDeg: math.Atan2(pole, math.Hypot(meridian, west)) / deg,
	}
}

// A horizon holds what is constant for a site within a day.
type horizon struct {
	sinLat, cosLat       float64
	parallaxX, parallaxY float64 // the observer's place in units of the distance to the sun
	refractionFactor     float64
}

func newHorizon(site Site, distanceAU float64) horizon {
	const flattening, radiusM = 0.99664719, 6378140.0
	sinLat, cosLat := math.Sincos(site.LatitudeDeg * deg)
	u := math.Atan2(flattening*sinLat, cosLat)
	sinU, cosU := math.Sincos(u)
	parallax := math.Sin(8.794 / (3600 * distanceAU) * deg)
	return horizon{
		sinLat: sinLat, cosLat: cosLat,
		parallaxX:        parallax * (cosU + site.AltitudeM/radiusM*cosLat),
		parallaxY:        parallax * (flattening*sinU + site.AltitudeM/radiusM*sinLat),
		refractionFactor: airFactor(site.PressurePa, site.AirC),
	}
}

// topocentric returns the direction to the sun from the site, not of unit length,
// along the meridian, to the west and to the pole.
func (h *horizon) topocentric(hourRad, sinDec, cosDec float64) (meridian, west, pole float64) {
	sinH, cosH := math.Sincos(hourRad)
	return cosDec*cosH - h.parallaxX, cosDec * sinH, sinDec - h.parallaxY
}

// angles turns hour angle and declination into the direction over the horizon.
func (h *horizon) angles(hourRad, sinDec, cosDec float64) Angles {
	meridian, west, pole := h.topocentric(hourRad, sinDec, cosDec)
	up := meridian*h.cosLat + pole*h.sinLat
	north := pole*h.cosLat - meridian*h.sinLat
	level := math.Sqrt(north*north + west*west)
	elevationDeg := math.Atan2(up, level) * inDeg
	apparentDeg := elevationDeg + refraction(elevationDeg, h.refractionFactor)
	azimuthDeg := math.Atan2(-west, north) * inDeg
	if azimuthDeg < 0 {
		azimuthDeg += 360
	}
	a := Angles{ZenithDeg: 90 - elevationDeg, ApparentZenithDeg: 90 - apparentDeg, AzimuthDeg: azimuthDeg}
	sin, cos := math.Sincos(apparentDeg * deg)
	a.Up = sin
	if level > 0 {
		a.East, a.North = -west/level*cos, north/level*cos
	}
	return a
}
