package robust

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

const (
	// sTuning gives the S-estimate a breakdown point of one half.
	sTuning = 1.54764
	// mTuning gives the MM-estimate 95 % of the efficiency of least squares where
	// the residuals are normal.
	mTuning = 4.685061
	// refined is how many of the best starts of an S-estimate are iterated to the end.
	refined = 10
	// settled is the relative change of coefficients that ends an iteration.
	settled = 1e-13
)

// MMRegressionOf returns the MM-estimate of y on the columns of x. It withstands
// wrong rows, in y or in x, up to half of what there is beyond the columns, where
// reweighted least squares are led astray by one row with a far-off x. Of all fits it takes
// the one whose residuals r have the smallest scale s (an S-estimate),
//
//	sum rho(r/(1.54764 s)) / (rows - columns) = 1/2,   rho(u) = 1 - (1-u^2)^3, 1 beyond 1
//
// and from there reweights by BisquareWeight(r/s, 4.685061), with s held, to the end.
// Scale is s. The S-estimate is sought from fits through as many rows as there are
// columns: through all such subsets where these times the rows are up to 500,000, else
// through some that are drawn by the data, so that the same rows in the same order
// give the same answer.
//
// Where the fit through most rows is exact, the scale is 0 and the weights are 1 on
// it and 0 off it. It tells false where there are not more rows than columns, where columns depend on each
// other, where a number is not finite, and where the rows near the fit do not settle all coefficients.
//
// Error: coefficients and scale to about 1e-10 of their size; that no better S-estimate
// was overlooked is not proven. More than 10 columns leave fewer draws than half
// the rows wrong would need.
//
// Source: V. J. Yohai, Annals of Statistics 15 (1987) 642-656; the search of
// M. Salibian-Barrera, V. J. Yohai, Journal of Computational and Graphical
// Statistics 15 (2006) 414-427; rows - columns for rows and the constants as in
// robustbase lmrob.
func MMRegressionOf(x *mat.Dense, y []float64) (RobustRegression, bool) {
	if !finite(y) || !rowsFinite(x) {
		return RobustRegression{}, false
	}
	if _, ok := leastSquares(x, y, nil); !ok {
		return RobustRegression{}, false
	}
	start, ok := sEstimate(x, y)
	if !ok {
		return RobustRegression{}, false
	}
	if start.scale == 0 {
		return exactFit(x, y, start)
	}
	return mEstimate(x, y, start, settled)
}

// An sFit is a candidate of the S-estimate.
type sFit struct {
	coefficients []float64
	residuals    []float64
	scale        float64 // 0 where too few rows are off the fit for any other
}

func newSFit(x *mat.Dense, y, coefficients []float64) sFit {
	r := residuals(x, y, coefficients)
	for i := range r {
		size := math.Abs(y[i])
		for c, b := range coefficients {
			size += math.Abs(x.At(i, c) * b)
		}
		if math.Abs(r[i]) <= 1e-12*size { // rounding
			r[i] = 0
		}
	}
	return sFit{coefficients: coefficients, residuals: r}
}

// half is the sum of rho that the scale gives, the most rows off an exact fit.
func (f sFit) half() float64 { return float64(len(f.residuals)-len(f.coefficients)) / 2 }

func (f sFit) exact() bool {
	off := 0
	for _, e := range f.residuals {
		if e != 0 {
			off++
		}
	}
	return float64(off) <= f.half()
}

// sEstimate returns the fit of smallest scale: each start is reweighted once, the
// best are to the end.
func sEstimate(x *mat.Dense, y []float64) (sFit, bool) {
	rows, columns := x.Dims()
	var best []sFit
	for _, subset := range elementalSubsets(rows, columns, seedOf(x)) {
		f, ok := sStart(x, y, subset)
		if ok && f.scale == 0 {
			return f, true
		}
		if !ok || len(best) == refined && rhoSum(f.residuals, best[refined-1].scale) >= f.half() {
			continue // no better than the worst of the best
		}
		f.scale = sScale(f)
		best = append(best, f)
		slices.SortStableFunc(best, func(a, b sFit) int { return cmp.Compare(a.scale, b.scale) })
		best = best[:min(refined, len(best))]
	}
	least := sFit{scale: math.Inf(1)}
	for _, f := range best {
		if f, ok := sRefine(x, y, f, mostSteps, settled); ok && f.scale < least.scale {
			least = f
		}
	}
	return least, least.coefficients != nil
}

// sStart returns the fit through a subset of rows after one reweighting.
func sStart(x *mat.Dense, y []float64, subset []int) (sFit, bool) {
	b, ok := throughRows(x, y, subset)
	if !ok {
		return sFit{}, false
	}
	f := newSFit(x, y, b)
	if f.scale = medianSize(f.residuals) / 0.6745; f.scale == 0 {
		f.scale = sScale(f)
	}
	return sRefine(x, y, f, 1, settled)
}

// throughRows returns the coefficients of the fit that passes through a subset of rows.
func throughRows(x *mat.Dense, y []float64, subset []int) ([]float64, bool) {
	n := len(subset)
	a, b := mat.NewDense(n, n, nil), mat.NewVecDense(n, nil)
	for k, i := range subset {
		a.SetRow(k, x.RawRowView(i))
		b.SetVec(k, y[i])
	}
	var lu mat.LU
	lu.Factorize(a)
	var solved mat.VecDense
	if err := lu.SolveVecTo(&solved, false, b); err != nil || lu.Cond() > 1e12 {
		return nil, false
	}
	return solved.RawVector().Data, true
}

// sRefine reweights, with one step of the scale each time, until the coefficients
// change by less than a share of their size, at most so many times.
func sRefine(x *mat.Dense, y []float64, f sFit, steps int, stop float64) (sFit, bool) {
	for range steps {
		if f.exact() {
			f.scale = 0
			return f, true
		}
		scale := f.scale * math.Sqrt(rhoSum(f.residuals, f.scale)/f.half())
		b, ok := leastSquares(x, y, bisquareWeights(f.residuals, sTuning*scale))
		if !ok {
			return f, false
		}
		change := relativeChange(b, f.coefficients)
		f = newSFit(x, y, b)
		f.scale = scale
		if change < stop {
			break
		}
	}
	return f, true
}

// sScale returns the scale of residuals that are not all but few 0. From any value
// above it the steps go down to it.
func sScale(f sFit) float64 {
	s := 0.0
	for _, e := range f.residuals {
		s = max(s, math.Abs(e))
	}
	for range mostSteps {
		next := s * math.Sqrt(rhoSum(f.residuals, s)/f.half())
		if math.Abs(next-s) <= 1e-12*s {
			return next
		}
		s = next
	}
	return s
}

// rhoSum returns the sum of rho over residuals with scale s.
func rhoSum(r []float64, s float64) float64 {
	sum := 0.0
	for _, e := range r {
		u := e / (sTuning * s)
		if math.Abs(u) >= 1 {
			sum++
			continue
		}
		v := 1 - u*u
		sum += 1 - v*v*v
	}
	return sum
}

func bisquareWeights(r []float64, reach float64) []float64 {
	weights := make([]float64, len(r))
	for i, e := range r {
		weights[i] = BisquareWeight(e, reach)
	}
	return weights
}

// mEstimate reweights from the S-estimate, with its scale, until the coefficients
// change by less than a share of their size. The weights are those of the answer.
func mEstimate(x *mat.Dense, y []float64, start sFit, stop float64) (RobustRegression, bool) {
	out := RobustRegression{Coefficients: start.coefficients, Scale: start.scale}
	reach := mTuning * start.scale
	for step := 0; step < mostSteps && !out.Converged; step++ {
		b, ok := leastSquares(x, y, bisquareWeights(residuals(x, y, out.Coefficients), reach))
		if !ok {
			return RobustRegression{}, false
		}
		out.Converged = relativeChange(b, out.Coefficients) < stop
		out.Coefficients = b
	}
	out.Weights = bisquareWeights(residuals(x, y, out.Coefficients), reach)
	return out, true
}

// exactFit returns the fit through the rows that lie on the candidate.
func exactFit(x *mat.Dense, y []float64, f sFit) (RobustRegression, bool) {
	out := RobustRegression{Weights: make([]float64, len(y)), Converged: true}
	for i, e := range f.residuals {
		if e == 0 {
			out.Weights[i] = 1
		}
	}
	b, ok := leastSquares(x, y, out.Weights)
	out.Coefficients = b
	return out, ok
}
