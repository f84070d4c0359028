package sky

// A Split is a measured global irradiance parted into beam and diffuse.
type Split struct {
	Horizontal
	ClearnessIndex  float64 // of the irradiance above the air, 0 to 1
	DiffuseFraction float64 // DHI over GHI
}

// Erbs parts a measured global horizontal irradiance by its clearness index
// kt = GHI/(E0n*max(cos z, 0.065)), clipped to 0..1:
//
//	kt <= 0.22          Fd = 1 - 0.09 kt
//	0.22 < kt <= 0.80   Fd = 0.9511 - 0.1604 kt + 4.388 kt^2 - 16.638 kt^3 + 12.336 kt^4
//	kt > 0.80           Fd = 0.165
//
// ghiWM2 is GHI (0 to 1800 W/m2). With the sun at or below the horizon all light is
// diffuse.
//
// Error: fitted to hours. For single minutes count 0.15 in Fd and more under broken
// cloud (common practice, no single source): on the clear day of the tests it is 0.07 too
// high. C. Gueymard, Solar Energy 153 (2017) 766, saw such models fail above kt 0.8.
//
// Source: D. Erbs, S. Klein, J. Duffie, Solar Energy 28 (1982) 293, equation 1.
func Erbs(ghiWM2 float64, s *Sun) Split {
	kt := max(0, min(1, ghiWM2/(s.ExtraterrestrialWM2*max(s.Up, 0.065))))
	fd := erbsFraction(kt)
	split := Split{ClearnessIndex: kt, DiffuseFraction: fd}
	split.GHIWM2, split.DHIWM2 = ghiWM2, fd*ghiWM2
	if s.Up <= 0 {
		split.DHIWM2, split.DiffuseFraction = ghiWM2, 1
		return split
	}
	split.DNIWM2 = (ghiWM2 - split.DHIWM2) / s.Up
	return split
}

func erbsFraction(kt float64) float64 {
	switch {
	case kt <= 0.22:
		return 1 - 0.09*kt
	case kt > 0.80:
		return 0.165
	}
	return 0.9511 + kt*(-0.1604+kt*(4.388+kt*(-16.638+kt*12.336)))
}
