package diode_test

import (
	"errors"
	"fmt"
	"math"
	"testing"

	"evensun/internal/diode"
	"evensun/internal/reftest"
)

func foldingPanel(w diode.Wiring, sections int) diode.Panel {
	return diode.Panel{Wiring: w, String: panelASTC(), Cells: 36, Sections: sections, DiodeV: 0.45, Breakdown: diode.SiliconBreakdown()}
}

func ExampleShade() {
	cover := diode.Cover{Sections: 4, Covered: 1, Transmission: 0.05}
	for _, w := range []diode.Wiring{diode.Series, diode.SeriesBypass, diode.Parallel, diode.TwoStrings} {
		s, err := diode.Shade(foldingPanel(w, 4), cover)
		if err != nil {
			fmt.Println(err)
			return
		}
		fmt.Printf("%-13s keeps %.2f at %.2f of the voltage, stuck near it %.2f\n", w, s.Global().Power, s.Global().Voltage, s.Near().Power)
	}
	// Output:
	// series        keeps 0.05 at 0.94 of the voltage, stuck near it 0.05
	// series_bypass keeps 0.73 at 0.73 of the voltage, stuck near it 0.05
	// parallel      keeps 0.76 at 1.00 of the voltage, stuck near it 0.76
	// two_strings   keeps 0.52 at 1.00 of the voltage, stuck near it 0.52
}

func TestShade(t *testing.T) {
	t.Parallel()
	type in struct {
		Wiring       diode.Wiring `json:"wiring"`
		Sections     int          `json:"sections_total"`
		Covered      int          `json:"sections_covered"`
		Transmission float64      `json:"transmission"`
		DiodeV       float64      `json:"diode_v"`
	}
	cases := reftest.Cases[in](t, "physics/shading.json")
	if len(cases) != 50 {
		t.Errorf("%d shading cases, want 50", len(cases))
	}
	for _, c := range cases {
		t.Run(fmt.Sprintf("%s_%d_%d_%v", c.In.Wiring, c.In.Sections, c.In.Covered, c.In.Transmission), func(t *testing.T) {
			t.Parallel()
			panel := foldingPanel(c.In.Wiring, c.In.Sections)
			panel.DiodeV = c.In.DiodeV
			s, err := diode.Shade(panel, diode.Cover{Sections: c.In.Sections, Covered: c.In.Covered, Transmission: c.In.Transmission})
			if err != nil {
				t.Fatal(err)
			}
			c.Check(t, "retained", s.Global().Power)
			if c.Has("voltage_ratio") {
				c.Check(t, "voltage_ratio", s.Global().Voltage)
			}
			t.Logf("%+v off %.2g", c.In, s.Global().Power-c.Out["retained"].(float64))
		})
	}
}

func retained(t *testing.T, w diode.Wiring, n, k int, s float64) diode.Shaded {
	t.Helper()
	shaded, err := diode.Shade(foldingPanel(w, n), diode.Cover{Sections: n, Covered: k, Transmission: s})
	if err != nil {
		t.Fatal(err)
	}
	return shaded
}

// physics.md 5.5: what the controller adds, and the influence of the diode drop.
func TestTracker(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name           string
		got, want, tol float64
	}{
		{"stuck, n 4 k 1 s 0.05", retained(t, diode.SeriesBypass, 4, 1, 0.05).Near().Power, 0.048, 0.0005},
		{"free, n 4 k 1 s 0.05", retained(t, diode.SeriesBypass, 4, 1, 0.05).Global().Power, 0.728, 0.0005},
		{"14 V, n 3 k 1", retained(t, diode.SeriesBypass, 3, 1, 0).AtLeast(14).Power, 0.604, 0.0005},
		{"14 V, n 2 k 1", retained(t, diode.SeriesBypass, 2, 1, 0).AtLeast(14).Power, 0, 0.005},
		{"14 V, n 4 k 2", retained(t, diode.SeriesBypass, 4, 2, 0).AtLeast(14).Power, 0, 0.005},
		{"14 V, n 6 k 2", retained(t, diode.SeriesBypass, 6, 2, 0).AtLeast(14).Power, 0.517, 0.0005},
		{"5 V limits nothing", retained(t, diode.SeriesBypass, 4, 1, 0).AtLeast(5).Power, 0.728, 0.0005},
	} {
		if math.Abs(c.got-c.want) > c.tol {
			t.Errorf("%s: retained %.4f, want %.4f within %v", c.name, c.got, c.want, c.tol)
		}
	}
}

func TestShadeDiodeDrop(t *testing.T) {
	t.Parallel()
	stc := panelASTC().MaximumPower()
	for drop, want := range map[float64]float64{0.30: 0.7353, 0.45: 0.7279, 0.70: 0.7156} {
		panel := foldingPanel(diode.SeriesBypass, 4)
		panel.DiodeV = drop
		s, err := diode.Shade(panel, diode.Cover{Sections: 4, Covered: 1})
		if err != nil {
			t.Fatal(err)
		}
		closed := 0.75 - drop*stc.CurrentA/stc.PowerW
		if got := s.Global().Power; math.Abs(got-want) > 5e-5 || math.Abs(got-closed) > 1e-4 {
			t.Errorf("drop %v V: retained %.5f, want %.4f and %.5f in closed form", drop, got, want, closed)
		}
	}
}

// physics.md 5.5: leakier cells, and one opaque cell of 36 (a section of its own).
// One of 36 sections is more than a Cover takes, so the cell is put in by hand.
func TestShadeCellsDecide(t *testing.T) {
	t.Parallel()
	panel := foldingPanel(diode.Series, 4)
	panel.String.ShuntOhm = 36
	s, err := diode.Shade(panel, diode.Cover{Sections: 4, Covered: 1})
	if err != nil {
		t.Fatal(err)
	}
	if got := s.Global().Power; math.Abs(got-0.047) > 0.001 {
		t.Errorf("1 ohm a cell: retained %.4f, want 0.047 within 0.001", got)
	}
	for _, c := range []struct{ breakdownV, cellOhm, want float64 }{{-15, 150. / 36, 0.35}, {-15, 50, 0.30}, {-5, 150. / 36, 0.75}, {-3.5, 150. / 36, 0.81}} {
		curve := panelASTC()
		curve.ShuntOhm = 36 * c.cellOhm
		b := diode.SiliconBreakdown()
		b.VoltageV = c.breakdownV
		lit := curve.Cell(36, b)
		dark := lit.Shaded(0)
		var best float64
		for i := 0.01; i < curve.PhotocurrentA; i += 0.01 {
			best = math.Max(best, i*(35*lit.VoltageV(i)+dark.VoltageV(i)))
		}
		if got := best / curve.MaximumPower().PowerW; math.Abs(got-c.want) > 0.006 {
			t.Errorf("one dark cell, %v V, %v ohm: retained %.4f, want %v", c.breakdownV, c.cellOhm, got, c.want)
		}
	}
}

func TestShadeRefuses(t *testing.T) {
	t.Parallel()
	cover := diode.Cover{Sections: 4, Covered: 1, Transmission: 0.1}
	for name, spoil := range map[string]func(*diode.Panel, *diode.Cover){
		"Sections":      func(p *diode.Panel, _ *diode.Cover) { p.Sections = 5 },
		"Covered":       func(_ *diode.Panel, c *diode.Cover) { c.Covered = 4 },
		"Transmission":  func(_ *diode.Panel, c *diode.Cover) { c.Transmission = math.NaN() },
		"DiodeV":        func(p *diode.Panel, _ *diode.Cover) { p.DiodeV = -1 },
		"Cells":         func(p *diode.Panel, _ *diode.Cover) { p.Cells = 0 },
		"Exponent":      func(p *diode.Panel, _ *diode.Cover) { p.Breakdown.Exponent = math.Inf(1) },
		"-VoltageV":     func(p *diode.Panel, _ *diode.Cover) { p.Breakdown.VoltageV = 15 },
		"Share":         func(p *diode.Panel, _ *diode.Cover) { p.Breakdown.Share = math.NaN() },
		"SaturationA":   func(p *diode.Panel, _ *diode.Cover) { p.String.SaturationA = math.NaN() },
		"PhotocurrentA": func(p *diode.Panel, _ *diode.Cover) { p.String.PhotocurrentA = 0 },
	} {
		p, c := foldingPanel(diode.Series, 4), cover
		spoil(&p, &c)
		_, err := diode.Shade(p, c)
		checkRange(t, err, name)
	}
	if _, err := diode.Shade(foldingPanel(diode.TwoStrings, 5), diode.Cover{Sections: 5, Covered: 1}); !errors.Is(err, diode.ErrOddSections) {
		t.Errorf("two strings of 5 sections: %v, want %v", err, diode.ErrOddSections)
	}
	if _, err := diode.Shade(foldingPanel("star", 4), cover); !errors.Is(err, diode.ErrWiring) {
		t.Errorf("wiring star: %v, want %v", err, diode.ErrWiring)
	}
}

// A cover never adds power, less of it never takes any, a tracker that is stuck or
// limited never finds more than one that is free, and blocking diodes only help.
func FuzzShade(f *testing.F) {
	f.Add(uint8(0), uint8(4), uint8(1), 0.05, 14.0)
	f.Add(uint8(1), uint8(6), uint8(5), 0.7, 0.0)
	f.Add(uint8(4), uint8(8), uint8(4), 0.0, 30.0)
	f.Add(uint8(2), uint8(2), uint8(1), 1.0, 10.0)
	wirings := []diode.Wiring{diode.Series, diode.SeriesBypass, diode.Parallel, diode.ParallelBlocking, diode.TwoStrings}
	f.Fuzz(func(t *testing.T, w, sections, covered uint8, s, lowestV float64) {
		wiring := wirings[int(w)%len(wirings)]
		n := 2 + 2*(int(sections)%4)
		k := 1 + int(covered)%(n-1)
		s = reftest.Fold(s, 0, 1)
		shaded := retained(t, wiring, n, k, s)
		global := shaded.Global().Power
		if global < 0 || global > 1+1e-9 {
			t.Errorf("%s %d of %d at %v: retains %v", wiring, k, n, s, global)
		}
		if near := shaded.Near().Power; near > global+1e-6 {
			t.Errorf("%s %d of %d at %v: stuck %v, free %v", wiring, k, n, s, near, global)
		}
		if limited := shaded.AtLeast(reftest.Fold(lowestV, 0, 40)).Power; limited > global+1e-6 {
			t.Errorf("%s %d of %d at %v: limited %v, free %v", wiring, k, n, s, limited, global)
		}
		if lighter := retained(t, wiring, n, k, math.Min(1, s+0.05)).Global().Power; lighter < global-1e-6 {
			t.Errorf("%s %d of %d: %v at %v, less at more light: %v", wiring, k, n, global, s, lighter)
		}
		if k > 1 {
			if fewer := retained(t, wiring, n, k-1, s).Global().Power; fewer < global-1e-6 {
				t.Errorf("%s of %d at %v: %d covered retain %v, one fewer %v", wiring, n, s, k, global, fewer)
			}
		}
	})
}

// A cell's current falls with voltage through breakdown, and V(I) undoes I(V).
func FuzzCell(f *testing.F) {
	f.Add(10.6, 10.0, 0.13, 150.0, 0.9, 0.0, -10.0)
	f.Add(1.0, 6.0, 0.0, 20.0, 2.0, 1.0, 0.5)
	f.Add(1.0, 6.0, 75.0, 51.0, 2.0, 6.0, 0.5) // next to no series resistance
	f.Fuzz(func(t *testing.T, il, logI0, rs, rsh, a, s, v float64) {
		cell := foldReference(il, logI0, rs, rsh, a).At(1000, 25).Cell(36, diode.SiliconBreakdown()).Shaded(reftest.Fold(s, 0, 1))
		v = -14 + reftest.Fold(v, 0, 14.5)
		i := cell.CurrentA(v)
		if next := cell.CurrentA(v + 0.01); !(next < i) {
			t.Errorf("%+v: current %v A at %v V, %v A at 0.01 V more", cell, i, v, next)
		}
		if back := cell.VoltageV(i); math.Abs(back-v) > 1e-6 {
			t.Errorf("%+v: V(I(%v)) = %v", cell, v, back)
		}
		if dim := cell.Shaded(0.5).CurrentA(v); dim > i {
			t.Errorf("%+v: half the light gives %v A, full %v A", cell, dim, i)
		}
	})
}

// BenchmarkShade reports one simulation; divide by BenchmarkMaximumPower.
func BenchmarkShade(b *testing.B) {
	for _, w := range []diode.Wiring{diode.Series, diode.SeriesBypass, diode.Parallel, diode.TwoStrings} {
		b.Run(string(w), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := diode.Shade(foldingPanel(w, 4), diode.Cover{Sections: 4, Covered: 1, Transmission: 0.05}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
