package sun

import (
	"math"
	"time"
)

// SolarConstantWM2 is the irradiance at one astronomical unit, 1361 W/m2.
//
// Source: G. Kopp, J. L. Lean, Geophysical Research Letters 38 (2011) L01706
// (1360.8 +- 0.5). Older texts use 1366.1 or 1367.
const SolarConstantWM2 = 1361.0

// StandardPressurePa is the pressure of the standard atmosphere at sea level.
const StandardPressurePa = 101325.0

// DayOfYear returns the day of the year of an instant in UTC, 1 to 366.
func DayOfYear(t time.Time) int { return t.UTC().YearDay() }

// Extraterrestrial returns the irradiance in W/m2 on a surface that faces the sun
// above the atmosphere on a day of the year:
//
//	E0n = E*(1.000110 + 0.034221 cos g + 0.001280 sin g + 0.000719 cos 2g + 0.000077 sin 2g)
//	g = 2 pi (n-1)/365
//
// dayOfYear is n (1 to 366, UTC), E the solar constant of 1361 W/m2.
//
// Error: within 0.12 % of the inverse square of the distance that Geocentric gives.
//
// Source: J. W. Spencer, Search 2 (1971), the series of page 172.
func Extraterrestrial(dayOfYear int) float64 {
	sin, cos := math.Sincos(2 * math.Pi * float64(dayOfYear-1) / 365)
	sin2, cos2 := 2*sin*cos, cos*cos-sin*sin
	return SolarConstantWM2 * (1.000110 + 0.034221*cos + 0.001280*sin + 0.000719*cos2 + 0.000077*sin2)
}

// AirMass returns the length of the light's way through the air relative to the
// way from the zenith:
//
//	AM = 1/(cos z + 0.50572*(96.07995 - z)^-1.6364)
//
// apparentZenithDeg is z with refraction (0 to 90 deg); beyond 90 deg the value of
// the horizon, 37.92, is returned.
//
// Error: the formula to rounding; the source states 0.5 % against its tables (from
// memory).
//
// Source: F. Kasten, A. T. Young, Applied Optics 28 (1989) 4735, equation 3.
func AirMass(apparentZenithDeg float64) float64 {
	if apparentZenithDeg > 90 {
		apparentZenithDeg = 90
	}
	cos := math.Cos(apparentZenithDeg * deg)
	return 1 / (cos + 0.50572*math.Exp(-1.6364*math.Log(96.07995-apparentZenithDeg)))
}

// StandardPressure returns the pressure in Pa of the standard atmosphere:
//
//	p = 100*((44331.514 - h)/11880.516)^(1/0.1902632)
//
// altitudeM is h (-400 to 5000 m). NaN at 44331 m and above.
//
// Error: weather moves the true pressure by about 1 % (one standard deviation).
//
// Source: ISO 2533:1975, the law of the layer up to 11 km solved for pressure.
func StandardPressure(altitudeM float64) float64 {
	return 100 * math.Pow((44331.514-altitudeM)/11880.516, 1/0.1902632)
}

// Refraction returns by how many degrees the air lifts the sun:
//
//	de = (p/101000)*(283/(273+Ta))*1.02/(60*tan(e + 10.3/(e+5.11)))
//
// trueElevationDeg is e, the height of the centre without refraction (-0.8334 to
// 90 deg); below, where no part of the sun is seen, refraction is 0. pressurePa is p
// (50000 to 108000 Pa), airC the air temperature (-60 to 60 C).
//
// Error: small above 15 deg; at the horizon the weather moves it by some hundredths
// of a degree (from memory, no figure sourced).
//
// Source: NREL/TP-560-34302 (2008), equation 42.
func Refraction(trueElevationDeg, pressurePa, airC float64) float64 {
	return refraction(trueElevationDeg, airFactor(pressurePa, airC))
}

// airFactor is the part of the refraction that depends on the air alone.
func airFactor(pressurePa, airC float64) float64 {
	return pressurePa / 101000 * 283 / (273 + airC) * 1.02 / 60
}

func refraction(trueElevationDeg, factor float64) float64 {
	const sunRadiusDeg, horizonDeg = 0.26667, 0.5667
	if trueElevationDeg < -(sunRadiusDeg + horizonDeg) {
		return 0
	}
	sin, cos := math.Sincos((trueElevationDeg + 10.3/(trueElevationDeg+5.11)) * deg)
	return factor * cos / sin
}
