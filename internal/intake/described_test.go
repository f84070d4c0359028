package intake_test

import (
	"testing"

	"evensun/internal/fieldtest"
	"evensun/internal/intake"
)

// described has three readings, the second of a panel whose nameplate it describes.
func described(t testing.TB, n int, slug string, plate fieldtest.Nameplate) fieldtest.Session {
	t.Helper()
	s := session(t, n)
	s.Readings[1].Panel = fieldtest.PanelRef{Model: slug, Specimen: "unit-1", Maker: "Halden", ModelName: "Loft", Nameplate: &plate}
	return s
}

// heldPlate is one whose readings are held: it rates 215 W where Vmp times Imp are 200 W.
func heldPlate(t testing.TB) fieldtest.Nameplate {
	t.Helper()
	p := plate(200)
	pmaxW := 215.0
	p.PmaxW = &pmaxW
	return p
}

// A doubt about a described nameplate holds the readings of that panel and not the sound
// one beside it, stands on the model's record, and meets the next session that names it.
func TestADoubtOnADescribedNameplateIsFiledOnTheModel(t *testing.T) {
	t.Parallel()
	d := newDesk(t, true)
	const bad = "halden-loft"
	want := []fieldtest.ReadingState{fieldtest.Counted, fieldtest.Held, fieldtest.Counted}
	first := d.submit(t, described(t, 0, bad, heldPlate(t)))
	d.sameStates(t, "described", first, want)
	s := session(t, 1)
	s.Readings[1].Panel.Model = bad
	second := d.submit(t, s)
	d.sameStates(t, "named", second, want)
	doubt := onModel(t, first, bad)
	if again := onModel(t, second, bad); again.ID != doubt.ID {
		t.Errorf("the second session meets finding %s, the first %s", again.ID, doubt.ID)
	}
	if doubt.SessionID != nil || doubt.TesterID != nil || doubt.ReadingID != nil {
		t.Errorf("the finding is about more than the model: %+v", doubt)
	}
	d.verdict(t, doubt.ID, fieldtest.Keep)
	for _, id := range []fieldtest.Receipt{first, second} {
		if !all(d.states(t, *id.ID), fieldtest.Counted) {
			t.Errorf("after the verdict the readings are %v", d.states(t, *id.ID))
		}
	}
	d.whole(t)
}

// A described nameplate that is stored already is not doubted a second time.
func TestAStoredNameplateIsDoubtedOnce(t *testing.T) {
	t.Parallel()
	d := newDesk(t, true)
	first := d.submit(t, described(t, 0, "halden-loft", heldPlate(t)))
	second := d.submit(t, described(t, 1, "halden-loft", heldPlate(t)))
	for name, r := range map[string]fieldtest.Receipt{"first": first, "second": second} {
		if len(r.Findings) != len(first.Findings) {
			t.Errorf("the %s receipt tells %d findings, want %d", name, len(r.Findings), len(first.Findings))
		}
	}
	kept, err := d.db.Session(t.Context(), *second.ID)
	if err != nil || len(kept.Findings) != 0 {
		t.Errorf("the session holds %v, %v, want no finding of its own", kept.Findings, err)
	}
}

// A dry run tells the same.
func TestADryRunHoldsTheDescribedPanelAlone(t *testing.T) {
	t.Parallel()
	d := newDesk(t, true)
	for _, slug := range []string{"halden-loft", ""} {
		response, _, err := d.in.Submit(t.Context(), d.tester, described(t, 0, slug, heldPlate(t)), intake.SubmitOptions{DryRun: true})
		if err != nil {
			t.Fatal(err)
		}
		r := receiptOf(t, response)
		if r.Readings[0].State != fieldtest.Counted || r.Readings[1].State != fieldtest.Held || r.Readings[2].State != fieldtest.Counted {
			t.Errorf("%q: states %s, %s, %s; want the second held alone", slug, r.Readings[0].State, r.Readings[1].State, r.Readings[2].State)
		}
	}
}

func onModel(t testing.TB, r fieldtest.Receipt, slug string) fieldtest.Finding {
	t.Helper()
	for _, f := range r.Findings {
		if f.PanelModel != nil && *f.PanelModel == slug && f.Severity == fieldtest.Hold {
			return f
		}
	}
	t.Fatalf("the receipt tells of no hold on %s: %+v", slug, r.Findings)
	return fieldtest.Finding{}
}

func (d *desk) sameStates(t testing.TB, what string, r fieldtest.Receipt, want []fieldtest.ReadingState) {
	t.Helper()
	stored := d.states(t, *r.ID)
	for i := range want {
		if stored[i] != want[i] || r.Readings[i].State != want[i] {
			t.Errorf("%s: reading %d is %s, in the receipt %s; want %s", what, i, stored[i], r.Readings[i].State, want[i])
		}
	}
}
