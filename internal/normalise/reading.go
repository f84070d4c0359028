package normalise

import (
	"math"

	"evensun/internal/budget"
	"evensun/internal/celltemp"
	"evensun/internal/fieldtest"
	"evensun/internal/limits"
	"evensun/internal/sky"
	"evensun/internal/stc"
	"evensun/internal/sun"
)

// Reasons why a reading has no result, or has one that is not ranked.
const (
	noPower         = "no_power"
	notATracker     = "not_a_tracker"
	skyNotClear     = "sky_not_clear"
	sunTooLow       = "sun_too_low"
	planeUnknown    = "plane_unknown"
	irradianceLow   = "irradiance_too_low"
	tooUncertain    = "uncertainty_too_large"
	numericallyLost = "not_finite"
	sweepUnusable   = "sweep_not_usable"
	unitSlip        = "unit_slip"
)

// Irradiances in W/m2 below which a reading is not normalised, or not ranked.
const (
	leastLightWM2    = 100
	leastRankableWM2 = stc.LowestRankableWM2
)

// uncertaintyCeiling is the relative uncertainty above which a result is not ranked
// (common practice, no source).
const uncertaintyCeiling = 0.20

// reading holds the working values of one reading, from what was given to the budget.
// Derivation, limits and budget all read the same numbers.
type reading struct {
	given
	rated *rated
	index int

	angles    sun.Angles
	sun       sky.Sun
	plane     sky.Plane
	scene     sky.Scene
	clear     sky.Light // clear sky at the middle of the turbidity's range
	split     sky.Split // of a measured GHI
	light     sky.OnPlane
	modifier  sky.Modifier
	origin    fieldtest.Origin
	sensorRow budget.Irradiance
	beamShare float64
	iamWeight float64 // what a pyranometer sees and the cells do not; 1 otherwise
	rearWM2   float64
	rearKnown bool

	point       point
	openV       float64 // open-circuit voltage of the same unit within minutes, V
	openWM2     float64 // light when that was read
	thermometer celltemp.Thermometer
	vocFrom     string  // what the thermometer stands on
	backRate    float64 // how fast the back surely changed between readings, K/min
	tempRow     celltemp.Shares
	tempMethod  string
	stepU       float64 // standard uncertainty of the step from sensor to cells at 1000 W/m2, K
	flatSpreadK float64 // half the distance of the bounds on the ground, standard
	cellU       float64 // standard uncertainty of the cell temperature, K

	power      budget.PowerShares
	product    bool // power is V times I
	sideOfRead fieldtest.Side

	sweep sweepFacts

	specimen   string
	retention  *fieldtest.Retention
	coverRatio coverRatio
	wiring     *wiringFound

	value  float64 // P_stc, W
	method string
	reason string // why there is no result
	total  budget.Result
	budget budget.Budget
	report limits.Report
}

// see finds the light on a reading's panel.
func (s *setup) see(r *reading) {
	s.findSun(r)
	s.findLight(r)
}

// weigh takes a reading whose light is known to the point from which its power follows.
func (s *setup) weigh(r *reading) {
	s.findTemperature(r)
	s.findPower(r)
	r.value = math.NaN()
	if r.reason == "" {
		r.value = r.point.stcW()
		if math.IsNaN(r.value) || math.IsInf(r.value, 0) || r.value <= 0 {
			r.value, r.reason = math.NaN(), numericallyLost
		}
	}
}

// without sets the reason for having no result, keeping the first.
func (r *reading) without(reason string) {
	if r.reason == "" {
		r.reason = reason
	}
}

// findSun places the sun and the panel and computes the clear sky over them.
func (s *setup) findSun(r *reading) {
	r.angles = s.track.At(r.takenAt)
	r.sun = sky.NewSun(r.angles, s.track.ExtraterrestrialWM2(r.takenAt), &s.place)
	tilt, azimuth := r.tiltDeg, r.azimuthDeg
	if !r.planeKnown() { // facing the sun is the most lenient guess
		tilt, azimuth = min(90, r.angles.ApparentZenithDeg), r.angles.AzimuthDeg
	}
	r.plane = sky.NewPlane(tilt, azimuth, sky.CleanGlass)
	r.scene = sky.Scene{Site: s.place, Sun: r.sun, Plane: r.plane, LinkeTurbidity: s.turbidity.Middle(), GroundAlbedo: s.albedo}
	r.clear = sky.ClearSkyPlane(&r.scene)
}

// findLight chooses the irradiance: measured in the plane, else from a measured
// horizontal one, else the clear sky.
func (s *setup) findLight(r *reading) {
	r.sensorRow = budget.IrradianceOf(r.sensor, r.calibrated, r.isoClass, r.sun.AirMass)
	r.light, r.modifier, r.iamWeight = r.clear.OnPlane, r.clear.Modifier, 1
	r.point.light, r.point.optics = 0, 0
	switch {
	case r.metered() && isGiven(r.poaWM2):
		s.lightMeasured(r)
	case r.metered():
		s.lightFromHorizontal(r)
	default:
		s.lightEstimated(r)
	}
	s.findRear(r)
}

func (s *setup) lightMeasured(r *reading) {
	r.origin = fieldtest.OriginMeasured
	r.point.poaWM2, r.point.frontWM2 = r.poaWM2, r.poaWM2
	r.beamShare = beamShare(r.clear.OnPlane)
	if s.condition == fieldtest.Overcast {
		r.beamShare = 0
	}
	if r.planeKnown() && broadband(r.sensor) {
		r.iamWeight = modifierWeight(&r.clear, s.condition)
		r.point.frontWM2 *= r.iamWeight
	}
	if r.poaWM2 < leastLightWM2 {
		r.without(irradianceLow)
	}
}

// modifierWeight is the share of a plane's light that reaches the cells through the
// cover; under a closed sky all light counts as diffuse.
func modifierWeight(l *sky.Light, condition fieldtest.SkyCondition) float64 {
	if condition == fieldtest.Overcast {
		return l.Sky
	}
	poa := l.POAWM2()
	if poa <= 0 {
		return l.Sky
	}
	return l.EffectiveWM2 / poa
}

// broadband tells whether a sensor sees slanting light as a flat horizontal plate
// would, without a cover's loss.
func broadband(s fieldtest.Sensor) bool {
	return s == fieldtest.ThermopilePyranometer || s == fieldtest.SiliconPyranometer
}

func (s *setup) lightFromHorizontal(r *reading) {
	r.origin = fieldtest.OriginFromGHI
	r.split = sky.Erbs(r.ghiWM2, &r.sun)
	r.light = sky.HayDavies(r.split.Horizontal, &r.sun, &r.plane, s.albedo)
	r.point.poaWM2, r.point.frontWM2 = r.light.POAWM2(), r.modifier.Effective(r.light)
	r.beamShare = beamShare(r.light)
	if !r.planeKnown() {
		r.without(planeUnknown)
	}
	if r.point.poaWM2 < leastLightWM2 {
		r.without(irradianceLow)
	}
}

func (s *setup) lightEstimated(r *reading) {
	k := s.highSite
	r.origin = fieldtest.OriginClearSky
	r.point.poaWM2, r.point.frontWM2 = k*r.clear.POAWM2(), k*r.clear.EffectiveWM2
	r.beamShare = beamShare(r.clear.OnPlane)
	switch {
	case !r.planeKnown():
		r.without(planeUnknown)
	case s.clouded():
		r.without(skyNotClear)
	case r.angles.ElevationDeg() < sunLowDeg:
		r.without(sunTooLow)
	}
}

// sunLowDeg is the sun's height below which a clear-sky estimate is not used
// (common practice, no source: the turbidity alone then leaves 15 % and more).
const sunLowDeg = 20

// beamShare is the part of a plane's light that comes straight from the sun.
func beamShare(o sky.OnPlane) float64 {
	poa := o.POAWM2()
	if poa <= 0 {
		return 0
	}
	return o.BeamWM2 / poa
}

// findRear adds the light on the rear of a two-sided panel.
func (s *setup) findRear(r *reading) {
	r.point.rearWM2, r.point.bifaciality, r.rearWM2 = 0, 0, 0
	phi := r.rated.bifaciality
	if !isGiven(phi) || phi <= 0 {
		return
	}
	r.rearKnown = isGiven(r.given.rearWM2)
	switch {
	case r.rearKnown:
		r.rearWM2 = r.given.rearWM2
	case r.arrangement == fieldtest.Flat || !r.planeKnown():
		return
	case r.origin == fieldtest.OriginFromGHI:
		r.rearWM2 = sky.RearEstimate(r.ghiWM2, &r.plane, s.albedo, sky.SelfShade)
	default:
		r.rearWM2 = sky.RearEstimate(r.clear.GHIWM2, &r.plane, s.albedo, sky.SelfShade)
	}
	r.point.rearWM2, r.point.bifaciality = r.rearWM2, phi
}
