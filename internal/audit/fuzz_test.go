package audit_test

import (
	"math"
	"testing"
)

// FuzzCell plants one panel of one session off by any share. What is said of it has the
// right sign and about the right size, and the doubt never turns into one about another
// panel of the session by the same rule.
func FuzzCell(f *testing.F) {
	for _, size := range []float64{-0.5, -0.1, 0.1, 0.7} {
		f.Add(size, uint64(11))
	}
	f.Fuzz(func(t *testing.T, size float64, seed uint64) {
		if !(math.Abs(size) >= 0.08 && math.Abs(size) <= 1.5) {
			t.Skip("too small to be found for certain, or for limits to refuse")
		}
		p := usual()
		p.seed, p.fault = seed%1000, fault{cell: size}
		field := p.field()
		hit := false
		for _, x := range field.found(t) {
			if x.Rule != "panel_off_in_session" || *x.SessionID != field.sessions[2][1] {
				continue
			}
			if *x.PanelModel != slugOf(1) {
				t.Errorf("seed %d: the other panel %s is doubted", p.seed, *x.PanelModel)
				continue
			}
			hit = true
			if got := math.Log1p(x.Basis["delta_percent"].(float64) / 100); math.Abs(got-size) > 0.05 {
				t.Errorf("seed %d: a panel off by %v is said to be off by %v", p.seed, size, got)
			}
		}
		if !hit {
			t.Errorf("seed %d: a panel off by %v is not found", p.seed, size)
		}
	})
}
