package interlab

import (
	"math"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

// A Pattern says how far a vector is from where it should be, all numbers at once.
type Pattern struct {
	Squared float64 // Mahalanobis distance squared
	Rank    int     // directions in which the vector can vary: degrees of freedom
	P       float64 // probability of a larger distance by chance, from chi-square
}

// Mahalanobis returns d' C^+ d of a deviation d with covariance C, C^+ the
// generalised inverse: directions with less than 1e-10 of the largest variance do
// not count, as scores that sum to 0. All NaN where the sizes differ, where a
// number is not finite or C is 0.
//
// Source: P. C. Mahalanobis, Proceedings of the National Institute of Sciences of
// India 2 (1936) 49-55.
func Mahalanobis(deviation []float64, covariance mat.Symmetric) Pattern {
	nothing := Pattern{math.NaN(), 0, math.NaN()}
	n := len(deviation)
	if n == 0 || covariance.SymmetricDim() != n || !allFinite(deviation, covariance) {
		return nothing
	}
	var eigen mat.EigenSym
	if !eigen.Factorize(covariance, true) {
		return nothing
	}
	values := eigen.Values(nil)
	var vectors mat.Dense
	eigen.VectorsTo(&vectors)
	out := Pattern{}
	for k, variance := range values {
		if !(variance > 1e-10*values[n-1]) {
			continue
		}
		along := mat.Dot(vectors.ColView(k), mat.NewVecDense(n, deviation))
		out.Squared += along * along / variance
		out.Rank++
	}
	if out.Rank == 0 {
		return nothing
	}
	out.P = ChiSquareTail(out.Squared, out.Rank)
	return out
}

func allFinite(deviation []float64, covariance mat.Symmetric) bool {
	for i, d := range deviation {
		sum := d
		for j := range deviation {
			sum += covariance.At(i, j)
		}
		if math.IsNaN(sum) || math.IsInf(sum, 0) {
			return false
		}
	}
	return true
}

// A Regression is a linear fit with what each row did to it.
type Regression struct {
	Coefficients []float64
	Residuals    []float64
	Leverage     []float64 // diagonal of the hat matrix, 0 to 1
	Dof          int       // rows less coefficients
}

// RegressionOf returns the fit of y to the columns of x by least squares with
// weights, nil for equal ones; include a column of ones for an intercept. It tells
// false where there are not more rows than columns or the columns depend on each
// other.
func RegressionOf(x *mat.Dense, y, weights []float64) (Regression, bool) {
	b, qr, ok := leastSquares(x, y, weights)
	if !ok {
		return Regression{}, false
	}
	rows, columns := x.Dims()
	var q mat.Dense
	qr.QTo(&q)
	fit := Regression{Coefficients: b, Residuals: residuals(x, y, b), Leverage: make([]float64, rows), Dof: rows - columns}
	for i := range rows {
		for c := range columns {
			fit.Leverage[i] += q.At(i, c) * q.At(i, c)
		}
	}
	return fit, true
}

// leastSquares returns the coefficients of RegressionOf and the factors behind them.
func leastSquares(x *mat.Dense, y, weights []float64) ([]float64, *mat.QR, bool) {
	rows, columns := x.Dims()
	if rows <= columns || len(y) != rows {
		return nil, nil, false
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
		return nil, nil, false
	}
	return b.RawVector().Data, &qr, true
}

func residuals(x *mat.Dense, y, coefficients []float64) []float64 {
	rows, _ := x.Dims()
	out := make([]float64, rows)
	for i := range rows {
		out[i] = y[i] - floats.Dot(x.RawRowView(i), coefficients)
	}
	return out
}

// Deleted returns the studentised deleted residual of each row of an unweighted
// fit: the residual over the standard error that it has if the row plays no part in
// the fit. NaN for a row that the fit must pass through.
//
// Source: R. D. Cook, S. Weisberg, Residuals and Influence in Regression, 1982,
// equation 2.2.8.
func (r Regression) Deleted() []float64 {
	total, dof := 0.0, float64(r.Dof)
	for _, e := range r.Residuals {
		total += e * e
	}
	t := make([]float64, len(r.Residuals))
	for i, e := range r.Residuals {
		free := 1 - r.Leverage[i]
		t[i] = e / math.Sqrt((total-e*e/free)/(dof-1)*free)
	}
	return t
}

// Cook returns Cook's distance of each row of an unweighted fit: how far the
// coefficients move without the row, in units of their own uncertainty.
//
// Source: R. D. Cook, Technometrics 19 (1977) 15-18.
func (r Regression) Cook() []float64 {
	total, columns := 0.0, float64(len(r.Coefficients))
	for _, e := range r.Residuals {
		total += e * e
	}
	d := make([]float64, len(r.Residuals))
	for i, e := range r.Residuals {
		free := 1 - r.Leverage[i]
		d[i] = e * e / (free * free) * r.Leverage[i] / (columns * total / float64(r.Dof))
	}
	return d
}

// LargestDeletedP returns the two-sided probability of the largest |studentised
// deleted residual|, times the number of rows (Bonferroni), at most 1.
func (r Regression) LargestDeletedP() float64 {
	largest := 0.0
	for _, t := range r.Deleted() {
		largest = max(largest, math.Abs(t))
	}
	return min(1, float64(len(r.Residuals))*twoSidedT(largest, float64(r.Dof-1)))
}

// A RobustRegression is a linear fit in which rows far off count less.
type RobustRegression struct {
	Coefficients []float64
	Weights      []float64 // of the rows, 0 to 1
	Scale        float64   // robust standard deviation of the residuals
	Converged    bool
}

// RobustRegressionOf returns the M-estimate of y on the columns of x: least squares
// with weight(residual/scale), scale the median |residual| over 0.6745, repeated
// from the unweighted fit until the coefficients change by less than 1e-10 of their
// size, 200 times at most. It tells false where RegressionOf does.
//
// Source: Huber 1981, chapter 7; checked against MASS rlm.
func RobustRegressionOf(x *mat.Dense, y []float64, weight func(r float64) float64) (RobustRegression, bool) {
	fit, ok := RegressionOf(x, y, nil)
	out := RobustRegression{Weights: make([]float64, len(y))}
	for step := 0; ok && step < 200 && !out.Converged; step++ {
		before := fit.Coefficients
		out.Scale = medianSize(fit.Residuals) / 0.6745
		for i, e := range fit.Residuals {
			out.Weights[i] = 1
			if out.Scale > 0 {
				out.Weights[i] = weight(e / out.Scale)
			}
		}
		fit, ok = RegressionOf(x, y, out.Weights)
		out.Converged = ok && relativeChange(before, fit.Coefficients) < 1e-10
	}
	out.Coefficients = fit.Coefficients
	return out, ok
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
