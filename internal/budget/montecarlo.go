package budget

import (
	"math"
	"slices"
)

// A Sample summarises a Monte Carlo run.
type Sample struct {
	Mean     float64
	Median   float64
	Standard float64
	Lower    float64 // ends of the probabilistically symmetric 95 % interval
	Upper    float64
}

// MonteCarlo draws every input from its distribution trials times and returns
// what f makes of them. The random numbers are one SplitMix64 stream from seed,
// the inputs in order, all trials of one input before the next, so that another
// program can reproduce every digit. It is the check on Combine, too slow for
// every reading; fewer than 40 trials give NaN.
//
// Error: of order Standard/sqrt(trials) in the mean, three times that in the
// ends.
//
// Source: JCGM 101:2008, 7.2 to 7.7.
func MonteCarlo(f func(x []float64) float64, inputs []Input, seed uint64, trials int) Sample {
	if trials < 40 {
		nan := math.NaN()
		return Sample{nan, nan, nan, nan, nan}
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

func summarise(results []float64) Sample {
	mean := meanOf(results)
	var squares float64
	for _, y := range results {
		squares += (y - mean) * (y - mean)
	}
	slices.Sort(results)
	n := len(results)
	q := int(0.95*float64(n) + 0.5)
	r := (n - q) / 2
	return Sample{
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
func streamsOf(inputs []Input, seed uint64, trials int) []splitMix {
	streams := make([]splitMix, len(inputs))
	state := seed
	for i, in := range inputs {
		streams[i] = splitMix(state)
		draws := uint64(2)
		if in.Distribution == Rectangular {
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
func (s *splitMix) draw(in Input) float64 {
	first := s.uniform()
	switch in.Distribution {
	case Rectangular:
		return in.Value + in.Width*(2*first-1)
	case Triangular:
		return in.Value + in.Width*(first+s.uniform()-1)
	}
	return in.Value + in.Width*math.Sqrt(-2*math.Log(1-first))*math.Cos(2*math.Pi*s.uniform())
}
