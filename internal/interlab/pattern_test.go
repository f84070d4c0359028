package interlab_test

import (
	"fmt"
	"math"
	"testing"

	"gonum.org/v1/gonum/mat"

	"evensun/internal/interlab"
	"evensun/internal/reftest"
)

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

// stackloss is the operation of an ammonia plant (Brownlee 1965): air flow, water
// temperature, acid concentration, stack loss.
var stackloss = [21][4]float64{
	{80, 27, 89, 42}, {80, 27, 88, 37}, {75, 25, 90, 37}, {62, 24, 87, 28}, {62, 22, 87, 18}, {62, 23, 87, 18}, {62, 24, 93, 19},
	{62, 24, 93, 20}, {58, 23, 87, 15}, {58, 18, 80, 14}, {58, 18, 89, 14}, {58, 17, 88, 13}, {58, 18, 82, 11}, {58, 19, 93, 12},
	{50, 18, 89, 8}, {50, 18, 86, 7}, {50, 19, 72, 8}, {50, 19, 79, 8}, {50, 20, 80, 9}, {56, 20, 82, 15}, {70, 20, 91, 15},
}
