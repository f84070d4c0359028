package sky

import "math"

// A Scene is one instant of a clear sky over one panel: everything ClearSkyPlane
// wants. Copy it and change a member to ask what that member does.
type Scene struct {
	Site           Site
	Sun            Sun
	Plane          Plane
	LinkeTurbidity float64 // 1 to 10
	GroundAlbedo   float64 // 0 to 1
}

// Light is the answer: horizontal irradiance, the parts on the plane, what of them
// the cover passes, and the effective irradiance.
type Light struct {
	Horizontal
	OnPlane
	Modifier
	CosIncidence float64
	EffectiveWM2 float64
}

// ClearSkyPlane returns the light on a plane under a cloudless sky: ClearSky, then
// HayDavies, then MartinRuiz and its diffuse modifiers.
//
// Error: see ClearSky and HayDavies; 4 % for the models together and 3 % for the
// sky's evenness, one standard deviation (common practice, no source), besides
// turbidity (TurbidityU) and the plane's own uncertainty.
//
// The scene is within the ranges of its members, the sun at least 2 deg high.
//
// Source: as ClearSky, HayDavies and MartinRuiz.
func ClearSkyPlane(scene *Scene) Light {
	p := &scene.Plane
	l := Light{CosIncidence: p.CosIncidence(&scene.Sun)}
	l.Horizontal = ClearSky(&scene.Site, &scene.Sun, scene.LinkeTurbidity)
	l.OnPlane = hayDavies(l.Horizontal, &scene.Sun, p, l.CosIncidence, scene.GroundAlbedo)
	l.Modifier = p.diffuse
	l.Beam = martinRuiz(l.CosIncidence, p.angularLoss, p.beamUnit)
	l.EffectiveWM2 = l.Effective(l.OnPlane)
	return l
}

// TurbidityU returns the standard uncertainty in W/m2 of the clear-sky irradiance on
// a plane when the turbidity is anywhere in a range with equal probability:
// |G(low) - G(high)|/(2 sqrt 3). It is near 2 % of G at noon and 20 % with the sun
// at 15 deg.
//
// t lies between 1 and 10.
//
// Error: the irradiance is not quite linear in the turbidity: some percent of the result.
//
// Source: JCGM 100:2008, 4.3.7, for the rectangular distribution.
func TurbidityU(scene *Scene, t Turbidity) float64 {
	clean, hazy := *scene, *scene
	clean.LinkeTurbidity, hazy.LinkeTurbidity = t.Low, t.High
	return math.Abs(ClearSkyPlane(&clean).POAWM2()-ClearSkyPlane(&hazy).POAWM2()) / (2 * math.Sqrt(3))
}
