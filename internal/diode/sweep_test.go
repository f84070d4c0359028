package diode_test

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"evensun/internal/diode"
	"evensun/internal/reftest"
)

// sweepOf samples a curve at n points from 0 V to just beyond open circuit, with
// normal noise of the current and voltage.
func sweepOf(c diode.Curve, n int, noiseA, noiseV float64, random *rand.Rand) []diode.Point {
	open := c.OpenCircuitV()
	points := make([]diode.Point, n)
	for k := range points {
		v := open * 1.01 * float64(k) / float64(n-1)
		points[k] = diode.Point{VoltageV: v, CurrentA: c.CurrentA(v)}
		if random != nil {
			points[k].CurrentA += noiseA * random.NormFloat64()
			points[k].VoltageV += noiseV * random.NormFloat64()
		}
	}
	return points
}

func ExampleReadSweep() {
	read, err := diode.ReadSweep(sweepOf(panelASTC(), 50, 0.02, 0, rand.New(rand.NewPCG(1, 2))))
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("Isc %.1f A, Voc %.1f V, maximum %.0f W with u = %.1f W\n",
		read.ShortCircuitA.Value, read.OpenCircuitV.Value, read.MaximumW.Value, read.MaximumW.U)
	// Output: Isc 10.6 A, Voc 24.5 V, maximum 203 W with u = 0.1 W
}

func TestReadSweepBias(t *testing.T) {
	t.Parallel()
	for _, n := range []int{30, 50, 100, 300} {
		for _, at := range [][2]float64{{1000, 25}, {1000, 60}, {400, 30}, {150, 20}} {
			c := panelA().At(at[0], at[1])
			read, err := diode.ReadSweep(sweepOf(c, n, 0, 0, nil))
			if err != nil {
				t.Fatal(err)
			}
			off := func(got, want float64) float64 { return got/want - 1 }
			isc, voc, top := off(read.ShortCircuitA.Value, c.ShortCircuitA()), off(read.OpenCircuitV.Value, c.OpenCircuitV()), off(read.MaximumW.Value, c.MaximumPower().PowerW)
			rs := read.SeriesOhm(c.DiodeV)
			t.Logf("%d points, %v: Isc %+.1e, Voc %+.1e, Pmax %+.1e, Rs %.4f u %.4f", n, at, isc, voc, top, rs.Value, rs.U)
			if math.Abs(isc) > 1e-5 || math.Abs(voc) > 1e-5 || math.Abs(top) > 1e-5 {
				t.Errorf("%d points at %v: Isc off %g, Voc off %g, maximum off %g", n, at, isc, voc, top)
			}
			if math.Abs(rs.Value-c.SeriesOhm) > 0.05*c.DiodeV/c.ShortCircuitA() {
				t.Errorf("%d points at %v: series resistance %v ohm, want %v", n, at, rs.Value, c.SeriesOhm)
			}
		}
	}
}

func TestReadSweepMeasured(t *testing.T) {
	t.Parallel()
	sweeps := map[string][]diode.Point{}
	for _, row := range readCSV(t, reftest.Measured(t, "iv_curves_points.csv")) {
		sweeps[row.text("curve")] = append(sweeps[row.text("curve")], diode.Point{VoltageV: row.number("voltage_v"), CurrentA: row.number("current_a")})
	}
	for _, row := range readCSV(t, reftest.Measured(t, "iv_curves_summary.csv")) {
		id := row.text("curve")
		read, err := diode.ReadSweep(sweeps[id])
		if err != nil {
			t.Errorf("%s: %v", id, err)
			continue
		}
		power := row.number("imp_a") * row.number("vmp_v")
		rs := read.SeriesOhm(36 * 1.1 * 8.617e-5 * (273.15 + row.number("cell_temperature_c")))
		t.Logf("%s: Isc %+.1e (u %.1e), Voc %+.1e (u %.1e), Pmax %+.1e (u %.1e), Rs %.3f", id,
			read.ShortCircuitA.Value/row.number("isc_a")-1, read.ShortCircuitA.U/row.number("isc_a"),
			read.OpenCircuitV.Value/row.number("voc_v")-1, read.OpenCircuitV.U/row.number("voc_v"),
			read.MaximumW.Value/power-1, read.MaximumW.U/power, rs.Value)
		if low, high := crossing(sweeps[id]); read.OpenCircuitV.Value < low-0.005 || read.OpenCircuitV.Value > high+0.005 {
			t.Errorf("%s: Voc = %v V, but the current changes sign between %v and %v V", id, read.OpenCircuitV.Value, low, high)
		}
		for name, c := range map[string][3]float64{
			"Isc":  {read.ShortCircuitA.Value, row.number("isc_a"), 0.003},
			"Voc":  {read.OpenCircuitV.Value, row.number("voc_v"), 0.002}, // up to 0.14 % off its own points: see crossing
			"Pmax": {read.MaximumW.Value, power, 0.003},
		} {
			if math.Abs(c[0]/c[1]-1) > c[2] {
				t.Errorf("%s: %s = %v, want %v of the source within %v relative", id, name, c[0], c[1], c[2])
			}
		}
	}
}

// crossing returns the voltages between which the current of a sweep changes sign.
func crossing(points []diode.Point) (low, high float64) {
	for _, p := range points {
		if p.CurrentA > 0 {
			low = p.VoltageV
		} else if high == 0 {
			high = p.VoltageV
		}
	}
	return low, high
}

// Of 400 noisy sweeps about 68 % should hold the truth within one u and 95 %
// within two. The bounds are 4 standard deviations of a binomial count wide, and
// a little to the side for the t-distribution of few degrees of freedom.
func TestReadSweepCoverage(t *testing.T) {
	t.Parallel()
	const seed, runs = 20260811, 400
	random := rand.New(rand.NewPCG(seed, 1))
	c := panelA().At(900, 45)
	want := [3]float64{c.ShortCircuitA(), c.OpenCircuitV(), c.MaximumPower().PowerW}
	var one, two [3]int
	for range runs {
		read, err := diode.ReadSweep(sweepOf(c, 50, 0.004*c.PhotocurrentA, 0, random))
		if err != nil {
			t.Fatalf("seed %d: %v", seed, err)
		}
		for k, e := range []diode.Estimate{read.ShortCircuitA, read.OpenCircuitV, read.MaximumW} {
			off := math.Abs(e.Value-want[k]) / e.U
			if off < 1 {
				one[k]++
			}
			if off < 2 {
				two[k]++
			}
		}
	}
	for k, name := range []string{"Isc", "Voc", "Pmax"} {
		a, b := float64(one[k])/runs, float64(two[k])/runs
		t.Logf("%s: %.3f within one u, %.3f within two", name, a, b)
		if a < 0.56 || a > 0.78 || b < 0.88 || b > 0.995 {
			t.Errorf("seed %d: %s within one u in %.3f, two in %.3f of %d, want about 0.68 and 0.95", seed, name, a, b, runs)
		}
	}
}

func TestReadSweepRefuses(t *testing.T) {
	t.Parallel()
	good := func() []diode.Point { return sweepOf(panelASTC(), 40, 0, 0, nil) }
	for _, c := range []struct {
		name  string
		in    []diode.Point
		want  diode.Fault
		point int
	}{
		{"none", nil, diode.ErrTooFewPoints, 0},
		{"eleven", sweepOf(panelASTC(), 11, 0, 0, nil), diode.ErrTooFewPoints, 11},
		{"falling voltage", func() []diode.Point { p := good(); p[7].VoltageV = p[5].VoltageV; return p }(), diode.ErrNotRising, 7},
		{"NaN", func() []diode.Point { p := good(); p[3].CurrentA = math.NaN(); return p }(), diode.ErrNotFinite, 3},
		{"infinity", func() []diode.Point { p := good(); p[39].VoltageV = math.Inf(1); return p }(), diode.ErrNotFinite, 39},
		{"no short circuit", good()[10:], diode.ErrNoShortCircuit, 0},
		{"no open circuit", good()[:34], diode.ErrNoOpenCircuit, 33},
		{"dark", make12(0), diode.ErrNoShortCircuit, 0},
	} {
		_, err := diode.ReadSweep(c.in)
		var sweep *diode.SweepError
		if !errors.Is(err, c.want) || !errors.As(err, &sweep) || sweep.Point != c.point {
			t.Errorf("%s: ReadSweep = %#v, want %q at point %d", c.name, err, c.want, c.point)
		}
	}
}

func make12(currentA float64) []diode.Point {
	points := make([]diode.Point, 12)
	for k := range points {
		points[k] = diode.Point{VoltageV: float64(k), CurrentA: currentA}
	}
	return points
}

// Units do not matter: current times c and voltage times d give power times c*d.
// Nor is the maximum ever above Isc*Voc for a clean curve.
func FuzzReadSweep(f *testing.F) {
	f.Add(800.0, 45.0, uint8(50), 1.0, 1.0, uint64(1))
	f.Add(100.0, -20.0, uint8(40), -9.0, 9.0, uint64(2))
	f.Fuzz(func(t *testing.T, g, cell float64, n uint8, c, d float64, seed uint64) {
		curve := panelA().At(reftest.Fold(g, 50, 1200), reftest.Fold(cell, -20, 75))
		// powers of two, so that rounding moves no point across the edge of a region
		c, d = math.Exp2(math.Round(reftest.Fold(c, -9, 9))), math.Exp2(math.Round(reftest.Fold(d, -9, 9)))
		points := sweepOf(curve, 40+int(n)%100, 0.002*curve.PhotocurrentA, 0, rand.New(rand.NewPCG(seed, 3)))
		scaled := make([]diode.Point, len(points))
		for k, p := range points {
			scaled[k] = diode.Point{VoltageV: d * p.VoltageV, CurrentA: c * p.CurrentA}
		}
		read, err := diode.ReadSweep(points)
		other, errScaled := diode.ReadSweep(scaled)
		if err != nil || errScaled != nil {
			t.Fatalf("%+v: %v, scaled %v", curve, err, errScaled)
		}
		if want := c * d * read.MaximumW.Value; math.Abs(other.MaximumW.Value-want) > 1e-6*want {
			t.Errorf("scaled maximum %v W, want %v", other.MaximumW.Value, want)
		}
		if want := c * d * read.MaximumW.U; math.Abs(other.MaximumW.U-want) > 1e-4*want {
			t.Errorf("scaled uncertainty %v W, want %v", other.MaximumW.U, want)
		}
		if read.MaximumW.Value >= read.ShortCircuitA.Value*read.OpenCircuitV.Value || read.MaximumW.U <= 0 {
			t.Errorf("%+v", read)
		}
	})
}

// Whatever the points are, the answer is a typed error or finite numbers.
func FuzzReadSweepAnyPoints(f *testing.F) {
	f.Add([]byte{255, 250, 245, 240, 235, 230, 225, 220, 200, 150, 100, 50, 5, 0})
	f.Add([]byte{9, 9, 9, 9, 9, 9, 9, 9, 9, 9, 9, 9, 9, 9, 9, 1})
	f.Fuzz(func(t *testing.T, raw []byte) {
		points := make([]diode.Point, len(raw))
		for k, b := range raw {
			points[k] = diode.Point{VoltageV: float64(k), CurrentA: float64(b) - 5}
		}
		read, err := diode.ReadSweep(points)
		if err != nil {
			var sweep *diode.SweepError
			if !errors.As(err, &sweep) {
				t.Fatalf("ReadSweep(%v) = untyped %v", raw, err)
			}
			return
		}
		for _, e := range []diode.Estimate{read.ShortCircuitA, read.OpenCircuitV, read.MaximumW, read.MaximumV, read.OpenSlopeOhm} {
			if math.IsNaN(e.Value+e.U) || math.IsInf(e.Value+e.U, 0) || e.U < 0 {
				t.Errorf("ReadSweep(%v) = %+v", raw, read)
			}
		}
		if v := read.MaximumV.Value; v < points[0].VoltageV || v > points[len(points)-1].VoltageV {
			t.Errorf("ReadSweep(%v): maximum at %v V, outside the sweep", raw, v)
		}
	})
}
