package stc

// ClassGamma returns the temperature coefficient of power in 1/K that a
// technology has when no nameplate states one: mono_perc and topcon -0.0035,
// back_contact -0.0030, heterojunction -0.0026, poly -0.0042, cigs -0.0036,
// amorphous -0.0025; perovskite_tandem and every other name -0.0035.
//
// Error: half-width 0.0010/K (package budget). Source: common practice, none
// single; over 36139 listed modules the median is -0.0043, older ones included.
func ClassGamma(technology string) float64 {
	switch technology {
	case "back_contact":
		return -0.0030
	case "heterojunction":
		return -0.0026
	case "poly":
		return -0.0042
	case "cigs":
		return -0.0036
	case "amorphous":
		return -0.0025
	}
	return -0.0035
}

// Crystalline tells whether a technology, by its API name, is wafer-based
// crystalline silicon with a single junction. An unknown technology is not taken
// for it.
func Crystalline(technology string) bool {
	switch technology {
	case "mono_perc", "topcon", "heterojunction", "back_contact", "poly":
		return true
	}
	return false
}

// ThinFilm tells whether a technology, by its API name, is a thin film.
func ThinFilm(technology string) bool {
	return technology == "cigs" || technology == "amorphous"
}
