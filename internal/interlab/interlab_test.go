package interlab_test

import (
	"fmt"
	"math"
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
		"MandelHLimit of 2":        interlab.MandelHLimit(2, 0.05),
	} {
		if !math.IsNaN(got) {
			t.Errorf("%s = %v, want NaN", name, got)
		}
	}
}

// Source: table mandel (Wilrich 2013).
func TestMandelLimits(t *testing.T) {
	t.Parallel()
	c := reftest.Table[struct {
		P  []int     `json:"p"`
		H5 []float64 `json:"h_05"`
		H1 []float64 `json:"h_01"`
	}](t, "mandel")
	for i, p := range c.P {
		near(t, fmt.Sprintf("MandelHLimit(%d)", p), interlab.MandelHLimit(p, 0.05), c.H5[i], 1e-8)
		near(t, fmt.Sprintf("MandelHLimit(%d)", p), interlab.MandelHLimit(p, 0.01), c.H1[i], 1e-8)
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
	near(t, "h 5 %", interlab.MandelHLimit(8, 0.05), 1.7491, 4e-5)
	near(t, "h 1 %", interlab.MandelHLimit(8, 0.01), 2.0649, 4e-5)
}

// Source: ISO 5725-2:1994 annex B.1, sulfur in coal, level 1 (readings from memory, the rest
// computed from them).
func TestCoal(t *testing.T) {
	t.Parallel()
	c := reftest.Table[struct {
		Readings [][]float64 `json:"readings"`
		H        []float64   `json:"mandel_h"`
		High     float64     `json:"grubbs_high"`
		Low      float64     `json:"grubbs_low"`
	}](t, "iso5725_coal_level1")
	means := make([]float64, len(c.Readings))
	for i, list := range c.Readings {
		for _, x := range list {
			means[i] += x / float64(len(list))
		}
	}
	for i, h := range interlab.MandelH(means) {
		near(t, "h", h, c.H[i], 1e-8)
	}
	low, high := interlab.Grubbs(means)
	near(t, "high", high, c.High, 1e-8)
	near(t, "low", low, c.Low, 1e-8)
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
