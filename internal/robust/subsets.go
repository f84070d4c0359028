package robust

import (
	"encoding/binary"
	"hash/fnv"
	"math"

	"evensun/internal/seedrand"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/combin"
)

const (
	// mostVisits bounds the subsets times the rows up to which all subsets are tried.
	mostVisits = 500_000
	// mostDraws bounds how many subsets are drawn otherwise.
	mostDraws = 25_000
)

// elementalSubsets returns subsets of k of n rows to start a robust estimate from:
// all of them where there are few. Else it draws, from the seed, so many that each has
// a bad row with a probability below 1e-9 although half the rows are bad: 20.7*2^k, at
// most mostDraws, which is too few for k above 10.
//
// Source: P. J. Rousseeuw, A. M. Leroy, Robust Regression and Outlier Detection,
// 1987, section 5.1 (from memory).
func elementalSubsets(n, k int, seed uint64) [][]int {
	few := math.Log(mostVisits/float64(n) + 0.5)
	if combin.LogGeneralizedBinomial(float64(n), float64(k)) < few {
		return combin.Combinations(n, k)
	}
	draws := min(mostDraws, int(math.Ceil(9*math.Ln10*math.Pow(2, float64(min(k, 30))))))
	stream := seedrand.New(seed)
	out := make([][]int, draws)
	for i := range out {
		out[i] = drawRows(stream, n, k)
	}
	return out
}

// drawRows returns k different rows of n, all equally likely.
//
// Source: R. W. Floyd in J. Bentley, Communications of the ACM 30 (1987) 754-757.
func drawRows(stream *seedrand.Stream, n, k int) []int {
	chosen, in := make([]int, 0, k), map[int]bool{}
	for last := n - k; last < n; last++ {
		row := stream.IntN(last + 1)
		if in[row] {
			row = last
		}
		in[row] = true
		chosen = append(chosen, row)
	}
	return chosen
}

// seedOf returns a seed made of the numbers, so that equal data give equal answers.
func seedOf(x *mat.Dense) uint64 {
	hash := fnv.New64a()
	var word [8]byte
	rows, _ := x.Dims()
	for i := range rows {
		for _, v := range x.RawRowView(i) {
			binary.LittleEndian.PutUint64(word[:], math.Float64bits(v))
			hash.Write(word[:])
		}
	}
	return hash.Sum64()
}

// finite tells whether all the numbers are.
func finite(x []float64) bool {
	for _, v := range x {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return false
		}
	}
	return true
}

func rowsFinite(x *mat.Dense) bool {
	rows, _ := x.Dims()
	for i := range rows {
		if !finite(x.RawRowView(i)) {
			return false
		}
	}
	return true
}
