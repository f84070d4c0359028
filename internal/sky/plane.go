package sky

import "math"

// A Plane is the way a panel faces and how its cover treats slanting light. NewPlane
// makes it.
type Plane struct {
	TiltDeg    float64 // 0 flat and facing up, 90 upright
	AzimuthDeg float64 // clockwise from true north

	east, north, up     float64 // unit normal; up is cos tilt
	sinTilt             float64
	skyView, groundView float64 // shares of the half space
	angularLoss         float64 // a_r
	beamUnit            float64 // 1/(1 - exp(-1/a_r))
	diffuse             Modifier
}

// NewPlane returns a plane with a tilt (0 to 90 deg), an azimuth (deg) and the
// angular loss coefficient a_r of its cover (0.08 to 0.25; CleanGlass).
//
// Error: the formula to rounding. Source: definition of the normal; modifiers as
// MartinRuizDiffuse.
func NewPlane(tiltDeg, azimuthDeg, angularLoss float64) Plane {
	sinB, cosB := math.Sincos(tiltDeg * deg)
	sinA, cosA := math.Sincos(azimuthDeg * deg)
	return Plane{
		TiltDeg: tiltDeg, AzimuthDeg: azimuthDeg,
		east: sinB * sinA, north: sinB * cosA, up: cosB, sinTilt: sinB,
		skyView: (1 + cosB) / 2, groundView: (1 - cosB) / 2,
		angularLoss: angularLoss, beamUnit: 1 / (1 - math.Exp(-1/angularLoss)),
		diffuse: martinRuizDiffuse(tiltDeg*deg, sinB, cosB, angularLoss),
	}
}

// CosIncidence returns the cosine of the angle between the sun and the plane's
// normal, -1 to 1; below 0 the sun is behind the plane.
//
//	cos th = cos b cos z + sin b sin z cos(A - Ap)
//
// Error: the formula to rounding. Source: definition of the scalar product.
func (p *Plane) CosIncidence(s *Sun) float64 {
	return max(-1, min(1, p.east*s.East+p.north*s.North+p.up*s.Up))
}

// IncidenceDeg returns the angle of incidence in degrees, 0 to 180.
//
// Error: 1e-6 deg at the normal, rounding elsewhere. Source: definition.
func (p *Plane) IncidenceDeg(s *Sun) float64 {
	return math.Acos(p.CosIncidence(s)) / deg
}

// OnPlane is the irradiance on a tilted plane by where it comes from, W/m2. The sky's
// diffuse light is Circumsolar and Sky together.
type OnPlane struct {
	BeamWM2        float64
	CircumsolarWM2 float64 // diffuse light from around the sun
	SkyWM2         float64 // diffuse light from all over the sky
	GroundWM2      float64
}

// SkyDiffuseWM2 returns the diffuse light from the sky, W/m2.
//
// Error: that of its parts. Source: definition.
func (o OnPlane) SkyDiffuseWM2() float64 { return o.CircumsolarWM2 + o.SkyWM2 }

// POAWM2 returns the plane-of-array irradiance, W/m2.
//
// Error: that of its parts. Source: definition.
func (o OnPlane) POAWM2() float64 {
	return o.BeamWM2 + o.CircumsolarWM2 + o.SkyWM2 + o.GroundWM2
}

// HayDavies carries horizontal irradiance onto a plane, W/m2:
//
//	beam = DNI*max(0, cos th)
//	sky  = DHI*(Ai*Rb + (1-Ai)*(1+cos b)/2),  Ai = DNI/E0n,  Rb = max(0, cos th)/max(cos z, 0.01745)
//	ground = albedo*GHI*(1-cos b)/2
//
// albedo is what the ground throws back (0 to 1, AlbedoOf).
//
// Error: 2 to 3 % of the total under clear skies with the sun above 20 deg, more by
// the ground's part over snow (measured days in the tests).
//
// Source: J. Hay, J. Davies, Proc. First Canadian Solar Radiation Data Workshop
// (1980), pages 59 to 72; ground and view factors B. Liu, R. Jordan, Solar Energy 7 (1963) 53.
func HayDavies(h Horizontal, s *Sun, p *Plane, albedo float64) OnPlane {
	return hayDavies(h, s, p, p.CosIncidence(s), albedo)
}

// hayDavies takes the cosine of incidence apart, so that a bound can favour it.
func hayDavies(h Horizontal, s *Sun, p *Plane, cosIncidence, albedo float64) OnPlane {
	facing := max(0, cosIncidence)
	anisotropy := 0.0
	if s.ExtraterrestrialWM2 > 0 {
		anisotropy = h.DNIWM2 / s.ExtraterrestrialWM2
	}
	return OnPlane{
		BeamWM2:        h.DNIWM2 * facing,
		CircumsolarWM2: h.DHIWM2 * anisotropy * facing / max(s.Up, 0.01745),
		SkyWM2:         h.DHIWM2 * (1 - anisotropy) * p.skyView,
		GroundWM2:      albedo * h.GHIWM2 * p.groundView,
	}
}

// Isotropic returns the sky's diffuse light on a plane in W/m2 were the sky equally
// bright all over: DHI*(1+cos b)/2.
//
// dhiWM2 is DHI (0 to 800 W/m2).
//
// Error: too low under clear skies for a plane that faces the sun, since the light from
// around it is spread over the sky (no figure sourced; HayDavies keeps it apart).
//
// Source: B. Liu, R. Jordan, Solar Energy 7 (1963), pages 53 to 74.
func Isotropic(dhiWM2 float64, p *Plane) float64 { return dhiWM2 * p.skyView }
