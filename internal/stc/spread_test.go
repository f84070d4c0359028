package stc_test

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"strconv"
	"testing"

	"evensun/internal/reftest"
	"evensun/internal/stc"
)

// A spread is what a method makes of many readings of one module.
type spread struct {
	n                                int
	meanW, variation, lowestW, highW float64 // variation: sd/mean in percent
}

func spreadOf(powersW []float64) spread {
	s := spread{n: len(powersW), lowestW: math.Inf(1), highW: math.Inf(-1)}
	for _, p := range powersW {
		s.meanW += p / float64(s.n)
		s.lowestW, s.highW = math.Min(s.lowestW, p), math.Max(s.highW, p)
	}
	var squares float64
	for _, p := range powersW {
		squares += (p - s.meanW) * (p - s.meanW)
	}
	s.variation = 100 * math.Sqrt(squares/float64(s.n-1)) / s.meanW
	return s
}

// show prints one row of the table in doc.go.
func show(t *testing.T, set, method string, s spread) {
	t.Helper()
	t.Logf("%-8s | %-46s | %2d | %6.2f W | %5.2f %% | %6.2f..%.2f W", set, method, s.n, s.meanW, s.variation, s.lowestW, s.highW)
}

// want compares mean, variation and range with printed figures, at half a unit
// of their last digit.
func (s spread) want(t *testing.T, what string, meanW, meanTol, variation, lowestW, highW float64) {
	t.Helper()
	if math.Abs(s.meanW-meanW) > meanTol || math.Abs(s.variation-variation) > 0.0051 || math.Abs(s.lowestW-lowestW) > 0.051 || math.Abs(s.highW-highW) > 0.051 {
		t.Errorf("%s: mean %.3f W, variation %.3f %%, %.2f..%.2f W, want %v W, %v %%, %v..%v W", what, s.meanW, s.variation, s.lowestW, s.highW, meanW, variation, lowestW, highW)
	}
}

func rows(t *testing.T, name string) []map[string]string {
	t.Helper()
	f, err := os.Open(reftest.Measured(t, name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	records, err := csv.NewReader(f).ReadAll()
	if err != nil || len(records) < 2 {
		t.Fatalf("%s: %v", name, err)
	}
	var all []map[string]string
	for _, r := range records[1:] {
		row := map[string]string{}
		for i, h := range records[0] {
			row[h] = r[i]
		}
		all = append(all, row)
	}
	return all
}

func number(t *testing.T, row map[string]string, column string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(row[column], 64)
	if err != nil {
		t.Fatalf("column %s: %v", column, err)
	}
	return v
}

// A measuredSweep is a sweep of the 125 W module with the source's own figures.
type measuredSweep struct {
	stc.Sweep
	name             string
	iscA, pmpW, vocV float64
}

func measuredSweeps(t *testing.T) []measuredSweep {
	t.Helper()
	points := map[string]*stc.Sweep{}
	for _, r := range rows(t, "iv_curves_points.csv") {
		s := points[r["curve"]]
		if s == nil {
			s = &stc.Sweep{}
			points[r["curve"]] = s
		}
		s.VoltageV = append(s.VoltageV, number(t, r, "voltage_v"))
		s.CurrentA = append(s.CurrentA, number(t, r, "current_a"))
	}
	var sweeps []measuredSweep
	for _, r := range rows(t, "iv_curves_summary.csv") {
		s := *points[r["curve"]]
		s.At = stc.Conditions{PoaWM2: number(t, r, "irradiance_w_m2"), CellC: number(t, r, "cell_temperature_c")}
		sweeps = append(sweeps, measuredSweep{Sweep: s, name: r["curve"], iscA: number(t, r, "isc_a"), vocV: number(t, r, "voc_v"),
			pmpW: number(t, r, "imp_a") * number(t, r, "vmp_v")})
	}
	return sweeps
}

// seriesOhm is the slope of the sweep near open circuit less the slope that the
// junctions make, with an ideality of 1.1: dV/dI = -(Rs + a/(Isc - I)).
func (m measuredSweep) seriesOhm() float64 {
	var n, sumI, sumV, sumII, sumIV float64
	for i, current := range m.CurrentA {
		if current > 0.002*m.iscA && current < 0.25*m.iscA {
			n, sumI, sumV = n+1, sumI+current, sumV+m.VoltageV[i]
			sumII, sumIV = sumII+current*current, sumIV+current*m.VoltageV[i]
		}
	}
	slope := (n*sumIV - sumI*sumV) / (n*sumII - sumI*sumI)
	junction := 1.1 * 36 * 8.617333262145e-5 * (m.At.CellC + 273.15) / (m.iscA - sumI/n)
	return -slope - junction
}

// translated returns the maxima of all sweeps at standard conditions.
func translated(t *testing.T, sweeps []measuredSweep, by func(measuredSweep) stc.Procedure) []float64 {
	t.Helper()
	var powers []float64
	for _, m := range sweeps {
		moved, err := stc.TranslateSweep(m.Sweep, stc.Standard(), by(m))
		if err != nil {
			t.Fatalf("%s: %v", m.name, err)
		}
		top, err := moved.Maximum()
		if err != nil {
			t.Fatalf("%s: %v", m.name, err)
		}
		powers = append(powers, top.PowerW())
	}
	return powers
}

// leastSpread searches series resistance and kappa for the least variation.
func leastSpread(t *testing.T, sweeps []measuredSweep, by func(m measuredSweep, seriesOhm, kappa float64) stc.Procedure) (seriesOhm, kappa float64) {
	t.Helper()
	best := math.Inf(1)
	step := [2]float64{0.1, 0.002}
	seriesOhm, kappa = 0.3, 0.004
	for range 6 {
		atOhm, atKappa := seriesOhm, kappa
		for i := -4; i <= 4; i++ {
			for j := -4; j <= 4; j++ {
				ohm, k := atOhm+float64(i)*step[0]/2, atKappa+float64(j)*step[1]/2
				if ohm <= 0 || k == 0 {
					continue
				}
				v := spreadOf(translated(t, sweeps, func(m measuredSweep) stc.Procedure { return by(m, ohm, k) })).variation
				if v < best {
					best, seriesOhm, kappa = v, ohm, k
				}
			}
		}
		step[0], step[1] = step[0]/2, step[1]/2
	}
	return seriesOhm, kappa
}

// TestSpreadOfSweeps and the tests below it print the table of doc.go: what the methods make of one module's
// 20 sweeps, of the 18 readings of the session file, and of a power matrix.
//
// The figures that it compares come from scripts of others on the same files.
func TestSpreadOfSweeps(t *testing.T) {
	t.Parallel()
	sweeps := measuredSweeps(t)
	powers := func(gamma float64, low stc.LowLight) spread {
		var p []float64
		for _, m := range sweeps {
			p = append(p, stc.SimplePower(m.pmpW, m.At, gamma, low.Efficiency(m.At.PoaWM2)))
		}
		return spreadOf(p)
	}
	classValue, fitted := powers(-0.0045, stc.LowLight{}), powers(-0.0054, stc.LowLight{})
	classValue.want(t, "simple_power -0.45 %/K", 117.6, 0.051, 1.11, 115.6, 119.6)
	fitted.want(t, "simple_power -0.54 %/K", 120.5, 0.051, 0.40, 119.4, 121.2)
	show(t, "sweeps", "simple_power, gamma -0.45 %/K (class)", classValue)
	show(t, "sweeps", "simple_power, the same with e(G)", powers(-0.0045, stc.DefaultLowLight()))
	show(t, "sweeps", "simple_power, gamma -0.54 %/K (least spread)", fitted)

	const alphaA, betaV, vocV = 0.0054, -0.0774, 21.8
	one := func(m measuredSweep, ohm, kappa float64) stc.Procedure {
		return procedure1{IscA: m.iscA, AlphaAPerK: alphaA, BetaVPerK: betaV, SeriesOhm: ohm, KappaOhmPerK: kappa}
	}
	two := func(m measuredSweep, ohm, kappa float64) stc.Procedure {
		return procedure2{VocSTCV: vocV, AlphaPerK: alphaA / 7.9, BetaPerK: betaV / vocV, B1: 0.0477, SeriesOhm: ohm, KappaOhmPerK: kappa}
	}
	four := func(ohm func(measuredSweep) float64) func(measuredSweep) stc.Procedure {
		return func(m measuredSweep) stc.Procedure {
			return stc.Procedure4{IscA: m.iscA, AlphaAPerK: alphaA, SeriesOhm: ohm(m), CellsInSeries: 36, Technology: "poly"}
		}
	}
	for _, p := range []struct {
		name string
		by   func(m measuredSweep, ohm, kappa float64) stc.Procedure
	}{{"procedure_1", one}, {"procedure_2", two}} {
		ohm, kappa := leastSpread(t, sweeps, p.by)
		best := spreadOf(translated(t, sweeps, func(m measuredSweep) stc.Procedure { return p.by(m, ohm, kappa) }))
		bare := spreadOf(translated(t, sweeps, func(m measuredSweep) stc.Procedure { return p.by(m, 0.29, 1e-12) }))
		show(t, "sweeps", fmt.Sprintf("%s, Rs %.3f ohm, kappa %.5f (least spread)", p.name, ohm, kappa), best)
		show(t, "sweeps", p.name+", Rs 0.29 ohm, kappa 0 (refused by Check)", bare)
		if bare.variation <= fitted.variation || best.variation >= bare.variation {
			t.Errorf("%s: variation %.2f %% fitted, %.2f %% without kappa, simple_power %.2f %%", p.name, best.variation, bare.variation, fitted.variation)
		}
	}
	fixed := spreadOf(translated(t, sweeps, four(func(measuredSweep) float64 { return 0.29 })))
	show(t, "sweeps", "procedure_4, Rs 0.29 ohm", fixed)
	show(t, "sweeps", "procedure_4, Rs from each sweep's own slope", spreadOf(translated(t, sweeps, four(measuredSweep.seriesOhm))))
	if math.Abs(fixed.meanW-117.9) > 0.5 || fixed.variation > 0.8 {
		t.Errorf("procedure_4: %.2f W, %.2f %%, want about 117.9 W and 0.56 %% (figures of the record at large)", fixed.meanW, fixed.variation)
	}
}

// Procedure 3 does not lead from these sweeps to standard conditions, they are
// all hot. Tried between them instead: every sweep that lies on the line between
// two others is predicted from those.
func TestSpreadOfProcedure3(t *testing.T) {
	t.Parallel()
	sweeps := measuredSweeps(t)
	var ratios []float64
	served := 0
	for i, first := range sweeps {
		for j, second := range sweeps[i+1:] {
			if _, err := stc.Fraction(first.At, second.At, stc.Standard()); err == nil {
				served++
			}
			for k, target := range sweeps {
				if k == i || k == i+1+j || math.Abs(second.At.PoaWM2-first.At.PoaWM2) < 100 {
					continue
				}
				mixed, err := stc.Between(first.Sweep, second.Sweep, first.iscA, second.iscA, target.At)
				if err != nil {
					continue
				}
				top, err := mixed.Maximum()
				if err != nil {
					t.Fatalf("%s, %s to %s: %v", first.name, second.name, target.name, err)
				}
				// what is left between the conditions met and those wanted: scaled
				left := func(w float64, at stc.Conditions) float64 { return stc.SimplePower(w, at, -0.0045, 1) }
				ratios = append(ratios, 100*left(top.PowerW(), mixed.At)/left(target.pmpW, target.At))
			}
		}
	}
	s := spreadOf(ratios)
	t.Logf("%-8s | procedure_3 between sweeps, predicted/measured: %d triples, mean %.2f %%, sd %.2f %%, %.2f..%.2f %%", "sweeps", s.n, s.meanW, s.variation, s.lowestW, s.highW)
	if served != 0 {
		t.Errorf("%d pairs of hot sweeps claim to enclose 25 C", served)
	}
	if s.n < 20 || math.Abs(s.meanW-100) > 0.5 || s.variation > 1 {
		t.Errorf("procedure 3 predicts %.2f %% of the measured power with sd %.2f %% in %d triples", s.meanW, s.variation, s.n)
	}
}

func TestSpreadOfSession(t *testing.T) {
	t.Parallel()
	raw, err := os.ReadFile(reftest.Measured(t, "session_operating_points.json"))
	if err != nil {
		t.Fatal(err)
	}
	var session struct {
		Readings []struct {
			PowerW float64 `json:"power_w"`
			BackC  float64 `json:"back_temperature_c"`
			Light  struct {
				PoaWM2 float64 `json:"poa_w_m2"`
			} `json:"irradiance"`
			Panel struct {
				Nameplate struct {
					Gamma float64 `json:"gamma_pmax_per_k"`
				} `json:"nameplate"`
			} `json:"panel"`
		} `json:"readings"`
	}
	if err := json.Unmarshal(raw, &session); err != nil {
		t.Fatal(err)
	}
	with := func(low stc.LowLight) spread {
		var powers []float64
		for _, r := range session.Readings {
			at := stc.Conditions{PoaWM2: r.Light.PoaWM2, CellC: r.BackC + 3*r.Light.PoaWM2/1000}
			powers = append(powers, stc.SimplePower(r.PowerW, at, r.Panel.Nameplate.Gamma, low.Efficiency(at.PoaWM2)))
		}
		return spreadOf(powers)
	}
	plain, low := with(stc.LowLight{}), with(stc.DefaultLowLight())
	plain.want(t, "session, simple_power", 117.76, 0.0051, 1.08, 115.6, 119.6)
	if math.Abs(low.meanW-117.78) > 0.0051 {
		t.Errorf("session with e(G): mean %.3f W, want 117.78", low.meanW)
	}
	show(t, "session", "simple_power, gamma -0.45 %/K (nameplate)", plain)
	show(t, "session", "simple_power, the same with e(G)", low)
}

// A cellOfMatrix is one measured point of the power matrix.
type cellOfMatrix struct {
	at                     stc.Conditions
	iscA, vocV, impA, vmpV float64
}

// matrix returns the points of the power matrix but the one at standard
// conditions, which is the truth itself, and those of 400 W/m2 and more.
func matrix(t *testing.T) (all, bright []cellOfMatrix) {
	t.Helper()
	for _, r := range rows(t, "matrix_indoor.csv") {
		c := cellOfMatrix{at: stc.Conditions{PoaWM2: number(t, r, "irradiance_w_m2"), CellC: number(t, r, "cell_temperature_c")},
			iscA: number(t, r, "isc_a"), vocV: number(t, r, "voc_v"), impA: number(t, r, "imp_a"), vmpV: number(t, r, "vmp_v")}
		if c.at == stc.Standard() {
			continue
		}
		all = append(all, c)
		if c.at.PoaWM2 >= stc.LowestRankableWM2 {
			bright = append(bright, c)
		}
	}
	return all, bright
}

func TestSpreadOfMatrix(t *testing.T) {
	t.Parallel()
	const truthW = 285.91025
	all, bright := matrix(t)
	simple := func(low stc.LowLight) func(cellOfMatrix) float64 {
		return func(c cellOfMatrix) float64 {
			return stc.SimplePower(c.impA*c.vmpV, c.at, -0.00398, low.Efficiency(c.at.PoaWM2))
		}
	}
	by := func(q func(cellOfMatrix) stc.Procedure) func(cellOfMatrix) float64 {
		return func(c cellOfMatrix) float64 {
			p, err := translatePoint(stc.Point{VoltageV: c.vmpV, CurrentA: c.impA}, c.at, stc.Standard(), q(c))
			if err != nil {
				t.Fatal(err)
			}
			return p.PowerW()
		}
	}
	const alpha, beta, vocV, iscA = 0.000335, -0.00285, 39.37453, 9.42522
	one := func(ohm, kappa float64) func(cellOfMatrix) stc.Procedure {
		return func(c cellOfMatrix) stc.Procedure {
			return procedure1{IscA: c.iscA, AlphaAPerK: alpha * iscA, BetaVPerK: beta * vocV, SeriesOhm: ohm, KappaOhmPerK: kappa}
		}
	}
	two := func(cellOfMatrix) stc.Procedure {
		return procedure2{VocSTCV: vocV, AlphaPerK: alpha, BetaPerK: beta, B1: 0.0452, B2: 0.0018, SeriesOhm: 0.207, KappaOhmPerK: 0.0032}
	}
	four := func(cells int) func(cellOfMatrix) stc.Procedure {
		return func(c cellOfMatrix) stc.Procedure {
			return stc.Procedure4{IscA: c.iscA, AlphaAPerK: alpha * iscA, SeriesOhm: 0.207, CellsInSeries: cells, Technology: "mono_perc"}
		}
	}
	fittedOhm, fittedKappa := fitMatrix(bright, truthW, func(ohm, kappa float64) func(cellOfMatrix) float64 { return by(one(ohm, kappa)) })
	for _, c := range []struct {
		set, method           string
		cells                 []cellOfMatrix
		power                 func(cellOfMatrix) float64
		mean, sd, worst, upTo float64 // published, percent; upTo: how far ours may differ, since
		// the published rows of the procedures count the truth itself as a 19th point without error
	}{
		{">= 400", "simple_power, gamma -0.398 %/K (own)", bright, simple(stc.LowLight{}), -0.35, 0.49, 1.40, 0.02},
		{">= 400", "simple_power, the same with e(G)", bright, simple(stc.DefaultLowLight()), -0.17, 0.20, 0.65, 0.02},
		{">= 400", fmt.Sprintf("procedure_1, Rs %.3f ohm, kappa %.4f (fitted)", fittedOhm, fittedKappa), bright, by(one(fittedOhm, fittedKappa)), -0.14, 0.55, 1.23, 0.25},
		{">= 400", "procedure_2, Rs' 0.207 ohm, kappa' 0.0032", bright, by(two), 0.04, 0.41, 1.12, 0.06},
		{">= 400", "procedure_4, Rs 0.207 ohm, 60 cells", bright, by(four(60)), -0.35, 0.70, 2.18, 0.06},
		{">= 400", "procedure_4, the 72 cells that the source states", bright, by(four(72)), 1.98, 3.55, 7.36, 0.11},
		{"all", "simple_power, gamma -0.398 %/K (own)", all, simple(stc.LowLight{}), -1.87, 2.50, 8.08, 0.02},
		{"all", "simple_power, the same with e(G)", all, simple(stc.DefaultLowLight()), -0.15, 0.45, 1.20, 0.02},
	} {
		mean, sd, worst := errorsOf(c.cells, c.power, truthW)
		t.Logf("%-8s | %-48s | %2d | mean %+.2f %% | sd %.2f %% | worst %.2f %%", c.set, c.method, len(c.cells), mean, sd, worst)
		if math.Abs(mean-c.mean) > c.upTo || math.Abs(sd-c.sd) > c.upTo || math.Abs(worst-c.worst) > c.upTo {
			t.Errorf("%s: errors %.3f +- %.3f, worst %.3f %%, want %v, %v, %v within %v", c.method, mean, sd, worst, c.mean, c.sd, c.worst, c.upTo)
		}
	}
}

// errorsOf returns mean, standard deviation and the largest error in percent.
func errorsOf(cells []cellOfMatrix, power func(cellOfMatrix) float64, truthW float64) (mean, sd, worst float64) {
	var errors []float64
	for _, c := range cells {
		e := 100 * (power(c)/truthW - 1)
		errors = append(errors, e)
		mean += e / float64(len(cells))
		worst = math.Max(worst, math.Abs(e))
	}
	for _, e := range errors {
		sd += (e - mean) * (e - mean)
	}
	return mean, math.Sqrt(sd / float64(len(errors))), worst
}

// fitMatrix returns the series resistance and kappa of the least sum of squared
// errors; the power is linear in both, so one step of Gauss and Newton is exact.
func fitMatrix(cells []cellOfMatrix, truthW float64, by func(ohm, kappa float64) func(cellOfMatrix) float64) (ohm, kappa float64) {
	const ohm0, kappa0, stepOhm, stepKappa = 0.2, 0.003, 0.1, 0.001
	var aa, ab, bb, ar, br float64
	for _, c := range cells {
		at := by(ohm0, kappa0)(c)
		a, b := (by(ohm0+stepOhm, kappa0)(c)-at)/stepOhm, (by(ohm0, kappa0+stepKappa)(c)-at)/stepKappa
		aa, ab, bb = aa+a*a, ab+a*b, bb+b*b
		ar, br = ar+a*(truthW-at), br+b*(truthW-at)
	}
	det := aa*bb - ab*ab
	return ohm0 + (ar*bb-br*ab)/det, kappa0 + (br*aa-ar*ab)/det
}
