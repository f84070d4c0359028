package compare_test

import (
	"math"
	"slices"
	"testing"

	"evensun/internal/compare"
	"evensun/internal/reftest"
)

func TestMultiplicity(t *testing.T) {
	t.Parallel()
	c := reftest.Table[struct {
		P     []float64 `json:"p"`
		BH    []float64 `json:"bh"`
		Holm  []float64 `json:"holm"`
		BHAt5 int       `json:"bh_rejected_at_05"`
		Holm5 int       `json:"holm_rejected_at_05"`
	}](t, "multiplicity")
	shuffled, undo := make([]float64, 15), make([]int, 15)
	for i := range c.P {
		undo[i] = (7 * i) % 15
		shuffled[undo[i]] = c.P[i]
	}
	for name, method := range map[string]struct {
		adjust func([]float64) []float64
		want   []float64
	}{"BenjaminiHochberg": {compare.BenjaminiHochberg, c.BH}, "Holm": {compare.Holm, c.Holm}} {
		nearAll(t, name, method.adjust(c.P), method.want, 1e-8)
		out := method.adjust(shuffled)
		for i := range undo {
			near(t, name+" shuffled", out[undo[i]], method.want[i], 1e-8)
		}
	}
	rejected := func(p []float64) int {
		return len(slices.DeleteFunc(slices.Clone(p), func(v float64) bool { return v > 0.05 }))
	}
	if a, b := rejected(compare.BenjaminiHochberg(c.P)), rejected(compare.Holm(c.P)); a != c.BHAt5 || b != c.Holm5 {
		t.Errorf("rejected at 0.05: %d and %d, want %d and %d", a, b, c.BHAt5, c.Holm5)
	}
}

// Adjusting never lowers a p-value, keeps the order, and ignores what has no value.
func FuzzMultiplicity(f *testing.F) {
	f.Add(0.01, 0.04, 0.03, 0.2)
	f.Fuzz(func(t *testing.T, a, b, c, d float64) {
		p := []float64{reftest.Fold(a, 0, 1), reftest.Fold(b, 0, 1), math.NaN(), reftest.Fold(c, 0, 1), reftest.Fold(d, 0, 1)}
		holm := compare.Holm(p)
		for _, adjusted := range [][]float64{compare.BenjaminiHochberg(p), holm} {
			for i := range p {
				if i == 2 {
					if !math.IsNaN(adjusted[i]) {
						t.Errorf("adjusted NaN = %v", adjusted[i])
					}
					continue
				}
				if adjusted[i] < p[i] || adjusted[i] > 1 || adjusted[i] > holm[i] {
					t.Errorf("%v adjusted to %v, Holm %v", p[i], adjusted[i], holm[i])
				}
				for j := range p {
					if j != 2 && p[i] < p[j] && adjusted[i] > adjusted[j] {
						t.Errorf("order of %v and %v turned: %v, %v", p[i], p[j], adjusted[i], adjusted[j])
					}
				}
			}
		}
	})
}

func nearAll(tb testing.TB, what string, got, want []float64, tol float64) {
	tb.Helper()
	if len(got) != len(want) {
		tb.Fatalf("%s: %d numbers, want %d", what, len(got), len(want))
	}
	for i := range want {
		near(tb, what, got[i], want[i], tol)
	}
}
