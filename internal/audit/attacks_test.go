package audit_test

import (
	"flag"
	"fmt"
	"maps"
	"math"
	"testing"
	"time"

	"github.com/google/uuid"

	"evensun/internal/fieldtest"
	"evensun/internal/ranking"
)

// A lie is what one person makes up: so many sessions by so many accounts.
type lie struct {
	accounts, sessions, panels, repeats int
	shift                               func(session, panel int) float64 // logarithmic
	claimed                             float64                          // reading part of the uncertainty
	scatter                             float64                          // of his readings
	rigs                                int                              // of an account
	clones                              int                              // new panel models that only he reads, far above all
	noMeter                             bool                             // irradiance out of the clear-sky model
}

func lifting(by float64) func(int, int) float64 {
	return func(_, panel int) float64 {
		switch panel {
		case 5:
			return by
		case 0:
			return -by
		}
		return 0
	}
}

// oneField has six honest testers with five sessions each of five of twelve panels.
func oneField(seed uint64) *field {
	return plan{testers: 6, sessions: 5, panels: 12, perSession: 5, readings: 2, seed: seed}.field()
}

// tell adds a liar's sessions to a field.
func (l lie) tell(f *field) {
	truth := make([]float64, f.plan.panels)
	out := f.in
	for i := range truth {
		truth[i] = f.truthOf(i)
	}
	for c := range l.clones {
		rating := 200.0
		out.Panels = append(out.Panels, ranking.Panel{Slug: fmt.Sprintf("clone-%02d", c), Revision: 1, PmaxW: &rating})
	}
	for a := range l.accounts {
		tester := f.id("liar", a)
		for s := range l.sessions {
			session, at := f.id("lie", a, s), start.AddDate(0, 0, s%300).Add(time.Duration(a)*time.Hour)
			rig := f.id("liar's rig", a, s%max(1, l.rigs))
			k := 0
			add := func(slug string, power float64) {
				origin := fieldtest.OriginMeasured
				if l.noMeter {
					origin = fieldtest.OriginClearSky
				}
				out.Observations = append(out.Observations, ranking.Observation{
					ReadingID: uuid.NewSHA1(session, []byte{byte(k), byte(k >> 8)}), SessionID: session, Revision: 1, ContentSHA256: session.String(), TesterID: tester,
					RigID: rig, RigRevision: 1, Panel: slug, Specimen: "unit-1", Label: fmt.Sprint(k + 1), TakenAt: at.Add(time.Duration(k) * time.Minute),
					Arrangement: fieldtest.Tilted, State: fieldtest.Counted,
					Result: &fieldtest.Result{
						StcPowerW: power, StcPowerUW: 0.02 * power, Rankable: true, IrradianceOrigin: origin, EffectiveWM2: 900, CellC: 45,
						Parts: fieldtest.UncertaintyParts{Reading: l.claimed, Session: 0.001, Rig: 0.0001, Model: 0.0001, Common: 0.001},
					},
				})
				k++
			}
			for range l.repeats {
				for p := range l.panels {
					add(slugOf(p), *out.Panels[p].PmaxW*math.Exp(truth[p]+l.shift(s, p)+l.scatter*f.draw.Normal()))
				}
				for c := range l.clones {
					add(fmt.Sprintf("clone-%02d", c), 200*math.Exp(0.1+0.01*float64(c)+l.scatter*f.draw.Normal()))
				}
			}
		}
	}
	f.in = out
}

// truthOf is what the honest testers' readings say on average of a panel.
func (f *field) truthOf(p int) float64 {
	sum, n := 0.0, 0.0
	for i := range f.in.Observations {
		if o := &f.in.Observations[i]; o.Panel == slugOf(p) {
			sum, n = sum+math.Log(o.Result.StcPowerW / *f.in.Panels[p].PmaxW), n+1
		}
	}
	return sum / n
}

// outside counts the top ten that left the rank interval they had.
func outside(before, after *fieldtest.Ranking) (out, width, gone int) {
	now := map[string]fieldtest.Entry{}
	for _, e := range after.Entries {
		now[e.PanelModel] = e
	}
	for _, e := range before.Entries {
		if e.Rank > 10 {
			continue
		}
		n, ok := now[e.PanelModel]
		switch {
		case !ok:
			gone++
		case n.Rank < e.RankLo || n.Rank > e.RankHi:
			out++
		}
		width += n.RankHi - n.RankLo - e.RankHi + e.RankLo
	}
	return out, width, gone
}

func shares(t testing.TB, out *ranking.Output) *fieldtest.Ranking {
	t.Helper()
	for i := range out.Lists {
		if l := &out.Lists[i]; l.Measure == fieldtest.ShareOfRating && l.Component == 1 {
			return &l.Ranking
		}
	}
	t.Fatal("no list")
	return nil
}

var seeds = flag.Uint64("attacks", 1, "made-up worlds an attack is tried in")

// One person's tricks against six honest testers with five sessions each of five of
// twelve panels: no top-10 rank leaves the interval that it had, or a finding says what
// is wrong. The package comment has the table of three worlds.
func TestAttacks(t *testing.T) {
	t.Parallel()
	maker := func(by float64) func(int, int) float64 {
		return func(_, p int) float64 { return by * float64(1-min(1, p%3)) }
	}
	for _, c := range []struct {
		name  string
		lie   lie
		finds string // a rule that must speak; empty: none need
		out   bool   // ranks do leave their intervals
	}{
		{"many sessions, 3 %", lie{accounts: 1, sessions: 30, panels: 12, repeats: 1, shift: lifting(0.03), claimed: 0.008, scatter: 0.002}, "", false},
		{"many sessions, 30 %", lie{accounts: 1, sessions: 30, panels: 12, repeats: 1, shift: lifting(0.30), claimed: 0.008, scatter: 0.002}, "opinion_off", false},
		{"perfect meter", lie{accounts: 1, sessions: 3, panels: 12, repeats: 1, shift: lifting(0.05), claimed: 1e-6}, "opinion_off", false},
		{"the same number 30 times", lie{accounts: 1, sessions: 3, panels: 12, repeats: 30, shift: lifting(0.05), claimed: 0.001}, "too_consistent", false},
		{"a rig a session", lie{accounts: 1, sessions: 20, panels: 12, repeats: 1, rigs: 20, shift: lifting(0.05), claimed: 0.001, scatter: 0.001}, "opinion_off", false},
		{"drift over weeks", lie{accounts: 1, sessions: 30, panels: 12, repeats: 1, claimed: 0.005, scatter: 0.003, shift: func(s, p int) float64 { return lifting(0.003*float64(s))(s, p) }}, "panel_off_in_session", false},
		{"a maker's panels, 3 %", lie{accounts: 1, sessions: 30, panels: 12, repeats: 1, claimed: 0.005, scatter: 0.003, shift: maker(0.03)}, "", false},
		{"a maker's panels, 8 %", lie{accounts: 1, sessions: 30, panels: 12, repeats: 1, claimed: 0.005, scatter: 0.003, shift: maker(0.08)}, "opinion_off", false},
		{"no light meter", lie{accounts: 1, sessions: 30, panels: 12, repeats: 1, shift: lifting(0.05), claimed: 0.005, scatter: 0.003, noMeter: true}, "opinion_off", false},
		{"noise", lie{accounts: 1, sessions: 20, panels: 12, repeats: 2, shift: lifting(0), claimed: 0.005, scatter: 0.15}, "tester_scatter_k", false},
		{"new panels, one account", lie{accounts: 1, sessions: 5, panels: 6, repeats: 1, shift: lifting(0), claimed: 0.005, scatter: 0.003, clones: 8}, "", false},
		{"new panels, two accounts", lie{accounts: 2, sessions: 5, panels: 6, repeats: 1, shift: lifting(0), claimed: 0.005, scatter: 0.003, clones: 8}, "same_few_testers", true},
		{"two accounts, 5 %", lie{accounts: 2, sessions: 20, panels: 12, repeats: 1, shift: lifting(0.05), claimed: 0.005, scatter: 0.003}, "", false},
	} {
		for seed := range *seeds {
			f := oneField(50 + seed)
			honest, raised := shares(t, f.computed(t)), map[string]int{}
			for _, x := range f.found(t) {
				raised[x.Rule]--
			}
			c.lie.tell(f)
			out, wider, gone := outside(honest, shares(t, f.computed(t)))
			for _, x := range f.found(t) {
				raised[x.Rule]++
			}
			maps.DeleteFunc(raised, func(_ string, n int) bool { return n <= 0 })
			t.Logf("%-26s out %2d, without rank %d, intervals wider by %2d, findings %v", c.name, out, gone, wider, raised)
			if (out > 0) != c.out || gone > 0 {
				t.Errorf("%s, world %d: %d of the top ten leave their interval and %d their list", c.name, seed, out, gone)
			}
			if c.finds != "" && raised[c.finds] == 0 {
				t.Errorf("%s, world %d: findings %v lack %s", c.name, seed, raised, c.finds)
			}
		}
	}
}
