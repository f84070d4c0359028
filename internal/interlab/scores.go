package interlab

import "math"

// A Participation is one tester's result beside the assigned value, in one unit.
type Participation struct {
	Result   float64 // x
	Assigned float64 // X
	Fitness  float64 // sigma_pt, the standard deviation that is good enough
	U        float64 // standard uncertainty that the tester claims for x
	UX       float64 // standard uncertainty of X
}

// Z returns (x - X)/sigma_pt. By custom |z| >= 2 is a warning, >= 3 asks for action.
//
// Source: ISO 13528:2015, 9.4.
func (p Participation) Z() float64 {
	return (p.Result - p.Assigned) / p.Fitness
}

// ZPrime returns (x - X)/sqrt(sigma_pt^2 + u_X^2), which is fair to the tester
// where the assigned value is itself uncertain.
//
// Source: ISO 13528:2015, 9.5.
func (p Participation) ZPrime() float64 {
	return (p.Result - p.Assigned) / math.Hypot(p.Fitness, p.UX)
}

// Zeta returns (x - X)/sqrt(u_x^2 + u_X^2): whether the claimed uncertainty holds.
//
// Source: ISO 13528:2015, 9.6.
func (p Participation) Zeta() float64 {
	return (p.Result - p.Assigned) / math.Hypot(p.U, p.UX)
}

// En returns (x - X)/sqrt(U_x^2 + U_X^2), U = 2u the expanded uncertainties; |En|
// above 1 is a result outside its own claim.
//
// Source: ISO 13528:2015, 9.7.
func (p Participation) En() float64 {
	return p.Zeta() / 2
}

// A Bracketed reading was taken between two readings of a control, all on the
// scale on which differences count (for ratios: logarithms).
type Bracketed struct {
	Value, U         float64 // the candidate and its standard uncertainty
	Minutes          float64 // when it was read
	Before, UBefore  float64 // the control before
	BeforeMinutes    float64
	After, UAfter    float64 // the control after
	AfterMinutes     float64
	WanderingBetween bool // add (after-before)^2 lambda(1-lambda)/3 for wandering
}

// Contrast returns the candidate less the control at the candidate's time, and its
// standard uncertainty:
//
//	lambda = (t-t0)/(t1-t0),   control = (1-lambda) a0 + lambda a1
//	u^2 = u_y^2 + (1-lambda)^2 u0^2 + lambda^2 u1^2 (+ wandering)
//
// NaN where the control was read twice at one time or the candidate not between.
//
// Source: interpolation between brackets, common practice in calibration; the
// allowance for wandering is common practice without a source.
func (b Bracketed) Contrast() (value, u float64) {
	lambda := (b.Minutes - b.BeforeMinutes) / (b.AfterMinutes - b.BeforeMinutes)
	if !(lambda >= 0 && lambda <= 1) {
		return math.NaN(), math.NaN()
	}
	control := (1-lambda)*b.Before + lambda*b.After
	v := b.U*b.U + (1-lambda)*(1-lambda)*b.UBefore*b.UBefore + lambda*lambda*b.UAfter*b.UAfter
	if b.WanderingBetween {
		d := b.After - b.Before
		v += d * d * lambda * (1 - lambda) / 3
	}
	return b.Value - control, math.Sqrt(v)
}

// A Prediction is a normal distribution: what a label says a value should be.
type Prediction struct {
	Mean, SD float64
}

// LogLikelihoodRatio returns ln of how many times more likely a value is under
// another label than under the claimed one; positive speaks for the other. Its
// exponential above 1000 is a sign of a swapped label (common practice, no source).
//
// Source: the ratio of two normal densities.
func LogLikelihoodRatio(value float64, claimed, other Prediction) float64 {
	return other.logDensity(value) - claimed.logDensity(value)
}

// logDensity returns the logarithm of the density, less the constant ln sqrt(2 pi).
func (p Prediction) logDensity(x float64) float64 {
	z := (x - p.Mean) / p.SD
	return -z*z/2 - math.Log(p.SD)
}
