package ranking_test

import (
	"errors"
	"testing"

	"github.com/google/uuid"

	"evensun/internal/fieldtest"
	"evensun/internal/ranking"
)

// One tester's word counts where nobody else has one, and is one vote where others have.
func TestAgreedPrices(t *testing.T) {
	t.Parallel()
	type told struct {
		tester       int
		amount, date string
	}
	known := func(id uuid.UUID) bool { return id != testerID(9) } // tester 9 is a fresh account
	for name, c := range map[string]struct {
		told []told
		want string
	}{
		"one word":                        {[]told{{1, "100", "2026-01-01"}}, "100"},
		"one tester's newest":             {[]told{{1, "100", "2026-01-01"}, {1, "90", "2026-03-01"}}, "90"},
		"one tester, one day":             {[]told{{1, "100", "2026-01-01"}, {1, "95", "2026-01-01"}}, "95"},
		"a price next to nothing":         {[]told{{1, "100", "2026-01-01"}, {2, "0.0001", "2026-06-02"}}, "100"},
		"told a hundred times":            {[]told{{1, "100", "2026-01-01"}, {3, "104", "2026-01-03"}, {2, "1", "2026-06-01"}, {2, "2", "2026-06-02"}, {2, "1", "2026-06-03"}, {2, "1.5", "2026-06-04"}}, "100"},
		"a price out of the world":        {[]told{{1, "100", "2026-01-01"}, {3, "104", "2026-01-03"}, {2, "99999", "2026-06-02"}}, "104"},
		"a fresh account":                 {[]told{{1, "100", "2026-01-01"}, {9, "1000", "2026-06-02"}}, "100"},
		"only a fresh account":            {[]told{{9, "1000", "2026-06-02"}}, ""},
		"one amount, two ways to write":   {[]told{{1, "100", "2026-01-01"}, {2, "100.00", "2026-01-01"}}, "100.00"},
		"old prices go":                   {[]told{{1, "100", "2020-01-01"}, {3, "104", "2020-01-01"}, {2, "70", "2026-06-02"}}, "70"},
		"nothing that is no price as new": {[]told{{1, "0", "2026-01-01"}, {2, "x", "2026-01-01"}}, ""},
	} {
		var stored []fieldtest.StoredPrice
		for _, p := range c.told {
			stored = append(stored, fieldtest.StoredPrice{TesterID: testerID(p.tester), Price: fieldtest.Price{Amount: p.amount, Currency: "EUR", Date: p.date, Condition: "new"}})
		}
		stored = append(stored, fieldtest.StoredPrice{TesterID: testerID(1), Price: fieldtest.Price{Amount: "1", Currency: "EUR", Date: "2026-06-03", Condition: "used"}})
		got := ranking.AgreedPrices(stored, known)
		if c.want == "" && len(got) == 0 {
			continue
		}
		if len(got) != 1 || got[0].Amount != c.want {
			t.Errorf("%s: prices %+v, want %s", name, got, c.want)
		}
	}
}

// What one tester said of a divisor ranks nothing where it is far from what a rated watt
// of the other panels takes; within that it does, as told.
func TestDivisorsOutOfLine(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		amount string
		mass   float64
		price  string // reason; empty: ranked
		weight string
	}{
		{"100", 4, "", ""}, {"25", 1, "", ""}, {"480", 19, "", ""}, {"19", 0.79, "price_out_of_line", "mass_out_of_line"}, {"501", 20.1, "price_out_of_line", "mass_out_of_line"},
	} {
		w := newWorld(24, 6, usual).fill(5, 3, 1)
		for p := range w.in.Panels {
			w.in.Panels[p].MassKg = pointer(4.0)
			w.in.Panels[p].Prices = []fieldtest.Price{{Amount: "100", Currency: "EUR", Date: "2026-01-01", Condition: "new"}}
		}
		w.in.Panels[2].MassKg, w.in.Panels[2].Prices[0].Amount = pointer(c.mass), c.amount
		out := w.compute(t)
		for measure, want := range map[string]string{fieldtest.PowerPerPrice: c.price, fieldtest.PowerPerMass: c.weight, fieldtest.ShareOfRating: ""} {
			r := list(t, out, measure, "", 1)
			if want == "" {
				entry(t, r, slugOf(2))
				continue
			}
			if u := unranked(t, r, slugOf(2)); u.Reason != want || u.Needs == "" || u.Estimate != nil {
				t.Errorf("%s with %s EUR and %v kg: %+v, want %s", measure, c.amount, c.mass, u, want)
			}
		}
	}
}

// A pair with such a panel is refused for the reason that its list gives; pairs of the
// others, and measures that divide by nothing, are compared.
func TestPairsOutOfLine(t *testing.T) {
	t.Parallel()
	w := newWorld(24, 6, usual).fill(5, 3, 1)
	for p := range w.in.Panels {
		w.in.Panels[p].MassKg, w.in.Panels[p].PanelAreaM2, w.in.Panels[p].CellAreaM2 = pointer(4.0), pointer(1.0), pointer(0.9)
		w.in.Panels[p].Prices = []fieldtest.Price{{Amount: "100", Currency: "EUR", Date: "2026-01-01", Condition: "new"}}
	}
	odd := &w.in.Panels[2]
	odd.MassKg, odd.PanelAreaM2, odd.CellAreaM2, odd.Prices[0].Amount = pointer(0.79), pointer(5.1), pointer(0.17), "501"
	out := w.compute(t)
	for measure, want := range map[string]string{
		fieldtest.PowerPerPrice: "price_out_of_line", fieldtest.PowerPerMass: "mass_out_of_line",
		fieldtest.PowerPerPanelArea: "area_out_of_line", fieldtest.PowerPerCellArea: "area_out_of_line",
		fieldtest.ShareOfRating: "", fieldtest.StcPower: "",
	} {
		if got, err := out.Compare(&w.in, measure, "", []string{slugOf(0), slugOf(1)}); err != nil || len(got.Pairs) != 1 {
			t.Errorf("%s of two panels in line: %+v, %v, want one pair", measure, got, err)
		}
		_, err := out.Compare(&w.in, measure, "", []string{slugOf(0), slugOf(2)})
		if want == "" {
			if err != nil {
				t.Errorf("%s: %v, want a pair", measure, err)
			}
			continue
		}
		refusal, ok := errors.AsType[*fieldtest.Refusal](err)
		if !ok || len(refusal.Faults) != 1 || refusal.Faults[0].Code != want || refusal.Faults[0].Value != slugOf(2) {
			t.Errorf("%s: %v, want a refusal of %s as %s", measure, err, slugOf(2), want)
		}
		if u := unranked(t, list(t, out, measure, "", 1), slugOf(2)); u.Reason != want {
			t.Errorf("%s: the list says %s, want %s", measure, u.Reason, want)
		}
	}
}
