package demo_test

import (
	"testing"

	"evensun/internal/conclusion"
	"evensun/internal/demo"
	"evensun/internal/diode"
	"evensun/internal/fieldtest"
)

// TestWiringIsFound concludes on the wiring of every panel of several weekends, from the
// honest sessions and from all of them, and prints how often that is right. At most 2 of
// 100 conclusions may be wrong; series strings stay undecided, because the controllers of
// few rigs cannot tell them from bypass diodes that they never find.
func TestWiringIsFound(t *testing.T) {
	t.Parallel()
	var library diode.Library
	last := dates()[1]
	for name, want := range map[string]func(*demo.Submission) bool{"honest": honest, "all": all} {
		right, undecided, wrong := 0, 0, 0
		for seed := range uint64(5) {
			w := demo.NewWeekend(seed, last)
			observations, _ := observed(t, &w, last, want)
			covered := map[string][]conclusion.Covered{}
			for i := range observations {
				if o := &observations[i]; o.State == fieldtest.Counted && o.Arrangement == fieldtest.Covered && o.Result != nil {
					covered[o.Panel] = append(covered[o.Panel], conclusion.Covered{TesterID: o.TesterID, Specimen: o.Specimen, Retention: o.Result.Retention})
				}
			}
			for slug, truth := range w.Wiring {
				c := conclusion.WiringOf(&library, covered[slug], nil)
				switch c.Conclusion {
				case truth:
					right++
				case string(diode.Undecided):
					undecided++
				default:
					wrong++
					t.Logf("%s, seed %d: %s is %s, concluded %s", name, seed, slug, truth, c.Sentence)
				}
			}
		}
		t.Logf("%s sessions: right %d, undecided %d, wrong %d", name, right, undecided, wrong)
		if wrong*50 > right+undecided+wrong || right*2 < right+undecided+wrong {
			t.Errorf("%s sessions: right %d, undecided %d, wrong %d; want half of them right and at most 2 %% wrong", name, right, undecided, wrong)
		}
	}
}
