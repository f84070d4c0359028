package budget

import "math"

// Distribution is the shape of what is believed about an input.
type Distribution uint8

// The distributions of an input.
const (
	Normal      Distribution = iota // Width is one standard deviation
	Rectangular                     // Width is the half-width
	Triangular                      // Width is the half-width
)

// An Input is one quantity of the measurement model with what is known of it.
type Input struct {
	Name             string
	Value            float64 // the expectation of its distribution
	Width            float64 // in the unit of Value, meaning by Distribution
	Distribution     Distribution
	Scope            Scope
	DegreesOfFreedom float64 // +Inf for a hard bound
}

// Standard returns the standard uncertainty of the input: the width of a normal,
// width/sqrt(3) of a rectangular, width/sqrt(6) of a triangular distribution.
// An unknown distribution gives NaN.
//
// Source: JCGM 100:2008, 4.3.7 and 4.3.9.
func (in Input) Standard() float64 {
	switch in.Distribution {
	case Normal:
		return in.Width
	case Rectangular:
		return in.Width / math.Sqrt(3)
	case Triangular:
		return in.Width / math.Sqrt(6)
	}
	return math.NaN()
}

// OfDisplay returns the standard uncertainty that a display of the given step
// leaves: step/(2 sqrt 3).
//
// Source: JCGM 100:2008, F.2.2.1.
func OfDisplay(step float64) float64 {
	return step / (2 * math.Sqrt(3))
}

// Typical degrees of freedom: a class default is itself known to 25 %, a
// certificate to 10 %; a hard bound is certain.
//
// Source: JCGM 100:2008, G.4.2, nu = 1/(2 (du/u)^2).
const (
	ClassDegreesOfFreedom       = 8
	CertificateDegreesOfFreedom = 50
)

// Certain returns the degrees of freedom of a hard bound, +Inf.
func Certain() float64 { return math.Inf(1) }

// Half returns the contribution of an input from the result with that input
// moved up by its standard uncertainty and the result with it moved down:
// (up-down)/2. It is exact for a model quadratic in the input.
//
// Source: JCGM 100:2008, 5.1.3 note 2.
func Half(up, down float64) float64 {
	return (up - down) / 2
}

// HalfLogarithm returns the contribution of an input to the logarithm of the
// result, ln(up/down)/2: a relative contribution. It is exact for a model that
// is a power of the input.
func HalfLogarithm(up, down float64) float64 {
	return math.Log(up/down) / 2
}

// Evaluate fills the budget with the value of f at the inputs' values and one
// part an input, by the differences of Half. f gets the inputs' values in order,
// in a slice that it must not keep or change. More than MaxParts inputs make a
// budget that answers NaN.
//
// Nothing is allocated when b is reused.
func (b *Budget) Evaluate(f func(x []float64) float64, inputs []Input) {
	b.evaluate(f, inputs, func(_, up, down float64) float64 { return Half(up, down) })
}

// EvaluateLogarithm is Evaluate with the parts taken on the logarithm of f, by
// HalfLogarithm, and times the value: for results that are to be compared by
// their ratio, see Contrast. f must be positive around the inputs' values; NaN
// where it is not. The two differ in third order, by 0.3 % for a part of 6 %.
func (b *Budget) EvaluateLogarithm(f func(x []float64) float64, inputs []Input) {
	b.evaluate(f, inputs, func(value, up, down float64) float64 { return value * HalfLogarithm(up, down) })
}

func (b *Budget) evaluate(f func(x []float64) float64, inputs []Input, part func(value, up, down float64) float64) {
	if len(inputs) > MaxParts {
		b.Reset(math.NaN())
		b.n = len(inputs)
		return
	}
	x := b.scratch[:len(inputs)]
	for i := range inputs {
		x[i] = inputs[i].Value
	}
	b.Reset(f(x))
	for i := range inputs {
		in := &inputs[i]
		u := in.Standard()
		x[i] = in.Value + u
		up := f(x)
		x[i] = in.Value - u
		down := f(x)
		x[i] = in.Value
		b.Add(in.Name, in.Scope, part(b.value, up, down), in.DegreesOfFreedom)
	}
}
