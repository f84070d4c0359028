package limits_test

import (
	"encoding/csv"
	"maps"
	"math"
	"os"
	"slices"
	"strconv"
	"testing"

	"evensun/internal/limits"
	"evensun/internal/reftest"
)

type row map[string]string

func (r row) number(t *testing.T, name string) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(r[name], 64)
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	return x
}

func measuredRows(t *testing.T, name string) []row {
	t.Helper()
	file, err := os.Open(reftest.Measured(t, name))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	table, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var rows []row
	for _, line := range table[1:] {
		r := row{}
		for i, name := range table[0] {
			r[name] = line[i]
		}
		rows = append(rows, r)
	}
	return rows
}

// traced is a reading of the 125 W module of the measured sweeps.
func traced(t *testing.T, r row) limits.ReadingInput {
	t.Helper()
	in := limits.NewReading()
	n := &in.Panel
	n.PmaxW, n.VocV, n.IscA, n.VmpV, n.ImpA = 125, 21.8, 7.9, 17.3, 7.23
	n.GammaPerK, n.BetaPerK, n.AlphaPerK = -0.0045, -0.00344, 0.00054
	n.CellsInSeries, n.Technology, n.PanelAreaM2 = 36, limits.Poly, 1.008
	in.Rig, in.WarmUpMin = limits.ElectronicLoad, 20
	in.POAWM2 = r.number(t, "irradiance_w_m2")
	in.UPOAWM2 = 0.01 * in.POAWM2
	in.CellC, in.UCellK, in.CellMeasured = r.number(t, "cell_temperature_c"), 1, true
	in.BackC, in.AirC = in.CellC-3, in.CellC-25
	in.ClearPOATL2WM2 = 1134
	return in
}

// exact gives a reading the uncertainties of a curve tracer.
func exact(in limits.ReadingInput, v, i float64) limits.ReadingInput {
	in.VoltageV, in.CurrentA = v, i
	in.UVoltageV, in.UCurrentA = 0.001*v, 0.001*i
	return in
}

// TestMeasuredSweepsAreNotDoubted reads the three points of each measured sweep as
// three readings.
func TestMeasuredSweepsAreNotDoubted(t *testing.T) {
	t.Parallel()
	readings, held, counts := 0, 0, map[string]int{}
	for _, r := range measuredRows(t, "iv_curves_summary.csv") {
		base := traced(t, r)
		point := exact(base, r.number(t, "vmp_v"), r.number(t, "imp_a"))
		open := exact(base, r.number(t, "voc_v"), math.NaN())
		open.Kind = limits.OpenCircuit
		short := exact(base, math.NaN(), r.number(t, "isc_a"))
		short.Kind = limits.ShortCircuit
		for _, in := range []limits.ReadingInput{point, open, short} {
			out := judge(in)
			readings++
			if out.Worst() >= limits.Hold {
				held++
			}
			for _, d := range out.Doubts {
				counts[d.Severity.String()+" "+d.Rule]++
			}
		}
	}
	logCounts(t, counts, readings)
	if held > 0 {
		t.Errorf("%d of %d readings of a good curve tracer held, want none", held, readings)
	}
}

// TestMeasuredMatrixIsNotDoubted reads a measured power matrix as readings under a
// lamp; below 100 W/m2 and at the edges only the rules of group A matter.
func TestMeasuredMatrixIsNotDoubted(t *testing.T) {
	t.Parallel()
	readings, counts := 0, map[string]int{}
	for _, r := range measuredRows(t, "matrix_indoor.csv") {
		in := limits.NewReading()
		n := &in.Panel
		n.PmaxW, n.VocV, n.IscA, n.VmpV, n.ImpA, n.PanelAreaM2 = 300, 40.18, 9.61, 32.8, 9.17, 1.599
		n.GammaPerK, n.BetaPerK, n.AlphaPerK, n.CellsInSeries, n.Technology = -0.00399, -0.00286, 0.000331, 60, limits.MonoPERC
		in.Rig, in.WarmUpMin = limits.ElectronicLoad, 20
		in.POAWM2 = r.number(t, "irradiance_w_m2")
		in.UPOAWM2 = 0.01 * in.POAWM2
		in.CellC, in.UCellK, in.CellMeasured = r.number(t, "cell_temperature_c"), 1, true
		in = exact(in, r.number(t, "vmp_v"), r.number(t, "imp_a"))
		in.PowerW, in.UPowerW = r.number(t, "pmp_w"), 0.001*r.number(t, "pmp_w")
		out := judge(in)
		readings++
		for _, d := range out.Doubts {
			counts[d.Severity.String()+" "+d.Rule]++
		}
		for _, rule := range append(oneSided(), "power_not_v_times_i", "current_irradiance_conflict") {
			if s := verdictOf(out, rule); s != limits.OK {
				t.Errorf("%v W/m2, %v C: %s %v, want ok", in.POAWM2, in.CellC, rule, s)
			}
		}
	}
	logCounts(t, counts, readings)
}

func TestMeasuredSweepPointsFall(t *testing.T) {
	t.Parallel()
	curves := map[string][]float64{}
	for _, r := range measuredRows(t, "iv_curves_points.csv") {
		curves[r["curve"]] = append(curves[r["curve"]], r.number(t, "current_a"))
	}
	doubted := 0
	for _, amps := range curves {
		rise, b := limits.SweepNotMonotonic(amps, 0.001*amps[0], 0.001)
		if s, _ := b.Above(rise); s != limits.OK {
			doubted++
		}
	}
	t.Logf("%d of %d measured sweeps rise", doubted, len(curves))
	if doubted > 0 {
		t.Errorf("%d of %d measured sweeps doubted, want none", doubted, len(curves))
	}
}

func logCounts(t *testing.T, counts map[string]int, total int) {
	t.Helper()
	for _, key := range slices.Sorted(maps.Keys(counts)) {
		t.Logf("%-40s %3d of %d", key, counts[key], total)
	}
}
