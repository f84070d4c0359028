package interlab

import (
	"cmp"
	"math"
	"slices"
)

// TerminalDigits returns chi-square of the counts of last displayed digits against
// equal frequency, and the probability of a larger one by chance, with one degree
// of freedom less than there are digits. It needs readings that span many steps of
// the display, of which there are 100 or more. NaN for fewer than two digits or no
// reading.
//
// Source: Mosimann et al. 1995 (from memory).
func TerminalDigits(counts []int) (chi2, p float64) {
	total := 0
	for _, c := range counts {
		total += c
	}
	if len(counts) < 2 || total == 0 {
		return math.NaN(), math.NaN()
	}
	expected := float64(total) / float64(len(counts))
	for _, c := range counts {
		d := float64(c) - expected
		chi2 += d * d / expected
	}
	return chi2, ChiSquareTail(chi2, len(counts)-1)
}

// A Channel is one displayed quantity of a reading.
type Channel struct {
	Resolution float64 // step of the display
	Range      float64 // span over which its readings spread, same unit
}

// ExpectedRepeats returns the number of pairs, among pairs of readings, expected to
// show equal digits in all channels if their readings spread evenly and
// independently: pairs times the product of resolution/range, each at most 1.
// NaN where a range is not positive.
//
// Source: common practice, no source.
func ExpectedRepeats(pairs int, channels ...Channel) float64 {
	expected := float64(pairs)
	for _, c := range channels {
		if !(c.Range > 0) {
			return math.NaN()
		}
		expected *= min(1, c.Resolution/c.Range)
	}
	return expected
}

// A CopiedRun is a stretch of equal values, in order, in two sequences.
type CopiedRun struct {
	First, Second           int // the sequences
	FirstStart, SecondStart int // where the stretch starts in them
	Length                  int
}

// CopiedRuns returns the stretches of least or more values that a sequence shares
// with one before it, value by value and in order. least counts as 2 where it is
// smaller. A stretch of fewer than three different values is nobody's signature and
// is left out. Of many copies each is paired with the first, so that the answer
// grows with the copies, not with their pairs. Runs are in the order of Second,
// SecondStart. Cost: proportional to the number of values.
//
// Source: common practice, no source.
func CopiedRuns[K comparable](sequences [][]K, least int) []CopiedRun {
	least = max(least, 2)
	numbered := number(sequences)
	seen := map[string]place{}
	var runs []CopiedRun
	for s, values := range numbered {
		done := 0 // values before it are part of a run already
		for start := 0; start+least <= len(values); start++ {
			key := signature(values[start : start+least])
			at, ok := seen[key]
			if !ok {
				seen[key] = place{s, start}
				continue
			}
			if at.sequence == s || start < done {
				continue
			}
			length := sharedLength(numbered[at.sequence][at.start:], values[start:])
			done = start + length - least + 1
			if different(values[start:start+length]) >= 3 {
				runs = append(runs, CopiedRun{at.sequence, s, at.start, start, length})
			}
		}
	}
	return runs
}

type place struct {
	sequence, start int
}

// number replaces equal values by equal numbers, from 0; a value unequal to itself
// (NaN) gets a number of its own each time.
func number[K comparable](sequences [][]K) [][]uint32 {
	numbers := map[K]uint32{}
	next := uint32(0)
	out := make([][]uint32, len(sequences))
	for s, values := range sequences {
		out[s] = make([]uint32, len(values))
		for i, v := range values {
			n, ok := numbers[v]
			if !ok {
				n = next
				numbers[v] = n
				next++
			}
			out[s][i] = n
		}
	}
	return out
}

// signature returns the numbers as bytes, a key for a map.
func signature(numbers []uint32) string {
	b := make([]byte, 0, 4*len(numbers))
	for _, n := range numbers {
		b = append(b, byte(n), byte(n>>8), byte(n>>16), byte(n>>24))
	}
	return string(b)
}

func sharedLength(a, b []uint32) int {
	n := 0
	for n < len(a) && n < len(b) && a[n] == b[n] {
		n++
	}
	return n
}

func different(numbers []uint32) int {
	sorted := slices.Clone(numbers)
	slices.SortFunc(sorted, cmp.Compare[uint32])
	return len(slices.Compact(sorted))
}
