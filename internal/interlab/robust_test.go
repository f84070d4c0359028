package interlab_test

import (
	"fmt"
	"math"
	"testing"

	"gonum.org/v1/gonum/mat"

	"evensun/internal/interlab"
	"evensun/internal/reftest"
)

type robustCase struct {
	Data       []float64 `json:"data"`
	Median     float64   `json:"median"`
	MAD        float64   `json:"mad_scaled"`
	HuberMu    float64   `json:"huber_k1.5_mu"`
	HuberS     float64   `json:"huber_k1.5_s"`
	HubersMu   float64   `json:"hubers_k1.5_mu"`
	HubersS    float64   `json:"hubers_k1.5_s"`
	Qn         float64   `json:"qn"`
	Sn         float64   `json:"sn"`
	HuberM     float64   `json:"huberM_k1.345"`
	AlgorithmA float64   `json:"algorithm_a_mean"`
	AlgASD     float64   `json:"algorithm_a_sd"`
	IQR        float64   `json:"iqr_scaled"`
}

// Source: tables robust_abbey and robust_chem (MASS huber, hubers, robustbase Qn,
// Sn, huberM; algorithm A after ISO 13528:2015 C.3). The iterations of huber, hubers
// and huberM stop at 1e-6 standard deviations there, ours at 1e-12.
func TestRobust(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"robust_abbey", "robust_chem"} {
		c := reftest.Table[robustCase](t, name)
		near(t, "Median", interlab.Median(c.Data), c.Median, 1e-8)
		near(t, "MAD", interlab.MAD(c.Data), c.MAD, 1e-8)
		near(t, "ScaledIQR", interlab.ScaledIQR(c.Data), c.IQR, 1e-8)
		near(t, "Qn", interlab.Qn(c.Data), c.Qn, 1e-5) // the constant there has more digits than 2.21914
		near(t, "Sn", interlab.Sn(c.Data), c.Sn, 1e-8)
		near(t, "HuberMean 1.5", interlab.HuberMean(c.Data, 1.5).Mean, c.HuberMu, 1e-5)
		near(t, "HuberMean 1.5 SD", interlab.HuberMean(c.Data, 1.5).SD, c.HuberS, 1e-8)
		near(t, "HuberMean 1.345", interlab.HuberMean(c.Data, 1.345).Mean, c.HuberM, 1e-5)
		near(t, "HuberProposal2", interlab.HuberProposal2(c.Data, 1.5).Mean, c.HubersMu, 1e-5)
		near(t, "HuberProposal2 SD", interlab.HuberProposal2(c.Data, 1.5).SD, c.HubersS, 1e-5)
		a := interlab.AlgorithmA(c.Data)
		near(t, "AlgorithmA", a.Mean, c.AlgorithmA, 1e-8)
		near(t, "AlgorithmA SD", a.SD, c.AlgASD, 1e-8)
		if !a.Converged {
			t.Errorf("AlgorithmA of %s did not converge", name)
		}
	}
}

func ExampleAlgorithmA() {
	r := interlab.AlgorithmA([]float64{0.91, 0.93, 0.90, 0.92, 0.92, 0.55})
	fmt.Printf("%.3f %.3f\n", r.Mean, r.SD)
	// Output: 0.910 0.021
}

// Source: table hampel_weights (MASS psi.hampel, psi.huber, psi.bisquare).
func TestWeights(t *testing.T) {
	t.Parallel()
	c := reftest.Table[struct {
		R        []float64 `json:"r"`
		Hampel   []float64 `json:"hampel_2_4_8"`
		Wide     []float64 `json:"hampel_3_5_10"`
		Huber    []float64 `json:"huber_1345"`
		Bisquare []float64 `json:"bisquare_4685"`
	}](t, "hampel_weights")
	each := func(weight func(r float64) float64) []float64 {
		out := make([]float64, len(c.R))
		for i, r := range c.R {
			out[i] = weight(-r)
		}
		return out
	}
	nearAll(t, "HampelWeight 2, 4, 8", each(func(r float64) float64 { return interlab.HampelWeight(r, 2, 4, 8) }), c.Hampel, 1e-8)
	nearAll(t, "HampelWeight 3, 5, 10", each(func(r float64) float64 { return interlab.HampelWeight(r, 3, 5, 10) }), c.Wide, 1e-8)
	nearAll(t, "HuberWeight", each(func(r float64) float64 { return interlab.HuberWeight(r, 1.345) }), c.Huber, 1e-8)
	nearAll(t, "BisquareWeight", each(func(r float64) float64 { return interlab.BisquareWeight(r, 4.685) }), c.Bisquare, 1e-8)
}

func TestRobustOfLittle(t *testing.T) {
	t.Parallel()
	nan := math.NaN()
	for name, got := range map[string]float64{
		"Median": interlab.Median(nil), "MAD": interlab.MAD(nil), "IQR": interlab.ScaledIQR(nil),
		"Sn": interlab.Sn([]float64{1}), "Qn": interlab.Qn([]float64{1}), "A": interlab.AlgorithmA(nil).Mean,
		"Huber of NaN": interlab.HuberWeight(nan, 1), "Hampel of NaN": interlab.HampelWeight(nan, 1, 2, 3), "bisquare of NaN": interlab.BisquareWeight(nan, 4),
	} {
		if !math.IsNaN(got) {
			t.Errorf("%s = %v, want NaN", name, got)
		}
	}
	if got := interlab.AlgorithmA([]float64{5, 5, 5, 9}); got != (interlab.Robust{Mean: 5, SD: 0, Converged: true}) {
		t.Errorf("AlgorithmA of mostly fives = %+v, want 5 and 0", got)
	}
	for n := 2; n <= 14; n++ { // the small-sample corrections, one number each
		x := make([]float64, n)
		for i := range x {
			x[i] = float64(i)
		}
		if qn, sn := interlab.Qn(x), interlab.Sn(x); !(qn > 0 && sn > 0) {
			t.Errorf("Qn, Sn of 0 to %d = %v, %v, want above 0", n-1, qn, sn)
		}
	}
}

// A robust mean follows shift and scale, lies among the numbers, and one wild number
// moves it less than it moves the plain mean.
func FuzzAlgorithmA(f *testing.F) {
	f.Add(1.0, 1.2, 0.8, 1.1, 0.9, 40.0)
	f.Fuzz(func(t *testing.T, a, b, c, d, e, wild float64) {
		x := []float64{a, b, c, d, e, 0}
		for i := range x {
			x[i] = math.Round(reftest.Fold(x[i], 0, 2)*1000) / 1000
		}
		x[5] = reftest.Fold(wild, 10, 1e6)
		r, moved := interlab.AlgorithmA(x), make([]float64, 6)
		mean := 0.0
		for i, v := range x {
			moved[i] = 3 - 4*v
			mean += v / 6
		}
		if m := interlab.AlgorithmA(moved); math.Abs(m.Mean-(3-4*r.Mean)) > 1e-6 || math.Abs(m.SD-4*r.SD) > 1e-6 {
			t.Errorf("AlgorithmA(3-4x) = %+v, of x %+v", m, r)
		}
		if r.Mean < 0 || r.Mean > mean+1e-9 {
			t.Errorf("AlgorithmA(%v) = %v, mean %v", x, r.Mean, mean)
		}
	})
}

// stackloss is the operation of an ammonia plant (Brownlee 1965): air flow, water
// temperature, acid concentration, stack loss.
var stackloss = [21][4]float64{
	{80, 27, 89, 42}, {80, 27, 88, 37}, {75, 25, 90, 37}, {62, 24, 87, 28}, {62, 22, 87, 18}, {62, 23, 87, 18}, {62, 24, 93, 19},
	{62, 24, 93, 20}, {58, 23, 87, 15}, {58, 18, 80, 14}, {58, 18, 89, 14}, {58, 17, 88, 13}, {58, 18, 82, 11}, {58, 19, 93, 12},
	{50, 18, 89, 8}, {50, 18, 86, 7}, {50, 19, 72, 8}, {50, 19, 79, 8}, {50, 20, 80, 9}, {56, 20, 82, 15}, {70, 20, 91, 15},
}

func stacklossDesign() (*mat.Dense, []float64) {
	x, y := mat.NewDense(21, 4, nil), make([]float64, 21)
	for i, row := range stackloss {
		x.SetRow(i, []float64{1, row[0], row[1], row[2]})
		y[i] = row[3]
	}
	return x, y
}

type rlm struct {
	Coef    []float64 `json:"coef"`
	Scale   float64   `json:"scale"`
	Weights []float64 `json:"weights"`
}

// Source: table robust_stackloss (R lm influence, MASS rlm to 1e-10). Its lmrob_mm is in
// TestMMStackloss.
func TestStackloss(t *testing.T) {
	t.Parallel()
	c := reftest.Table[struct {
		Huber    rlm       `json:"rlm_huber"`
		Hampel   rlm       `json:"rlm_hampel_248"`
		Bisquare rlm       `json:"rlm_bisquare"`
		OLS      []float64 `json:"ols"`
		Deleted  []float64 `json:"rstudent"`
		Hat      []float64 `json:"hat"`
		Cooks    []float64 `json:"cooks"`
		P        float64   `json:"bonferroni_p_max"`
	}](t, "robust_stackloss")
	x, y := stacklossDesign()
	fit, ok := interlab.RegressionOf(x, y, nil)
	if !ok {
		t.Fatal("RegressionOf(stackloss) failed")
	}
	nearAll(t, "Coefficients", fit.Coefficients, c.OLS, 1e-8)
	nearAll(t, "Deleted", fit.Deleted(), c.Deleted, 1e-8)
	nearAll(t, "Leverage", fit.Leverage, c.Hat, 1e-8)
	nearAll(t, "Cook", fit.Cook(), c.Cooks, 1e-8)
	near(t, "LargestDeletedP", fit.LargestDeletedP(), c.P, 1e-8)
	near(t, "LargestDeletedP as printed", fit.LargestDeletedP(), 0.088999, 1e-5)
	for _, m := range []struct {
		name   string
		weight func(r float64) float64
		want   rlm
	}{
		{"Huber", func(r float64) float64 { return interlab.HuberWeight(r, 1.345) }, c.Huber},
		{"Hampel", func(r float64) float64 { return interlab.HampelWeight(r, 2, 4, 8) }, c.Hampel},
		{"bisquare", func(r float64) float64 { return interlab.BisquareWeight(r, 4.685) }, c.Bisquare},
	} {
		got, ok := interlab.RobustRegressionOf(x, y, m.weight)
		if !ok || !got.Converged {
			t.Errorf("%s: solved %v, converged %v", m.name, ok, got.Converged)
		}
		nearAll(t, m.name, got.Coefficients, m.want.Coef, 1e-8)
		nearAll(t, m.name+" weights", got.Weights, m.want.Weights, 1e-7) // they stop at 1e-10 of the coefficients
		near(t, m.name+" scale", got.Scale, m.want.Scale, 1e-8)
	}
}

func TestRegressionRefuses(t *testing.T) {
	t.Parallel()
	for name, x := range map[string]*mat.Dense{
		"as many rows as columns": mat.NewDense(2, 2, []float64{1, 1, 1, 2}),
		"equal columns":           mat.NewDense(4, 2, []float64{1, 1, 2, 2, 3, 3, 4, 4}),
	} {
		rows, _ := x.Dims()
		if _, ok := interlab.RegressionOf(x, make([]float64, rows), nil); ok {
			t.Errorf("RegressionOf with %s succeeded", name)
		}
		if _, ok := interlab.RobustRegressionOf(x, make([]float64, rows), math.Abs); ok {
			t.Errorf("RobustRegressionOf with %s succeeded", name)
		}
	}
}

// Source: table mahalanobis_stackloss (R stats mahalanobis). Its mcd_center is in
// TestMCDStackloss.
func TestMahalanobis(t *testing.T) {
	t.Parallel()
	c := reftest.Table[struct {
		Squared []float64 `json:"squared_distance"`
		Limit   float64   `json:"chi2_975_4"`
	}](t, "mahalanobis_stackloss")
	var mean [4]float64
	for _, row := range stackloss {
		for k := range row {
			mean[k] += row[k] / 21
		}
	}
	covariance := mat.NewSymDense(4, nil)
	for _, row := range stackloss {
		for a := range 4 {
			for b := a; b < 4; b++ {
				covariance.SetSym(a, b, covariance.At(a, b)+(row[a]-mean[a])*(row[b]-mean[b])/20)
			}
		}
	}
	for i, row := range stackloss {
		got := interlab.Mahalanobis([]float64{row[0] - mean[0], row[1] - mean[1], row[2] - mean[2], row[3] - mean[3]}, covariance)
		near(t, fmt.Sprintf("distance of row %d", i), got.Squared, c.Squared[i], 1e-8)
		if got.Rank != 4 || (got.Squared > c.Limit) != (got.P < 0.025) {
			t.Errorf("row %d: %+v", i, got)
		}
	}
	near(t, "tail at the 97.5 % point", interlab.ChiSquareTail(c.Limit, 4), 0.025, 1e-8)
}

// Scores that sum to 0 can vary in one direction less than there are scores.
func TestMahalanobisOfContrasts(t *testing.T) {
	t.Parallel()
	centred := mat.NewSymDense(3, []float64{2, -1, -1, -1, 2, -1, -1, -1, 2})
	got := interlab.Mahalanobis([]float64{1, -1, 0}, centred)
	near(t, "distance", got.Squared, 2.0/3, 1e-12)
	if got.Rank != 2 {
		t.Errorf("rank = %d, want 2", got.Rank)
	}
	near(t, "P", got.P, math.Exp(-1.0/3), 1e-12)
	for _, d := range [][]float64{nil, {1}, {1, math.NaN(), 0}, {math.Inf(1), 0, 0}} {
		if got := interlab.Mahalanobis(d, centred); !math.IsNaN(got.Squared) {
			t.Errorf("Mahalanobis(%v) = %+v, want NaN", d, got)
		}
	}
	if got := interlab.Mahalanobis([]float64{0, 0}, mat.NewSymDense(2, nil)); !math.IsNaN(got.P) {
		t.Errorf("Mahalanobis without variance = %+v, want NaN", got)
	}
}
