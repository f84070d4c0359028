package interlab

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// MMFromRows returns the MM-estimate that starts from the fit through some rows, each
// of its two iterations ended by a relative change of the coefficients.
func MMFromRows(x *mat.Dense, y []float64, rows []int, stop float64) (RobustRegression, bool) {
	f, ok := sStart(x, y, rows)
	if !ok {
		return RobustRegression{}, false
	}
	f.scale = sScale(f)
	if f, ok = sRefine(x, y, f, mostSteps, stop); !ok {
		return RobustRegression{}, false
	}
	return mEstimate(x, y, f, stop)
}

// MCDFromRows returns the estimate whose half comes from the best of some starts,
// each concentrated to the end, and the logarithm of the determinant of its covariance.
func MCDFromRows(x *mat.Dense, starts ...[]int) (MCD, float64) {
	n, p := x.Dims()
	spread := spreads(x)
	best := half{logDet: math.Inf(1)}
	for _, rows := range starts {
		if c := concentrate(x, spread, rows, (n+p+1)/2, mostSteps); c.logDet < best.logDet {
			best = c
		}
	}
	out, _ := aroundHalf(x, spread, best.rows)
	return out, best.logDet
}
