package ranking

import (
	"fmt"
	"math"
	"slices"

	"evensun/internal/compare"
	"evensun/internal/fieldtest"
)

// fewTesters is the number of testers from which the spreads between them are told by the
// readings rather than by what is usual (common practice, no source).
const fewTesters = 4

// basisOf says on whose readings a component's order rests.
func (f *Fitted) basisOf(in *Inputs, component int) (basis fieldtest.ListBasis, testers, checked int) {
	all := f.checkedTesters(in)
	seen := map[int32]bool{}
	for i := range f.Rows {
		r := &f.Rows[i]
		if f.Component[r.Panel] != component || seen[r.Tester] {
			continue
		}
		seen[r.Tester] = true
		if all[r.Tester] {
			checked++
		}
	}
	switch testers = len(seen); {
	case testers == 1:
		return fieldtest.OneTester, testers, checked
	case testers < fewTesters || checked == 0:
		return fieldtest.FewTesters, testers, checked
	}
	return fieldtest.CheckedTesters, testers, checked
}

// basisSentence says what a basis means and what the next tester would add. now is the
// median relative uncertainty of an entry against the list.
func (f *Fitted) basisSentence(basis fieldtest.ListBasis, testers, checked int, now float64) string {
	opinion := 100 * math.Sqrt(f.Fit.Theta[compare.TesterPanel]+f.Fit.Theta[compare.Specimen])
	if now == 0 { // one panel: there is nothing to be against
		return "One panel is ranked: another one read beside it gives the list an order."
	}
	next := fmt.Sprintf("The next tester who reads these panels side by side would bring the typical uncertainty against the list from %.1f %% to about %.1f %%", 100*now, 100*f.withOneMore(testers, now))
	switch {
	case basis == fieldtest.OneTester:
		return fmt.Sprintf("All readings are by one tester: the order is that of this tester's sessions and units, and every interval holds the %.1f %% by which testers and units of a panel usually differ. %s, and show whether the order holds elsewhere.", opinion, next)
	case basis == fieldtest.FewTesters && testers < fewTesters:
		return fmt.Sprintf("The order rests on %d testers: intervals rest partly on what testers and units usually differ by, %.1f %% here. %s.", testers, opinion, next)
	case basis == fieldtest.FewTesters:
		return fmt.Sprintf("None of the %d testers has been checked by two others in several sessions yet, so all count alike. %s.", testers, next)
	}
	return fmt.Sprintf("%d testers, %d of them checked by two others. %s.", testers, checked, next)
}

// withOneMore is what an uncertainty now would be with one tester more: what testers and
// units differ by shrinks with their number, and so does the rest.
func (f *Fitted) withOneMore(testers int, now float64) float64 {
	return now * math.Sqrt(float64(testers)/float64(testers+1))
}

// median of a list that is not empty.
func medianOf(list []float64) float64 {
	s := slices.Sorted(slices.Values(list))
	return s[len(s)/2]
}
