package compare

import (
	"fmt"
	"slices"
)

// Combinations returns sum w_i mu_i for each set of weights by panel, some at a time in
// one pass over the data. Weights that add to 0, as those of a panel against the mean of
// a list, cancel what all panels share.
//
// Source: as of Contrast.
func (f *Fit) Combinations(weights []map[int]float64) ([]Contrast, error) {
	out := make([]Contrast, 0, len(weights))
	for batch := range slices.Chunk(weights, maxRHS) {
		estimates := make([]float64, len(batch))
		for k, w := range batch {
			for i, x := range w {
				if f.bad(i) {
					return nil, fmt.Errorf("%w: combination with panel %d", ErrColumn, i)
				}
				estimates[k] += x * f.Mu[i]
			}
		}
		v, g, err := f.solver.derivatives(batch)
		if err != nil {
			return nil, err
		}
		for k := range batch {
			out = append(out, f.contrastOf(estimates[k], v[k], g[k]))
		}
	}
	return out, nil
}
