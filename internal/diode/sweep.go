package diode

import "math"

// A Point is one measured point of a current-voltage sweep.
type Point struct {
	VoltageV float64
	CurrentA float64
}

const (
	// ErrTooFewPoints says that a sweep, or one of its regions, cannot carry a fit.
	ErrTooFewPoints Fault = "sweep has too few points"
	// ErrNotRising says that the voltage of a sweep falls from one point to the next.
	ErrNotRising Fault = "sweep voltage does not rise"
	// ErrNotFinite says that a sweep contains a NaN or an infinity.
	ErrNotFinite Fault = "sweep contains a value that is no number"
	// ErrNoShortCircuit says that a sweep starts too far from 0 V.
	ErrNoShortCircuit Fault = "sweep does not reach short circuit"
	// ErrNoOpenCircuit says that a sweep ends too far from 0 A.
	ErrNoOpenCircuit Fault = "sweep does not reach open circuit"
	// ErrNoMaximum says that no maximum of power lies inside a sweep.
	ErrNoMaximum Fault = "sweep has no maximum of power inside"
)

// A SweepError is a Fault and where in the sweep it shows.
type SweepError struct {
	Fault Fault
	Point int // index of the first point concerned, or the number of points
}

// Error returns the sentence of the fault.
func (e *SweepError) Error() string { return e.Fault.Error() }

// Unwrap returns the fault, for errors.Is.
func (e *SweepError) Unwrap() error { return e.Fault }

// An Estimate is a value with its standard uncertainty from the scatter of the
// points, k = 1. What all points share, as a meter's calibration, is not in it.
type Estimate struct {
	Value, U float64
	// Freedom is the degrees of freedom of U: with 5 of them, U holds the truth in
	// 64 % of cases and 2*U in 90 %, by Student's t.
	Freedom int
}

// A SweepResult is what a measured curve says of a panel.
type SweepResult struct {
	ShortCircuitA Estimate
	OpenCircuitV  Estimate
	MaximumW      Estimate
	MaximumV      Estimate // voltage of the maximum; far less certain than the power
	// OpenSlopeOhm is -dV/dI at open circuit, the series resistance and the
	// differential resistance of the junctions together.
	OpenSlopeOhm Estimate
	// LeftOut are the indices, ascending, of points that do not belong to the curve, as
	// dropped samples and spikes do not. They have no part in the estimates.
	LeftOut []int
}

const (
	fewestPoints   = 12
	fewestInRegion = 4
	shortRegion    = 0.4  // of Voc: the flat part of the curve
	longestGap     = 0.15 // of Voc or Isc: farther is extrapolation
	openRegion     = 0.93 // of the flat part's current
	peakRegion     = 0.80 // of the highest power
	peakDegree     = 3
	shortDegree    = 1
	guideTerms     = 1 // of the guide's five: with it 1000 noisy sweeps are covered as t promises
)

// ReadSweep returns short-circuit current, open-circuit voltage, maximum power and
// the slope at open circuit of a sweep of at least 12 points (30 or more are
// better) in rising order of voltage, equal ones allowed, from near 0 V to near 0 A.
// Isc is that of a line through the points below 0.4 Voc. Voc and the slope come from
// voltage as a logarithm and a line in current, below 0.93 of that line. Power,
// above 0.8 of the highest, is that of the same curve and a cubic in voltage
// fitted to the rest. A point that is far off the other points of its region is left
// out, see SweepResult. Uncertainties are those of the fit, with the residual scatter of its own
// points.
//
// Error: without noise 1e-5 relative for Isc, Voc and maximum power of an exact
// single-diode curve with 30 points or more. A fit needs light that was steady
// during the sweep.
//
// Errors are a *SweepError around one of the Faults above.
//
// Source: the regions are ours, near those of IEC 60904-1's advice to fit
// points around each quantity (from memory); uncertainties JCGM 100:2008, H.3.
func ReadSweep(points []Point) (SweepResult, error) {
	if err := checkSweep(points); err != nil {
		return SweepResult{}, err
	}
	var result SweepResult
	left := leaveOut(points, points[0].CurrentA, flatRegion(points))
	flat, err := result.readShort(left)
	if err != nil {
		return SweepResult{}, err
	}
	left = leaveOut(left, points[len(points)-1].VoltageV, openRegionOf(flat))
	open, err := result.readOpen(left, flat)
	if err != nil {
		return SweepResult{}, err
	}
	guide := newGuide(flat, open)
	if _, top := topOf(left); top > 0 {
		left = leaveOut(left, top, peakRegionOf(left, guide))
	}
	if err := result.readMaximum(left, guide); err != nil {
		return SweepResult{}, err
	}
	result.LeftOut = missing(points, left)
	return result, nil
}

// flatRegion is that of a line of current in voltage.
func flatRegion(points []Point) region {
	roughV := points[len(points)-1].VoltageV
	return func(p Point) ([]float64, float64, bool) {
		return []float64{1, p.VoltageV / roughV}, p.CurrentA, math.Abs(p.VoltageV) < shortRegion*roughV
	}
}

// openRegionOf is that of V = Voc + a*ln(1 - I/F) - Rs*I, with F the flat part extended.
func openRegionOf(flat polynomial) region {
	return func(p Point) ([]float64, float64, bool) {
		f := flat.at(p.VoltageV).Value
		if !(f > 0 && p.CurrentA < openRegion*f) {
			return nil, 0, false
		}
		return []float64{1, math.Log1p(-p.CurrentA / f), -p.CurrentA}, p.VoltageV, true
	}
}

// peakRegionOf is that of a cubic in voltage about the highest power, for what the
// power differs from the guide's.
func peakRegionOf(points []Point, guide guide) region {
	k, top := topOf(points)
	return func(p Point) ([]float64, float64, bool) {
		z := 5 * (p.VoltageV/points[k].VoltageV - 1) // the region is about -1 to 1
		power := p.VoltageV * p.CurrentA
		return []float64{1, z, z * z, z * z * z}, power - guide.powerW(p.VoltageV), power >= peakRegion*top
	}
}

// topOf returns the first point of the highest power, and that.
func topOf(points []Point) (k int, powerW float64) {
	for i, p := range points {
		if p.VoltageV*p.CurrentA > points[k].VoltageV*points[k].CurrentA {
			k = i
		}
	}
	return k, points[k].VoltageV * points[k].CurrentA
}

func checkSweep(points []Point) error {
	for k, p := range points {
		if bad := p.VoltageV + p.CurrentA; math.IsNaN(bad) || math.IsInf(bad, 0) {
			return &SweepError{ErrNotFinite, k}
		}
		if k > 0 && p.VoltageV < points[k-1].VoltageV {
			return &SweepError{ErrNotRising, k}
		}
	}
	last := len(points) - 1
	switch {
	case len(points) < fewestPoints:
		return &SweepError{ErrTooFewPoints, len(points)}
	case !(points[0].CurrentA > 0 && points[last].VoltageV > 0):
		return &SweepError{ErrNoShortCircuit, 0}
	case math.Abs(points[0].VoltageV) > longestGap*points[last].VoltageV:
		return &SweepError{ErrNoShortCircuit, 0}
	case points[last].CurrentA > longestGap*points[0].CurrentA:
		return &SweepError{ErrNoOpenCircuit, last}
	}
	return nil
}

// readShort fits the flat part and returns it.
func (s *SweepResult) readShort(points []Point) (polynomial, error) {
	roughV := points[len(points)-1].VoltageV
	flat, err := fitWhere(points, shortDegree, func(p Point) (x, y float64, in bool) {
		return p.VoltageV, p.CurrentA, math.Abs(p.VoltageV) < shortRegion*roughV
	})
	if err != nil {
		return flat, err
	}
	s.ShortCircuitA = flat.at(0)
	if !(s.ShortCircuitA.Value > 0) {
		return flat, &SweepError{ErrNoShortCircuit, 0}
	}
	return flat, nil
}

// readOpen fits V = Voc + a*ln(1 - I/F) - Rs*I, with F the flat part extended: the
// single-diode equation solved for V. Noise of the current moves V by the local
// slope, so a second pass weighs each point by the slope that the first one found.
func (s *SweepResult) readOpen(points []Point, flat polynomial) (fitted, error) {
	var rows [][]float64
	var volts []float64
	in := openRegionOf(flat)
	for _, p := range points {
		if row, v, ok := in(p); ok {
			rows, volts = append(rows, row), append(volts, v)
		}
	}
	if len(rows) < fewestInRegion {
		return fitted{}, &SweepError{ErrTooFewPoints, len(rows)}
	}
	fit, ok := leastSquares(rows, volts, nil)
	if !ok {
		return fitted{}, &SweepError{ErrTooFewPoints, len(rows)}
	}
	weighted, ok := leastSquares(rows, volts, fit.currentWeights(rows, flat.at(fit.coefficients[0]).Value))
	if ok {
		fit = weighted
	}
	open := fit.combine([]float64{1, 0, 0})
	if !(open.Value > 0) {
		return fitted{}, &SweepError{ErrNoOpenCircuit, len(points) - 1}
	}
	s.OpenCircuitV = open
	s.OpenSlopeOhm = fit.combine([]float64{0, 1 / flat.at(open.Value).Value, 1})
	return fit, nil
}

// currentWeights returns 1/(dV/dI) at each point of an open-circuit fit, relative.
func (f fitted) currentWeights(rows [][]float64, flatA float64) []float64 {
	diodeV, seriesOhm := math.Max(f.coefficients[1], 1e-9), math.Max(f.coefficients[2], 0)
	weights := make([]float64, len(rows))
	for k, row := range rows {
		weights[k] = 1 / (diodeV*math.Exp(-row[1]) + seriesOhm*math.Abs(flatA))
	}
	return weights
}

// readMaximum fits what the power differs from that of the guide, and maximises
// the sum. The guide's own errors are smooth, so the fit takes them up.
func (s *SweepResult) readMaximum(points []Point, guide guide) error {
	top, highestW := topOf(points)
	if top == 0 || top == len(points)-1 {
		return &SweepError{ErrNoMaximum, top}
	}
	least := peakRegion * highestW
	fit, err := fitWhere(points, peakDegree, func(p Point) (x, y float64, in bool) {
		return p.VoltageV, p.VoltageV*p.CurrentA - guide.powerW(p.VoltageV), p.VoltageV*p.CurrentA >= least
	})
	if err != nil {
		return err
	}
	power := func(v float64) float64 { return guide.powerW(v) + fit.at(v).Value }
	if !fit.spend(guideTerms) {
		return &SweepError{ErrTooFewPoints, len(points)}
	}
	v, ok := peakOf(power, fit.low, fit.high)
	if !ok {
		return &SweepError{ErrNoMaximum, top}
	}
	step := (fit.high - fit.low) / 50
	bend := (power(v+step) - 2*power(v) + power(v-step)) / (step * step)
	s.MaximumW = fit.at(v)
	s.MaximumW.Value += guide.powerW(v)
	s.MaximumV = Estimate{v, fit.slope(v).U / math.Abs(bend), fit.freedom}
	if math.IsInf(s.MaximumV.U, 0) || math.IsNaN(s.MaximumV.U) {
		return &SweepError{ErrNoMaximum, top}
	}
	return nil
}

// A guide is the single-diode curve through the flat part and the open-circuit fit.
type guide struct {
	flat                     polynomial
	openV, diodeV, seriesOhm float64
}

func newGuide(flat polynomial, open fitted) guide {
	openV := open.coefficients[0]
	return guide{flat, openV, math.Max(open.coefficients[1], openV/300), math.Max(open.coefficients[2], 0)}
}

func (g guide) powerW(voltageV float64) float64 {
	flatA := math.Max(0, g.flat.at(voltageV).Value)
	saturationA := flatA * math.Exp(-g.openV/g.diodeV)
	if saturationA <= 0 {
		return 0
	}
	c := Curve{math.Max(0, flatA-saturationA), saturationA, g.seriesOhm, math.Inf(1), g.diodeV}
	return voltageV * c.CurrentA(voltageV)
}

// SeriesOhm returns the series resistance in ohm behind the slope at open circuit,
// less the junctions' a/Isc, with the uncertainty of the slope alone. diodeV is a =
// n*Nc*k*T/q at the cells' temperature. It may come out negative where n was
// taken too large.
//
// Error: 5 % of a/Isc from the shunt and from the curvature, on top of U.
//
// Source: derivative of the single-diode equation at open circuit,
// dV/dI = -(Rs + a/(IL + I0)) for a large shunt.
func (s SweepResult) SeriesOhm(diodeV float64) Estimate {
	return Estimate{s.OpenSlopeOhm.Value - diodeV/s.ShortCircuitA.Value, s.OpenSlopeOhm.U, s.OpenSlopeOhm.Freedom}
}
