package limits

import "math"

// A Range is the span of a plausible value: outside Low to High it is doubted.
type Range struct {
	Low, High Bounds
}

// Outside returns the severity for x, the limit it breaks and the relation that
// should hold ("<=" or ">=").
func (r Range) Outside(x float64) (s Severity, limit float64, relation string) {
	s, limit = r.High.Above(x)
	low, lowLimit := r.Low.Below(x)
	if low > s {
		return low, lowLimit, ">="
	}
	return s, limit, "<="
}

// CellTemperature returns the limits in C of a measured cell temperature: never
// above 110 or below -40; held outside
//
//	Ta - 5 - 2u  to  Ta + 1.2 G exp(-2.81 - 0.0455 W) + 2u + 3
//
// and, once the panel has lain in the sun for 5 minutes, below
// Ta + 0.3 G exp(-3.56 - 0.0750 W) - 2u. poaHighWM2 and poaLowWM2 are the highest
// and lowest irradiance G in W/m2 (the measured one for both; poaLowWM2 NaN: not
// known), windMS W missing: 0 above, 10 below; airC missing: only the first pair.
//
// Source: D. King et al., SAND2004-3535, eq. 11, insulated back and open rack;
// the factors 1.2 and 0.3 are common practice, no source.
func CellTemperature(airC, poaHighWM2, poaLowWM2, windMS, uCellK, warmUpMin float64) Range {
	nan := math.NaN()
	r := Range{Low: Bounds{nan, nan, -40}, High: Bounds{nan, nan, 110}}
	if !Given(airC) {
		return r
	}
	r.High.Hold = airC + 1.2*poaHighWM2*math.Exp(-2.81-0.0455*or(windMS, 0)) + 2*uCellK + 3
	r.Low.Hold = airC - 5 - 2*uCellK
	if warmUpMin >= 5 && Given(poaLowWM2) {
		r.Low.Hold = max(r.Low.Hold, airC+0.3*poaLowWM2*math.Exp(-3.56-0.0750*or(windMS, 10))-2*uCellK)
	}
	return r
}

// AirTemperature returns the limits in C: hold outside -40 to 50, reject outside
// -60 to 60.
func AirTemperature() Range {
	return Range{Low: Bounds{math.NaN(), -40, -60}, High: Bounds{math.NaN(), 50, 60}}
}

// WindSpeed returns the limits in m/s: reject below 0 or above 75, hold above 17
// (no folding panel stands in a gale).
func WindSpeed() Range {
	return Range{Low: Bounds{math.NaN(), math.NaN(), 0}, High: Bounds{math.NaN(), 17, 75}}
}

// ThermalTransient returns the standard uncertainty in K to add in quadrature to
// the cell temperature: 5 when the panel has lain in the sun for less than 5
// minutes or its temperature moves by more than 1 K/min, 3 when the warm-up is
// not stated, else 0. Short of rest is a note; a warm-up that nobody stated is not: the
// uncertainty carries it.
//
// Source: common practice, no source.
func ThermalTransient(warmUpMin, rateKPerMin float64) (addedK float64, s Severity) {
	switch {
	case warmUpMin < 5, math.Abs(rateKPerMin) > 1:
		return 5, Note
	case !Given(warmUpMin):
		return 3, OK
	}
	return 0, OK
}
