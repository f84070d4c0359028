package ranking_test

import (
	"math"
	"strings"
	"testing"

	"evensun/internal/fieldtest"
)

// Scatter as stated gives no note; readings that all agree far better than stated, and some
// that differ far more, give one; a variance at its limit is not told, and where the stated
// uncertainties explain all scatter I2 is 0.
func TestScatterNotes(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name  string
		sd    spreads
		u     float64 // stated of a reading
		note  string
		above float64 // lower limit of I2
	}{
		{"as stated", spreads{tester: 0.005, session: 0.005, reading: 0.008}, 0.008, "", -1},
		{"half and less", spreads{tester: 0.001, session: 0.001, reading: 0.002}, 0.008, "the budgets claim too much", -1},
		{"more than twice", spreads{tester: 0.05, session: 0.05, opinion: 0.02, cell: 0.02, reading: 0.02}, 0.004, "the budgets leave out something", 0.5},
	} {
		w := newWorld(91, 5, c.sd)
		w.parts.Reading, w.parts.Session, w.parts.Rig = c.u, 0.005, 0.005
		w.fill(12, 3, 2)
		m := list(t, w.compute(t), fieldtest.ShareOfRating, "", 1).Model
		if notes := strings.Join(m.Notes, " "); (notes == "") != (c.note == "") || !strings.Contains(notes, c.note) {
			t.Errorf("%s: notes %q, want %q (Q %v of %v)", c.name, notes, c.note, *m.Q, *m.QDof)
		}
		if *m.QDof != 12*3*5*2-5 {
			t.Errorf("%s: %v degrees of freedom, want readings less panels, 355", c.name, *m.QDof)
		}
		if want := math.Max(0, 1 - *m.QDof / *m.Q); math.Abs(*m.I2-want) > 1e-4 || want <= c.above {
			t.Errorf("%s: I2 = %v, want (Q - dof)/Q = %v, above %v", c.name, *m.I2, want, c.above)
		}
		if c.note == "the budgets claim too much" && (m.ResidualSD != nil || m.CellSD != nil) {
			t.Errorf("%s: variances at their limits are told: %v, %v", c.name, m.ResidualSD, m.CellSD)
		}
	}
}

// Sessions that are freed because others give the level count as fitted.
func TestFreedSessionsTakeDegreesOfFreedom(t *testing.T) {
	t.Parallel()
	w := newWorld(92, 4, usual)
	w.metered = func(tester int) bool { return tester < 3 }
	w.fill(5, 2, 2)
	m := list(t, w.compute(t), fieldtest.ShareOfRating, "", 1).Model
	if want := float64(5*2*4*2 - 4 - 2*2); *m.QDof != want {
		t.Errorf("%v degrees of freedom, want %v: four sessions have no meter", *m.QDof, want)
	}
}
