// Package seedrand is the house's one source of chance: numbers that look random
// and are wholly decided by a seed, so that a ranking computed twice from the
// same sessions is the same to the last digit.
//
// A Stream counts up by a fixed odd step and scrambles the counter (SplitMix64);
// each step of the 2^64 is reached once before any repeats. Uniforms take the
// upper 53 bits, normals come from one uniform each through the inverse of the
// normal distribution function, so that the n-th normal of a seed is known
// without those before it having been drawn in any particular way.
//
// Sources: G. L. Steele, D. Lea, C. H. Flood, Fast splittable pseudorandom number
// generators, OOPSLA 2014, figure 17 with the mixing constants of variant 13 of
// D. Stafford. M. J. Wichura, Algorithm AS 241: the percentage points of the
// normal distribution, Applied Statistics 37 (1988) 477-484, routine PPND16.
//
// Not covered: secrets. Whoever sees two outputs knows all others; keys and
// tokens come from crypto/rand.
package seedrand
