package audit

import (
	"math"
	"sort"

	"evensun/internal/compare"
)

// effects are the effects of one level as this package judges them.
type effects struct {
	compare.Level
	typical float64 // median standard error of those with full weight
}

func effectsOf(l compare.Level) effects {
	var clean []float64
	for i := range l.Len() {
		if se := l.SE(i); l.Added[i] == 0 && se > 0 {
			clean = append(clean, se)
		}
	}
	e := effects{Level: l, typical: math.NaN()}
	if len(clean) > 0 {
		sort.Float64s(clean)
		e.typical = clean[len(clean)/2]
	}
	return e
}

// leastWeight is the smallest robust weight.
const leastWeight = 1e-4

// SE returns the standard error of an effect without its own robust addition. Of an
// effect with hardly any weight left that is a small difference of two large numbers,
// which still move in the last pass: where it is off by a factor of three or more, the
// level's median stands in for it.
func (e effects) SE(i int) float64 {
	se := e.Level.SE(i)
	if e.Added[i] > 0 && !(se > e.typical/3 && se < 3*e.typical) {
		return e.typical
	}
	return se
}

// T returns the deleted statistic.
func (e effects) T(i int) float64 { return e.Delta(i) / e.SE(i) }

// Weight returns the robust weight, 0.0001 to 1.
func (e effects) Weight(i int) float64 { return math.Max(leastWeight, e.Level.Weight(i)) }
