package celltemp

import "math"

// A Thermometer is a panel that tells its own temperature by its open-circuit voltage.
type Thermometer struct {
	VocSTCV  float64 // of this very panel or its nameplate, V
	BetaPerK float64 // temperature coefficient of it, 1/K, negative
	D        float64 // its rise with the logarithm of irradiance, 0.03 to 0.07
}

// FromVoc returns the temperature in C of cells by their open-circuit voltage:
//
//	Tc = 25 + (Voc/(Voc0*(1 + d*ln(G/1000))) - 1)/beta
//
// openCircuitV is Voc (above 0), poaWM2 G (100 to 1500 W/m2). NaN where G is not
// positive.
//
// Error: 2 K with a voltmeter of 0.5 % and the panel's own Voc0; a nameplate's Voc0 is
// loose by 3 % (common practice), which is 10 K.
//
// Source: the idea of IEC 60904-5, with the irradiance term as a factor.
func FromVoc(openCircuitV, poaWM2 float64, th Thermometer) float64 {
	light := 1 + th.D*logSuns(poaWM2)
	return 25 + (openCircuitV/(th.VocSTCV*light)-1)/th.BetaPerK
}

// FromVocAdditive is FromVoc with the two effects added instead of multiplied:
//
//	Tc = 25 + (Voc/Voc0 - 1 - d*ln(G/1000))/beta
//
// Error: at 800 W/m2 it lies 0.2 K below FromVoc, more in dimmer light.
//
// Source: as FromVoc.
func FromVocAdditive(openCircuitV, poaWM2 float64, th Thermometer) float64 {
	return 25 + (openCircuitV/th.VocSTCV-1-th.D*logSuns(poaWM2))/th.BetaPerK
}

func logSuns(poaWM2 float64) float64 {
	if poaWM2 <= 0 {
		return math.NaN()
	}
	return math.Log(poaWM2 / 1000)
}
