package conclusion

import (
	"math"

	"evensun/internal/budget"
	"evensun/internal/fieldtest"
	"evensun/internal/stc"
)

// What a conclusion may stand on.
const (
	Readings  = "readings"
	Nameplate = "nameplate" // the maker's word: readings do not tell
	Class     = "class"     // what is usual: neither readings nor the maker tell
)

// HeatOf returns the temperature coefficient that the readings of a panel model tell, else
// the maker's (1/K, nil: not stated), else that of its technology.
//
// Error: of the maker's word 0.0005/K and of a technology's 0.0010/K, rectangular
// (package budget); of readings as the regression of package ranking says, which begins
// from the first.
func HeatOf(nameplatePerK *float64, technology fieldtest.Technology, own *fieldtest.Coefficients) fieldtest.HeatConclusion {
	h := fieldtest.HeatConclusion{NameplatePerK: nameplatePerK, Basis: Nameplate, TemperatureUPerK: budget.GammaNameplateHalf / math.Sqrt(3)}
	if h.NameplatePerK != nil {
		h.TemperaturePerK = *h.NameplatePerK
	} else {
		h.TemperaturePerK, h.TemperatureUPerK, h.Basis = stc.ClassGamma(technology), budget.GammaClassHalf/math.Sqrt(3), Class
	}
	if own != nil && own.PerKU < toldBelow*budget.GammaNameplateHalf/math.Sqrt(3) {
		h.TemperaturePerK, h.TemperatureUPerK, h.Basis = h.TemperaturePerK+own.PerK, own.PerKU, Readings
	}
	const hotter = 65 - 25
	h.KeptHot, h.KeptHotU = 1+h.TemperaturePerK*hotter, h.TemperatureUPerK*hotter
	return h
}

// toldBelow is the share of what the regression began from that an uncertainty must get
// below for the readings to be what a conclusion stands on (common practice, no source).
const toldBelow = 0.9

// WeakLightOf returns the low-light efficiency that the readings of a panel model tell,
// else that of its class: no nameplate states one.
//
// Error: of the class 3 % of ln(G/1000), of a thin film 10 % (package budget); of readings
// as the regression of package ranking says. It carries what was read above 400 W/m2 on to
// 200 W/m2.
//
// Source: stc.DefaultLowLight for the usual curve.
func WeakLightOf(technology fieldtest.Technology, own *fieldtest.Coefficients) fieldtest.WeakLightConclusion {
	l := fieldtest.WeakLightConclusion{Basis: Class, SlopeU: budget.LowLightCrystalline}
	if technology.ThinFilm() {
		l.SlopeU = budget.LowLightThinFilm
	}
	if own != nil && own.LightU < toldBelow*l.SlopeU {
		l.Slope, l.SlopeU, l.Basis = own.Light, own.LightU, Readings
	}
	const weakWM2 = 200
	ln := math.Log(weakWM2 / 1000.0)
	l.Efficiency = stc.DefaultLowLight().Efficiency(weakWM2) * math.Exp(l.Slope*ln)
	l.EfficiencyU = l.Efficiency * math.Abs(ln) * l.SlopeU
	return l
}
