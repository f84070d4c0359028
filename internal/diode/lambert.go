package diode

import "math"

// Euler's number in two parts, for e*x + 1 without cancellation near the branch point.
const (
	eulerHigh = math.E
	eulerLow  = 1.4456468917292502e-16 // e minus the float64 nearest to it
)

// LambertW returns the principal branch W0 of the Lambert function, the w >= -1
// that solves
//
//	w*exp(w) = x
//
// x from -1/e to infinity; below -1/e and for NaN the result is NaN.
//
// Error: 1e-14 relative, save within 1e-6 of the branch point at -1/e, where the
// function itself is ill-conditioned and the error is absolute.
//
// Source: R. Corless et al., On the Lambert W function, Advances in
// Computational Mathematics 5 (1996) 329-359, eqs. 4.11 to 4.20 and 5.9 (Halley).
func LambertW(x float64) float64 {
	switch {
	case x == 0 || math.IsNaN(x) || math.IsInf(x, 1):
		return x
	case x > math.E:
		return LambertWExp(math.Log(x))
	case x >= -0.25:
		return halley(x, math.Log1p(x)*(1-0.3*x/(1+math.Abs(x))))
	}
	q := math.FMA(x, eulerHigh, 1) + x*eulerLow
	if q < -1e-15 {
		return math.NaN()
	}
	p := math.Sqrt(2 * math.Max(q, 0))
	near := -1 + p*(1+p*(-1./3+p*(11./72+p*(-43./540+p*(769./17280+p*(-221./8505+p*680863./43545600))))))
	if p < 0.01 {
		return near
	}
	return halley(x, near)
}

// LambertWExp returns W(exp(y)), the w > 0 that solves
//
//	w + ln w = y
//
// without ever forming exp(y), which overflows at y of 709: the diode equation
// of a panel with a good shunt reaches y of 10^5. y is any number; NaN gives NaN.
//
// Error: 1e-14 relative.
//
// Source: F. Fritsch, R. Shafer, W. Crowley, Algorithm 443, Communications of
// the ACM 16 (1973) 123-124, the fourth-order step.
func LambertWExp(y float64) float64 {
	switch {
	case math.IsNaN(y) || math.IsInf(y, 1):
		return y
	case y < -1:
		x := math.Exp(y)
		return halley(x, x*(1-x))
	}
	w := math.Log1p(math.Exp(math.Min(y, 2)))
	if y > 2 {
		w = y - math.Log(y)
	}
	for range 8 {
		z := y - w - math.Log(w)
		q := 2 * (1 + w) * (1 + w + 2*z/3)
		step := z / (1 + w) * (q - z) / (q - 2*z)
		w += w * step
		if math.Abs(step) < 1e-4 { // the next step would be its fourth power
			break
		}
	}
	return w
}

// halley refines a start value of W(x) for x of moderate size.
func halley(x, w float64) float64 {
	for range 20 {
		e := math.Exp(w)
		f := w*e - x
		if f == 0 {
			break
		}
		step := f / (e*(w+1) - (w+2)*f/(2*w+2))
		w -= step
		if math.Abs(step) <= 1e-16*math.Abs(w)+1e-300 {
			break
		}
	}
	return w
}
