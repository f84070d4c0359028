package celltemp

// A Loss is how a module gives its heat to the air.
type Loss struct {
	U0 float64 // W/(m2 K), in still air
	U1 float64 // W s/(m3 K), by wind at module height
}

// OpenRack returns the mean of seven rigid module types on an open rack, 25.0 and
// 6.84; they lay between 23.5 and 26.5 and between 6.25 and 7.68 (from memory).
//
// Source: D. Faiman, Progress in Photovoltaics 16 (2008) 307. No value has been
// published for folding fabric panels.
func OpenRack() Loss { return Loss{U0: 25.0, U1: 6.84} }

// Faiman returns the temperature in C of a module in steady sun:
//
//	Tm = Ta + G/(U0 + U1*W)
//
// poaWM2 is the plane-of-array irradiance G (0 to 1500 W/m2), airC the air
// temperature Ta (-40 to 60 C), windMS the wind W at panel height (0 to 20 m/s).
//
// Error: the formula to rounding. As a model of a real panel count 4 K, one standard
// deviation, with air behind it (common practice, no source).
//
// Source: D. Faiman, Progress in Photovoltaics 16 (2008) 307; the same form in IEC
// 61853-2. A second opinion beside King.
func Faiman(poaWM2, airC, windMS float64, loss Loss) float64 {
	return airC + poaWM2/(loss.U0+loss.U1*windMS)
}

// NOCT returns the temperature in C of cells by the nominal operating temperature of
// the data sheet: Tc = Ta + (NOCT - 20)/800*G.
//
// poaWM2 is G (0 to 1500 W/m2), airC Ta (-40 to 60 C), noctC the nominal temperature
// (40 to 60 C).
//
// Error: 6 K, one standard deviation: it knows no wind (common practice).
//
// Source: R. Ross, 12th IEEE Photovoltaic Specialists Conference (1976); IEC 61215.
func NOCT(poaWM2, airC, noctC float64) float64 {
	return airC + (noctC-20)/800*poaWM2
}
