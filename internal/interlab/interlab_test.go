package interlab_test

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"evensun/internal/interlab"
	"evensun/internal/reftest"
)

// near fails unless got is want within a relative tolerance.
func near(tb testing.TB, what string, got, want, relative float64) {
	tb.Helper()
	if !(math.Abs(got-want) <= relative*math.Abs(want)) {
		tb.Errorf("%s = %v, want %v within %v relative", what, got, want, relative)
	}
}

func nearAll(tb testing.TB, what string, got, want []float64, relative float64) {
	tb.Helper()
	if len(got) != len(want) {
		tb.Fatalf("%s has %d values, want %d", what, len(got), len(want))
	}
	for i := range want {
		if math.Abs(got[i]-want[i]) > relative*math.Abs(want[i])+1e-13 {
			tb.Errorf("%s[%d] = %v, want %v within %v relative", what, i, got[i], want[i], relative)
		}
	}
}

func ExampleGrubbsLimit() {
	fmt.Printf("%.4f\n", interlab.GrubbsLimit(8, 0.05, interlab.TwoSided))
	// Output: 2.1266
}

// Source: table grubbs_one (Grubbs 1969 via Student's t).
func TestGrubbsLimit(t *testing.T) {
	t.Parallel()
	c := reftest.Table[struct {
		P         []int     `json:"p"`
		OneSided5 []float64 `json:"one_sided_05"`
		OneSided1 []float64 `json:"one_sided_01"`
		TwoSided5 []float64 `json:"two_sided_05"`
		TwoSided1 []float64 `json:"two_sided_01"`
	}](t, "grubbs_one")
	for i, p := range c.P {
		name := fmt.Sprintf("GrubbsLimit(%d)", p)
		near(t, name, interlab.GrubbsLimit(p, 0.05, interlab.OneSided), c.OneSided5[i], 1e-8)
		near(t, name, interlab.GrubbsLimit(p, 0.01, interlab.OneSided), c.OneSided1[i], 1e-8)
		near(t, name, interlab.GrubbsLimit(p, 0.05, interlab.TwoSided), c.TwoSided5[i], 1e-8)
		near(t, name, interlab.GrubbsLimit(p, 0.01, interlab.TwoSided), c.TwoSided1[i], 1e-8)
	}
}

// Source: table grubbs_pair, simulated with 40,000 families: the probability behind
// its values has a standard deviation of 2.2 % at 0.05 and 5 % at 0.01, and the
// values go as that probability to the power 2/(p-3). Four of these are allowed.
func TestGrubbsPairLimitAgainstTable(t *testing.T) {
	t.Parallel()
	c := reftest.Table[struct {
		P       []int     `json:"p"`
		Given5  []float64 `json:"given_side_05"`
		Given1  []float64 `json:"given_side_01"`
		Either5 []float64 `json:"either_side_05"`
		Either1 []float64 `json:"either_side_01"`
	}](t, "grubbs_pair")
	for i, p := range c.P {
		name := fmt.Sprintf("GrubbsPairLimit(%d)", p)
		power := 2 / float64(p-3)
		near(t, name, interlab.GrubbsPairLimit(p, 0.05, interlab.OneSided), c.Given5[i], 4*0.022*power)
		near(t, name, interlab.GrubbsPairLimit(p, 0.01, interlab.OneSided), c.Given1[i], 4*0.05*power)
		near(t, name, interlab.GrubbsPairLimit(p, 0.05, interlab.TwoSided), c.Either5[i], 4*0.022*power)
		near(t, name, interlab.GrubbsPairLimit(p, 0.01, interlab.TwoSided), c.Either1[i], 4*0.05*power)
	}
}

// Source: ISO 5725-2:1994 table 5, two largest or two smallest (from memory), four
// decimals; the simulation adds up to 0.3 %.
func TestGrubbsPairLimitPublished(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		p              int
		fifth, hundred float64
	}{{5, 0.0090, 0.0018}, {6, 0.0349, 0.0116}, {7, 0.0708, 0.0308}, {8, 0.1101, 0.0563}, {10, 0.1864, 0.1150}, {20, 0.4391, 0.3585}, {40, 0.6445, 0.5862}} {
		for alpha, want := range map[float64]float64{0.05: c.fifth, 0.01: c.hundred} {
			if got := interlab.GrubbsPairLimit(c.p, alpha, interlab.TwoSided); math.Abs(got-want) > 6e-5+0.007*want {
				t.Errorf("GrubbsPairLimit(%d, %v) = %v, want %v", c.p, alpha, got, want)
			}
		}
	}
}

func TestGrubbsStatistics(t *testing.T) {
	t.Parallel()
	x := []float64{3, 1, 2, 10, 2, 11}
	low, high := interlab.Grubbs(x)
	// mean 29/6, sum of squares 239 - 29^2/6
	sd := math.Sqrt((239 - 29.0*29/6) / 5)
	near(t, "low", low, (29.0/6-1)/sd, 1e-12)
	near(t, "high", high, (11-29.0/6)/sd, 1e-12)
	pairLow, pairHigh := interlab.GrubbsPair(x)
	all := 239 - 29.0*29/6
	near(t, "pair high", pairHigh, (1+4+4+9-8.0*8/4)/all, 1e-12)
	near(t, "pair low", pairLow, (4+9+100+121-26.0*26/4)/all, 1e-12)
	for _, bad := range [][]float64{nil, {1}, {2, 2, 2, 2}, {1, math.NaN(), 2, 3}} {
		if a, b := interlab.Grubbs(bad); !math.IsNaN(a) || !math.IsNaN(b) {
			t.Errorf("Grubbs(%v) = %v, %v, want NaN", bad, a, b)
		}
		if a, b := interlab.GrubbsPair(bad); !math.IsNaN(a) || !math.IsNaN(b) {
			t.Errorf("GrubbsPair(%v) = %v, %v, want NaN", bad, a, b)
		}
	}
}

func TestLimitsOutsideTheirDomain(t *testing.T) {
	t.Parallel()
	for name, got := range map[string]float64{
		"GrubbsLimit of 2":         interlab.GrubbsLimit(2, 0.05, interlab.OneSided),
		"GrubbsLimit at 1":         interlab.GrubbsLimit(5, 1, interlab.OneSided),
		"GrubbsPairLimit of 3":     interlab.GrubbsPairLimit(3, 0.05, interlab.OneSided),
		"GrubbsPairLimit of 41":    interlab.GrubbsPairLimit(41, 0.05, interlab.OneSided),
		"GrubbsPairLimit at 0.02":  interlab.GrubbsPairLimit(5, 0.02, interlab.OneSided),
		"GrubbsPairLimit, 3 sides": interlab.GrubbsPairLimit(5, 0.05, 3),
		"CochranLimit of 1":        interlab.CochranLimit(1, 3, 0.05),
		"CochranLimit at NaN":      interlab.CochranLimit(4, 3, math.NaN()),
		"MandelHLimit of 2":        interlab.MandelHLimit(2, 0.05),
		"MandelKLimit, 1 reading":  interlab.MandelKLimit(4, 1, 0.05),
		"Cochran of zeros":         interlab.Cochran([]float64{0, 0}),
		"Cochran of one":           interlab.Cochran([]float64{3}),
	} {
		if !math.IsNaN(got) {
			t.Errorf("%s = %v, want NaN", name, got)
		}
	}
}

// Source: table cochran (ISO 5725-2 table 4 agrees to three decimals).
func TestCochranLimit(t *testing.T) {
	t.Parallel()
	c := reftest.Table[struct {
		P  []int       `json:"p"`
		N  []int       `json:"n"`
		C5 [][]float64 `json:"critical_05"`
		C1 [][]float64 `json:"critical_01"`
	}](t, "cochran")
	for i, p := range c.P {
		for j, n := range c.N {
			name := fmt.Sprintf("CochranLimit(%d, %d)", p, n)
			near(t, name, interlab.CochranLimit(p, n, 0.05), c.C5[i][j], 1e-8)
			near(t, name, interlab.CochranLimit(p, n, 0.01), c.C1[i][j], 1e-8)
		}
	}
}

// Source: table mandel (Wilrich 2013).
func TestMandelLimits(t *testing.T) {
	t.Parallel()
	c := reftest.Table[struct {
		P  []int       `json:"p"`
		N  []int       `json:"n"`
		H5 []float64   `json:"h_05"`
		H1 []float64   `json:"h_01"`
		K5 [][]float64 `json:"k_05"`
		K1 [][]float64 `json:"k_01"`
	}](t, "mandel")
	for i, p := range c.P {
		near(t, fmt.Sprintf("MandelHLimit(%d)", p), interlab.MandelHLimit(p, 0.05), c.H5[i], 1e-8)
		near(t, fmt.Sprintf("MandelHLimit(%d)", p), interlab.MandelHLimit(p, 0.01), c.H1[i], 1e-8)
		for j, n := range c.N {
			name := fmt.Sprintf("MandelKLimit(%d, %d)", p, n)
			near(t, name, interlab.MandelKLimit(p, n, 0.05), c.K5[i][j], 1e-8)
			near(t, name, interlab.MandelKLimit(p, n, 0.01), c.K1[i][j], 1e-8)
		}
	}
}

// Source: the reference text's own computation, printed to four decimals.
func TestPrintedLimits(t *testing.T) {
	t.Parallel()
	for i, want := range []float64{1.1543, 1.4812, 1.7150, 1.8871, 2.0200, 2.1266, 2.2150, 2.2900} {
		near(t, "two-sided Grubbs", interlab.GrubbsLimit(i+3, 0.05, interlab.TwoSided), want, 4e-5)
	}
	for i, want := range []float64{1.1531, 1.4625, 1.6714, 1.8221, 1.9381, 2.0317, 2.1096, 2.1761} {
		near(t, "one-sided Grubbs", interlab.GrubbsLimit(i+3, 0.05, interlab.OneSided), want, 4e-5)
	}
	for i, want := range []float64{0.8413, 0.6838, 0.5981, 0.5440, 0.5063} {
		near(t, "Cochran 5 %", interlab.CochranLimit(5, i+2, 0.05), want, 1e-4)
	}
	for i, want := range []float64{0.9279, 0.7885, 0.6957, 0.6329, 0.5875} {
		near(t, "Cochran 1 %", interlab.CochranLimit(5, i+2, 0.01), want, 1e-4)
	}
	near(t, "h 5 %", interlab.MandelHLimit(8, 0.05), 1.7491, 4e-5)
	near(t, "h 1 %", interlab.MandelHLimit(8, 0.01), 2.0649, 4e-5)
	near(t, "k 5 %", interlab.MandelKLimit(8, 3, 0.05), 1.6689, 4e-5)
	near(t, "k 1 %", interlab.MandelKLimit(8, 3, 0.01), 1.9638, 4e-5)
}

// coal is ISO 5725-2:1994 annex B.1, sulfur in coal, level 1 (readings from memory,
// the rest computed from them).
type coal struct {
	Readings [][]float64 `json:"readings"`
	Mean     float64     `json:"mean"`
	SR       float64     `json:"s_r"`
	SL       float64     `json:"s_L"`
	SRepro   float64     `json:"s_R"`
	NBar     float64     `json:"n_bar"`
	H        []float64   `json:"mandel_h"`
	K        []float64   `json:"mandel_k"`
	High     float64     `json:"grubbs_high"`
	Low      float64     `json:"grubbs_low"`
	Cochran  float64     `json:"cochran_ratio_over_all_labs"`
}

// Source: table iso5725_coal_level1.
func TestCoal(t *testing.T) {
	t.Parallel()
	c := reftest.Table[coal](t, "iso5725_coal_level1")
	p := interlab.PrecisionOf(c.Readings)
	near(t, "Mean", p.Mean, c.Mean, 1e-8)
	near(t, "Repeatability", p.Repeatability, c.SR, 1e-8)
	near(t, "Between", p.Between, c.SL, 1e-8)
	near(t, "Reproducibility", p.Reproducibility, c.SRepro, 1e-8)
	near(t, "MeanCount", p.MeanCount, c.NBar, 1e-8)
	var means, variances []float64
	for _, x := range c.Readings {
		one := interlab.PrecisionOf([][]float64{x, x})
		means, variances = append(means, one.Mean), append(variances, one.Repeatability*one.Repeatability)
	}
	nearAll(t, "MandelH", interlab.MandelH(means), c.H, 1e-8)
	nearAll(t, "MandelK", interlab.MandelK(c.Readings), c.K, 1e-8)
	low, high := interlab.Grubbs(means)
	near(t, "Grubbs low", low, c.Low, 1e-8)
	near(t, "Grubbs high", high, c.High, 1e-8)
	near(t, "Cochran", interlab.Cochran(variances), c.Cochran, 1e-8)
}

func TestPrecisionOfLittle(t *testing.T) {
	t.Parallel()
	for _, readings := range [][][]float64{{{1, 2}}, {{1}, {2}, {3}}, nil, {nil, {1, 2}}} {
		if p := interlab.PrecisionOf(readings); !math.IsNaN(p.Repeatability) || !math.IsNaN(p.Reproducibility) {
			t.Errorf("PrecisionOf(%v) = %+v, want no precision", readings, p)
		}
	}
	if k := interlab.MandelK([][]float64{{1}, {2}}); k != nil {
		t.Errorf("MandelK without repeats = %v, want none", k)
	}
	if h := interlab.MandelH([]float64{1, 1, 1}); h != nil {
		t.Errorf("MandelH of equal means = %v, want none", h)
	}
}

// Source: table proficiency_scores (ISO 13528:2015 clause 9).
func TestScores(t *testing.T) {
	t.Parallel()
	c := reftest.Table[struct {
		X      float64 `json:"x"`
		Value  float64 `json:"assigned"`
		Sigma  float64 `json:"sigma_pt"`
		U      float64 `json:"u_x"`
		UX     float64 `json:"u_assigned"`
		Z      float64 `json:"z"`
		ZPrime float64 `json:"z_prime"`
		Zeta   float64 `json:"zeta"`
		En     float64 `json:"en"`
	}](t, "proficiency_scores")
	p := interlab.Participation{Result: c.X, Assigned: c.Value, Fitness: c.Sigma, U: c.U, UX: c.UX}
	near(t, "Z", p.Z(), c.Z, 1e-8)
	near(t, "ZPrime", p.ZPrime(), c.ZPrime, 1e-8)
	near(t, "Zeta", p.Zeta(), c.Zeta, 1e-8)
	near(t, "En", p.En(), c.En, 1e-8)
}

func ExampleParticipation_En() {
	p := interlab.Participation{Result: 0.92, Assigned: 0.88, Fitness: 0.02, U: 0.015, UX: 0.008}
	fmt.Printf("z %.1f, En %.2f\n", p.Z(), p.En())
	// Output: z 2.0, En 1.18
}

// The worked case of the reference text: a control of 0.912, then 0.894 half an hour
// later, a candidate of 0.951 at 12 minutes, 1.2 % each.
func TestBracketed(t *testing.T) {
	t.Parallel()
	b := interlab.Bracketed{
		Value: math.Log(0.951), U: 0.012, Minutes: 12, Before: math.Log(0.912), UBefore: 0.012,
		After: math.Log(0.894), UAfter: 0.012, AfterMinutes: 30,
	}
	contrast, u := b.Contrast()
	near(t, "contrast", contrast, 0.049847758, 1e-8)
	near(t, "ratio", math.Exp(contrast), 1.051111061, 1e-9)
	near(t, "u", u, 0.014794594, 1e-7)
	b.WanderingBetween = true
	d := math.Log(0.894 / 0.912)
	_, wider := b.Contrast()
	near(t, "u with wandering", wider*wider-u*u, d*d*0.4*0.6/3, 1e-9)
	for _, minutes := range []float64{-1, 31, math.NaN()} {
		b.Minutes = minutes
		if got, _ := b.Contrast(); !math.IsNaN(got) {
			t.Errorf("contrast at %v minutes, outside its brackets = %v, want NaN", minutes, got)
		}
	}
}

// A value midway speaks for neither label; one on another label's mean, three
// standard deviations from its own, is exp(4.5) = 90 times more likely there.
func TestLogLikelihoodRatio(t *testing.T) {
	t.Parallel()
	own, other := interlab.Prediction{Mean: 5, SD: 0.1}, interlab.Prediction{Mean: 5.3, SD: 0.1}
	if got := interlab.LogLikelihoodRatio(5.15, own, other); math.Abs(got) > 1e-12 {
		t.Errorf("ratio midway = exp(%v), want 1", got)
	}
	near(t, "ratio at the other's mean", interlab.LogLikelihoodRatio(5.3, own, other), 4.5, 1e-12)
	wide := interlab.Prediction{Mean: 5.3, SD: 0.2}
	near(t, "with twice the spread", interlab.LogLikelihoodRatio(5.3, own, wide), 4.5-math.Ln2, 1e-12)
}

// Scatter does not know of order, shift and sign, and scales with the readings.
func FuzzPrecision(f *testing.F) {
	f.Add(1.0, 1.1, 0.9, 2.0, 2.2, 1.9, 0.5)
	f.Fuzz(func(t *testing.T, a, b, c, d, e, g, shift float64) {
		x := []float64{a, b, c, d, e, g}
		for i := range x {
			x[i] = reftest.Fold(x[i], -3, 3)
		}
		shift = reftest.Fold(shift, -3, 3)
		moved := make([]float64, len(x))
		for i := range x {
			moved[i] = 2 * (shift - x[i])
		}
		p := interlab.PrecisionOf([][]float64{x[:2], x[2:3], x[3:]})
		q := interlab.PrecisionOf([][]float64{moved[3:], moved[:2], moved[2:3]})
		if math.Abs(q.Repeatability-2*p.Repeatability) > 1e-9 || math.Abs(q.Reproducibility-2*p.Reproducibility) > 1e-6 {
			t.Errorf("precision %+v, moved and doubled %+v", p, q)
		}
		if p.Reproducibility < p.Repeatability {
			t.Errorf("s_R %v below s_r %v", p.Reproducibility, p.Repeatability)
		}
		if low, high := interlab.Grubbs(x); low > interlab.GrubbsLimit(6, 1e-12, interlab.OneSided)+1e-6 || high < 0 {
			t.Errorf("Grubbs %v, %v of six is beyond (p-1)/sqrt(p)", low, high)
		}
	})
}

// Claimed uncertainties that hold give the middle of the distribution; ten times
// too large ones are seen.
func TestTooConsistent(t *testing.T) {
	t.Parallel()
	readings := [][]float64{{1.01, 0.99, 1.02}, {2.00, 2.02}, {3.5}, {0.99, 1.01}}
	claim := func(u float64) [][]float64 {
		out := make([][]float64, len(readings))
		for i, x := range readings {
			for range x {
				out[i] = append(out[i], u)
			}
		}
		return out
	}
	// sum of squares about the means: 0.000466667 + 0.0002 + 0.0002, 4 degrees of
	// freedom: chi2 2.166667 at u = 0.02, whose lower tail is 1 - exp(-x/2)(1+x/2)
	chi2 := (0.0014/3 + 0.0004) / 0.0004
	p, dof := interlab.TooConsistent(readings, claim(0.02))
	near(t, "P", p, 1-math.Exp(-chi2/2)*(1+chi2/2), 1e-9)
	if dof != 4 {
		t.Errorf("degrees of freedom = %d, want 4", dof)
	}
	if p, _ := interlab.TooConsistent(readings, claim(0.2)); p > 1e-3 {
		t.Errorf("P with ten times the uncertainty = %v, want below 0.001", p)
	}
	for _, u := range []float64{0, -1, math.NaN()} {
		if p, _ := interlab.TooConsistent(readings, claim(u)); !math.IsNaN(p) {
			t.Errorf("P with uncertainty %v = %v, want NaN", u, p)
		}
	}
	if p, dof := interlab.TooConsistent([][]float64{{1}}, [][]float64{{1}}); !math.IsNaN(p) || dof != 0 {
		t.Errorf("P without repeats = %v, %d, want NaN, 0", p, dof)
	}
}

// Source: table multiplicity (the 15 p-values of Benjamini and Hochberg 1995, R
// p.adjust).
func TestMultiplicity(t *testing.T) {
	t.Parallel()
	c := reftest.Table[struct {
		P      []float64 `json:"p"`
		BH     []float64 `json:"bh"`
		Holm   []float64 `json:"holm"`
		Hommel []float64 `json:"hommel"`
		BY     []float64 `json:"by"`
		BHAt5  int       `json:"bh_rejected_at_05"`
		Holm5  int       `json:"holm_rejected_at_05"`
	}](t, "multiplicity")
	shuffled, undo := make([]float64, 15), make([]int, 15)
	for i := range c.P {
		undo[i] = (7 * i) % 15
		shuffled[undo[i]] = c.P[i]
	}
	for name, method := range map[string]struct {
		adjust func([]float64) []float64
		want   []float64
	}{"BenjaminiHochberg": {interlab.BenjaminiHochberg, c.BH}, "Holm": {interlab.Holm, c.Holm}, "Hommel": {interlab.Hommel, c.Hommel}, "BenjaminiYekutieli": {interlab.BenjaminiYekutieli, c.BY}} {
		nearAll(t, name, method.adjust(c.P), method.want, 1e-8)
		out := method.adjust(shuffled)
		for i := range undo {
			near(t, name+" shuffled", out[undo[i]], method.want[i], 1e-8)
		}
	}
	rejected := func(p []float64) int {
		return len(slices.DeleteFunc(slices.Clone(p), func(v float64) bool { return v > 0.05 }))
	}
	if a, b := rejected(interlab.BenjaminiHochberg(c.P)), rejected(interlab.Holm(c.P)); a != c.BHAt5 || b != c.Holm5 {
		t.Errorf("rejected at 0.05: %d and %d, want %d and %d", a, b, c.BHAt5, c.Holm5)
	}
}

// Adjusting never lowers a p-value, keeps the order, and ignores what has no value.
func FuzzMultiplicity(f *testing.F) {
	f.Add(0.01, 0.04, 0.03, 0.2)
	f.Fuzz(func(t *testing.T, a, b, c, d float64) {
		p := []float64{reftest.Fold(a, 0, 1), reftest.Fold(b, 0, 1), math.NaN(), reftest.Fold(c, 0, 1), reftest.Fold(d, 0, 1)}
		holm, hommel := interlab.Holm(p), interlab.Hommel(p)
		for _, adjusted := range [][]float64{interlab.BenjaminiHochberg(p), interlab.BenjaminiYekutieli(p), holm, hommel} {
			for i := range p {
				if i == 2 {
					if !math.IsNaN(adjusted[i]) {
						t.Errorf("adjusted NaN = %v", adjusted[i])
					}
					continue
				}
				if adjusted[i] < p[i] || adjusted[i] > 1 || adjusted[i] > holm[i]*2.0834 {
					t.Errorf("%v adjusted to %v, Holm %v", p[i], adjusted[i], holm[i])
				}
				for j := range p {
					if j != 2 && p[i] < p[j] && adjusted[i] > adjusted[j] {
						t.Errorf("order of %v and %v turned: %v, %v", p[i], p[j], adjusted[i], adjusted[j])
					}
				}
			}
		}
		for i := range p {
			if hommel[i] > holm[i]+1e-12 {
				t.Errorf("Hommel %v above Holm %v", hommel[i], holm[i])
			}
		}
	})
}
