package diode_test

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"evensun/internal/diode"
	"evensun/internal/reftest"
)

func ExampleExtract() {
	found, err := diode.Extract(diode.Nameplate{
		ShortCircuitA: 9.43, OpenCircuitV: 38.3, MaximumA: 8.71, MaximumV: 31.0,
		AlphaAPerK: 0.005658, BetaVPerK: -0.13788, CellsInSeries: 60,
	})
	r := found.Reference
	fmt.Printf("IL %.4f A, I0 %.3e A, Rs %.4f ohm, Rsh %.1f ohm, a %.4f V %v\n",
		r.PhotocurrentA, r.SaturationA, r.SeriesOhm, r.ShuntOhm, r.DiodeV, err)
	// Output: IL 9.4523 A, I0 3.225e-10 A, Rs 0.2978 ohm, Rsh 125.8 ohm, a 1.5913 V <nil>
}

// nameplateOf makes the sheet of a panel with known parameters.
func nameplateOf(r diode.Reference, cells int) diode.Nameplate {
	c := r.At(1000, 25)
	best := c.MaximumPower()
	return diode.Nameplate{
		ShortCircuitA: c.ShortCircuitA(), OpenCircuitV: c.OpenCircuitV(), MaximumA: best.CurrentA, MaximumV: best.VoltageV,
		AlphaAPerK: r.AlphaAPerK, BetaVPerK: (r.At(1000, 27).OpenCircuitV() - c.OpenCircuitV()) / 2, CellsInSeries: cells,
	}
}

// physics.md 5.3: Panel A exactly, its rounded sheet, and a published 60-cell sheet.
func TestExtract(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name     string
		in       diode.Nameplate
		want     [5]float64
		relative float64
	}{
		{"Panel A", nameplateOf(panelA(), 36), [5]float64{10.6, 3.3e-11, 0.13, 150, 0.925}, 1e-8},
		{"rounded", diode.Nameplate{10.59, 24.49, 9.98, 20.35, 0.0053, -0.0728, 36}, [5]float64{10.598896, 3.28505e-11, 0.129133, 153.718, 0.924686}, 5e-6},
		{"60 cells", diode.Nameplate{9.43, 38.3, 8.71, 31.0, 0.005658, -0.13788, 60}, [5]float64{9.452324, 3.224635e-10, 0.2978147, 125.7988, 1.591288}, 1e-6},
	} {
		found, err := diode.Extract(c.in)
		if err != nil || found.Fallback != diode.NoFallback {
			t.Fatalf("%s: Extract(%+v) = %+v, %v, want no fallback", c.name, c.in, found, err)
		}
		r := found.Reference
		for k, got := range []float64{r.PhotocurrentA, r.SaturationA, r.SeriesOhm, r.ShuntOhm, r.DiodeV} {
			if math.Abs(got-c.want[k]) > c.relative*c.want[k] {
				t.Errorf("%s: parameter %d = %.9g, want %.9g within %g relative", c.name, k, got, c.want[k], c.relative)
			}
		}
	}
}

// checkSheet compares a set with the sheet that it came from.
func checkSheet(t *testing.T, label string, n diode.Nameplate, found diode.Extraction) {
	t.Helper()
	c := found.Reference.At(1000, 25)
	if err := c.Check(); err != nil {
		t.Fatalf("%s: %+v gives no physical set: %v", label, n, err)
	}
	near := func(what string, got, want float64) {
		if math.Abs(got-want) > 1e-7*want {
			t.Errorf("%s (fallback %q): %s = %v, want %v of the sheet", label, found.Fallback, what, got, want)
		}
	}
	near("Isc", c.ShortCircuitA(), n.ShortCircuitA)
	near("Voc", c.OpenCircuitV(), n.OpenCircuitV)
	if found.Approximate {
		return
	}
	near("I(Vmp)", c.CurrentA(n.MaximumV), n.MaximumA)
	if found.Fallback == diode.NoFallback {
		near("Pmax", c.MaximumPower().PowerW, n.MaximumV*n.MaximumA)
		near("Voc at 27 C", found.Reference.At(1000, 27).OpenCircuitV(), n.OpenCircuitV+2*n.BetaVPerK)
	}
}

func TestExtractRealNameplates(t *testing.T) {
	t.Parallel()
	count := map[diode.FallbackReason]int{}
	var crystalline, full, approximate int
	for _, row := range readCSV(t, reftest.Measured(t, "nameplates_cec.csv")) {
		n := diode.Nameplate{
			ShortCircuitA: row.number("isc_a"), OpenCircuitV: row.number("voc_v"),
			MaximumA: row.number("imp_a"), MaximumV: row.number("vmp_v"),
			AlphaAPerK: row.number("alpha_isc_a_per_k"), BetaVPerK: row.number("beta_voc_v_per_k"),
			CellsInSeries: int(row.number("cells_in_series")),
		}
		found, err := diode.Extract(n)
		if err != nil {
			t.Errorf("%s: Extract(%+v): %v", row.text("id"), n, err)
			continue
		}
		checkSheet(t, row.text("id"), n, found)
		if !strings.Contains(row.text("technology"), "c-Si") {
			continue
		}
		crystalline++
		count[found.Fallback]++
		if found.Fallback == diode.NoFallback {
			full++
		}
		if found.Approximate {
			approximate++
		}
	}
	t.Logf("%d of %d crystalline sheets determine all five parameters; reasons of the rest: %v; %d approximate", full, crystalline, count, approximate)
	if full*10 < crystalline*8 {
		t.Errorf("only %d of %d crystalline sheets without fallback, want 80 %%", full, crystalline)
	}
}

func TestExtractRefuses(t *testing.T) {
	t.Parallel()
	good := nameplateOf(panelA(), 36)
	for name, spoil := range map[string]func(*diode.Nameplate){
		"MaximumA":                 func(n *diode.Nameplate) { n.MaximumA = math.NaN() },
		"MaximumV":                 func(n *diode.Nameplate) { n.MaximumV = 0 },
		"ShortCircuitA":            func(n *diode.Nameplate) { n.ShortCircuitA = n.MaximumA },
		"OpenCircuitV":             func(n *diode.Nameplate) { n.OpenCircuitV = math.Inf(1) },
		"AlphaAPerK/ShortCircuitA": func(n *diode.Nameplate) { n.AlphaAPerK = 5 },
		"BetaVPerK/OpenCircuitV":   func(n *diode.Nameplate) { n.BetaVPerK = 0.07 },
		"CellsInSeries":            func(n *diode.Nameplate) { n.CellsInSeries = 0 },
	} {
		n := good
		spoil(&n)
		_, err := diode.Extract(n)
		checkRange(t, err, name)
	}
}

// Any nameplate that passes the check, sensible or not, gives a physical set.
func FuzzExtract(f *testing.F) {
	f.Add(10.59, 24.49, 0.94, 0.83, 0.0005, -0.003, 36.0)
	f.Add(1.0, 600.0, 0.99, 0.99, 0.0, 0.0, 1.0)
	f.Add(1000.0, 0.1, 0.5, 0.51, -0.009, -0.02, 9999.0)
	f.Add(99.0, 88.0, 0.5, 0.587, -0.003, -0.003, 4.0)
	f.Add(5.0, 20.0, 0.5, 0.5, 0.0, -0.003, 36.0)
	f.Fuzz(func(t *testing.T, isc, voc, iShare, vShare, alpha, beta, cells float64) {
		n := diode.Nameplate{ShortCircuitA: reftest.Fold(isc, 0.01, 1000), OpenCircuitV: reftest.Fold(voc, 0.1, 1500), CellsInSeries: int(reftest.Fold(cells, 1, 10000))}
		n.MaximumA = n.ShortCircuitA * reftest.Fold(iShare, 0.01, 0.999)
		n.MaximumV = n.OpenCircuitV * reftest.Fold(vShare, 0.01, 0.999)
		n.AlphaAPerK = n.ShortCircuitA * reftest.Fold(alpha, -0.009, 0.009)
		n.BetaVPerK = n.OpenCircuitV * reftest.Fold(beta, -0.0199, 0)
		found, err := diode.Extract(n)
		if n.MaximumA/n.ShortCircuitA+n.MaximumV/n.OpenCircuitV <= 1 {
			checkRange(t, err, "MaximumA/ShortCircuitA + MaximumV/OpenCircuitV")
			return
		}
		if err != nil {
			t.Fatalf("Extract(%+v): %v", n, err)
		}
		c := found.Reference.At(1000, 25)
		if err := c.Check(); err != nil {
			t.Fatalf("Extract(%+v) = %+v: %v", n, found, err)
		}
		if isc := c.ShortCircuitA(); math.Abs(isc-n.ShortCircuitA) > 1e-6*n.ShortCircuitA {
			t.Errorf("%+v, fallback %q: Isc %v", n, found.Fallback, isc)
		}
		if voc := c.OpenCircuitV(); math.Abs(voc-n.OpenCircuitV) > 1e-6*n.OpenCircuitV {
			t.Errorf("%+v, fallback %q: Voc %v", n, found.Fallback, voc)
		}
	})
}

// A set that exists is found again from its own sheet.
func FuzzExtractRecovers(f *testing.F) {
	f.Add(10.6, 10.5, 0.02, 20.0, 1.0)
	f.Add(1.0, 9.0, 0.05, 60.0, 1.3)
	f.Fuzz(func(t *testing.T, il, logI0, rs, rsh, n float64) {
		il = reftest.Fold(il, 0.5, 15)
		true0 := diode.Reference{
			PhotocurrentA: il, SaturationA: il * math.Pow(10, -reftest.Fold(logI0, 9, 12)),
			SeriesOhm: reftest.Fold(rs, 0.01, 0.08) * 24 / il, ShuntOhm: reftest.Fold(rsh, 5, 200) * 24 / il,
			DiodeV: 36 * 0.0256926 * reftest.Fold(n, 0.9, 1.5), AlphaAPerK: 0.0005 * il,
		}.Silicon()
		found, err := diode.Extract(nameplateOf(true0, 36))
		if err != nil || found.Fallback != diode.NoFallback {
			t.Fatalf("%+v: %+v, %v", true0, found, err)
		}
		if got := found.Reference; math.Abs(got.SeriesOhm-true0.SeriesOhm) > 1e-4*true0.SeriesOhm || math.Abs(got.DiodeV-true0.DiodeV) > 1e-4*true0.DiodeV {
			t.Errorf("Extract found %+v, want %+v", got, true0)
		}
	})
}

type csvRow map[string]string

func (r csvRow) text(column string) string { return r[column] }

func (r csvRow) number(column string) float64 {
	v, err := strconv.ParseFloat(r[column], 64)
	if err != nil {
		return math.NaN()
	}
	return v
}

func readCSV(t *testing.T, path string) []csvRow {
	t.Helper()
	file, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	lines, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var rows []csvRow
	for _, line := range lines[1:] {
		row := csvRow{}
		for k, name := range lines[0] {
			row[name] = line[k]
		}
		rows = append(rows, row)
	}
	return rows
}
