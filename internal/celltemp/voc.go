package celltemp

import "math"

// A Thermometer is a panel that tells its own temperature by its open-circuit voltage.
type Thermometer struct {
	VocSTCV  float64 // of this very panel or its nameplate, V
	BetaPerK float64 // temperature coefficient of it, 1/K, negative
	D        float64 // its rise with the logarithm of irradiance, 0.03 to 0.07
	UK       float64 // standard uncertainty of VocSTCV, K of cell temperature; 0: that of the method covers it
}

// nameplateVocU is the relative standard uncertainty of using a nameplate's
// open-circuit voltage for the unit at hand (common practice, no source: real units
// scatter by 1 to 2 %).
const nameplateVocU = 0.015

// Nameplate returns the thermometer that a nameplate makes of a panel: vocV in V,
// betaPerK in 1/K, d the rise with light. Its uncertainty is that of the unit against
// its nameplate, 4 to 6 K.
//
// Error: the 4 to 6 K (common practice, no source). Source: as FromVoc.
func Nameplate(vocV, betaPerK, d float64) Thermometer {
	return Thermometer{VocSTCV: vocV, BetaPerK: betaPerK, D: d, UK: nameplateVocU / math.Abs(betaPerK)}
}

// Calibrated returns the thermometer that one open-circuit voltage at a known
// temperature makes of a panel: openCircuitV in V read at cellC in C (standard
// uncertainty uCellK in K) and poaWM2 in W/m2. What the meter shows too high or low
// cancels where the same meter reads it later.
//
// Error: uCellK; the coefficient betaPerK (1/K) acts on the distance of the two
// temperatures only. NaN where the irradiance is not positive.
//
// Source: as FromVoc, solved for Voc0.
func Calibrated(openCircuitV, poaWM2, cellC, uCellK, betaPerK, d float64) Thermometer {
	heat, light := 1+betaPerK*(cellC-25), 1+d*logSuns(poaWM2)
	return Thermometer{VocSTCV: openCircuitV / (heat * light), BetaPerK: betaPerK, D: d, UK: uCellK}
}

// FromVoc returns the temperature in C of cells by their open-circuit voltage:
//
//	Tc = 25 + (Voc/(Voc0*(1 + d*ln(G/1000))) - 1)/beta
//
// openCircuitV is Voc (above 0), poaWM2 G (100 to 1500 W/m2). NaN where G is not
// positive.
//
// Error: 2 K with a voltmeter of 0.5 % and the panel's own Voc0; on top of it th.UK,
// about 5 K for a nameplate's.
//
// Source: the idea of IEC 60904-5 (no equation taken); the irradiance term as a factor is
// our own.
func FromVoc(openCircuitV, poaWM2 float64, th Thermometer) float64 {
	light := 1 + th.D*logSuns(poaWM2)
	return 25 + (openCircuitV/(th.VocSTCV*light)-1)/th.BetaPerK
}

func logSuns(poaWM2 float64) float64 {
	if poaWM2 <= 0 {
		return math.NaN()
	}
	return math.Log(poaWM2 / 1000)
}
