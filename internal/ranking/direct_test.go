package ranking_test

import (
	"testing"

	"evensun/internal/fieldtest"
)

// The direct ratio is that within sessions: of two sessions without scatter it is exact,
// whatever the hours were, and a pair without a common session has none.
func TestDirectRatio(t *testing.T) {
	t.Parallel()
	w := newWorld(3, 3, spreads{tester: 0.02, session: 0.05})
	for tester := range 3 {
		w.session(tester, 2, 0, 1)
		w.session(tester, 2, 1, 2)
	}
	out := w.compute(t)
	got, err := out.Compare(&w.in, fieldtest.ShareOfRating, "", []string{slugOf(0), slugOf(1), slugOf(2)})
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range got.Pairs {
		if p.A == slugOf(0) && p.B == slugOf(2) {
			if p.DirectRatio != nil {
				t.Errorf("direct ratio of a pair without a common session = %v, want none", *p.DirectRatio)
			}
			continue
		}
		if p.DirectRatio == nil {
			t.Fatalf("pair %s, %s has no direct ratio", p.A, p.B)
		}
		if want := 1.0304545; *p.DirectRatio < want-1e-4 || *p.DirectRatio > want+1e-4 {
			t.Errorf("direct ratio of %s and %s = %v, want exp(0.03) = %v", p.A, p.B, *p.DirectRatio, want)
		}
	}
}
