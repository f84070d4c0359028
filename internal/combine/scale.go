package combine

import (
	"fmt"
	"math"
	"slices"

	"evensun/internal/compare"
	"evensun/internal/robust"
)

// widestRange is the largest ratio of the spread of a panel's values, or of the largest
// uncertainty, to the smallest uncertainty: weights go with its square, and numbers
// hold 16 digits.
const widestRange = 1e7

// standardise takes from each value the median of its panel and divides values and
// uncertainties by a power of two near what is left, so that neither a large level nor
// the unit takes digits from the fit: the medians are a sum of fixed effects, and the
// unit changes no weight. Results are carried back by level, length, variance and
// likelihood; all else has no unit.
func (m *model) standardise() error {
	m.takeMedians()
	spread := 0.0
	for _, v := range m.data.value {
		spread = max(spread, math.Abs(v))
	}
	u := m.data.uncertainty
	if u != nil {
		spread = max(spread, slices.Max(u))
		if low := slices.Min(u); spread > widestRange*low {
			return &TableError{Rows: []RowError{{m.data.smallestAt, uncertaintyColumn, fmt.Sprint(low), reasonTooUnequal}}}
		}
	}
	m.unit = 1
	if spread > 0 {
		m.unit = math.Exp2(math.Floor(math.Log2(spread)))
	}
	divide(m.data.value, m.unit)
	divide(u, m.unit)
	divide(m.middles, m.unit)
	return nil
}

func divide(x []float64, by float64) {
	for k := range x {
		x[k] /= by
	}
}

// takeMedians fills the medians of the panels and takes them from the values.
func (m *model) takeMedians() {
	panel := m.data.factors["panel"].codes
	of := make([][]float64, m.panels())
	for k, i := range panel {
		of[i] = append(of[i], m.data.value[k])
	}
	m.middles = make([]float64, len(of))
	for i, values := range of {
		m.middles[i] = robust.Median(values)
	}
	for k, i := range panel {
		m.data.value[k] -= m.middles[i]
	}
}

// estimates returns the estimates of the panels, in units.
func (m *model) estimates(f *compare.Fit) []float64 {
	out := slices.Clone(f.Mu)
	for i := range out {
		out[i] += m.middles[i]
	}
	return out
}

// exactContrasts returns each panel's difference to the reference, in units.
func (m *model) exactContrasts(f *compare.Fit) ([]compare.Contrast, error) {
	pairs := make([][2]int, m.panels())
	for i := range pairs {
		pairs[i] = [2]int{i, m.reference}
	}
	out, err := f.Contrasts(pairs)
	if err != nil {
		return nil, fmt.Errorf("contrasts of %d panels: %w", m.panels(), err)
	}
	for i := range out {
		out[i].Estimate += m.middles[i] - m.middles[m.reference]
	}
	return out, nil
}

func (m *model) length(d float64) Number     { return Number(m.unit * d) }
func (m *model) variance(v float64) float64  { return m.unit * m.unit * v }
func (m *model) likelihood(l float64) Number { return Number(l - float64(m.free())*math.Log(m.unit)) }

// free returns the number of readings in the likelihood's power of the unit: less the
// fixed effects where it is the restricted one.
func (m *model) free() int {
	n := len(m.data.value)
	if m.options.ML {
		return n
	}
	if m.options.SessionFixed { // panels and sessions in one chain
		return n - m.panels() - len(m.data.factors["session"].names) + 1
	}
	return n - m.panels()
}
