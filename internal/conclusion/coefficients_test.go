package conclusion_test

import (
	"math"
	"testing"

	"evensun/internal/conclusion"
	"evensun/internal/fieldtest"
)

// The maker's word counts until readings know better than it did; half-widths of 0.0005
// and 0.0010/K are those of JCGM 100's rectangular rule in package budget.
func TestHeatOf(t *testing.T) {
	t.Parallel()
	label := -0.0036
	for name, c := range map[string]struct {
		gamma          *float64
		own            *fieldtest.Coefficients
		basis          string
		perK, u, at65C float64
	}{
		"the maker's":             {&label, nil, conclusion.Nameplate, -0.0036, 0.000288675, 0.856},
		"readings that tell":      {&label, &fieldtest.Coefficients{PerK: -0.0004, PerKU: 0.00015}, conclusion.Readings, -0.0040, 0.00015, 0.84},
		"just enough":             {&label, &fieldtest.Coefficients{PerK: -0.0004, PerKU: 0.000259}, conclusion.Readings, -0.0040, 0.000259, 0.84},
		"readings that do not":    {&label, &fieldtest.Coefficients{PerK: -0.0004, PerKU: 0.000261}, conclusion.Nameplate, -0.0036, 0.000288675, 0.856},
		"neither, heterojunction": {nil, nil, conclusion.Class, -0.0026, 0.00057735, 0.896},
	} {
		got := conclusion.HeatOf(c.gamma, fieldtest.Heterojunction, c.own)
		if got.Basis != c.basis || math.Abs(got.TemperaturePerK-c.perK) > 1e-9 || math.Abs(got.TemperatureUPerK-c.u) > 1e-8 || math.Abs(got.KeptHot-c.at65C) > 1e-9 {
			t.Errorf("%s: %+v", name, got)
		}
		if math.Abs(got.KeptHotU-40*got.TemperatureUPerK) > 1e-12 {
			t.Errorf("%s: u of what is kept %v", name, got.KeptHotU)
		}
	}
}

// e(200 W/m2) of the usual curve is 0.968279 (Chatzipanagi et al. 2025, k1 and k2 alone);
// over 13 measured modules it scatters by 4.6 %.
func TestWeakLightOf(t *testing.T) {
	t.Parallel()
	usual := conclusion.WeakLightOf(fieldtest.MonoPERC, nil)
	if usual.Basis != conclusion.Class || math.Abs(usual.Efficiency-0.968279) > 1e-6 || math.Abs(usual.EfficiencyU-0.046) > 0.002 {
		t.Errorf("usual: %+v", usual)
	}
	own := conclusion.WeakLightOf(fieldtest.MonoPERC, &fieldtest.Coefficients{Light: 0.02, LightU: 0.01})
	if own.Basis != conclusion.Readings || !(own.Efficiency < usual.Efficiency) || math.Abs(math.Log(usual.Efficiency/own.Efficiency)-0.02*math.Log(5)) > 1e-12 {
		t.Errorf("own: %+v", own)
	}
	if film := conclusion.WeakLightOf(fieldtest.CIGS, nil); math.Abs(film.SlopeU-0.10) > 1e-12 {
		t.Errorf("thin film: %+v", film)
	}
	if vague := conclusion.WeakLightOf(fieldtest.MonoPERC, &fieldtest.Coefficients{Light: 0.02, LightU: 0.028}); vague.Basis != conclusion.Class {
		t.Errorf("vague: %+v", vague)
	}
}
