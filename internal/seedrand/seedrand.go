package seedrand

import "math"

// A Stream yields the pseudorandom numbers of one seed. The zero value is the
// stream of seed 0. It is not for use by several goroutines at once.
type Stream struct {
	state uint64
}

// New returns the stream of a seed. Streams for several purposes from one seed
// are made by XOR of the seed with a different constant for each purpose.
func New(seed uint64) *Stream {
	return &Stream{state: seed}
}

// Uint64 returns the next 64 bits.
//
// Source: Steele, Lea and Flood 2014, SplitMix64.
func (s *Stream) Uint64() uint64 {
	s.state += 0x9e3779b97f4a7c15
	z := s.state
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	return z ^ z>>31
}

// Uniform returns the next number in [0, 1), a multiple of 2^-53.
func (s *Stream) Uniform() float64 {
	return float64(s.Uint64()>>11) * 0x1p-53
}

// IntN returns the next whole number in [0, n), floor(n*u) of one uniform, and 0
// where n < 1. Numbers differ in probability by less than n*2^-53.
func (s *Stream) IntN(n int) int {
	if n < 1 {
		return 0
	}
	return int(s.Uniform() * float64(n))
}

// Normal returns the next standard normal number, the NormalQuantile of one
// uniform; a uniform of exactly 0 counts as 2^-54, so that the result is finite.
func (s *Stream) Normal() float64 {
	return NormalQuantile(max(s.Uniform(), 0x1p-54))
}

// NormalQuantile returns the x below which a standard normal number lies with
// probability p: minus infinity at 0, plus infinity at 1, NaN outside [0, 1].
//
// Error: about 1e-16 relative, as the source claims; 2e-15 is tested.
//
// Source: Wichura 1988, PPND16: three ratios of polynomials of degree 7, for
// |p - 1/2| <= 0.425, for sqrt(-ln(tail)) <= 5 and beyond.
func NormalQuantile(p float64) float64 {
	q := p - 0.5
	if math.Abs(q) <= 0.425 {
		r := 0.180625 - q*q
		return q * horner(centralTop, r) / horner(centralBottom, r)
	}
	if math.IsNaN(p) || p < 0 || p > 1 {
		return math.NaN()
	}
	tail := min(p, 1-p)
	if tail == 0 {
		return math.Copysign(math.Inf(1), q)
	}
	return math.Copysign(tailQuantile(math.Sqrt(-math.Log(tail))), q)
}

// tailQuantile returns the quantile's distance from 0, r the root of minus the
// logarithm of the tail's probability.
func tailQuantile(r float64) float64 {
	if r <= 5 {
		return horner(tailTop, r-1.6) / horner(tailBottom, r-1.6)
	}
	return horner(farTop, r-5) / horner(farBottom, r-5)
}

// horner returns sum c[k] x^k.
func horner(c [8]float64, x float64) float64 {
	sum := c[7]
	for k := 6; k >= 0; k-- {
		sum = sum*x + c[k]
	}
	return sum
}

// The coefficients of Wichura 1988, PPND16: a over b, c over d, e over f.
var (
	centralTop = [8]float64{
		3.3871328727963666080e0, 1.3314166789178437745e2, 1.9715909503065514427e3, 1.3731693765509461125e4,
		4.5921953931549871457e4, 6.7265770927008700853e4, 3.3430575583588128105e4, 2.5090809287301226727e3,
	}
	centralBottom = [8]float64{
		1, 4.2313330701600911252e1, 6.8718700749205790830e2, 5.3941960214247511077e3,
		2.1213794301586595867e4, 3.9307895800092710610e4, 2.8729085735721942674e4, 5.2264952788528545610e3,
	}
	tailTop = [8]float64{
		1.42343711074968357734e0, 4.63033784615654529590e0, 5.76949722146069140550e0, 3.64784832476320460504e0,
		1.27045825245236838258e0, 2.41780725177450611770e-1, 2.27238449892691845833e-2, 7.74545014278341407640e-4,
	}
	tailBottom = [8]float64{
		1, 2.05319162663775882187e0, 1.67638483018380384940e0, 6.89767334985100004550e-1,
		1.48103976427480074590e-1, 1.51986665636164571966e-2, 5.47593808499534494600e-4, 1.05075007164441684324e-9,
	}
	farTop = [8]float64{
		6.65790464350110377720e0, 5.46378491116411436990e0, 1.78482653991729133580e0, 2.96560571828504891230e-1,
		2.65321895265761230930e-2, 1.24266094738807843860e-3, 2.71155556874348757815e-5, 2.01033439929228813265e-7,
	}
	farBottom = [8]float64{
		1, 5.99832206555887937690e-1, 1.36929880922735805310e-1, 1.48753612908506148525e-2,
		7.86869131145613259100e-4, 1.84631831751005468180e-5, 1.42151175831644588870e-7, 2.04426310338993978564e-15,
	}
)
