package conclusion

import (
	"math"

	"evensun/internal/budget"
	"evensun/internal/fieldtest"
	"evensun/internal/stc"
)

// A Basis says on what a conclusion stands.
type Basis string

// What a conclusion may stand on.
const (
	Readings  Basis = "readings"
	Nameplate Basis = "nameplate" // the maker's word: readings do not tell
	Class     Basis = "class"     // what is usual: neither readings nor the maker tell
)

// Heat is how a panel takes heat.
type Heat struct {
	// TemperaturePerK is the temperature coefficient of power, 1/K, relative to the power
	// at 25 C, with its standard uncertainty.
	TemperaturePerK  float64 `json:"temperature_per_k"`
	TemperatureUPerK float64 `json:"temperature_u_per_k"`
	Basis            Basis   `json:"basis"`
	// NameplatePerK is the maker's; nil: not stated.
	NameplatePerK *float64 `json:"nameplate_per_k"`
	// KeptAt65C is the power with cells of 65 C over that with cells of 25 C.
	KeptAt65C  float64 `json:"kept_at_65_c"`
	KeptAt65CU float64 `json:"kept_at_65_c_u"`
}

// HeatOf returns the temperature coefficient that the readings of a panel model tell, else
// the maker's (1/K, nil: not stated), else that of its technology.
//
// Error: of the maker's word 0.0005/K and of a technology's 0.0010/K, rectangular
// (package budget); of readings as the regression of package ranking says, which begins
// from the first.
func HeatOf(nameplatePerK *float64, technology fieldtest.Technology, own *fieldtest.Coefficients) Heat {
	h := Heat{NameplatePerK: nameplatePerK, Basis: Nameplate, TemperatureUPerK: budget.GammaNameplateHalf / math.Sqrt(3)}
	if h.NameplatePerK != nil {
		h.TemperaturePerK = *h.NameplatePerK
	} else {
		h.TemperaturePerK, h.TemperatureUPerK, h.Basis = stc.ClassGamma(string(technology)), budget.GammaClassHalf/math.Sqrt(3), Class
	}
	if own != nil && own.PerKU < toldBelow*h.TemperatureUPerK {
		h.TemperaturePerK, h.TemperatureUPerK, h.Basis = h.TemperaturePerK+own.PerK, own.PerKU, Readings
	}
	const hotter = 65 - 25
	h.KeptAt65C, h.KeptAt65CU = 1+h.TemperaturePerK*hotter, h.TemperatureUPerK*hotter
	return h
}

// toldBelow is the share of what was not known before that an uncertainty must get below
// for the readings to be what a conclusion stands on (common practice, no source).
const toldBelow = 0.9

// WeakLight is how a panel's efficiency falls with the light.
type WeakLight struct {
	// Efficiency is that at 200 W/m2 over that at 1000 W/m2, cells at one temperature, with
	// its standard uncertainty.
	Efficiency  float64 `json:"efficiency"`
	EfficiencyU float64 `json:"efficiency_u"`
	Basis       Basis   `json:"basis"`
	// Slope is how ln P grows with ln(G/1000 W/m2) beside the usual curve.
	Slope  float64 `json:"slope"`
	SlopeU float64 `json:"slope_u"`
}

// WeakLightOf returns the low-light efficiency that the readings of a panel model tell,
// else that of its class: no nameplate states one.
//
// Error: of the class 3 % of ln(G/1000), of a thin film 10 % (package budget); of readings
// as the regression of package ranking says. It carries what was read above 400 W/m2 on to
// 200 W/m2.
//
// Source: stc.DefaultLowLight for the usual curve.
func WeakLightOf(technology fieldtest.Technology, own *fieldtest.Coefficients) WeakLight {
	l := WeakLight{Basis: Class, SlopeU: budget.LowLightCrystalline}
	if stc.ThinFilm(string(technology)) {
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
