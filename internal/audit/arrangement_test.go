package audit_test

import (
	"math"
	"strings"
	"testing"

	"github.com/google/uuid"

	"evensun/internal/fieldtest"
	"evensun/internal/seedrand"
)

// cover adds to every tilted reading a covered one of class 0.25 that keeps half the
// power; of tester 0 panel 0 keeps more by a factor.
func (f *field) cover(factor float64) {
	draw := seedrand.New(f.plan.seed + 99)
	for _, o := range f.in.Observations {
		kept := 0.5 * math.Exp(0.01*draw.Normal())
		if o.TesterID == f.testers[0] && o.Panel == slugOf(0) {
			kept *= factor
		}
		result := *o.Result
		result.Rankable, result.Retention = false, &fieldtest.Retention{Measure: fieldtest.ShadeRetention, Value: kept, U: 0.01 * kept, CoverClass: "0.25"}
		o.ReadingID, o.Arrangement, o.Result = uuid.NewSHA1(o.ReadingID, []byte("covered")), fieldtest.Covered, &result
		f.in.Observations = append(f.in.Observations, o)
	}
}

// A tester who is off on one panel both tilted and covered gets a finding for each: they
// have their own ids, measures and reach, and say how the panel lay.
func TestFindingsKnowTheArrangement(t *testing.T) {
	t.Parallel()
	p := usual()
	p.fault.opinion = -0.08
	f := p.field()
	f.cover(1.5)
	found := map[fieldtest.Arrangement]fieldtest.Finding{}
	for _, x := range f.found(t) {
		if x.Rule == "opinion_off" && *x.TesterID == f.testers[0] && *x.PanelModel == slugOf(0) {
			found[*x.Arrangement] = x
		}
	}
	tilted, covered := found[fieldtest.Tilted], found[fieldtest.Covered]
	if tilted.ID == uuid.Nil || covered.ID == uuid.Nil || tilted.ID == covered.ID {
		t.Fatalf("opinion_off of tester 0 on panel 0 = %v tilted, %v covered; want two findings", tilted.ID, covered.ID)
	}
	if tilted.CoverClass != nil || covered.CoverClass == nil || *covered.CoverClass != "0.25" {
		t.Errorf("cover classes = %v, %v; want none and 0.25", tilted.CoverClass, covered.CoverClass)
	}
	if tilted.Basis["measure"] != fieldtest.ShareOfRating || covered.Basis["measure"] != fieldtest.ShadeRetention {
		t.Errorf("measures = %v, %v", tilted.Basis["measure"], covered.Basis["measure"])
	}
	if strings.Contains(tilted.Reason, "covered") || !strings.Contains(covered.Reason, slugOf(0)+" covered (class 0.25)") {
		t.Errorf("reasons: %q, %q; want the second alone to say that the panel was covered", tilted.Reason, covered.Reason)
	}
	want := map[fieldtest.Arrangement]int{}
	for _, o := range f.in.Observations {
		if o.TesterID == f.testers[0] && o.Panel == slugOf(0) {
			want[o.Arrangement]++
		}
	}
	for a, x := range found {
		if x.Basis["reach_readings"] != want[a] || x.Basis["reach_testers"] != 1 || !strings.Contains(x.Basis["reach"].(string), "by this tester") {
			t.Errorf("reach of the finding about %s readings = %v, %v, %q; want %d readings of 1 tester", a, x.Basis["reach_readings"], x.Basis["reach_testers"], x.Basis["reach"], want[a])
		}
	}
}
