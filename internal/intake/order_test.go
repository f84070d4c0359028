package intake_test

import (
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"evensun/internal/fieldtest"
	"evensun/internal/intake"
)

// eveningShares are the true shares of their rating of five panels.
var eveningShares = []float64{0.93, 0.90, 0.86, 0.80, 0.76}

func eveningSlug(p int) string { return fmt.Sprintf("evening-%d", p) }

// evening is a session with one reading of each of five panels, as who has a meter for
// volts, amps and watts and nothing else writes it down: no light, no temperature.
func evening(t testing.TB, day int) fieldtest.Session {
	t.Helper()
	s := session(t, 0)
	start := s.StartedAt.AddDate(0, 0, day)
	end := start.Add(time.Hour)
	s.StartedAt, s.EndedAt, s.Weather = start, &end, fieldtest.Weather{}
	first := s.Readings[0]
	s.Readings = nil
	for p, share := range eveningShares {
		r, at := first, start.Add(time.Duration(5+2*p)*time.Minute)
		odd := 1 + 0.004*float64((p*7+day*3)%5-2) // a little of everything
		watts := math.Round(10*200*share*odd*(0.80+0.02*float64(day%3))) / 10
		amps := math.Round(100*watts/18.1) / 100
		r.Label, r.TakenAt, r.PowerW, r.CurrentA = fmt.Sprint("P", p), &at, &watts, &amps
		r.Irradiance, r.BackTemperatureC = fieldtest.Irradiance{}, nil
		plate := plate(200)
		r.Panel = fieldtest.PanelRef{Model: eveningSlug(p), Specimen: "mine", Maker: "Halden", ModelName: fmt.Sprint("Evening ", p), Nameplate: &plate}
		s.Readings = append(s.Readings, r)
	}
	return s
}

// A rig, five panels, three evenings of volts, amps and watts from a newcomer whom no
// reviewer knows: the answer to the third carries an order of the five, with intervals that
// hold the truth and say which of them are told apart.
func TestThirdEveningShowsAnOrder(t *testing.T) {
	t.Parallel()
	d := newDesk(t, false)
	first := d.submit(t, evening(t, 0)).OwnOrder
	if first == nil || len(first.Entries) != 0 || len(first.Unranked) != 5 || first.Unranked[0].Reason != "one_session_only" || first.Unranked[0].Estimate == nil {
		t.Fatalf("order of the first evening = %+v, want none yet, with what is known so far", first)
	}
	d.submit(t, evening(t, 1))
	response, _, err := d.in.Submit(t.Context(), d.tester, evening(t, 2), intake.SubmitOptions{})
	if err != nil {
		t.Fatal(err)
	}
	conforms(t, "Receipt", response.Body)
	order := receiptOf(t, response).OwnOrder
	if order == nil || len(order.Entries) != 5 || order.Basis != fieldtest.OneTester || order.BasisSentence == "" {
		t.Fatalf("order of the third evening = %+v, want five panels of one tester", order)
	}
	mean, level := 0.0, 0.0
	for p, e := range order.Entries {
		mean, level = mean+math.Log(eveningShares[p])/5, level+math.Log(e.Estimate)/5
	}
	for p, e := range order.Entries {
		if e.PanelModel != eveningSlug(p) || e.Rank != p+1 {
			t.Errorf("place %d: %s, rank %d; want %s", p+1, e.PanelModel, e.Rank, eveningSlug(p))
		}
		truth := math.Exp(math.Log(eveningShares[p]) - mean + level)
		if half := math.Log(e.ContrastHi/e.ContrastLo) / 2; truth < e.ContrastLo || truth > e.ContrastHi || half > 0.06 || half < 0.02 {
			t.Errorf("%s: %.4f to %.4f (half %.3f), want %.4f inside and a half-width of 2 to 6 %%: units and testers differ by 1.2 %%", e.PanelModel, e.ContrastLo, e.ContrastHi, half, truth)
		}
	}
	if a, b := order.Entries[0].TieGroup, order.Entries[4].TieGroup; a == b {
		t.Errorf("best and worst, 20 %% apart, share the letter %s", a)
	}
}

// Testers of many sessions get no such order, nor does a session with one panel.
func TestNoOwnOrder(t *testing.T) {
	t.Parallel()
	d := newDesk(t, true)
	if o := d.submit(t, session(t, 0)).OwnOrder; o != nil {
		t.Errorf("order of one panel = %+v", o)
	}
	var has []bool
	for day := range 11 {
		has = append(has, d.submit(t, evening(t, day)).OwnOrder != nil)
	}
	want := slices.Concat(slices.Repeat([]bool{true}, 9), []bool{false, false}) // one session came before
	if !slices.Equal(has, want) {
		t.Errorf("answers with an order: %v, want %v", has, want)
	}
}
