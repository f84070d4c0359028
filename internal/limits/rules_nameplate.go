package limits

import "math"

// FillFactor returns Pmax/(Voc Isc), its ideal values with ideality 1 and 2/3 and
// the range it may lie in: reject below 0.25 or above the second ideal + 3u, hold
// below 0.60 or above min(0.86, first ideal + 2u). cells missing: fixed ideals
// 0.86 and 0.89 (tandem 0.90 and 0.92); uFillFactor is absolute. Thin film is held
// below 0.50 only: 9 of 52 listed thin-film nameplates lie between.
func FillFactor(set *Settings, technology Technology, pmpW, vocV, iscA, cells, cellC, uFillFactor float64) (ff, ideal, idealHighInjection float64, r Range) {
	ff = pmpW / (vocV * iscA)
	ideal, idealHighInjection = fillBounds(set, technology, vocV, cells, cellC)
	highest := set.FillHold
	if technology == PerovskiteTandem {
		highest = set.TandemFill
	}
	r.Low = Bounds{math.NaN(), 0.60, 0.25}
	if technology.ThinFilm() {
		r.Low.Hold = 0.50
	}
	r.High = Bounds{math.NaN(), min(highest, ideal+2*uFillFactor), idealHighInjection + 3*uFillFactor}
	return ff, ideal, idealHighInjection, r
}

// Efficiency returns P/(1000 A), the same less three standard uncertainties of P
// (which the limits apply to) and the limits: reject above the ceiling of the
// technology, hold above 0.25 (tandem 0.35). stcPowerW and its uW in W (missing:
// 0), areaM2 the cell area in m2, else the panel area.
func Efficiency(set *Settings, technology Technology, stcPowerW, uW, areaM2 float64) (efficiency, least float64, b Bounds) {
	efficiency = stcPowerW / (stcWM2 * areaM2)
	least = (stcPowerW - 3*or(uW, 0)) / (stcWM2 * areaM2)
	b = Bounds{math.NaN(), set.EfficiencyHold, technology.EfficiencyLimit()}
	if technology == PerovskiteTandem {
		b.Hold = set.TandemEfficiencyHold
	}
	return efficiency, least, b
}

// PowerMismatch returns abs(Pmax/(Vmp Imp) - 1), the relative rounding h that the
// printed steps explain, and the limits 0.01 + h (note), 0.03 + h (hold) and
// 0.20 + h (reject).
func PowerMismatch(pmaxW, vmpV, impA, stepW, stepV, stepA float64) (mismatch, rounding float64, b Bounds) {
	mismatch = math.Abs(pmaxW/(vmpV*impA) - 1)
	rounding = stepW/2/pmaxW + stepV/2/vmpV + stepA/2/impA
	return mismatch, rounding, Bounds{0.01 + rounding, 0.03 + rounding, 0.20 + rounding}
}

// PrintedStep returns the step in which a nameplate value is printed: the largest
// of coarsest and its tenths, down to a thousandth, that x is a multiple of.
func PrintedStep(x, coarsest float64) float64 {
	step := coarsest
	for range 3 {
		n := x / step
		if math.Abs(n-math.Round(n)) < 1e-6*math.Max(1, math.Abs(n)) {
			return step
		}
		step /= 10
	}
	return step
}

// VoltageRatio returns the range of Vmp/Voc: reject at 1 and above, hold outside
// 0.70 to 0.90 (thin film 0.63 to 0.90).
//
// Source: the span of 36139 listed nameplates.
func VoltageRatio(technology Technology) Range {
	low := 0.70
	if technology.ThinFilm() {
		low = 0.63
	}
	return orderRange(low, 0.90)
}

// CurrentRatio returns the range of Imp/Isc: reject at 1 and above, hold outside
// 0.80 to 0.99 (thin film 0.74 to 0.99).
//
// Source: the span of 36139 listed nameplates.
func CurrentRatio(technology Technology) Range {
	if technology.ThinFilm() {
		return orderRange(0.74, 0.99)
	}
	return orderRange(0.80, 0.99)
}

func orderRange(low, high float64) Range {
	belowOne := math.Nextafter(1, 0)
	return Range{Low: Bounds{math.NaN(), low, math.NaN()}, High: Bounds{math.NaN(), high, belowOne}}
}

// Coefficient names one of the three temperature coefficients of a nameplate.
type Coefficient uint8

// The coefficients.
const (
	Gamma Coefficient = iota // of Pmax
	Beta                     // of Voc
	Alpha                    // of Isc
)

// CoefficientRange returns the span of a coefficient in 1/K: any beyond 0.02, and
// a gamma or beta of zero or more, is refused; outside the span of real nameplates
// it is held.
//
// Source: the hold limits are the span of 36139 listed nameplates.
func CoefficientRange(c Coefficient) Range {
	nan := math.NaN()
	belowZero := math.Nextafter(0, -1)
	switch c {
	case Gamma:
		return Range{Bounds{nan, -0.0065, -0.02}, Bounds{nan, -0.0015, belowZero}}
	case Beta:
		return Range{Bounds{nan, -0.0060, -0.02}, Bounds{nan, -0.0017, belowZero}}
	}
	return Range{Bounds{nan, -0.0010, -0.02}, Bounds{nan, 0.0020, 0.02}}
}

// GammaAboveBeta tells whether gamma exceeds beta + 0.0003 1/K: in crystalline
// silicon the power loses at least as much with heat as the voltage. A note.
func GammaAboveBeta(gammaPerK, betaPerK float64) bool { return gammaPerK > betaPerK+0.0003 }

// CellCount judges Voc per cell in series of a crystalline panel: 0.55 to 0.761 V
// is usual. It returns that voltage, the number of cells to compute with and the
// severity: a note when half of them fits (half-cut cells counted twice), else
// with the number nearest to Voc/0.68. Never a hold: of 36139 listed nameplates 4.4 %
// state another count, and the rules use their own.
func CellCount(set *Settings, vocV, cells float64) (perCellV, use float64, s Severity) {
	perCellV = vocV / cells
	usual := func(v float64) bool { return v >= 0.55 && v <= set.VocPerCellV }
	switch {
	case usual(perCellV):
		return perCellV, cells, OK
	case usual(2 * perCellV):
		return perCellV, cells / 2, Note
	}
	return perCellV, max(1, math.Round(vocV/0.68)), Note
}

// EffectiveCells returns the number of cells in series that the rules compute
// with, NaN where the stated one is no help: for crystalline cells CellCount's, for
// others the stated one unless Voc per cell is lower than any cell's (0.50 V thin
// film, 0.60 V otherwise).
func EffectiveCells(set *Settings, technology Technology, vocV, cells float64) float64 {
	if !(cells > 0) || !(vocV > 0) {
		return math.NaN()
	}
	switch {
	case technology.Crystalline():
		_, use, _ := CellCount(set, vocV, cells)
		return use
	case technology.ThinFilm() && vocV/cells < 0.50, !technology.ThinFilm() && vocV/cells < 0.60:
		return math.NaN()
	}
	return cells
}

// CellShareRange returns the span of cell area over panel area: reject above 1,
// hold below 0.5.
func CellShareRange() Range {
	nan := math.NaN()
	return Range{Bounds{nan, 0.5, nan}, Bounds{nan, nan, 1}}
}

// ArealMassRange returns the span of mass over panel area in kg/m2, 1.5 to 20.
func ArealMassRange() Range {
	nan := math.NaN()
	return Range{Bounds{nan, 1.5, nan}, Bounds{nan, 20, nan}}
}
