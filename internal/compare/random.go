package compare

import "gonum.org/v1/gonum/stat/distuv"

// A Stream is the SplitMix64 generator: the same seed gives the same numbers on
// every machine. The zero value is the stream of seed 0.
//
// Source: G. Steele, D. Lea, C. Flood, Fast splittable pseudorandom number
// generators, OOPSLA 2014.
type Stream struct{ state uint64 }

// NewStream returns the stream of a seed.
func NewStream(seed uint64) *Stream { return &Stream{state: seed} }

// Uint64 returns the next 64 bits.
func (s *Stream) Uint64() uint64 {
	s.state += 0x9E3779B97F4A7C15
	z := s.state
	z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9
	z = (z ^ (z >> 27)) * 0x94D049BB133111EB
	return z ^ (z >> 31)
}

// Uniform returns a number in [0, 1) with 53 random bits.
func (s *Stream) Uniform() float64 { return float64(s.Uint64()>>11) * 0x1p-53 }

// Normal returns a standard normal number, the inverse distribution function at a
// uniform; a uniform of exactly 0 counts as 2^-54.
//
// Source: M. Wichura, Algorithm AS 241, Applied Statistics 37 (1988) 477-484, for
// the inverse; here gonum's, which agrees with it to about 1e-15.
func (s *Stream) Normal() float64 {
	u := s.Uniform()
	if u == 0 {
		u = 0x1p-54
	}
	return distuv.UnitNormal.Quantile(u)
}

// Purposes keep the streams of one seed apart.
const (
	purposeProbe uint64 = 0x70726f6265000001
	purposeDraw  uint64 = 0x6472617773000002
)

// blockStream returns the stream of one block of one purpose: a new session in
// another block leaves these numbers as they were.
func blockStream(seed, purpose uint64, block int) Stream {
	s := Stream{state: seed ^ purpose ^ uint64(block)*0xD1B54A32D192ED03}
	s.Uint64()
	return s
}
