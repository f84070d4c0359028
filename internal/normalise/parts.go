package normalise

import (
	"math"

	"evensun/internal/budget"
	"evensun/internal/celltemp"
	"evensun/internal/fieldtest"
	"evensun/internal/sky"
	"evensun/internal/stc"
)

const (
	class   = budget.ClassDegreesOfFreedom
	sqrt3   = budget.Sqrt3
	hardDof = budget.CertainDegreesOfFreedom
)

// estimateU fills the reading's budget: every input of the point moved by its own
// standard uncertainty, up and down.
func (s *setup) estimateU(r *reading) {
	r.budget.Reset(r.value)
	s.electricalParts(r)
	if r.origin == fieldtest.OriginMeasured {
		s.meteredParts(r)
	} else {
		s.computedSkyParts(r)
	}
	s.rearParts(r)
	s.temperatureParts(r)
	s.translationParts(r)
	r.total = r.budget.Combine(r.origin != fieldtest.OriginMeasured)
}

// move adds the part of one member of the point: half of what the power does when
// the member goes up and down by u.
func (r *reading) move(name string, scope budget.Scope, dof float64, member *float64, u float64) {
	r.budget.Move(name, scope, dof, member, u, r.point.stcW)
}

func (s *setup) electricalParts(r *reading) {
	p, m := &r.point, &s.rig.meter
	r.move("meter", budget.Rig, class, &p.gain, r.power.Rig)
	r.move("display_step", budget.Reading, hardDof, &p.flicker, r.power.Step)
	r.move("flicker", budget.Reading, class, &p.flicker, r.power.Reading)
	if p.tracker != 1 {
		r.move("tracker", budget.Rig, hardDof, &p.tracker, budget.TrackerHalf/sqrt3)
	}
	switch {
	case p.cableLoss != 0:
		r.move("cable_not_stated", budget.Rig, hardDof, &p.cableLoss, budget.CableUnstatedHalf/sqrt3)
	case p.cableOhm != 0:
		r.move("cable_current", budget.Rig, class, &p.currentA, m.RigCurrent*p.currentA)
		r.move("cable_resistance", budget.Rig, hardDof, &p.cableOhm, budget.CableStatedHalf*p.cableOhm/sqrt3)
	}
	switch r.sideOfRead {
	case fieldtest.BatterySide:
		half := budget.ConverterHalf
		if s.rig.stated {
			half = budget.ConverterStatedHalf
		}
		r.move("converter", budget.Rig, hardDof, &p.converter, half/sqrt3)
		r.move("converter_own_use", budget.Rig, class, &p.selfW, budget.ConverterSelfW)
	case fieldtest.UnknownSide, "":
		r.move("side_not_stated", budget.Rig, hardDof, &p.side, budget.SideUnknownHalf/sqrt3)
	}
}

// meteredParts are those of a light meter in the plane of the panel.
func (s *setup) meteredParts(r *reading) {
	p, row := &r.point, &r.sensorRow
	calibration := float64(class)
	if r.calibrated {
		calibration = budget.CertificateDegreesOfFreedom
	}
	r.move("light_meter", budget.Rig, calibration, &p.light, row.Rig)
	r.move("light_spectrum", budget.Session, class, &p.light, s.spectrum(r, row.Spectrum))
	r.move("light_not_simultaneous", budget.Reading, class, &p.light, row.Reading)
	r.move("light_angular", budget.Common, class, &p.optics, row.Angular)
	r.move("plane", budget.Reading, class, &p.light, s.planeShare(r))
	s.unsteadyPart(r)
	s.placePart(r)
}

// planeShare is the relative uncertainty of the beam's part for a sensor beside the
// panel, or for a plane nobody stated.
func (s *setup) planeShare(r *reading) float64 {
	deg := float64(budget.PlaneLooseDeg)
	aoi := r.plane.IncidenceDeg(&r.sun)
	switch {
	case !r.planeKnown():
		deg, aoi = budget.PlaneUnknownDeg, unknownPlaneAOIDeg
	case r.sensor == fieldtest.ReferencePanel:
		deg = budget.PlaneFixedDeg
	}
	return budget.PlaneShare(r.beamShare, min(aoi, 80), deg)
}

// unknownPlaneAOIDeg is the incidence at which the error of an unknown plane is
// reckoned (common practice, no source).
const unknownPlaneAOIDeg = 25

// unsteadyPart is more on the light where the sky was not clear.
func (s *setup) unsteadyPart(r *reading) {
	if s.condition != fieldtest.Clear {
		r.move("unsteady_light", budget.Reading, class, &r.point.light, budget.UnsteadyShare)
	}
}

// placePart is what the rounded place leaves in the sun's direction.
func (s *setup) placePart(r *reading) {
	if r.origin == fieldtest.OriginMeasured && r.iamWeight == 1 {
		return // a measured light needs no place
	}
	aoi := min(r.plane.IncidenceDeg(&r.sun), 85)
	r.move("place_rounded", budget.Session, class, &r.point.light, budget.PlaneShare(r.beamShare, aoi, s.placeDeg))
}

// spectrum widens a sensor's spectral share for cells that see another part of the
// spectrum.
func (s *setup) spectrum(r *reading, share float64) float64 {
	switch r.rated.technology {
	case fieldtest.CIGS, fieldtest.Amorphous, fieldtest.PerovskiteTandem:
		return 2 * share
	}
	return share
}

// computedSkyParts are those of an irradiance computed for the plane: from a measured
// horizontal irradiance or from a clear sky.
func (s *setup) computedSkyParts(r *reading) {
	p := &r.point
	row := budget.ClearSkyOf(s.condition, r.magnetic)
	if r.origin == fieldtest.OriginFromGHI {
		meter := &r.sensorRow
		r.move("light_meter", budget.Rig, class, &p.light, meter.Rig)
		r.move("light_not_simultaneous", budget.Reading, class, &p.light, meter.Reading)
		r.move("split_of_horizontal", budget.Session, class, &p.light, budget.FromHorizontalShare)
		s.unsteadyPart(r)
	} else {
		half := (s.turbidity.High - s.turbidity.Low) / 2 / sqrt3
		s.moveSky(r, "turbidity", budget.Session, hardDof, func(sc *sky.Scene, k float64) { sc.LinkeTurbidity += k * half })
		r.move("sky_model", budget.Session, class, &p.light, math.Hypot(row.Model, s.highSiteShare()))
		r.move("state_of_the_sky", budget.Session, class, &p.light, row.Sky)
	}
	if r.arrangement != fieldtest.Flat {
		s.moveSky(r, "azimuth", budget.Session, class, func(sc *sky.Scene, k float64) {
			sc.Plane = sky.NewPlane(sc.Plane.TiltDeg, sc.Plane.AzimuthDeg+k*row.AzimuthDeg, sky.CleanGlass)
		})
		s.moveSky(r, "ground", budget.Session, hardDof, func(sc *sky.Scene, k float64) {
			sc.GroundAlbedo = max(0, sc.GroundAlbedo+k*s.albedoHalf/sqrt3)
		})
	}
	s.moveTilt(r, row.TiltDeg)
	s.timePart(r)
	s.altitudePart(r)
	r.move("cover", budget.Common, class, &p.optics, budget.IncidenceShare(r.modifier.Beam))
	r.move("spectrum", budget.Session, class, &p.optics, s.spectrum(r, budget.SpectrumShare(r.sun.AirMass)))
	s.placePart(r)
}

// highSiteHalf is by how much the light of a clear sky is taken back above 2000 m, and
// the half-width of that, relative: 5 % a kilometre, up to 15 %. The model's altitude
// terms are linear fits that pass the light above the air soon after: at 4000 m and a
// turbidity of 3.5 it sends 98 % of that light down, nine tenths of what the beam loses as
// light from the sky, where half of what the air scatters goes back up and some is
// absorbed; measured clear skies stay near 90 % (from memory). So the truth lies between
// the model and twice this below it, its expectation in the middle (common practice, no
// source).
func highSiteHalf(altitudeM float64) float64 {
	return min(0.15, max(0, altitudeM-highSiteM)*0.05/1000)
}

const highSiteM = 2000

// highSiteShare is the standard uncertainty that this adds, relative.
func (s *setup) highSiteShare() float64 { return highSiteHalf(s.place.AltitudeM) / sqrt3 }

// moveTilt moves the tilt; a flat panel can only lean, in whatever direction, so its
// error is taken towards and away from the sun.
func (s *setup) moveTilt(r *reading, uDeg float64) {
	if r.arrangement != fieldtest.Flat {
		s.moveSky(r, "tilt", budget.Reading, class, func(sc *sky.Scene, k float64) {
			sc.Plane = sky.NewPlane(min(90, max(0, sc.Plane.TiltDeg+k*uDeg)), sc.Plane.AzimuthDeg, sky.CleanGlass)
		})
		return
	}
	s.moveSky(r, "not_level", budget.Reading, class, func(sc *sky.Scene, k float64) {
		azimuth := r.angles.AzimuthDeg
		if k < 0 {
			azimuth += 180
		}
		sc.Plane = sky.NewPlane(levelDeg, azimuth, sky.CleanGlass)
	})
}

// levelDeg is how far ground that looks level is off, one standard deviation (common
// practice, no source).
const levelDeg = 2

// timePart is the error of an instant that was not given.
func (s *setup) timePart(r *reading) {
	if r.timeHalfMin == 0 {
		return
	}
	u := r.timeHalfMin / sqrt3
	s.moveSky(r, "time_not_given", budget.Reading, hardDof, func(sc *sky.Scene, k float64) {
		at := r.takenAt.Add(minutes(k * u))
		sc.Sun = sky.NewSun(s.track.At(at), s.track.ExtraterrestrialWM2(at), &sc.Site)
	})
}

// altitudePart is the error of an altitude that was not given.
func (s *setup) altitudePart(r *reading) {
	if s.altitudeU == 0 {
		return
	}
	s.moveSky(r, "altitude_not_given", budget.Session, hardDof, func(sc *sky.Scene, k float64) {
		sc.Site = sky.NewSite(sc.Site.LatitudeDeg, sc.Site.AltitudeM+k*s.altitudeU)
		sc.Sun = sky.NewSun(r.angles, r.sun.ExtraterrestrialWM2, &sc.Site)
	})
}

// moveSky adds the part of an input of the sky: change moves it by k = +1 and -1
// standard uncertainties in a copy of the scene.
func (s *setup) moveSky(r *reading, name string, scope budget.Scope, dof float64, change func(sc *sky.Scene, k float64)) {
	poa, front := r.point.poaWM2, r.point.frontWM2
	s.moved = r.scene
	change(&s.moved, 1)
	high := s.stcUnder(r, &s.moved)
	s.moved = r.scene
	change(&s.moved, -1)
	low := s.stcUnder(r, &s.moved)
	r.point.poaWM2, r.point.frontWM2 = poa, front
	r.budget.Add(name, scope, budget.Half(high, low), dof)
}

// stcUnder is the power were the sky or the plane another.
func (s *setup) stcUnder(r *reading, scene *sky.Scene) float64 {
	if r.origin == fieldtest.OriginClearSky {
		light, k := sky.ClearSkyPlane(scene), s.highSite
		r.point.poaWM2, r.point.frontWM2 = k*light.POAWM2(), k*light.EffectiveWM2
		return r.point.stcW()
	}
	light := sky.HayDavies(r.split.Horizontal, &scene.Sun, &scene.Plane, scene.GroundAlbedo)
	r.point.poaWM2, r.point.frontWM2 = light.POAWM2(), r.modifier.Effective(light)
	return r.point.stcW()
}

// rearParts are those of the light on the rear: most of it belongs to the panel's
// stand, some of it to the model's bifaciality.
func (s *setup) rearParts(r *reading) {
	if r.point.rearWM2 == 0 {
		return
	}
	own, shared := math.Sqrt(square(budget.RearEstimatedShare)-square(budget.RearOfModelShare)), budget.RearOfModelShare
	if r.rearKnown {
		own, shared = budget.RearMeasuredShare, budget.RearMeasuredShare
	}
	r.move("rear_light", budget.Reading, class, &r.point.rear, own)
	r.move("bifaciality", budget.Model, class, &r.point.rear, shared)
}

func (s *setup) temperatureParts(r *reading) {
	p, row := &r.point, &r.tempRow
	offset := &p.offsetK
	r.move("temperature_sensor", budget.Rig, class, offset, row.RigK)
	r.move("temperature_session", budget.Session, class, offset, row.SessionK)
	r.move("temperature_reading", budget.Reading, class, offset, row.ReadingK)
	r.move("temperature_model", budget.Model, class, offset, row.ModelK)
	r.move("temperature_common", budget.Common, class, offset, row.CommonK)
	r.move("warm_up", budget.Reading, class, offset, r.transientK())
	r.move("flat_on_the_ground", budget.Common, hardDof, offset, r.flatSpreadK)
	switch {
	case isGiven(p.fixedC):
		name, dof := "back_to_cell", float64(hardDof)
		if r.backSensor == fieldtest.InfraredFront {
			name, dof = "front_to_cell", class
		}
		r.move(name, budget.Common, dof, &p.backStepK, r.stepU)
	case isGiven(r.airC):
		r.move("air", budget.Session, class, &p.airC, celltemp.AirUK)
		r.move("wind", budget.Session, class, &p.windMS, celltemp.WindU(isGiven(r.windMS)))
	}
}

func (s *setup) translationParts(r *reading) {
	p := &r.point
	r.move("translation", budget.Common, class, &p.method, r.methodPart())
	if r.method != string(stc.MethodSimple) {
		return // a whole curve needs neither coefficient nor low-light model
	}
	half := budget.GammaClassHalf
	if r.rated.gammaStated {
		half = budget.GammaNameplateHalf
	}
	r.move(partGamma, budget.Model, hardDof, &p.gammaPerK, half/sqrt3)
	thin := r.rated.technology.ThinFilm()
	r.move(partLowLight, budget.Model, class, &p.efficacy, budget.LowLightShare(p.effectiveWM2(), thin))
}

// The parts that a panel's own coefficients would remove; the ranking estimates them
// from many readings.
const (
	partGamma    = "temperature_coefficient"
	partLowLight = "low_light_efficiency"
)

// partShare is the relative size of one named part.
func (r *reading) partShare(name string) float64 {
	for _, part := range r.budget.Parts() {
		if part.Name == name {
			return math.Abs(part.Contribution / r.value)
		}
	}
	return 0
}

// partsOf gives the totals by scope the names of the answer.
func partsOf(t *budget.Result) fieldtest.UncertaintyParts {
	return fieldtest.UncertaintyParts{
		Reading: t.Of(budget.Reading), Session: t.Of(budget.Session), Rig: t.Of(budget.Rig),
		Model: t.Of(budget.Model), Common: t.Of(budget.Common),
	}
}
