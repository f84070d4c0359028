package sky

import "evensun/internal/fieldtest"

// AlbedoOf returns what part of the light a kind of ground throws back: water 0.08,
// asphalt 0.12, concrete and wood 0.3, sand 0.35, snow 0.7, all else 0.2.
//
// The share has no unit.
//
// Error: +-0.1, rectangular. Source: common practice, no single source.
func AlbedoOf(ground fieldtest.Ground) float64 {
	switch ground {
	case fieldtest.Water:
		return 0.08
	case fieldtest.Asphalt:
		return 0.12
	case fieldtest.Concrete, fieldtest.Wood:
		return 0.3
	case fieldtest.Sand:
		return 0.35
	case fieldtest.Snow:
		return 0.7
	}
	return 0.2
}

// SelfShade is the share of the ground's light that a panel's own shadow leaves for
// its rear: the middle of 0.5 to 0.8 (common practice, no source).
const SelfShade = 0.65

// RearEstimate returns the irradiance in W/m2 on the rear of a tilted panel that
// stands free: albedo*GHI*(1+cos b)/2*selfShade. On fabric or flat on the ground it
// is 0; that is the caller's to know.
//
// ghiWM2 is GHI (0 to 1800 W/m2), albedo and selfShade are 0 to 1.
//
// Error: 40 %, one standard deviation (common practice, no source).
//
// Source: the view factor as HayDavies; selfShade is common practice.
func RearEstimate(ghiWM2 float64, p *Plane, albedo, selfShade float64) float64 {
	return albedo * ghiWM2 * p.skyView * selfShade
}

// EquivalentIrradiance returns the irradiance in W/m2 on the front alone that would
// give a two-sided panel the same current: front + bifaciality*rear.
//
// bifaciality is the ratio of rear to front short-circuit current (0 to 1).
//
// Error: the formula to rounding; no figure sourced for the model.
//
// Source: IEC TS 60904-1-2:2024, the equivalent irradiance, clause not checked (the edition of 2019 took the smaller of the ratios
// of current and power).
func EquivalentIrradiance(frontWM2, rearWM2, bifaciality float64) float64 {
	return frontWM2 + bifaciality*rearWM2
}
