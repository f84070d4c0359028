// Package sky tells how much of the sun reaches a tilted plane: clear sky, split
// into beam and diffuse light, transposition, angle of incidence and what the front
// sheet lets through.
//
// Beam light travels straight and falls on a plane by the cosine of its angle of
// incidence; diffuse light comes from the whole sky, brighter around the sun
// (circumsolar); the ground throws some of both back. A clear sky is described by
// one number, the Linke turbidity: how many clean dry atmospheres dim the beam as
// much as this one does. It is the largest unknown of an estimate without a meter,
// and so it comes as a range.
//
// The chain for one instant is NewSite (once a place), sun.Track, NewSun, NewPlane
// and ClearSkyPlane, which is cheap enough to be asked again with every input moved
// by its uncertainty. Irradiance is W/m2, angles are degrees, azimuth is clockwise
// from true north. NaN in gives NaN out; with the sun at or below the horizon clear
// sky, beam and diffuse are 0.
//
// Sources: P. Ineichen, R. Perez, Solar Energy 73 (2002) 151; P. Ineichen, Solar
// Energy 82 (2008) 1095; D. Erbs et al., Solar Energy 28 (1982) 293; J. Hay, J.
// Davies, Proc. First Canadian Solar Radiation Data Workshop (1980) 59; R. Perez et
// al., Solar Energy 44 (1990) 271; N. Martin, J. Ruiz, Solar Energy Materials and
// Solar Cells 70 (2001) 25; C. Long, E. Dutton, BSRN recommended quality control
// tests V2.0 (2002); IEC TS 60904-1-2.
//
// Not covered: clouds (only bounds for what they can do), spectrum, shade from
// things nearby, horizons other than flat, tracking planes. Nothing here corrects a
// measured irradiance.
package sky
