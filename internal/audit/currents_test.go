package audit_test

import (
	"math"
	"testing"

	"github.com/google/uuid"

	"evensun/internal/fieldtest"
)

// steadyCurrents gives every reading the current of its panel for its light, at a steady
// voltage, times what current says of it.
func (f *field) steadyCurrents(current func(i int) (factor, voltageFactor float64)) {
	for i := range f.raw {
		o := &f.in.Observations[i]
		factor, volts := current(i)
		v := 18 * volts
		a := 9 * factor * o.Result.EffectiveWM2 / 1000
		f.raw[i].VoltageV, f.raw[i].CurrentA = &v, &a
	}
}

// ofCell tells whether a reading is of panel 1 in session 1 of tester 2.
func (f *field) ofCell(i int) bool {
	return f.raw[i].SessionID == f.sessions[2][1] && f.in.Observations[i].Panel == slugOf(1)
}

func currentFindings(t *testing.T, f *field) []fieldtest.Finding {
	t.Helper()
	var found []fieldtest.Finding
	for _, x := range f.found(t) {
		if x.Rule == "current_low_for_light" {
			found = append(found, x)
		}
	}
	return found
}

// TestLessCurrentThanOthers plants a current 15 % too low for its light in one session: it
// is found, and nothing else; at another voltage, too high, under an estimated light, or
// without three other testers it is not.
//
// Expected: ln(0.85)/sqrt(0.03^2 + 0.004^2 + 0.006^2 + 0.005^2) = -5.2.
func TestLessCurrentThanOthers(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name          string
		factor, volts float64
		change        func(f *field)
		found         int
	}{
		{"15 % less", 0.85, 1, nil, 1},
		{"15 % less, by another meter of the same tester", 0.85, 1, func(f *field) { f.in.Linked = map[uuid.UUID]uuid.UUID{f.testers[0]: f.testers[1]} }, 1},
		{"15 % more", 1.15, 1, nil, 0},
		{"5 % less", 0.95, 1, nil, 0},
		{"15 % less at a voltage 10 % up", 0.85, 1.1, nil, 0},
		{"15 % less under an estimated light", 0.85, 1, func(f *field) {
			for i := range f.in.Observations {
				if f.ofCell(i) {
					f.in.Observations[i].Result.IrradianceOrigin = fieldtest.OriginClearSky
				}
			}
		}, 0},
		{"held", 0.85, 1, func(f *field) {
			for i := range f.in.Observations {
				if f.ofCell(i) {
					f.in.Observations[i].State = fieldtest.Held
				}
			}
		}, 0},
		{"all others are two people", 0.85, 1, func(f *field) {
			f.in.Linked = map[uuid.UUID]uuid.UUID{}
			for i, id := range f.testers {
				if i > 3 || i == 1 {
					f.in.Linked[id] = f.testers[0]
				}
			}
		}, 0},
	} {
		f := usual().field()
		f.steadyCurrents(func(i int) (float64, float64) {
			if f.ofCell(i) {
				return c.factor, c.volts
			}
			return 1, 1
		})
		if c.change != nil {
			c.change(f)
		}
		found := currentFindings(t, f)
		if len(found) != c.found {
			t.Errorf("%s: %d findings of low current, want %d: %+v", c.name, len(found), c.found, found)
			continue
		}
		for _, x := range found {
			if *x.SessionID != f.sessions[2][1] || *x.PanelModel != slugOf(1) || math.Abs(x.Basis["t"].(float64)+5.2) > 0.1 {
				t.Errorf("%s: finding %+v, want z -5.2 about panel 1 in that session", c.name, x)
			}
		}
	}
}

// TestOneCauseOneFinding leaves a session that is off as a whole to the rule about it.
func TestOneCauseOneFinding(t *testing.T) {
	t.Parallel()
	p := usual()
	p.fault = fault{session: -0.2}
	f := p.field()
	f.steadyCurrents(func(i int) (float64, float64) {
		if f.raw[i].SessionID == f.sessions[1][0] {
			return 0.8, 1
		}
		return 1, 1
	})
	if found := currentFindings(t, f); len(found) != 0 {
		t.Errorf("%d findings of low current in a session found to be off, want none: %s", len(found), found[0].Reason)
	}
}

// TestCurrentsInAnyOrder reverses the data: same findings, ids and numbers.
func TestCurrentsInAnyOrder(t *testing.T) {
	t.Parallel()
	f := usual().field()
	f.steadyCurrents(func(i int) (float64, float64) {
		if f.ofCell(i) {
			return 0.85, 1
		}
		return 1 + 0.01*math.Sin(float64(i)), 1
	})
	first := currentFindings(t, f)
	n := len(f.raw)
	for i := range n / 2 {
		f.raw[i], f.raw[n-1-i] = f.raw[n-1-i], f.raw[i]
		f.in.Observations[i], f.in.Observations[n-1-i] = f.in.Observations[n-1-i], f.in.Observations[i]
	}
	second := currentFindings(t, f)
	if len(first) != 1 || len(second) != 1 || first[0].ID != second[0].ID || *first[0].Value != *second[0].Value {
		t.Errorf("findings %+v, reversed %+v, want one and the same", first, second)
	}
}
