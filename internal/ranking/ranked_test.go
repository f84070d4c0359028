package ranking_test

import (
	"math"
	"slices"
	"testing"

	"evensun/internal/fieldtest"
	"evensun/internal/ranking"
)

func TestReasons(t *testing.T) {
	t.Parallel()
	core := func() *world { // five testers, three panels, checked by each other
		w := newWorld(21, 8, usual)
		for range 3 {
			for tester := range 5 {
				w.session(tester, 2, 0, 1, 2)
			}
		}
		return w
	}
	for _, c := range []struct {
		reason, measure, needs string
		make                   func(w *world)
	}{
		{"one_session_only", fieldtest.StcPower, "a second session, best by another tester", func(w *world) { w.session(0, 4, 0, 3) }},
		{"one_tester_only", fieldtest.StcPower, "a session by another tester, beside a panel of this list", func(w *world) { w.session(0, 2, 0, 3); w.session(0, 2, 0, 3) }},
		{"too_few_readings", fieldtest.StcPower, "readings: 1 more", func(w *world) { w.session(0, 1, 0, 3); w.session(1, 1, 0, 3) }},
		{"not_connected", fieldtest.StcPower, "one session with this panel beside any panel of component 1", func(w *world) { w.session(0, 2, 3); w.session(1, 2, 3) }},
		{"contrast_too_wide", fieldtest.StcPower, "sessions beside ranked panels: against the list it is known to 3 %, a rank needs 2 %", func(w *world) {
			w.session(0, 2, 0, 3)
			w.session(1, 2, 0, 3)
			w.in.Rules.MaxHalfWidth = 0.02
		}},
		{"no_mass", fieldtest.PowerPerMass, "the panel's mass in kg", func(w *world) { w.session(0, 2, 0, 3); w.session(1, 2, 0, 3) }},
		{"no_area", fieldtest.PowerPerCellArea, "the cell area in m2", func(w *world) { w.session(0, 2, 0, 3); w.session(1, 2, 0, 3) }},
		{"no_area", fieldtest.PowerPerPanelArea, "the panel area in m2", func(w *world) { w.session(0, 2, 0, 3); w.session(1, 2, 0, 3) }},
		{"no_price", fieldtest.PowerPerPrice, "a price as new in USD", func(w *world) {
			w.session(0, 2, 0, 3)
			w.session(1, 2, 0, 3)
			w.in.Panels[0].Prices = []fieldtest.Price{{Amount: "99", Currency: "USD", Date: "2026-01-01", Condition: "new"}}
		}},
	} {
		w := core()
		c.make(w)
		u := unranked(t, list(t, w.compute(t), c.measure, "", 1), slugOf(3))
		if u.Reason != c.reason || u.Needs != c.needs {
			t.Errorf("%s: reason %s, needs %q; want %s, %q", c.measure, u.Reason, u.Needs, c.reason, c.needs)
		}
		if (u.Estimate == nil) != (c.reason[:3] == "no_" && c.reason != "not_connected") {
			t.Errorf("%s: estimate %v", c.reason, u.Estimate)
		}
	}
}

// Two camps about one panel take no rank away: the consensus of the others stays, and the
// weights of the two camps tell the audit.
func TestDisagreementTakesNoRankAway(t *testing.T) {
	t.Parallel()
	w := newWorld(22, 6, spreads{tester: 0.01, session: 0.01, opinion: 0.004, cell: 0.004, reading: 0.003}).fill(6, 3, 2)
	honest := entry(t, list(t, w.compute(t), fieldtest.ShareOfRating, "", 1), slugOf(2))
	for i, o := range w.in.Observations {
		switch {
		case o.Panel == slugOf(2) && (o.TesterID == testerID(0) || o.TesterID == testerID(1)):
			w.in.Observations[i] = scaled(o, 1.5)
		case o.Panel == slugOf(2) && o.TesterID == testerID(2):
			w.in.Observations[i] = scaled(o, 0.6)
		}
	}
	now := entry(t, list(t, w.compute(t), fieldtest.ShareOfRating, "", 1), slugOf(2))
	if math.Abs(now.Estimate/honest.Estimate-1) > 0.02 {
		t.Errorf("estimate = %v with two camps, %v before; want the consensus of the other three", now.Estimate, honest.Estimate)
	}
}

func TestMerits(t *testing.T) {
	t.Parallel()
	w := newWorld(23, 3, usual).fill(5, 3, 2)
	for p := range w.in.Panels {
		w.in.Panels[p].MassKg, w.in.Panels[p].CellAreaM2, w.in.Panels[p].PanelAreaM2 = pointer(4.0), pointer(0.8), pointer(1.25)
		w.in.Panels[p].Prices = []fieldtest.Price{{Amount: "160.00", Currency: "EUR", Date: "2026-02-01", Condition: "new"}}
	}
	out := w.compute(t)
	share := list(t, out, fieldtest.ShareOfRating, "", 1)
	for _, c := range []struct {
		measure, unit string
		factor, u     float64 // of the share; relative uncertainty of the divisor
	}{
		{fieldtest.StcPower, "W", 200, 0},
		{fieldtest.PowerPerMass, "W/kg", 50, 0.05 / 4},
		{fieldtest.PowerPerCellArea, "W/m2", 250, 0.01},
		{fieldtest.PowerPerPanelArea, "W/m2", 160, 0.005},
		{fieldtest.PowerPerPrice, "W/EUR", 1.25, 0},
	} {
		r := list(t, out, c.measure, "", 1)
		if r.Unit != c.unit {
			t.Errorf("unit of %s = %s, want %s", c.measure, r.Unit, c.unit)
		}
		for _, e := range r.Entries {
			s := entry(t, share, e.PanelModel)
			if got := e.Estimate / s.Estimate; math.Abs(got/c.factor-1) > 1e-5 {
				t.Errorf("%s of %s is %v times its share, want %v", c.measure, e.PanelModel, got, c.factor)
			}
			want := math.Hypot(s.EstimateU/s.Estimate, c.u)
			if got := e.EstimateU / e.Estimate; math.Abs(got/want-1) > 1e-4 {
				t.Errorf("relative uncertainty of %s by %s = %v, want %v", e.PanelModel, c.measure, got, want)
			}
		}
	}
}

func TestPrices(t *testing.T) {
	t.Parallel()
	price := func(amount, currency, date, condition string) fieldtest.Price {
		return fieldtest.Price{Amount: amount, Currency: currency, Date: date, Condition: condition}
	}
	prices := []fieldtest.Price{
		price("100", "EUR", "2025-01-01", "new"), price("140", "EUR", "2026-03-01", "new"), price("130.50", "EUR", "2026-03-01", "new"),
		price("60", "EUR", "2026-05-01", "used"), price("50", "EUR", "2026-05-01", "refurbished"), price("90", "USD", "2026-06-01", "new"),
		price("-1", "EUR", "2026-06-01", "new"), price("x", "EUR", "2026-06-01", "new"),
	}
	for _, c := range []struct {
		currency string
		want     float64
		ok       bool
	}{{"EUR", 130.5, true}, {"USD", 90, true}, {"CHF", 0, false}} {
		if got, ok := ranking.PriceIn(prices, c.currency); got != c.want || ok != c.ok {
			t.Errorf("PriceIn(%s) = %v, %v; want %v, %v", c.currency, got, ok, c.want, c.ok)
		}
	}
	w := newWorld(24, 3, usual).fill(5, 3, 1)
	w.in.Panels[0].Prices, w.in.Panels[1].Prices, w.in.Panels[2].Prices = prices[1:2], prices[5:6], prices[1:2]
	out := w.compute(t)
	for currency, ranked := range map[string][]string{"EUR": {slugOf(0), slugOf(2)}, "USD": {slugOf(1)}} {
		r := list(t, out, fieldtest.PowerPerPrice, currency, 1)
		var got []string
		for _, e := range r.Entries {
			got = append(got, e.PanelModel)
		}
		slices.Sort(got)
		if !slices.Equal(got, ranked) || len(r.Unranked) != 3-len(ranked) {
			t.Errorf("ranked in %s = %v, want %v", currency, got, ranked)
		}
	}
}

// Numbers of components go by size, then by the smallest slug; each has its own ranks.
func TestComponents(t *testing.T) {
	t.Parallel()
	w := newWorld(25, 7, usual)
	for range 3 {
		for tester := range 4 {
			w.session(tester, 2, 5, 6)
			w.session(tester, 2, 0, 1)
			w.session(tester, 2, 2, 3)
			w.session(tester, 2, 3, 4)
		}
	}
	out := w.compute(t)
	for component, want := range map[int][]string{1: {slugOf(2), slugOf(3), slugOf(4)}, 2: {slugOf(0), slugOf(1)}, 3: {slugOf(5), slugOf(6)}} {
		r := list(t, out, fieldtest.StcPower, "", component)
		var got []string
		for _, e := range r.Entries {
			got = append(got, e.PanelModel)
			if e.Component != component || e.RankHi > len(want) {
				t.Errorf("component %d: %+v", component, e)
			}
		}
		slices.Sort(got)
		if !slices.Equal(got, want) {
			t.Errorf("component %d = %v, want %v", component, got, want)
		}
	}
}

func TestBasis(t *testing.T) {
	t.Parallel()
	w := newWorld(26, 6, usual)
	for range 2 {
		w.session(0, 2, 0, 1)
		w.session(0, 2, 1, 2)
		w.session(0, 2, 3)
		w.session(1, 2, 4, 5)
	}
	out := w.compute(t)
	for _, c := range []struct {
		other   int
		basis   string
		path    int // 0: none
		caution string
	}{
		{1, "same_session", 1, ""}, {2, "through_other_panels", 2, ""},
		{3, "same_tester", 0, "compared_across_sessions"}, {4, "absolute_scale", 0, "not_compared_side_by_side"},
	} {
		got, err := out.Compare(&w.in, fieldtest.StcPower, "", []string{slugOf(0), slugOf(c.other)})
		if err != nil {
			t.Fatal(err)
		}
		p := got.Pairs[0]
		if p.Basis != c.basis || (p.PathSessions == nil) != (c.path == 0) || c.path > 0 && *p.PathSessions != c.path {
			t.Errorf("basis of 0 and %d = %s, path %v; want %s, %d", c.other, p.Basis, p.PathSessions, c.basis, c.path)
		}
		if (len(got.Cautions) == 1) != (c.caution != "") || c.caution != "" && got.Cautions[0].ID != c.caution {
			t.Errorf("cautions of 0 and %d = %v, want %q", c.other, got.Cautions, c.caution)
		}
		if !(p.RatioLo < p.Ratio && p.Ratio < p.RatioHi) {
			t.Errorf("ratio %v outside %v to %v", p.Ratio, p.RatioLo, p.RatioHi)
		}
	}
}

func TestContributions(t *testing.T) {
	t.Parallel()
	w := newWorld(27, 4, usual).fill(5, 3, 2)
	w.in.Observations[0].State = fieldtest.Held
	out := w.compute(t)
	for slug, r := range out.Results(&w.in) {
		sum, named := 0.0, map[string]bool{}
		for _, c := range r.Contributions {
			sum += c.Weight
			named[c.ReadingID.String()] = true
			if !(c.Weight > 0 && c.RobustWeight > 0 && c.RobustWeight <= 1) {
				t.Errorf("%s: contribution %+v", slug, c)
			}
		}
		if math.Abs(sum-1) > 1e-4 {
			t.Errorf("%s: contributions add to %v, want 1", slug, sum)
		}
		for _, o := range w.in.Observations {
			if o.Panel == slug && named[o.ReadingID.String()] != (o.State == fieldtest.Counted) {
				t.Errorf("%s: reading %s (%s) named: %v", slug, o.ReadingID, o.State, named[o.ReadingID.String()])
			}
		}
	}
}
