package sky

import (
	"math"

	"evensun/internal/sun"
)

const deg = math.Pi / 180

// A Site holds what the sky models need of a place, computed once by NewSite.
// PressureRatio may be replaced where pressure was measured.
type Site struct {
	LatitudeDeg   float64 // north positive
	AltitudeM     float64 // -400 to 4500
	PressureRatio float64 // pressure of the site over 101325 Pa

	dry, aerosol        float64 // fh1, fh2: how altitude thins gases and aerosol
	scale, extinction   float64 // cg1, cg2 of the clear-sky GHI
	beamScale, beamPart float64 // b of the beam, and the part of GHI in its second form
}

// NewSite returns a site at a latitude (deg) and an altitude (m) with the pressure
// of the standard atmosphere.
//
// The latitude is between -90 and 90 deg, the altitude between -400 and 4500 m.
//
// Error: that of StandardPressure. Source: the terms in altitude are those of ClearSky,
// equations 8 and 9 of its source.
func NewSite(latitudeDeg, altitudeM float64) Site {
	dry := math.Exp(-altitudeM / 8000)
	return Site{
		LatitudeDeg: latitudeDeg, AltitudeM: altitudeM,
		PressureRatio: sun.StandardPressure(altitudeM) / sun.StandardPressurePa,
		dry:           dry, aerosol: math.Exp(-altitudeM / 1250),
		scale: 5.09e-5*altitudeM + 0.868, extinction: 3.92e-5*altitudeM + 0.0387,
		beamScale: 0.664 + 0.163/dry, beamPart: 1 / (0.1 + 0.882/dry),
	}
}

// A Sun is where the light comes from at one instant and how strong it is before the
// air, with what is computed once an instant.
type Sun struct {
	ApparentZenithDeg   float64
	East, North, Up     float64 // unit vector to the apparent sun; Up is cos z
	ExtraterrestrialWM2 float64 // normal to the sun, above the air
	AirMass             float64 // relative
	AirMassAbsolute     float64 // times the pressure ratio of the site
}

// NewSun joins a direction, the irradiance above the air in W/m2 and a site.
//
// The irradiance is 1300 to 1420 W/m2.
//
// Error: that of AirMass. Source: as sun.AirMass.
func NewSun(a sun.Angles, extraterrestrialWM2 float64, site *Site) Sun {
	am := sun.AirMass(a.ApparentZenithDeg)
	return Sun{
		ApparentZenithDeg: a.ApparentZenithDeg, East: a.East, North: a.North, Up: a.Up,
		ExtraterrestrialWM2: extraterrestrialWM2, AirMass: am, AirMassAbsolute: am * site.PressureRatio,
	}
}

// SunAt is NewSun for a direction given as apparent zenith (0 to 180 deg) and azimuth.
//
// The irradiance is 1300 to 1420 W/m2.
//
// Error: that of AirMass. Source: as sun.AirMass.
func SunAt(apparentZenithDeg, azimuthDeg, extraterrestrialWM2 float64, site *Site) Sun {
	sinZ, cosZ := math.Sincos(apparentZenithDeg * deg)
	sinA, cosA := math.Sincos(azimuthDeg * deg)
	return NewSun(sun.Angles{
		ApparentZenithDeg: apparentZenithDeg, AzimuthDeg: azimuthDeg,
		East: sinZ * sinA, North: sinZ * cosA, Up: cosZ,
	}, extraterrestrialWM2, site)
}
