package sky

import "math"

// A Modifier says what part of the light from each direction passes a cover,
// relative to light that falls straight on it.
type Modifier struct{ Beam, Sky, Ground float64 }

// CleanGlass is the angular loss coefficient a_r of clean glass for MartinRuiz (N. Martin,
// J. Ruiz, 2001). No value has been published for fabric panels faced with ETFE or PET;
// clean glass stands in, with the spread of ModifierU.
const CleanGlass = 0.16

// ModifierU returns the standard uncertainty of a beam modifier where the cover is
// not known: 0.25*(1 - modifier) + 0.005 (common practice, no source).
//
// modifier is that of the beam (0 to 1); the result has no unit either.
//
// Error: none; it states one. Source: common practice, no source.
func ModifierU(modifier float64) float64 { return 0.25*(1-modifier) + 0.005 }

// ASHRAE returns the beam modifier 1 - b0*(1/cos th - 1), 0 to 1.
//
// incidenceDeg is th (0 from 90 deg on), b0 usually 0.05.
//
// Error: the form reaches 0 before 90 deg (at 87.3 for b0 = 0.05).
//
// Source: A. Souka, H. Safwat, Solar Energy 10 (1966), page 170; ASHRAE 93-77.
func ASHRAE(incidenceDeg, b0 float64) float64 {
	cos := math.Cos(incidenceDeg * deg)
	if math.Abs(incidenceDeg) >= 90 {
		return 0
	}
	return max(0, 1-b0*(1/cos-1))
}

// MartinRuiz returns the beam modifier (1 - exp(-cos th/a_r))/(1 - exp(-1/a_r)).
//
// incidenceDeg is th (0 from 90 deg on), angularLoss a_r (0.08 to 0.25).
//
// Error: see ModifierU; it was made for covers that nobody measured.
//
// Source: N. Martin, J. Ruiz, Solar Energy Materials and Solar Cells 70 (2001) 25,
// equation 3; IEC 61853-3.
func MartinRuiz(incidenceDeg, angularLoss float64) float64 {
	return martinRuiz(math.Cos(incidenceDeg*deg), angularLoss, 1/(1-math.Exp(-1/angularLoss)))
}

func martinRuiz(cosIncidence, angularLoss, unit float64) float64 {
	if cosIncidence < 1e-12 {
		return 0
	}
	return (1 - math.Exp(-cosIncidence/angularLoss)) * unit
}

// MartinRuizDiffuse returns the modifiers of light from the whole sky and from the
// ground; Beam is left 0:
//
//	sky    1 - exp(-(c1*X + c2*X^2)/a_r),  X = sin b + (pi - b - sin b)/(1 + cos b)
//	ground 1 - exp(-(c1*Y + c2*Y^2)/a_r),  Y = sin b + (b - sin b)/(1 - cos b)
//	c1 = 4/(3 pi),  c2 = a_r/2 - 0.154
//
// tiltDeg is b (0 to 90 deg), angularLoss a_r (0.08 to 0.25); flat panels see no ground
// and get 0 for it.
//
// Error: see ModifierU.
//
// Source: N. Martin, J. Ruiz, as MartinRuiz, with the corrigendum 110 (2013) 154.
func MartinRuizDiffuse(tiltDeg, angularLoss float64) Modifier {
	sinB, cosB := math.Sincos(tiltDeg * deg)
	return martinRuizDiffuse(tiltDeg*deg, sinB, cosB, angularLoss)
}

func martinRuizDiffuse(tiltRad, sinB, cosB, angularLoss float64) Modifier {
	c2 := 0.5*angularLoss - 0.154
	part := func(x float64) float64 {
		const c1 = 4 / (3 * math.Pi)
		return 1 - math.Exp(-x*(c1+c2*x)/angularLoss)
	}
	sky := sinB + (math.Pi-tiltRad-sinB)/(1+cosB)
	ground := 4 * tiltRad / 3 // the limit for a nearly flat plane
	if tiltRad > 1e-3 {
		ground = sinB + (tiltRad-sinB)/(1-cosB)
	}
	return Modifier{Sky: part(sky), Ground: part(ground)}
}

// A Sheet is a clear front sheet for Physical.
type Sheet struct {
	RefractiveIndex float64 // 1 to 2; glass 1.526, ETFE about 1.40, PET about 1.6
	ExtinctionPerM  float64 // 0 to 50; glass 4
	ThicknessM      float64 // 0 to 0.01; glass 0.002
}

// GlassSheet is low-iron glass as De Soto et al. used it, 2 mm thick.
//
// Error: glasses differ by some hundredths of the index (from memory).
//
// Source: W. De Soto et al., Solar Energy 80 (2006) 78, text below equation 20.
func GlassSheet() Sheet { return Sheet{RefractiveIndex: 1.526, ExtinctionPerM: 4, ThicknessM: 0.002} }

// Physical returns the beam modifier of a sheet by the laws of Snell, Fresnel and
// Bouguer, relative to normal incidence.
//
// incidenceDeg is th (0 from 90 deg on).
//
// Error: one reflection at the outer face only; within 4 % of MartinRuiz up to 75 deg.
//
// Source: W. De Soto et al., Solar Energy 80 (2006) 78, equations 18 to 20.
func Physical(incidenceDeg float64, sheet Sheet) float64 {
	incidenceDeg = math.Abs(incidenceDeg)
	if incidenceDeg >= 90 {
		return 0
	}
	path := sheet.ExtinctionPerM * sheet.ThicknessM
	mirror := (1 - sheet.RefractiveIndex) / (1 + sheet.RefractiveIndex)
	straight := math.Exp(-path) * (1 - mirror*mirror)
	if incidenceDeg < 1e-4 {
		return 1
	}
	outer := incidenceDeg * deg
	inner := math.Asin(math.Sin(outer) / sheet.RefractiveIndex)
	sinRatio := math.Sin(inner-outer) / math.Sin(inner+outer)
	tanRatio := math.Tan(inner-outer) / math.Tan(inner+outer)
	passed := math.Exp(-path/math.Cos(inner)) * (1 - (sinRatio*sinRatio+tanRatio*tanRatio)/2)
	return passed / straight
}

// Effective returns the irradiance in W/m2 that counts as if it fell straight on the
// cells: each part times its modifier, the circumsolar light as beam. A reference
// cell behind flat glass in the plane has this in its reading already.
//
// o holds the parts of the light (each 0 to 1500 W/m2).
//
// Error: that of the modifiers, see ModifierU. Source: N. Martin, J. Ruiz (2001), the
// sum over the parts is their definition.
func (m Modifier) Effective(o OnPlane) float64 {
	return m.Beam*(o.BeamWM2+o.CircumsolarWM2) + m.Sky*o.SkyWM2 + m.Ground*o.GroundWM2
}
