package budget

import "math"

// PlaneShare returns the relative standard uncertainty of the irradiance from a
// plane that is off by angleDeg (one standard deviation): the beam's share of
// the irradiance times tan of the angle of incidence times the angle. 0 where
// the sun is behind the plane (aoiDeg of 90 and above).
//
// beamShare is 0 to 1, aoiDeg 0 to 180.
//
// Error: first order in the angle; beyond an incidence of 80 degrees it
// overstates.
//
// Source: derivative of cos(theta); angles of common practice in defaults.go.
func PlaneShare(beamShare, aoiDeg, angleDeg float64) float64 {
	if aoiDeg >= 90 {
		return 0
	}
	return beamShare * math.Tan(aoiDeg*math.Pi/180) * angleDeg * math.Pi / 180
}
