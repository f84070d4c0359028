package ranking_test

import (
	"flag"
	"fmt"
	"math"
	"testing"

	"evensun/internal/compare"
	"evensun/internal/fieldtest"
	"evensun/internal/ranking"
	"evensun/internal/seedrand"
)

var fabricated = flag.Int("fabricated", 200, "sessions of the fabricator; the claim is about 1000")

// One fabricator with many sessions that agree with each other against five honest
// testers: no top-10 rank leaves the interval published without him (statistics 3.5).
func TestFabricator(t *testing.T) {
	t.Parallel()
	t.Logf("%6s %6s %6s %12s %10s", "shift", "trial", "out", "pull of lie", "his weight")
	for _, shift := range []float64{0.03, 0.10, 0.30} {
		for trial := range uint64(2) {
			w := honestWorld(100 + trial)
			honest := w.compute(t)
			before := list(t, honest, fieldtest.ShareOfRating, "", 1)
			w.fabricate(*fabricated, shift)
			lied := w.compute(t)
			after := list(t, lied, fieldtest.ShareOfRating, "", 1)
			out, top := 0, 0
			for _, e := range before.Entries {
				if e.Rank > 10 {
					continue
				}
				top++
				if now := entry(t, after, e.PanelModel).Rank; now < e.RankLo || now > e.RankHi {
					out++
					t.Errorf("shift %v, trial %d: %s goes from rank %d (%d to %d) to %d", shift, trial, e.PanelModel, e.Rank, e.RankLo, e.RankHi, now)
				}
			}
			if top < 10 {
				t.Errorf("only %d panels are in the top 10", top)
			}
			a, b := honest.Fit("tilted").Fit.Mu, lied.Fit("tilted").Fit.Mu
			pull := (b[5] - b[0]) - (a[5] - a[0])
			t.Logf("%6.2f %6d %6d %12.4f %10.4f", shift, trial, out, pull, weightOf(lied, 5))
			if !(math.Abs(pull) < 2*shift) {
				t.Errorf("shift %v: the lie of %v moves the difference by %v", shift, 2*shift, pull)
			}
		}
	}
}

// honestWorld has five testers with five sessions each of five of twelve panels.
func honestWorld(seed uint64) *world {
	w := newWorld(seed, 12, usual)
	for p := range w.mu {
		w.mu[p] = math.Log(0.85) + 0.05*w.draw.Normal()
	}
	for tester := range 5 {
		for s := range 5 {
			panels := []int{}
			for k := range 5 {
				panels = append(panels, (tester*2+s*5+k*(1+s%2*4))%12)
			}
			w.session(tester, 2, panels...)
		}
	}
	return w
}

// fabricate adds sessions of all panels by tester 77: nearly the same numbers every
// time, panel 5 lifted and panel 0 sunk.
func (w *world) fabricate(sessions int, shift float64) {
	mu, sd := append([]float64(nil), w.mu...), w.sd
	w.mu[5] += shift
	w.mu[0] -= shift
	w.sd = spreads{cell: 0.002}
	all := []int{0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11}
	for range sessions {
		w.session(77, 1, all...)
	}
	w.mu, w.sd = mu, sd
}

// weightOf is the robust weight of the fabricator's opinion of a panel.
func weightOf(out *ranking.Output, panel int32) float64 {
	f := out.Fit("tilted")
	level := f.Fit.Level(compare.TesterPanel)
	for i := range level.Len() {
		if f.Testers[level.Tester[i]] == testerID(77) && level.Panel[i] == panel {
			return level.Weight(i)
		}
	}
	return math.NaN()
}

// The slopes find the errors of temperature coefficients, and contrasts gain by it.
func TestSlopesRecoverGamma(t *testing.T) {
	t.Parallel()
	var found, truth, with, without []float64
	for seed := range uint64(6) {
		w := newWorld(200+seed, 10, spreads{tester: 0.015, session: 0.02, opinion: 0.006, cell: 0.004, reading: 0.003})
		s := seedrand.New(seed)
		for range w.mu {
			w.gamma = append(w.gamma, 0.0005*s.Normal())
		}
		for k := range 80 {
			panels := []int{}
			for i := range 4 {
				panels = append(panels, (k*3+i*(1+k%3))%10)
			}
			w.session(k%6, 2, panels...)
		}
		f := w.compute(t).Fit("tilted")
		for i := range w.in.Observations {
			w.in.Observations[i].Result.EffectiveWM2 = 0 // no slopes
		}
		plain := w.compute(t).Fit("tilted")
		for p := range w.mu {
			found, truth = append(found, -f.Slopes[p].PerK), append(truth, w.gamma[p])
			if p > 0 {
				want := w.mu[p] - w.mu[0]
				with, without = append(with, f.Fit.Mu[p]-f.Fit.Mu[0]-want), append(without, plain.Fit.Mu[p]-plain.Fit.Mu[0]-want)
			}
		}
	}
	r, a, b := correlation(found, truth), rms(with), rms(without)
	t.Logf("correlation with the truth %.2f; rms error of a contrast %.4f, without slopes %.4f", r, a, b)
	if r <= 0.5 {
		t.Errorf("correlation of slopes with the truth = %.2f, want above 0.5", r)
	}
	if a >= b {
		t.Errorf("rms error of contrasts %.4f with slopes, %.4f without", a, b)
	}
}

// The slopes are published with the panel's results: what to add to the coefficient
// used, and nothing where the readings say nothing.
func TestResultsTellCoefficients(t *testing.T) {
	t.Parallel()
	w := newWorld(31, 3, spreads{tester: 0.01, session: 0.01, opinion: 0.003, cell: 0.002, reading: 0.002})
	w.gamma = []float64{0, 0.002, 0} // of panel 1 the coefficient used is far off
	for k := range 30 {
		w.session(k%4, 2, 0, 1, 2)
	}
	out := w.compute(t)
	f, results := out.Fit("tilted"), out.Results(&w.in)
	for p, slug := range f.Panels {
		c, want := results[slug].Coefficients, f.Slopes[p]
		same := func(got, exact float64) bool { return math.Abs(got-exact) <= 5e-6*math.Abs(exact) } // six digits are published
		if c == nil || !same(c.PerK, want.PerK) || !same(c.PerKU, want.PerKU) || !same(c.Light, want.Light) || !same(c.LightU, want.LightU) || !(c.PerKU > 0 && c.LightU > 0) {
			t.Errorf("coefficients of %s = %+v, want the slopes %+v", slug, c, want)
		}
	}
	if far, near := results[f.Panels[1]].Coefficients, results[f.Panels[0]].Coefficients; math.Abs(far.PerK) <= math.Abs(near.PerK) {
		t.Errorf("correction of a wrong coefficient = %v, of a right one %v, want the first larger", far.PerK, near.PerK)
	}
	for i := range w.in.Observations {
		w.in.Observations[i].Result.EffectiveWM2 = 0 // nothing to fit slopes to
	}
	for slug, r := range w.compute(t).Results(&w.in) {
		if r.Coefficients != nil {
			t.Errorf("coefficients of %s without irradiance = %+v, want none", slug, r.Coefficients)
		}
	}
}

func rms(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v * v
	}
	return math.Sqrt(sum / float64(len(x)))
}

func correlation(x, y []float64) float64 {
	var mx, my, sxy, sxx, syy float64
	for i := range x {
		mx, my = mx+x[i]/float64(len(x)), my+y[i]/float64(len(y))
	}
	for i := range x {
		sxy, sxx, syy = sxy+(x[i]-mx)*(y[i]-my), sxx+(x[i]-mx)*(x[i]-mx), syy+(y[i]-my)*(y[i]-my)
	}
	return sxy / math.Sqrt(sxx*syy)
}

// A linear drift of 3 % in 30 minutes sinks a panel read 20 minutes late by 2 %; a
// repeated first panel gives it away. The same world without drift is the truth.
func TestDriftIsRemoved(t *testing.T) {
	t.Parallel()
	contrast := func(drift float64, order []int) float64 {
		w := newWorld(31, 3, spreads{tester: 0.01, session: 0.01, opinion: 0.003, cell: 0.002, reading: 0.002})
		w.drift = drift
		for k := range 60 {
			w.ordered(k%5, order)
		}
		f := w.compute(t).Fit("tilted")
		return f.Fit.Mu[2] - f.Fit.Mu[0]
	}
	for _, c := range []struct {
		order        []int
		want, within float64
	}{{[]int{0, 1, 2}, -0.02, 0.0005}, {[]int{0, 1, 2, 0}, 0, 0.002}} {
		if got := contrast(-0.03, c.order) - contrast(0, c.order); math.Abs(got-c.want) > c.within {
			t.Errorf("drift moves the contrast of the order %v by %.4f, want %v +- %v", c.order, got, c.want, c.within)
		}
	}
}

// Testers with two units each of two models: what differs between units is told from
// what differs between testers' opinions.
func TestSpecimens(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		testers int
		told    bool
	}{{4, false}, {6, true}} {
		w := newWorld(41, 3, spreads{tester: 0.01, session: 0.01, opinion: 0.003, cell: 0.002, reading: 0.002})
		units := map[string]float64{}
		for tester := range c.testers {
			for s := range 4 {
				first := w.session(tester, 2, 0, 1, 2)
				for i := first; i < len(w.in.Observations); i++ {
					o, unit := w.in.Observations[i], 1+s%2
					if o.Panel == slugOf(2) { // one unit a tester
						unit = 1
					}
					o.Specimen = fmt.Sprint("unit-", unit)
					w.in.Observations[i] = scaled(o, math.Exp(effect(units, o.Panel+fmt.Sprint(tester, unit), 0.02, w.draw)))
				}
			}
		}
		out := w.compute(t)
		sd := math.Sqrt(out.Fit("tilted").Fit.Theta[compare.Specimen])
		m := list(t, out, fieldtest.StcPower, "", 1).Model
		if (m.SpecimenSD != nil) != c.told || (m.SpecimenReason == "") != c.told {
			t.Errorf("%d testers: specimen_sd %v, reason %q", c.testers, m.SpecimenSD, m.SpecimenReason)
		}
		if c.told && !(sd > 0.01 && sd < 0.04) {
			t.Errorf("specimen sd = %v, want about 0.02", sd)
		}
	}
}

func TestMistypedCell(t *testing.T) {
	t.Parallel()
	w := newWorld(51, 6, usual).fill(6, 3, 2)
	clean := w.compute(t).Fit("tilted").Fit.Mu
	var spoilt []int
	for i, o := range w.in.Observations {
		if o.SessionID == w.in.Observations[0].SessionID && o.Panel == slugOf(3) {
			w.in.Observations[i] = scaled(o, 1.3)
			spoilt = append(spoilt, i)
		}
	}
	out := w.compute(t)
	for _, c := range out.Results(&w.in)[slugOf(3)].Contributions {
		for _, i := range spoilt {
			if c.ReadingID == w.in.Observations[i].ReadingID && c.RobustWeight > 0.05 {
				t.Errorf("robust weight of the mistyped cell = %v, want at most 0.05", c.RobustWeight)
			}
		}
	}
	if moved := math.Abs(out.Fit("tilted").Fit.Mu[3] - clean[3]); moved > 0.004 {
		t.Errorf("the mistyped cell moves its panel by %.4f", moved)
	}
}
