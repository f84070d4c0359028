package limits

import "math"

// IrradianceAboveClearSky returns the plane-of-array irradiance in W/m2 above
// which a meter's claim is noted (1.05 Gcs + 2u: cloud edge, bright ground), held
// (1.25 Gcs + 2u) and refused (min(2 Gcs + 50, record)). clearTL2WM2 is the
// clear-sky irradiance Gcs of the plane at Linke turbidity 2, at normal incidence
// where the plane is not known; uPOAWM2 the standard uncertainty of the meter.
//
// Source: cloud-enhancement records of Cordero et al. (2023), Emck and Richter
// (2008), Yordanov et al. (2013); the steps between are common practice.
func IrradianceAboveClearSky(set *Settings, clearTL2WM2, uPOAWM2 float64) Bounds {
	return Bounds{
		Note:   1.05*clearTL2WM2 + 2*uPOAWM2,
		Hold:   1.25*clearTL2WM2 + 2*uPOAWM2,
		Reject: min(2*clearTL2WM2+50, set.RecordWM2),
	}
}

// HorizontalIrradianceImpossible returns the global horizontal irradiance in W/m2
// above which a claim is extremely rare (hold, 1.2 Sa mu^1.2 + 50) and impossible
// (reject, 1.5 Sa mu^1.2 + 100), with mu the cosine of the apparent zenith angle
// in degrees (0 with the sun down) and Sa the extraterrestrial normal irradiance.
//
// Source: C. Long, E. Dutton, BSRN QC tests V2.0 (2002).
func HorizontalIrradianceImpossible(apparentZenithDeg, extraterrestrialWM2 float64) Bounds {
	s := extraterrestrialWM2 * mu12(apparentZenithDeg)
	return Bounds{math.NaN(), 1.2*s + 50, 1.5*s + 100}
}

// mu12 returns mu^1.2, 0 with the sun down.
func mu12(zenithDeg float64) float64 {
	mu := max(0, math.Cos(zenithDeg*math.Pi/180))
	return mu * math.Exp(0.2*math.Log(mu)) // a quarter of the time of math.Pow
}

// SunBelowHorizon tells which value cannot be when the sun is down (apparent
// zenith above 90.3 deg): more than 10 W/m2, 1 % of Pmax or 1 % of Isc. The
// returned limit belongs to the first of the three that fires; which is 0 for the
// irradiance, 1 for the power, 2 for the current, -1 for none.
func SunBelowHorizon(apparentZenithDeg, poaWM2, powerW, currentA, pmaxW, iscA float64) (which int, limit float64) {
	switch {
	case !(apparentZenithDeg > 90.3):
		return -1, math.NaN()
	case poaWM2 > 10:
		return 0, 10
	case powerW > 0.01*pmaxW:
		return 1, 0.01 * pmaxW
	case currentA > 0.01*iscA:
		return 2, 0.01 * iscA
	}
	return -1, math.NaN()
}

// SunBehindPanel returns the most diffuse irradiance in W/m2 that a plane turned
// away from the sun can get, and the limits on a claim (L + 2u, 1.5 L + 3u):
//
//	L = (0.75 Sa mu^1.2 + 30)(1 + cos b)/2 + rho (1.2 Sa mu^1.2 + 50)(1 - cos b)/2
//
// The limits are NaN while the sun may reach the front: incidenceDeg less twice
// uPlaneDeg not above 90. groundAlbedo missing: 0.3.
//
// Source: diffuse and global limits of the BSRN QC tests V2.0 (2002) on an
// isotropic sky.
func SunBehindPanel(incidenceDeg, uPlaneDeg, tiltDeg, apparentZenithDeg, extraterrestrialWM2, groundAlbedo, uPOAWM2 float64) (diffuseWM2 float64, b Bounds) {
	s := extraterrestrialWM2 * mu12(apparentZenithDeg)
	cosTilt := math.Cos(tiltDeg * math.Pi / 180)
	diffuseWM2 = (0.75*s+30)*(1+cosTilt)/2 + or(groundAlbedo, 0.3)*(1.2*s+50)*(1-cosTilt)/2
	if !(incidenceDeg-2*uPlaneDeg > 90) {
		return diffuseWM2, Bounds{math.NaN(), math.NaN(), math.NaN()}
	}
	return diffuseWM2, Bounds{math.NaN(), diffuseWM2 + 2*uPOAWM2, 1.5*diffuseWM2 + 3*uPOAWM2}
}

// IrradianceBelowClearSky returns the irradiance in W/m2 below which a meter under
// a sky called clear is noted (0.95 Gcs - 2u) and held (0.80 Gcs - 2u).
// clearHighTLWM2 is the clear-sky irradiance Gcs of the plane at the upper end of
// the usual turbidity.
func IrradianceBelowClearSky(clearHighTLWM2, uPOAWM2 float64) Bounds {
	return Bounds{0.95*clearHighTLWM2 - 2*uPOAWM2, 0.80*clearHighTLWM2 - 2*uPOAWM2, math.NaN()}
}

// LowSunMarginWM2 returns by how much more, in W/m2, a meter may differ from a clear sky
// with the sun below 20 degrees of elevation, where a share of little light allows less
// than the haze and the horizon of one place do: 30 (common practice, no source). 0 with
// the sun higher.
func LowSunMarginWM2(apparentZenithDeg float64) float64 {
	if s, _ := SunTooLow().Below(90 - apparentZenithDeg); s != OK {
		return 30
	}
	return 0
}

// HorizontalTakenForPlane compares a measured plane-of-array irradiance with the
// clear-sky values of the horizontal and of the plane, all in W/m2: a note when it
// fits the horizontal within 3 % and misses the plane by more than 10 %. It
// returns both relative deviations.
func HorizontalTakenForPlane(poaWM2, clearGHIWM2, clearPOAWM2 float64) (horizontal, plane float64, s Severity) {
	horizontal = math.Abs(poaWM2/clearGHIWM2 - 1)
	plane = math.Abs(poaWM2/clearPOAWM2 - 1)
	if horizontal < 0.03 && plane > 0.10 {
		s = Note
	}
	return horizontal, plane, s
}

// SunTooLow returns the limit in degrees of elevation, 20: above air mass 2.9 errors of
// spectrum, incidence and tilt grow. A note: without a meter there is no result that
// could be held, with one the budget carries the errors.
func SunTooLow() Bounds { return Bounds{20, math.NaN(), math.NaN()} }

// IrradianceTooLow returns the limit in W/m2 below which a result is shown but not
// ranked, and whether poaWM2 is normalised at all (100 W/m2 and more).
func IrradianceTooLow(poaWM2 float64) (b Bounds, normalised bool) {
	return Bounds{400, math.NaN(), math.NaN()}, !(poaWM2 < 100)
}
