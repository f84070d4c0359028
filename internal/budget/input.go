package budget

import "math"

// Sqrt3 is the half-width of a rectangular distribution over its standard deviation.
//
// Source: JCGM 100:2008, 4.3.7.
const Sqrt3 = 1.7320508075688772

// OfDisplay returns the standard uncertainty that a display of the given step (0 or
// more, in any unit) leaves, in the unit of the step: step/(2 sqrt 3).
//
// Error: exact for a display that rounds; one that cuts off is wrong by half a step
// on top.
//
// Source: JCGM 100:2008, F.2.2.1.
func OfDisplay(step float64) float64 {
	return step / (2 * Sqrt3)
}

// Typical degrees of freedom: a class default is itself known to 25 %, a
// certificate to 10 %; a hard bound is certain.
//
// Source: JCGM 100:2008, G.4.2, nu = 1/(2 (du/u)^2).
const (
	ClassDegreesOfFreedom       = 8
	CertificateDegreesOfFreedom = 50
	CertainDegreesOfFreedom     = math.MaxFloat64 // as good as infinite, and a constant
)

// Half returns the contribution of an input, in the unit of the result, from the
// result with that input moved up by its standard uncertainty and the result with it
// moved down: (up-down)/2.
//
// Error: none for a model quadratic in the input, else of third order.
//
// Source: JCGM 100:2008, 5.1.3 note 2.
func Half(up, down float64) float64 {
	return (up - down) / 2
}

// Move adds the part of one input x of a measurement model: half of what the model
// does when x goes up and down by its standard uncertainty u. Afterwards x is what it
// was. An input of uncertainty 0 has no part.
//
// Error: that of Half.
//
// Source: JCGM 100:2008, 5.1.3 note 2.
func (b *Budget) Move(name string, scope Scope, degreesOfFreedom float64, x *float64, u float64, model func() float64) {
	if u == 0 {
		return
	}
	estimate := *x
	*x = estimate + u
	up := model()
	*x = estimate - u
	down := model()
	*x = estimate
	b.Add(name, scope, Half(up, down), degreesOfFreedom)
}
