package ranking_test

import (
	"flag"
	"fmt"
	"math"
	"strings"
	"testing"

	"evensun/internal/fieldtest"
	"evensun/internal/seedrand"
)

var (
	worldTrials = flag.Int("worlds", 3, "trials of each world; 100 for a table")
	worldSeed   = flag.Uint64("seed", 1, "first seed of the worlds")
)

// A setting says what an invented field looks like.
type setting struct {
	name                              string
	testers, sessions, panels, beside int     // sessions in all; panels beside each other in one
	repeats                           int     // readings of a panel in a session
	unmetered                         bool    // nobody has a light meter: an hour's error is that of the sky
	spoiled                           float64 // share of sessions with a gross fault
	within                            float64 // of the Kendall correlation of a fit without the light's error
}

func settings() []setting {
	return []setting{
		{name: "start: 3 testers, 12 sessions, 6 panels", testers: 3, sessions: 12, panels: 6, beside: 4, repeats: 2, within: 0.02},
		{name: "two testers, 8 sessions, 6 panels", testers: 2, sessions: 8, panels: 6, beside: 4, repeats: 2, within: 0.02},
		{name: "one tester, 3 evenings, 5 panels, no meter", testers: 1, sessions: 3, panels: 5, beside: 5, repeats: 1, unmetered: true, within: 0.02},
		{name: "nobody with a light meter, 8 testers", testers: 8, sessions: 48, panels: 10, beside: 5, repeats: 2, unmetered: true, within: 0.02},
		{name: "30 % spoiled, 8 testers", testers: 8, sessions: 48, panels: 10, beside: 5, repeats: 2, spoiled: 0.3, within: 0.02},
		{name: "twenty testers with two sessions each", testers: 20, sessions: 40, panels: 12, beside: 5, repeats: 2, within: 0.02},
		{name: "forty panels by thirty testers", testers: 30, sessions: 150, panels: 40, beside: 5, repeats: 2, within: 0.02},
	}
}

// build makes the setting's field with a seed. Half of the panels are tied in pairs. With
// knowsLight the errors of testers and hours are left out: what a fit could know of the
// order that knew the true light.
func (s *setting) build(seed uint64, knowsLight bool) *world {
	sd := spreads{tester: 0.02, session: 0.03, opinion: 0.012, cell: 0.008, reading: 0.008}
	if s.unmetered {
		sd.session = 0.06
	}
	w := newWorld(seed, s.panels, sd)
	w.knowsLight, w.parts = knowsLight, fieldtest.UncertaintyParts{Reading: 0.008, Session: 0.005, Rig: 0.015, Model: 0.003, Common: 0.004}
	if s.unmetered {
		w.parts.Session = 0.05
		w.metered = func(int) bool { return false }
	}
	truth := seedrand.New(seed ^ 0x7472757468)
	for p := range w.mu {
		if w.mu[p] = math.Log(0.85) + 0.05*truth.Normal(); p%4 == 1 {
			w.mu[p] = w.mu[p-1]
		}
	}
	w.truth = append(w.truth, w.mu...)
	level := w.parts.Common * truth.Normal()
	for p := range w.mu { // what the budget says that nobody can see
		w.mu[p] += level + w.parts.Model*truth.Normal()
		w.gamma, w.light = append(w.gamma, gammaSD*truth.Normal()), append(w.light, lightSD*truth.Normal())
	}
	plan, spoil := seedrand.New(seed^0x706c616e), seedrand.New(seed^0x73706f696c)
	for k := range s.sessions {
		first := w.session(k%s.testers, s.repeats, choose(plan, s.panels, s.beside)...)
		if spoil.Uniform() < s.spoiled {
			w.spoil(first, spoil)
		}
	}
	return w
}

// choose draws some of n.
func choose(s *seedrand.Stream, n, some int) []int {
	all := make([]int, n)
	for i := range all {
		all[i] = i
	}
	for i := range some {
		j := i + s.IntN(n-i)
		all[i], all[j] = all[j], all[i]
	}
	return all[:some]
}

// spoil puts one panel, or all, of the session that begins at an observation 15 to 50 % off.
func (w *world) spoil(first int, s *seedrand.Stream) {
	factor := 1 - 0.15 - 0.35*s.Uniform()
	if s.Uniform() < 0.5 {
		factor = 1 / factor
	}
	whole, panel := s.Uniform() < 0.3, w.in.Observations[first].Panel
	for i := first; i < len(w.in.Observations); i++ {
		if o := w.in.Observations[i]; whole || o.Panel == panel {
			w.in.Observations[i] = scaled(o, factor)
		}
	}
}

// A score adds up over trials what a setting's lists are like.
type score struct {
	trials, panels, ranked     int
	covered, contrasts, inside int     // entries whose intervals hold the truth; ranks inside their intervals
	ties, splitFamily          int     // pairs of truly equal panels; told apart by the family
	anySplit                   int     // trials with a tied pair split by the family
	pairs, apart, wrong        int     // other pairs; told apart, and in the wrong order
	kendall, oracle            float64 // sums
	halves, contrastHalves     []float64
}

func (sc *score) add(t *testing.T, w, oracle *world) {
	t.Helper()
	r, best := list(t, w.compute(t), fieldtest.ShareOfRating, "", 1), list(t, oracle.compute(t), fieldtest.ShareOfRating, "", 1)
	sc.trials++
	sc.panels += len(w.mu)
	sc.ranked += len(r.Entries)
	sc.kendall += kendall(w, r)
	sc.oracle += kendall(w, best)
	mean := 0.0
	for _, e := range r.Entries {
		mean += w.truth[numberOf(e.PanelModel)] / float64(len(r.Entries))
	}
	level := 0.0
	for _, e := range r.Entries {
		level += math.Log(e.Estimate) / float64(len(r.Entries))
	}
	split := false
	for i, e := range r.Entries {
		mu := w.truth[numberOf(e.PanelModel)]
		if truth := math.Exp(mu); truth >= e.EstimateLo && truth <= e.EstimateHi {
			sc.covered++
		}
		if truth := math.Exp(mu - mean + level); truth >= e.ContrastLo && truth <= e.ContrastHi {
			sc.contrasts++
		}
		sc.halves = append(sc.halves, math.Log(e.EstimateHi/e.EstimateLo)/2)
		sc.contrastHalves = append(sc.contrastHalves, math.Log(e.ContrastHi/e.ContrastLo)/2)
		lo, hi := 1, 0
		for _, other := range r.Entries {
			if x := w.truth[numberOf(other.PanelModel)]; x > mu {
				lo++
			}
			if x := w.truth[numberOf(other.PanelModel)]; x >= mu {
				hi++
			}
		}
		if hi >= e.RankLo && lo <= e.RankHi {
			sc.inside++
		}
		for _, other := range r.Entries[i+1:] {
			apart := !shareLetter(e.TieGroup, other.TieGroup)
			switch x := w.truth[numberOf(other.PanelModel)]; {
			case x == mu:
				sc.ties++
				if apart {
					sc.splitFamily++
					split = true
				}
			default:
				sc.pairs++
				if apart {
					sc.apart++
				}
				if apart && x > mu {
					sc.wrong++
				}
			}
		}
	}
	if split {
		sc.anySplit++
	}
}

func numberOf(slug string) int {
	var p int
	if _, err := fmt.Sscanf(slug, "panel-%d", &p); err != nil {
		return -1
	}
	return p
}

func shareLetter(a, b string) bool { return strings.ContainsAny(a, b) }

// kendall is the correlation of the list with the truth, tied pairs left out; what is not
// ranked counts as if its order were drawn.
func kendall(w *world, r *fieldtest.Ranking) float64 {
	at := map[int]float64{}
	for _, e := range r.Entries {
		at[numberOf(e.PanelModel)] = e.Estimate
	}
	sum, n := 0.0, 0.0
	for i := range w.mu {
		for j := range i {
			if w.truth[i] == w.truth[j] {
				continue
			}
			n++
			a, okA := at[i]
			b, okB := at[j]
			if okA && okB {
				sum += math.Copysign(1, (a-b)*(w.truth[i]-w.truth[j]))
			}
		}
	}
	return sum / n
}

func share(a, b int) float64 { return float64(a) / math.Max(1, float64(b)) }

// Invented fields of all sizes: run with -worlds 100 -seed N -v for a table on seeds that
// no test pins.
func TestWorlds(t *testing.T) {
	t.Parallel()
	for _, s := range settings() {
		var sc score
		for k := range *worldTrials {
			seed := *worldSeed*1_000_003 + uint64(k)
			sc.add(t, s.build(seed, false), s.build(seed, true))
		}
		n := float64(sc.trials)
		t.Logf("%-44s ranked %3.0f %%, Kendall %.3f (true light %.3f), covers %.3f, against the list %.3f, half-width %.2f %% / %.2f %%, ranks inside %.3f, apart %2.0f %% (wrong %.2f %%), ties split %.1f %% of pairs, %.1f %% of lists",
			s.name, 100*share(sc.ranked, sc.panels), sc.kendall/n, sc.oracle/n, share(sc.covered, sc.ranked), share(sc.contrasts, sc.ranked), 100*median(sc.halves), 100*median(sc.contrastHalves),
			share(sc.inside, sc.ranked), 100*share(sc.apart, sc.pairs), 100*share(sc.wrong, sc.apart), 100*share(sc.splitFamily, sc.ties), 100*share(sc.anySplit, sc.trials))
		sc.check(t, &s)
	}
}

// check holds a setting to its bars, with three standard errors of the trials for chance.
func (sc *score) check(t *testing.T, s *setting) {
	t.Helper()
	n := float64(sc.trials)
	noise := 3 / math.Sqrt(n)
	if lost := (sc.oracle - sc.kendall) / n; lost > s.within+0.03*noise {
		t.Errorf("%s: Kendall is %.3f below that of a fit that knows the light, want %.2f at most", s.name, lost, s.within)
	}
	for what, covered := range map[string]float64{"interval": share(sc.covered, sc.ranked), "interval against the list": share(sc.contrasts, sc.ranked)} {
		if covered < 0.93-0.05*noise {
			t.Errorf("%s: the %s covers in %.3f, want 0.93 at least", s.name, what, covered)
		}
	}
	if split := share(sc.splitFamily, sc.ties); split > 0.05+0.05*noise {
		t.Errorf("%s: %.3f of truly equal pairs are told apart, want 0.05 at most", s.name, split)
	}
	if ranked := share(sc.ranked, sc.panels); ranked < 0.9 {
		t.Errorf("%s: %.2f of panels are ranked, want 0.9 at least", s.name, ranked)
	}
}

func median(x []float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	s := append([]float64(nil), x...)
	for i := 1; i < len(s); i++ {
		for j := i; j > 0 && s[j] < s[j-1]; j-- {
			s[j], s[j-1] = s[j-1], s[j]
		}
	}
	return s[len(s)/2]
}
