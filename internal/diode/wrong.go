package diode

import (
	"math"

	"evensun/internal/robust"

	"gonum.org/v1/gonum/mat"
)

// When a point of a sweep is wrong, a dropped sample or a spike (common practice, no
// source). Noise of 0.4 % a point, as good meters show, is far inside.
const (
	wrongShare   = 0.02 // of the region's size, at least
	wrongSpread  = 4.685061
	wrongOneIn   = 10 // of so many points one may be left out, and one of fewer
	suspectShare = wrongShare / 2
)

// A region says of a point whether it takes part in a linear fit, and with which row
// and observation.
type region func(Point) (row []float64, observed float64, in bool)

// leaveOut returns the points without those of a region that do not belong to its
// curve: farther from the MM-estimate of its fit than 2 % of size and 4.685 robust
// standard deviations. Least squares would be drawn to such a point. All points stay
// where they are too few for a verdict (2*terms + 1), where plain least squares passes
// all by within 1 %, and where more than one in ten is off: then the curve is another
// one, as under partial shade, and not a curve with wrong points.
//
// Source: package interlab, MMRegressionOf.
func leaveOut(points []Point, size float64, of region) []Point {
	var rows [][]float64
	var observed []float64
	var at []int
	for k, p := range points {
		if row, y, in := of(p); in {
			rows, observed, at = append(rows, row), append(observed, y), append(at, k)
		}
	}
	if len(rows) == 0 || len(rows) < 2*len(rows[0])+1 {
		return points
	}
	plain, ok := leastSquares(rows, observed, nil)
	if !ok || len(farFrom(plain.coefficients, rows, observed, suspectShare*size)) == 0 {
		return points
	}
	design := mat.NewDense(len(rows), len(rows[0]), nil)
	for k, row := range rows {
		design.SetRow(k, row)
	}
	robust, ok := robust.MMRegressionOf(design, observed)
	if !ok {
		return points
	}
	wrong := farFrom(robust.Coefficients, rows, observed, math.Max(wrongShare*size, wrongSpread*robust.Scale))
	if len(wrong) > max(1, len(rows)/wrongOneIn) {
		return points
	}
	return without(points, at, wrong)
}

// farFrom returns the rows whose observation is more than a distance from the fit.
func farFrom(coefficients []float64, rows [][]float64, observed []float64, distance float64) []int {
	var far []int
	for k, row := range rows {
		off := observed[k]
		for j, x := range row {
			off -= coefficients[j] * x
		}
		if math.Abs(off) > distance {
			far = append(far, k)
		}
	}
	return far
}

// without returns the points but those at the places of the wrong rows, ascending.
func without(points []Point, at, wrong []int) []Point {
	if len(wrong) == 0 {
		return points
	}
	left := make([]Point, 0, len(points)-len(wrong))
	for k, p := range points {
		if len(wrong) > 0 && at[wrong[0]] == k {
			wrong = wrong[1:]
			continue
		}
		left = append(left, p)
	}
	return left
}

// missing returns the indices of the points that are not among those left, which are
// in the same order.
func missing(points, left []Point) []int {
	var out []int
	for k, p := range points {
		if len(left) > 0 && p == left[0] {
			left = left[1:]
			continue
		}
		out = append(out, k)
	}
	return out
}
