package diode

import "math"

const (
	boltzmannEVPerK    = 8.617333262e-5 // k/q, CODATA 2018
	referenceK         = 298.15
	referenceWM2       = 1000
	zeroCelsiusK       = 273.15
	siliconGapEV       = 1.121
	siliconGapPerK     = -0.0002677
	lowestCellC        = -zeroCelsiusK
	thermalReferenceV  = boltzmannEVPerK * referenceK // kT/q of one junction at 25 C
	fallbackIdeality   = 1.05
	temperatureProbeK  = 2.0
	lowestIdeality     = 0.7
	highestIdeality    = 2.0
	idealityBisections = 60
)

// A Reference holds the five parameters of a panel at 1000 W/m2 and 25 C, and
// how they move. At translates them to another irradiance and temperature.
//
// Source: De Soto et al. 2006.
type Reference struct {
	PhotocurrentA float64 // IL0
	SaturationA   float64 // I00
	SeriesOhm     float64 // Rs0, taken as constant
	ShuntOhm      float64 // Rsh0, at 1000 W/m2
	DiodeV        float64 // a0 = n*Nc*k*T0/q
	AlphaAPerK    float64 // change of the short-circuit current with cell temperature
	GapEV         float64 // band gap at 25 C; 1.121 for silicon
	GapPerK       float64 // its relative change; -0.0002677 for silicon
}

// Silicon returns r with the band gap of crystalline silicon, 1.121 eV at 25 C
// and -0.0002677 of it per kelvin. For other cells these figures are a
// stand-in: measured temperature coefficients are then reproduced by a0 and I00.
//
// Source: De Soto et al. 2006, eq. 10.
func (r Reference) Silicon() Reference {
	r.GapEV, r.GapPerK = siliconGapEV, siliconGapPerK
	return r
}

// At returns the curve at the irradiance irradianceWM2 (0 to 1500 W/m2) that
// reaches the cells and the cell temperature cellC (-40 to 100 C):
//
//	a = a0*T/T0    IL = G/1000*(IL0 + alpha*(T - T0))    Rsh = Rsh0*1000/G
//	I0 = I00*(T/T0)^3*exp(Eg0/(k*T0) - Eg/(k*T))    Eg = Eg0*(1 + C*(T - T0))
//
// Below 0 W/m2, below -273.15 C and for NaN all members are NaN; a photocurrent
// that a steep alpha would make negative is 0.
//
// Error: rounding against the formulas. As a model of a panel count 2 % of power
// between 200 and 1000 W/m2 (common practice, no source).
//
// Source: De Soto et al. 2006, eqs. 2, 3, 4, 9, 10, 11, 12 (without the spectral
// term, which belongs to the irradiance here).
func (r Reference) At(irradianceWM2, cellC float64) Curve {
	if !(irradianceWM2 >= 0 && cellC > lowestCellC) || math.IsInf(irradianceWM2+cellC, 0) {
		nan := math.NaN()
		return Curve{nan, nan, nan, nan, nan}
	}
	cellK := cellC + zeroCelsiusK
	riseK := cellK - referenceK
	gapEV := r.GapEV * (1 + r.GapPerK*riseK)
	exponent := r.GapEV/(boltzmannEVPerK*referenceK) - gapEV/(boltzmannEVPerK*cellK)
	return Curve{
		PhotocurrentA: math.Max(0, irradianceWM2/referenceWM2*(r.PhotocurrentA+r.AlphaAPerK*riseK)),
		SaturationA:   r.SaturationA * math.Pow(cellK/referenceK, 3) * math.Exp(exponent),
		SeriesOhm:     r.SeriesOhm,
		ShuntOhm:      r.ShuntOhm * (referenceWM2 / irradianceWM2),
		DiodeV:        r.DiodeV * cellK / referenceK,
	}
}

// Ideality returns the diode ideality factor n = a0/(Nc*k*T0/q) of a panel with
// cellsInSeries cells, from 1 to about 2 in real ones.
func (r Reference) Ideality(cellsInSeries int) float64 {
	return r.DiodeV / (float64(cellsInSeries) * thermalReferenceV)
}
