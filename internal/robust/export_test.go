package robust

import (
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
