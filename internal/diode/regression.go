package diode

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// A fitted is a linear least-squares fit.
type fitted struct {
	coefficients []float64
	covariance   *mat.Dense // of the coefficients, with the residual scatter
	freedom      int
}

// leastSquares fits rows*coefficients to observed by QR, each row and its
// observation times its weight, 1 where weights is nil; false for a singular design.
//
// Source: JCGM 100:2008, H.3, in matrix form.
func leastSquares(rows [][]float64, observed, weights []float64) (fitted, bool) {
	terms := len(rows[0])
	design := mat.NewDense(len(rows), terms, nil)
	target := mat.NewVecDense(len(rows), nil)
	for k, row := range rows {
		w := 1.0
		if weights != nil {
			w = weights[k]
		}
		for j, x := range row {
			design.Set(k, j, w*x)
		}
		target.SetVec(k, w*observed[k])
	}
	var qr mat.QR
	qr.Factorize(design)
	var solution, residual mat.VecDense
	if err := qr.SolveVecTo(&solution, false, target); err != nil {
		return fitted{}, false
	}
	residual.MulVec(design, &solution)
	residual.SubVec(target, &residual)
	var normal, inverse mat.Dense
	normal.Mul(design.T(), design)
	if err := inverse.Inverse(&normal); err != nil {
		return fitted{}, false
	}
	inverse.Scale(mat.Dot(&residual, &residual)/float64(len(rows)-terms), &inverse)
	return fitted{solution.RawVector().Data, &inverse, len(rows) - terms}, true
}

// spend takes degrees of freedom for terms that were fitted to the same points
// before, and widens the covariance accordingly; false where none is left.
func (f *fitted) spend(terms int) bool {
	left := f.freedom - terms
	if left < 1 {
		return false
	}
	f.covariance.Scale(float64(f.freedom)/float64(left), f.covariance)
	f.freedom = left
	return true
}

// combine returns row*coefficients and its standard uncertainty.
func (f fitted) combine(row []float64) Estimate {
	weights := mat.NewVecDense(len(row), row)
	value := mat.Dot(weights, mat.NewVecDense(len(row), f.coefficients))
	return Estimate{value, math.Sqrt(math.Max(0, mat.Inner(weights, f.covariance, weights))), f.freedom}
}

// A polynomial is a fit in (x - centre)/scale.
type polynomial struct {
	fitted
	centre, scale float64
	low, high     float64 // range of x fitted
}

// fitWhere fits a polynomial to the points that pick takes.
func fitWhere(points []Point, degree int, pick func(Point) (x, y float64, in bool)) (polynomial, error) {
	var xs, ys []float64
	low, high := math.Inf(1), math.Inf(-1)
	for _, p := range points {
		if x, y, in := pick(p); in {
			xs, ys = append(xs, x), append(ys, y)
			low, high = math.Min(low, x), math.Max(high, x)
		}
	}
	if len(xs) < max(fewestInRegion, degree+2) || low == high {
		return polynomial{}, &SweepError{ErrTooFewPoints, len(xs)}
	}
	fit := polynomial{centre: (low + high) / 2, scale: (high - low) / 2, low: low, high: high}
	rows := make([][]float64, len(xs))
	for k, x := range xs {
		rows[k] = fit.powers(x, degree)
	}
	f, ok := leastSquares(rows, ys, nil)
	if !ok {
		return polynomial{}, &SweepError{ErrTooFewPoints, len(xs)}
	}
	fit.fitted = f
	return fit, nil
}

func (p polynomial) powers(x float64, degree int) []float64 {
	z := (x - p.centre) / p.scale
	row := make([]float64, degree+1)
	row[0] = 1
	for k := 1; k <= degree; k++ {
		row[k] = row[k-1] * z
	}
	return row
}

// at returns the value at x with its standard uncertainty.
func (p polynomial) at(x float64) Estimate {
	return p.combine(p.powers(x, len(p.coefficients)-1))
}

// slope returns the derivative at x with its standard uncertainty.
func (p polynomial) slope(x float64) Estimate {
	powers := p.powers(x, len(p.coefficients)-1)
	row := make([]float64, len(powers))
	for k := 1; k < len(powers); k++ {
		row[k] = float64(k) * powers[k-1] / p.scale
	}
	return p.combine(row)
}

// peakOf returns where a function peaks between low and high: a scan, then golden
// section. False where it peaks at an end.
func peakOf(f func(float64) float64, low, high float64) (float64, bool) {
	const steps, golden = 60, 0.6180339887498949
	best, top := 0, math.Inf(-1)
	x := func(k int) float64 { return low + (high-low)*float64(k)/steps }
	for k := range steps + 1 {
		if v := f(x(k)); v > top {
			best, top = k, v
		}
	}
	if best == 0 || best == steps {
		return 0, false
	}
	low, high = x(best-1), x(best+1)
	for range 40 {
		a, b := high-golden*(high-low), low+golden*(high-low)
		if f(a) > f(b) {
			high = b
		} else {
			low = a
		}
	}
	return (low + high) / 2, true
}
