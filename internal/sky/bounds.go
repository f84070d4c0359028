package sky

import "math"

// A Bound is an upper limit for a measured irradiance, W/m2: beyond Rare a value is
// extremely rare, beyond Possible it is not physical.
type Bound struct{ PossibleWM2, RareWM2 float64 }

// Bounds are the limits of the three horizontal quantities.
type Bounds struct{ GHI, DNI, DHI Bound }

// MeasuredBounds returns what a station may measure in W/m2, with mu = cos z (0 below the
// horizon) and S the irradiance above the air:
//
//	GHI  1.5 S mu^1.2 + 100    1.2 S mu^1.2 + 50
//	DHI  0.95 S mu^1.2 + 50    0.75 S mu^1.2 + 30
//	DNI  S                     0.95 S mu^0.2 + 10
//
// Error: none; the bounds are the statement. Under broken cloud single seconds pass the
// rare ones.
//
// Source: C. Long, E. Dutton, BSRN Global Network recommended QC tests V2.0 (2002),
// table of the physically possible and the extremely rare limits.
func MeasuredBounds(s *Sun) Bounds {
	mu := max(0, s.Up)
	level := s.ExtraterrestrialWM2 * math.Pow(mu, 1.2)
	return Bounds{
		GHI: Bound{1.5*level + 100, 1.2*level + 50},
		DHI: Bound{0.95*level + 50, 0.75*level + 30},
		DNI: Bound{s.ExtraterrestrialWM2, 0.95*s.ExtraterrestrialWM2*math.Pow(mu, 0.2) + 10},
	}
}

// DiffuseBound returns the most light in W/m2 that can fall on a plane that the sun
// does not reach: the rare bound of diffuse light by the view of the sky, and that of
// global light thrown back by the ground.
//
// albedo (0 to 1) errs on the bright side: 0.3, over snow 0.9.
//
// Error: none; it is a bound.
//
// Source: MeasuredBounds with the view factors of HayDavies; the combination is our
// own.
func DiffuseBound(s *Sun, p *Plane, albedo float64) float64 {
	b := MeasuredBounds(s)
	return b.DHI.RareWM2*p.skyView + albedo*b.GHI.RareWM2*p.groundView
}

// MostLenientWM2 returns the largest clear-sky irradiance in W/m2 on a plane that is
// known only to within uPlaneDeg: turbidity 2 or 7, whichever gives more (where the
// beam misses the plane haze does), and a sun up to twice that nearer to the normal.
//
// uPlaneDeg is one standard deviation (0 to 20 deg).
//
// Error: none; it is a bound within the models.
//
// Source: ClearSky and HayDavies; turbidity and two standard deviations are common
// practice, no source.
func MostLenientWM2(scene *Scene, uPlaneDeg float64) float64 {
	p, s := &scene.Plane, &scene.Sun
	cos := math.Cos(max(0, p.IncidenceDeg(s)-2*uPlaneDeg) * deg)
	clean := hayDavies(ClearSky(&scene.Site, s, 2), s, p, cos, scene.GroundAlbedo).POAWM2()
	hazy := hayDavies(ClearSky(&scene.Site, s, 7), s, p, cos, scene.GroundAlbedo).POAWM2()
	return max(clean, hazy)
}
