package stc

import "evensun/internal/fieldtest"

// ClassGamma returns the temperature coefficient of power in 1/K that a
// technology has when no nameplate states one: mono_perc and topcon -0.0035,
// back_contact -0.0030, heterojunction -0.0026, poly -0.0042, cigs -0.0036,
// amorphous -0.0025; perovskite_tandem and every other name -0.0035.
//
// Error: half-width 0.0010/K (package budget). Source: common practice, none
// single; over 36139 listed modules the median is -0.0043, older ones included.
func ClassGamma(technology fieldtest.Technology) float64 {
	switch technology {
	case fieldtest.BackContact:
		return -0.0030
	case fieldtest.Heterojunction:
		return -0.0026
	case fieldtest.Poly:
		return -0.0042
	case fieldtest.CIGS:
		return -0.0036
	case fieldtest.Amorphous:
		return -0.0025
	}
	return -0.0035
}
