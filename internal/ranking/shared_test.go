package ranking_test

import (
	"math"
	"testing"

	"evensun/internal/fieldtest"
)

// Worked by hand for readings half at one state and half at another, with a budget of 3 %
// for the coefficient, 4 % for the curve and nothing else of the model: half on each side of
// standard conditions leave nothing of an error, all on one side leave the whole; of readings
// with and without a light meter half of each common error is left, 0.02/sqrt(2).
func TestSharedParts(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name          string
		half          func(r *fieldtest.Result) // changes every other session
		model, common float64                   // standard uncertainties
	}{
		{"all warm and dim", func(*fieldtest.Result) {}, 0.05, 0.02},
		{"half cool", func(r *fieldtest.Result) { r.CellC = 5 }, 0.04, 0.02},
		{"half bright", func(r *fieldtest.Result) { r.EffectiveWM2 = 1100 }, 0.03, 0.02},
		{"half in light that is not known", func(r *fieldtest.Result) { r.EffectiveWM2 = 0 }, 0.05, 0.02},
		{"half without a light meter", func(r *fieldtest.Result) { r.IrradianceOrigin = fieldtest.OriginClearSky }, 0.05, 0.02 / math.Sqrt2},
		{"half cool with half the weight", func(r *fieldtest.Result) { r.CellC, r.Parts.Reading = 5, 0.01*math.Sqrt2 }, math.Hypot(0.04, 0.03/3), 0.02},
	} {
		w := newWorld(95, 2, usual).fill(1, 2, 2) // one tester: slopes are not fitted
		for i := range w.in.Observations {
			r := *w.in.Observations[i].Result
			r.Parts = fieldtest.UncertaintyParts{Reading: 0.01, Model: 0.05, Common: 0.02}
			r.GammaRelative, r.LowLightRelative, r.CellC, r.EffectiveWM2 = 0.03, 0.04, 45, 900
			if i/4%2 == 1 {
				c.half(&r)
			}
			w.in.Observations[i].Result = &r
		}
		f := w.compute(t).Fit("tilted")
		for p := range f.Panels {
			if got := math.Sqrt(f.ModelVar[p]); math.Abs(got-c.model) > 2e-4 {
				t.Errorf("%s: model part of %s = %.5f, want %.5f", c.name, f.Panels[p], got, c.model)
			}
			if got := math.Sqrt(f.CommonVar[p]); math.Abs(got-c.common) > 1e-6 {
				t.Errorf("%s: common part of %s = %.5f, want %.5f", c.name, f.Panels[p], got, c.common)
			}
		}
	}
}

// Readings that tell a panel's slopes leave less of their errors than the budget says: what
// is left is the variance of the slopes at the mean conditions.
func TestToldSlopesNarrow(t *testing.T) {
	t.Parallel()
	w := newWorld(96, 2, spreads{tester: 0.01, session: 0.01, opinion: 0.002, cell: 0.002, reading: 0.002})
	w.gamma, w.light = make([]float64, 2), make([]float64, 2)
	f := w.fill(4, 10, 3).compute(t).Fit("tilted")
	heat, ln, n := make([]float64, 2), make([]float64, 2), make([]float64, 2)
	for k := range f.Rows {
		r, p := f.Rows[k].Observation.Result, f.Rows[k].Panel
		heat[p], ln[p], n[p] = heat[p]+r.CellC-25, ln[p]+math.Log(r.EffectiveWM2/1000), n[p]+1
	}
	for p := range f.Panels {
		told := f.Slopes[p]
		if !(told.PerKU < gammaSD) || !(told.LightU < lightSD) {
			t.Fatalf("slopes of panel %d are no better than before: %+v", p, told)
		}
		rest, h, l := w.parts.Model*w.parts.Model, heat[p]/n[p], ln[p]/n[p]
		most := rest + math.Pow(math.Abs(told.PerKU*h)+math.Abs(told.LightU*l), 2)
		if v := f.ModelVar[p]; v > most || v < rest || v >= rest+math.Pow(gammaSD*h, 2)+math.Pow(lightSD*l, 2) {
			t.Errorf("model variance of panel %d = %v, want %v to %v", p, v, rest, most)
		}
	}
}
