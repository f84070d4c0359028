package robust

import (
	"math"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

// leastSquares returns the fit of y to the columns of x with weights, nil for equal ones. It
// tells false where there are not more rows than columns or the columns depend on each other.
func leastSquares(x *mat.Dense, y, weights []float64) ([]float64, bool) {
	rows, columns := x.Dims()
	if rows <= columns || len(y) != rows {
		return nil, false
	}
	scaled, target := mat.DenseCopyOf(x), mat.NewVecDense(rows, nil)
	for i := range rows {
		root := 1.0
		if weights != nil {
			root = math.Sqrt(weights[i])
		}
		target.SetVec(i, root*y[i])
		for c := range columns {
			scaled.Set(i, c, root*x.At(i, c))
		}
	}
	var qr mat.QR
	qr.Factorize(scaled)
	var b mat.VecDense
	if err := qr.SolveVecTo(&b, false, target); err != nil || qr.Cond() > 1e12 {
		return nil, false
	}
	return b.RawVector().Data, true
}

func residuals(x *mat.Dense, y, coefficients []float64) []float64 {
	rows, _ := x.Dims()
	out := make([]float64, rows)
	for i := range rows {
		out[i] = y[i] - floats.Dot(x.RawRowView(i), coefficients)
	}
	return out
}

// A RobustRegression is a linear fit in which rows far off count less.
type RobustRegression struct {
	Coefficients []float64
	Weights      []float64 // of the rows, 0 to 1
	Scale        float64   // robust standard deviation of the residuals
	Converged    bool
}

func medianSize(x []float64) float64 {
	sizes := make([]float64, len(x))
	for i, v := range x {
		sizes[i] = math.Abs(v)
	}
	return Median(sizes)
}

func relativeChange(before, after []float64) float64 {
	change, size := 0.0, 0.0
	for i := range before {
		change += (after[i] - before[i]) * (after[i] - before[i])
		size += before[i] * before[i]
	}
	return math.Sqrt(change / max(1e-20, size))
}
