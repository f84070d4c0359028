package ranking_test

import (
	"bytes"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/google/uuid"

	"evensun/internal/fieldtest"
	"evensun/internal/ranking"
	"evensun/internal/seedrand"
)

// One tester, five panels, three evenings: a list that says whose it is, with all five in
// it, each with an interval that holds what testers usually differ by.
func TestOneTesterHasAList(t *testing.T) {
	t.Parallel()
	w := newWorld(71, 5, usual)
	for range 3 {
		w.session(0, 1, 0, 1, 2, 3, 4)
	}
	r := list(t, w.compute(t), fieldtest.ShareOfRating, "", 1)
	if len(r.Entries) != 5 || r.Basis != fieldtest.OneTester || !strings.HasPrefix(r.BasisSentence, "All readings are by one tester: ") {
		t.Fatalf("%d entries, basis %q, %q; want five of one tester", len(r.Entries), r.Basis, r.BasisSentence)
	}
	if r.LevelU == nil || !(*r.LevelU > 0.015) {
		t.Errorf("level_u = %v, want at least the 1.5 %% that testers differ by", r.LevelU)
	}
	for _, e := range r.Entries {
		// Two testers' opinions of two panels differ by 1.2 % sqrt(2), which no number of
		// sessions of one tester shows.
		if !(e.ContrastU > 0.012*math.Sqrt(1-0.2)) || !(e.ContrastU < 0.05) {
			t.Errorf("contrast_u of %s = %v, want more than what opinions differ by", e.PanelModel, e.ContrastU)
		}
		if !(e.ContrastLo > e.EstimateLo && e.ContrastHi < e.EstimateHi && e.ContrastLo < e.Estimate && e.Estimate < e.ContrastHi) {
			t.Errorf("interval of %s against the list %v to %v, with the level %v to %v", e.PanelModel, e.ContrastLo, e.ContrastHi, e.EstimateLo, e.EstimateHi)
		}
	}
}

// What one tester ranked keeps its rank when a second tester comes, of whatever panels;
// what the first tester reads only then needs the second, like everybody's.
func TestFoundingPanelsStay(t *testing.T) {
	t.Parallel()
	w := newWorld(72, 6, usual)
	for range 3 {
		w.session(0, 1, 0, 1, 2, 3, 4)
	}
	for range 2 {
		w.session(1, 2, 0, 1)
		w.session(0, 2, 0, 5)
	}
	r := list(t, w.compute(t), fieldtest.ShareOfRating, "", 1)
	if len(r.Entries) != 5 || r.Basis != fieldtest.FewTesters {
		t.Errorf("%d entries, basis %q; want the five of the beginning, few_testers", len(r.Entries), r.Basis)
	}
	if u := unranked(t, r, slugOf(5)); u.Reason != "one_tester_only" {
		t.Errorf("a panel that the first tester read later: %s, want one_tester_only", u.Reason)
	}
}

// Bases on both sides of their limits: testers of a component, and whether they were
// checked by two others in two sessions.
func TestListBasis(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		testers, sessions int
		want              fieldtest.ListBasis
		says              string
	}{
		{1, 2, fieldtest.OneTester, "one tester"},
		{2, 2, fieldtest.FewTesters, "The order rests on 2 testers"},
		{3, 2, fieldtest.FewTesters, "The order rests on 3 testers"},
		{4, 1, fieldtest.FewTesters, "None of the 4 testers has been checked"},
		{4, 2, fieldtest.CheckedTesters, "4 testers, 4 of them checked"},
	} {
		r := list(t, newWorld(73, 4, usual).fill(c.testers, c.sessions, 3).compute(t), fieldtest.ShareOfRating, "", 1)
		if r.Basis != c.want || !strings.Contains(r.BasisSentence, c.says) || !strings.Contains(r.BasisSentence, "The next tester") {
			t.Errorf("%d testers, %d sessions each: %q, %q; want %q, %q", c.testers, c.sessions, r.Basis, r.BasisSentence, c.want, c.says)
		}
	}
}

// Everything that is stored of a panel model is told, with the cure: held and excluded
// readings, those too uncertain, and models without a rating.
func TestUnreadPanels(t *testing.T) {
	t.Parallel()
	w := newWorld(74, 8, usual).fill(3, 2, 2) // panel 0 to 7
	w.in.Panels[4].PmaxW = nil
	for i := range w.in.Observations {
		o := &w.in.Observations[i]
		r := *o.Result
		switch o.Panel {
		case slugOf(1):
			o.State = fieldtest.Held
		case slugOf(2):
			o.State = fieldtest.Excluded
		case slugOf(3):
			r.StcPowerUW = 0.21 * r.StcPowerW
		case slugOf(5):
			o.Arrangement = fieldtest.Flat
		case slugOf(6):
			if o.TesterID != testerID(0) {
				o.State = fieldtest.Held
			}
		}
		o.Result = &r
	}
	w.in.Panels = append(w.in.Panels, ranking.Panel{Slug: "never-read", PmaxW: pointer(100.0)})
	out := w.compute(t)
	r := list(t, out, fieldtest.ShareOfRating, "", 1)
	for slug, want := range map[string]fieldtest.Unranked{
		slugOf(1): {Reason: "readings_held", Needs: "a verdict: 12 readings wait for a reviewer", Held: 12},
		slugOf(2): {Reason: "readings_excluded", Needs: "readings that no reviewer excludes"},
		slugOf(3): {Reason: "readings_too_uncertain", Needs: "readings with an uncertainty below 20 %, as in full sun with a light meter"},
		slugOf(4): {Reason: "no_rating", Needs: "the panel's rated power in W"},
		slugOf(5): {Reason: "no_readings", Needs: "a first session with the panel tilted towards the sun"},
	} {
		want.PanelModel = slug
		if got := unranked(t, r, slug); got != want {
			t.Errorf("%s = %+v, want %+v", slug, got, want)
		}
	}
	if e := entry(t, r, slugOf(6)); e.Testers != 1 { // read first by the first tester
		t.Errorf("panel of one tester's counted readings has %d testers", e.Testers)
	}
	if slices.ContainsFunc(r.Unranked, func(u fieldtest.Unranked) bool { return u.PanelModel == "never-read" }) {
		t.Error("a panel model that nobody has read is listed")
	}
	shade := list(t, out, fieldtest.ShadeRetention, "0.25", 1)
	if shade.Headline != "No reading counts for this measure yet." || len(shade.Entries) != 0 || shade.Basis != "" || shade.LevelU != nil {
		t.Errorf("list without a fit = %+v", shade)
	}
	if u := unranked(t, shade, slugOf(0)); u.Reason != "no_readings" || !strings.HasPrefix(u.Needs, "a covered reading") {
		t.Errorf("panel without covered readings = %+v", u)
	}
	if u := unranked(t, list(t, out, fieldtest.FlatRetention, "", 1), slugOf(5)); u.Reason != "no_reference" {
		t.Errorf("flat readings without a reference: %+v", u)
	}
}

// A covered reading that is held is told of by its class, or by the first where that is not
// known yet.
func TestHeldCoveredReadings(t *testing.T) {
	t.Parallel()
	w := newWorld(75, 3, usual).fill(2, 2, 1)
	for i := range w.in.Observations {
		o := &w.in.Observations[i]
		o.Arrangement, o.State = fieldtest.Covered, fieldtest.Held
		r := *o.Result
		switch o.Panel {
		case slugOf(0):
			r.Retention = &fieldtest.Retention{Measure: fieldtest.ShadeRetention, Value: 0.5, U: 0.01, CoverClass: "0.25"}
		case slugOf(1):
			r.Retention = &fieldtest.Retention{Measure: fieldtest.ShadeRetention, Value: 0.5, U: 0.01, CoverClass: "0.50"}
		}
		o.Result = &r
	}
	out := w.compute(t)
	for _, c := range []struct{ class, held string }{{"0.25", "0 2"}, {"0.50", "1"}, {"0.33", ""}} {
		var held []string
		for _, u := range list(t, out, fieldtest.ShadeRetention, c.class, 1).Unranked {
			if u.Held > 0 {
				held = append(held, strings.TrimLeft(strings.TrimPrefix(u.PanelModel, "panel-"), "0")+"")
				if u.Held != 4 || u.Needs != "a verdict: 4 readings wait for a reviewer" {
					t.Errorf("class %s: %+v", c.class, u)
				}
			}
		}
		for i := range held {
			if held[i] == "" {
				held[i] = "0"
			}
		}
		if got := strings.Join(held, " "); got != c.held {
			t.Errorf("class %s: panels %q wait, want %q", c.class, got, c.held)
		}
	}
}

// What a client asks for has its own reason, at and below the number asked for.
func TestAskedTesters(t *testing.T) {
	t.Parallel()
	w := newWorld(76, 3, usual).fill(3, 2, 2)
	for asked, ranked := range map[int]int{0: 3, 3: 3, 4: 0} {
		l, err := ranking.ComputeOne(t.Context(), w.in, ranking.List{Measure: fieldtest.ShareOfRating, MinTesters: asked})
		if err != nil {
			t.Fatal(err)
		}
		if len(l.Ranking.Entries) != ranked {
			t.Errorf("%d testers asked for: %d entries, want %d", asked, len(l.Ranking.Entries), ranked)
		}
		for _, u := range l.Ranking.Unranked {
			if u.Reason != "min_testers" || u.Needs != "sessions by 4 testers, as asked for; 3 so far" {
				t.Errorf("%d testers asked for: %+v", asked, u)
			}
		}
	}
}

// Property: in random honest fields, one more honest session of anybody keeps every ranked
// panel ranked, and moves no estimate by more than its interval is wide.
func TestMoreDataTakesNoRankAway(t *testing.T) {
	t.Parallel()
	for seed := range uint64(12) {
		s := seedrand.New(900 + seed)
		w := newWorld(800+seed, 5+s.IntN(4), usual)
		ranked := map[string]fieldtest.Entry{}
		for k := range 14 {
			tester := 0
			if k > 2 { // the first begins alone
				tester = s.IntN(1 + k/2)
			}
			w.session(tester, 1+s.IntN(2), choose(s, len(w.mu), 2+s.IntN(3))...)
			if k < 2 {
				continue
			}
			now := map[string]fieldtest.Entry{}
			out := w.compute(t)
			for i := range out.Lists {
				if l := &out.Lists[i]; l.Measure == fieldtest.ShareOfRating {
					for _, e := range l.Ranking.Entries {
						now[e.PanelModel] = e
					}
				}
			}
			for slug, before := range ranked {
				after, ok := now[slug]
				if !ok {
					t.Errorf("seed %d, session %d by tester %d: %s lost its rank", seed, k, tester, slug)
					continue
				}
				if half := math.Log(before.EstimateHi/before.EstimateLo) / 2; math.Abs(math.Log(after.Estimate/before.Estimate)) > half {
					t.Errorf("seed %d, session %d by tester %d: %s moves from %.4f to %.4f, its interval was %.4f to %.4f", seed, k, tester, slug, before.Estimate, after.Estimate, before.EstimateLo, before.EstimateHi)
				}
			}
			ranked = now
		}
	}
}

// A panel that is hardly known is left out without widening the others, and the limit
// decides on both of its sides.
func TestContrastLimit(t *testing.T) {
	t.Parallel()
	w := newWorld(77, 5, usual).fill(4, 3, 2)
	for i := range w.in.Observations {
		if o := &w.in.Observations[i]; o.Panel == slugOf(4) {
			r := *o.Result
			r.Parts.Reading, r.StcPowerUW = 0.19, 0.19*r.StcPowerW
			o.Result = &r
		}
	}
	w.in.Rules.MaxHalfWidth = 0.5
	all := list(t, w.compute(t), fieldtest.ShareOfRating, "", 1)
	half := func(slug string) float64 {
		e := entry(t, all, slug)
		return math.Log(e.ContrastHi/e.ContrastLo) / 2
	}
	wide := half(slugOf(4))
	if !(wide > 2*half(slugOf(0))) {
		t.Fatalf("half-widths %v and %v: the noisy panel should be known far worse", wide, half(slugOf(0)))
	}
	for _, c := range []struct {
		limit  float64
		ranked int
	}{{wide * 1.001, 5}, {wide * 0.999, 4}} {
		w.in.Rules.MaxHalfWidth = c.limit
		if r := list(t, w.compute(t), fieldtest.ShareOfRating, "", 1); len(r.Entries) != c.ranked {
			t.Errorf("limit %v: %d ranked, want %d", c.limit, len(r.Entries), c.ranked)
		}
	}
}

// Two words for two meanings: in a comparison of three a pair may be told apart alone and
// not as one of the list; of two asked for told_apart is the pair's, of three the family's;
// and the family's is what the letters of the list say.
func TestToldApartOfPairAndFamily(t *testing.T) {
	t.Parallel()
	w := newWorld(78, 10, usual)
	for p := range w.mu {
		w.mu[p] = -0.2 + 0.012*float64(p)
	}
	w.fill(6, 3, 2)
	out := w.compute(t)
	r := list(t, out, fieldtest.ShareOfRating, "", 1)
	letters := map[string]string{}
	for _, e := range r.Entries {
		letters[e.PanelModel] = e.TieGroup
	}
	var all []string
	for p := range w.mu {
		all = append(all, slugOf(p))
	}
	many, err := out.Compare(&w.in, fieldtest.ShareOfRating, "", all)
	if err != nil {
		t.Fatal(err)
	}
	differ := 0
	for _, p := range many.Pairs {
		if p.ToldApartFamily == shareLetter(letters[p.A], letters[p.B]) {
			t.Errorf("%s and %s: told apart by the family %v, letters %s and %s", p.A, p.B, p.ToldApartFamily, letters[p.A], letters[p.B])
		}
		if p.ToldApart != p.ToldApartFamily || p.ToldApartFamily && !p.ToldApartPair {
			t.Errorf("of many: %+v", p)
		}
		if p.ToldApartPair == p.ToldApartFamily {
			continue
		}
		differ++
		two, err := out.Compare(&w.in, fieldtest.ShareOfRating, "", []string{p.A, p.B})
		if err != nil {
			t.Fatal(err)
		}
		if x := two.Pairs[0]; !x.ToldApart || !x.ToldApartPair || x.ToldApartFamily {
			t.Errorf("of two: %+v, want told apart as a pair alone", x)
		}
	}
	if differ == 0 {
		t.Error("no pair is told apart alone and not by the family: the test shows nothing")
	}
	for i, e := range r.Entries {
		if i == len(r.Entries)-1 {
			if e.NextPair != nil || e.NextFamily != nil {
				t.Errorf("the last entry has a neighbour below: %+v", e)
			}
			continue
		}
		next := r.Entries[i+1].PanelModel
		k := slices.IndexFunc(many.Pairs, func(p fieldtest.Pair) bool {
			return p.A == e.PanelModel && p.B == next || p.A == next && p.B == e.PanelModel
		})
		if *e.NextPair != many.Pairs[k].ToldApartPair || *e.NextFamily != many.Pairs[k].ToldApartFamily {
			t.Errorf("%s above %s: pair %v, family %v; the comparison says %+v", e.PanelModel, next, *e.NextPair, *e.NextFamily, many.Pairs[k])
		}
	}
}

// The first session by id decides who began, however the readings are dated.
func TestFoundersCannotBeDatedBack(t *testing.T) {
	t.Parallel()
	w := newWorld(79, 4, usual)
	for range 2 {
		w.session(0, 2, 0, 1)
	}
	for range 2 {
		first := w.session(1, 2, 0, 2, 3)
		for i := first; i < len(w.in.Observations); i++ {
			w.in.Observations[i].TakenAt = noon.AddDate(-1, 0, 0)
		}
	}
	r := list(t, w.compute(t), fieldtest.ShareOfRating, "", 1)
	if len(r.Entries) != 2 {
		t.Errorf("%d ranked, want the two panels of the first tester", len(r.Entries))
	}
	var ids []uuid.UUID
	for _, o := range w.in.Observations {
		if len(ids) == 0 || ids[len(ids)-1] != o.SessionID {
			ids = append(ids, o.SessionID)
		}
	}
	if !slices.IsSortedFunc(ids, func(a, b uuid.UUID) int { return bytes.Compare(a[:], b[:]) }) {
		t.Error("ids of sessions are not in the order in which they were made")
	}
}
