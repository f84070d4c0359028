package budget_test

import (
	"math"
	"slices"

	"evensun/internal/budget"
)

// A distribution is the shape of what is believed about an input.
type distribution uint8

const (
	normal      distribution = iota // width is one standard deviation
	rectangular                     // width is the half-width
	triangular                      // width is the half-width
)

// An input is one quantity of a measurement model with what is known of it.
type input struct {
	name             string
	value, width     float64
	distribution     distribution
	scope            budget.Scope
	degreesOfFreedom float64
}

// standard is the standard uncertainty of the input (JCGM 100:2008, 4.3.7 and 4.3.9).
func (in input) standard() float64 {
	switch in.distribution {
	case rectangular:
		return in.width / math.Sqrt(3)
	case triangular:
		return in.width / math.Sqrt(6)
	}
	return in.width
}

// addRelative adds a part given as a share of the result, as 0.012 for 1.2 %.
func addRelative(b *budget.Budget, name string, scope budget.Scope, share, degreesOfFreedom float64) {
	b.Add(name, scope, share*b.Combine(false).Value, degreesOfFreedom)
}

// evaluate fills the budget with the value of f at the inputs and one part an input.
func evaluate(b *budget.Budget, f func(x []float64) float64, inputs []input) float64 {
	x := make([]float64, len(inputs))
	for i := range inputs {
		x[i] = inputs[i].value
	}
	value := f(x)
	b.Reset(value)
	for i, in := range inputs {
		b.Move(in.name, in.scope, in.degreesOfFreedom, &x[i], in.standard(), func() float64 { return f(x) })
	}
	return value
}

// evaluateLogarithm is evaluate with the parts taken on the logarithm of f and times the
// value, as the reference takes those of a ratio.
func evaluateLogarithm(b *budget.Budget, f func(x []float64) float64, inputs []input) float64 {
	var logarithms budget.Budget
	evaluate(&logarithms, func(x []float64) float64 { return math.Log(f(x)) }, inputs)
	value := evaluate(new(budget.Budget), f, inputs)
	b.Reset(value)
	for _, p := range logarithms.Parts() {
		b.Add(p.Name, p.Scope, value*p.Contribution, p.DegreesOfFreedom)
	}
	return value
}

// A sample summarises a Monte Carlo run.
type sample struct {
	Mean     float64
	Median   float64
	Standard float64
	Lower    float64 // ends of the probabilistically symmetric 95 % interval
	Upper    float64
}

// monteCarlo draws every input from its distribution trials times and returns
// what f makes of them. The random numbers are one SplitMix64 stream from seed,
// the inputs in order, all trials of one input before the next, so that another
// program can reproduce every digit. It is the check on Combine, too slow for
// every reading; fewer than 40 trials give NaN.
//
// Error: of order Standard/sqrt(trials) in the mean, three times that in the
// ends.
//
// Source: JCGM 101:2008, 7.2 to 7.7.
func monteCarlo(f func(x []float64) float64, inputs []input, seed uint64, trials int) sample {
	if trials < 40 {
		nan := math.NaN()
		return sample{nan, nan, nan, nan, nan}
	}
	streams := streamsOf(inputs, seed, trials)
	x := make([]float64, len(inputs))
	results := make([]float64, trials)
	for t := range results {
		for i := range inputs {
			x[i] = streams[i].draw(inputs[i])
		}
		results[t] = f(x)
	}
	return summarise(results)
}

func summarise(results []float64) sample {
	mean := meanOf(results)
	var squares float64
	for _, y := range results {
		squares += (y - mean) * (y - mean)
	}
	slices.Sort(results)
	n := len(results)
	q := int(0.95*float64(n) + 0.5)
	r := (n - q) / 2
	return sample{
		Mean: mean, Median: (results[(n-1)/2] + results[n/2]) / 2,
		Standard: math.Sqrt(squares / float64(n-1)),
		Lower:    results[r-1], Upper: results[r+q-1],
	}
}

func meanOf(y []float64) float64 {
	var sum float64
	for _, v := range y {
		sum += v - y[0]
	}
	return y[0] + sum/float64(len(y))
}

// A splitMix is a SplitMix64 generator.
type splitMix uint64

const golden = 0x9E3779B97F4A7C15

// streamsOf returns a generator an input, each placed where the one stream
// stands once all trials of the inputs before it are drawn.
func streamsOf(inputs []input, seed uint64, trials int) []splitMix {
	streams := make([]splitMix, len(inputs))
	state := seed
	for i, in := range inputs {
		streams[i] = splitMix(state)
		draws := uint64(2)
		if in.distribution == rectangular {
			draws = 1
		}
		state += golden * draws * uint64(trials)
	}
	return streams
}

func (s *splitMix) uniform() float64 {
	*s += golden
	z := uint64(*s)
	z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9
	z = (z ^ (z >> 27)) * 0x94D049BB133111EB
	z ^= z >> 31
	return float64(z>>11) * 0x1p-53
}

// draw takes one value of the input: two uniforms by Box and Muller for a
// normal, one for a rectangular, the sum of two for a triangular distribution.
func (s *splitMix) draw(in input) float64 {
	first := s.uniform()
	switch in.distribution {
	case rectangular:
		return in.value + in.width*(2*first-1)
	case triangular:
		return in.value + in.width*(first+s.uniform()-1)
	}
	return in.value + in.width*math.Sqrt(-2*math.Log(1-first))*math.Cos(2*math.Pi*s.uniform())
}
