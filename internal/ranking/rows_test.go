package ranking_test

import (
	"math"
	"testing"

	"evensun/internal/fieldtest"
	"evensun/internal/ranking"
)

// Several covered readings of one unit in one session are one response, their mean on
// the logarithmic scale; classes of cover are apart.
func TestRetentionIsAveraged(t *testing.T) {
	t.Parallel()
	w := newWorld(61, 3, usual).fill(4, 3, 2)
	for i := range w.in.Observations {
		o := &w.in.Observations[i]
		class, value := "0.25", 0.6+0.05*float64(i%2)
		if o.Panel == slugOf(2) {
			class = "0.50"
		}
		if o.Panel == slugOf(1) {
			value = 0.001
		}
		r := *o.Result
		r.Retention = &fieldtest.Retention{Measure: fieldtest.ShadeRetention, Value: value, U: 0.01, CoverClass: class}
		o.Arrangement, o.Result = fieldtest.Covered, &r
	}
	out := w.compute(t)
	f := out.Fit("covered/0.25")
	if len(f.Rows) != 2*12 {
		t.Fatalf("%d responses, want one a session and panel, 24", len(f.Rows))
	}
	for k := range f.Rows {
		r := &f.Rows[k]
		sum, n := 0.0, 0.0
		for _, o := range w.in.Observations {
			if o.SessionID == r.Observation.SessionID && o.Panel == r.Observation.Panel {
				sum, n = sum+math.Log(max(0.02, o.Result.Retention.Value)), n+1
			}
		}
		if math.Abs(r.Y-sum/n) > 1e-12 {
			t.Errorf("response %v, want the mean %v of %v readings", r.Y, sum/n, n)
		}
	}
	if g := out.Fit("covered/0.50"); len(g.Panels) != 1 || g.Panels[0] != slugOf(2) {
		t.Errorf("panels covered by half = %v", g.Panels)
	}
	if out.Fit("tilted") != nil {
		t.Error("covered readings are in the tilted fit")
	}
}

// Sessions without a light meter speak in contrasts only once three testers have one.
func TestFreeUnmeteredSessions(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		metered int
		free    bool
	}{{2, false}, {3, true}} {
		w := newWorld(62, 3, usual)
		w.metered = func(tester int) bool { return tester < c.metered }
		w.fill(5, 2, 2)
		f := w.compute(t).Fit("tilted")
		for s, v := range f.Table.SessionVariance {
			tester := -1
			for k := range f.Rows {
				if int(f.Rows[k].Session) == s {
					for i := range 5 {
						if f.Rows[k].Observation.TesterID == testerID(i) {
							tester = i
						}
					}
				}
			}
			if want := c.free && tester >= c.metered; (v >= 100) != want {
				t.Errorf("%d metered testers: session of tester %d has variance %v, free: want %v", c.metered, tester, v, want)
			}
		}
	}
}

// A level that unmetered testers have wrong stays out of the figures.
func TestLevelComesFromMeters(t *testing.T) {
	t.Parallel()
	w := newWorld(63, 3, spreads{tester: 0.005, session: 0.01, opinion: 0.004, cell: 0.003, reading: 0.003})
	w.metered = func(tester int) bool { return tester < 3 }
	w.fill(8, 3, 2)
	for i, o := range w.in.Observations {
		if o.Result.IrradianceOrigin == fieldtest.OriginClearSky {
			w.in.Observations[i] = scaled(o, 0.85)
		}
	}
	f := w.compute(t).Fit("tilted")
	for p, mu := range f.Fit.Mu {
		if d := mu - w.mu[p]; math.Abs(d) > 0.02 {
			t.Errorf("%s is off by %.4f", slugOf(p), d)
		}
	}
}

// What may not count does not: by state, by uncertainty, without a result or a rating.
func TestUnusableReadings(t *testing.T) {
	t.Parallel()
	w := newWorld(64, 3, usual).fill(5, 3, 2)
	spoil := []func(o *ranking.Observation, r *fieldtest.Result){
		func(o *ranking.Observation, _ *fieldtest.Result) { o.State = fieldtest.Held },
		func(o *ranking.Observation, _ *fieldtest.Result) { o.State = fieldtest.Excluded },
		func(o *ranking.Observation, _ *fieldtest.Result) { o.State = fieldtest.Superseded },
		func(_ *ranking.Observation, r *fieldtest.Result) { r.Rankable = false },
		func(_ *ranking.Observation, r *fieldtest.Result) { r.StcPowerUW = 0.21 * r.StcPowerW },
		func(_ *ranking.Observation, r *fieldtest.Result) { r.StcPowerW = 0 },
		func(_ *ranking.Observation, r *fieldtest.Result) { r.StcPowerW = math.NaN() },
		func(_ *ranking.Observation, r *fieldtest.Result) { r.StcPowerW = math.Inf(1) },
		func(o *ranking.Observation, _ *fieldtest.Result) { o.Panel = "unknown" },
		func(o *ranking.Observation, _ *fieldtest.Result) { o.Result = nil },
	}
	for i, f := range spoil {
		o := &w.in.Observations[i]
		r := *o.Result
		o.Result = &r
		f(o, &r)
	}
	got := list(t, w.compute(t), fieldtest.StcPower, "", 1).Model.Readings
	if want := len(w.in.Observations) - len(spoil); got != want {
		t.Errorf("readings = %d, want %d", got, want)
	}
}

// Before any data every measure is served, empty.
func TestNothingYet(t *testing.T) {
	t.Parallel()
	w := newWorld(65, 2, usual)
	out := w.compute(t)
	for _, m := range fieldtest.Measures() {
		r := list(t, out, m.Name, "", 1)
		if r.Entries == nil || len(r.Entries) != 0 || r.Model != nil || r.Headline == "" {
			t.Errorf("%s = %+v, want an empty list", m.Name, r)
		}
	}
	if _, err := out.Compare(&w.in, fieldtest.StcPower, "", nil); err == nil {
		t.Error("Compare() of nothing = nil, want a refusal")
	}
}
