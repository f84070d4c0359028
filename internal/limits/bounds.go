package limits

import (
	"math"

	"evensun/internal/fieldtest"
	"evensun/internal/stc"
)

const (
	kOverQ   = 8.617333262145e-5 // V/K, CODATA 2018, exact
	kelvin0C = 273.15
	stcC     = 25.0
	stcWM2   = 1000.0
	kHold    = 2.0 // guard band in standard uncertainties
	kReject  = 3.0
)

// Technology is the kind of cell, as in the construction of a panel model.
type Technology string

// The technologies.
const (
	MonoPERC         Technology = "mono_perc"
	TOPCon           Technology = "topcon"
	Heterojunction   Technology = "heterojunction"
	BackContact      Technology = "back_contact"
	Poly             Technology = "poly"
	CIGS             Technology = "cigs"
	Amorphous        Technology = "amorphous"
	PerovskiteTandem Technology = "perovskite_tandem"
	UnknownCells     Technology = "unknown"
)

// Crystalline tells whether the cells are known to be crystalline silicon.
func (t Technology) Crystalline() bool {
	switch t {
	case MonoPERC, TOPCon, Heterojunction, BackContact, Poly:
		return true
	}
	return false
}

// ThinFilm tells whether the cells are known to be a single-junction thin film.
func (t Technology) ThinFilm() bool { return t == CIGS || t == Amorphous }

// GammaPerK returns the usual power coefficient of the technology in 1/K.
//
// Source: stc.ClassGamma.
func (t Technology) GammaPerK() float64 {
	return stc.ClassGamma(fieldtest.Technology(t))
}

// EfficiencyLimit returns the efficiency at 25 C, as a fraction of the
// irradiance, that no cell of the technology can exceed.
//
// Source: silicon A. Richter, M. Hermle, S. Glunz, IEEE J. Photovoltaics 3(4)
// (2013) 1184-1191, 29.4 % (from memory); single junction W. Shockley, H.
// Queisser (1961), AM1.5G maximum 33.7 % by S. Ruehle, Solar Energy 130 (2016)
// 139-147; two junctions about 45.7 % (from memory).
func (t Technology) EfficiencyLimit() float64 {
	switch {
	case t.Crystalline():
		return 0.294
	case t == PerovskiteTandem:
		return 0.457
	}
	return 0.337
}

// Sky is what the tester said about the sky.
type Sky string

// The sky conditions.
const (
	Clear          Sky = "clear"
	ThinHaze       Sky = "thin_haze"
	Haze           Sky = "haze"
	ScatteredCloud Sky = "scattered_cloud"
	BrokenCloud    Sky = "broken_cloud"
	Overcast       Sky = "overcast"
	UnknownSky     Sky = "unknown"
)

// MeteredBound returns the highest effective irradiance in W/m2 that the meters
// allow at k standard uncertainties:
//
//	G + k u(G) + phi (G_rear + k u(G_rear))
//
// poaWM2 and rearWM2 are the plane-of-array and the rear irradiance with their
// standard uncertainties, bifaciality phi is 0 to 1. A missing phi or rear counts
// as zero.
func MeteredBound(k, poaWM2, uPOAWM2, bifaciality, rearWM2, uRearWM2 float64) float64 {
	return poaWM2 + k*uPOAWM2 + rearBound(k, bifaciality, rearWM2, uRearWM2)
}

// UnmeteredBound returns the highest effective irradiance in W/m2 under a sky
// without a meter, at hold (reject false) or reject:
//
//	min(c Gcs, record) + phi (G_rear + k u(G_rear))
//
// clearWM2 is the most generous clear-sky plane-of-array irradiance: the larger
// of Linke turbidity 2 and 7 with the angle of incidence reduced by two standard
// uncertainties of the plane. A missing one leaves only the record.
func UnmeteredBound(set *Settings, sky Sky, reject bool, clearWM2, bifaciality, rearWM2, uRearWM2 float64) float64 {
	hold, refuse := skyFactors(set, sky)
	c, k := hold, kHold
	if reject {
		c, k = refuse, kReject
	}
	front := set.RecordWM2
	if Given(clearWM2) {
		front = min(c*max(clearWM2, 0), front)
	}
	return front + rearBound(k, bifaciality, rearWM2, uRearWM2)
}

func rearBound(k, bifaciality, rearWM2, uRearWM2 float64) float64 {
	if !(bifaciality > 0) || !Given(rearWM2) {
		return 0
	}
	return bifaciality * (rearWM2 + k*or(uRearWM2, 0))
}

func skyFactors(set *Settings, sky Sky) (hold, reject float64) {
	switch sky {
	case Clear, ThinHaze, Haze:
		return set.ClearHold, set.ClearReject
	case Overcast:
		return set.OvercastHold, set.OvercastReject
	case ScatteredCloud, BrokenCloud:
		return set.CloudHold, set.CloudReject
	}
	return set.UnknownHold, set.UnknownReject
}

// ColdestCell returns the coldest temperature in C that the cells can have had:
// a measured cell temperature less 2u, else the air less 5 K of radiative
// cooling and 2u, else -20 C (Settings). Missing numbers are NaN.
func ColdestCell(set *Settings, measuredCellC, uCellK, airC float64) float64 {
	if Given(measuredCellC) {
		return measuredCellC - 2*or(uCellK, 0)
	}
	if Given(airC) {
		return airC - set.CellsUnderAirK - 2*set.UAirK
	}
	return set.ColdestC
}

// IdealFillFactor returns the fill factor of a cell without series or shunt loss:
//
//	FF0 = (v - ln(v + 0.72))/(v + 1),  v = Voc/(Nc n k T/q)
//
// openCircuitV is the voltage of the whole panel in V, cells the number in
// series, cellC the temperature in C, ideality n is 1, or 2/3 for the slope of
// Auger-limited silicon.
//
// Error: below 0.001 for v > 10 against the exact diode with n = 1. With n = 1 it
// is not a strict bound for the best heterojunction cells (M. Leilaeioun, Z.
// Holman, J. Appl. Phys. 120 (2016) 123111): a refusal uses 2/3.
//
// Source: M. Green, Solar Cells 7 (1982) 337-340. Checked with 0.65 V, 25 C, n 1:
// 0.838062.
func IdealFillFactor(openCircuitV, cells, cellC, ideality float64) float64 {
	v := openCircuitV / (cells * ideality * kOverQ * (cellC + kelvin0C))
	if !(v > 0) {
		return math.NaN()
	}
	return (v - math.Log(v+0.72)) / (v + 1)
}

// fillBounds returns the ideal fill factor at hold (n 1) and reject (n 2/3), or
// the fixed bounds where the number of cells is not known.
func fillBounds(set *Settings, t Technology, openCircuitV, cells, cellC float64) (hold, reject float64) {
	if Given(cells) && cells > 0 && openCircuitV > 0 {
		return IdealFillFactor(openCircuitV, cells, cellC, 1), IdealFillFactor(openCircuitV, cells, cellC, 2.0/3)
	}
	if t == PerovskiteTandem {
		return set.TandemFill, set.TandemFillTop
	}
	return set.FillHold, set.FillReject
}
