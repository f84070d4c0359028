package ranking

import (
	"sort"

	"evensun/internal/compare"
	"evensun/internal/fieldtest"
)

// A Contribution is a reading's part in one panel's estimate.
type contribution struct {
	row    int
	weight float64
	robust float64
}

// contributions are the readings behind each panel's estimate with their share of its
// information: the opinion's share, divided among its cells and their readings by the
// information of each. They add to 1.
func (f *Fitted) contributions() [][]contribution {
	opinion := map[[2]int32]float64{}
	for _, s := range f.Fit.Shares() {
		opinion[[2]int32{s.Tester, s.Panel}] = s.Share
	}
	cells := f.cells()
	cellSum := map[[2]int32]float64{}
	for _, c := range cells {
		cellSum[[2]int32{c.tester, c.panel}] += c.information
	}
	out := make([][]contribution, len(f.Panels))
	for _, c := range cells {
		key := [2]int32{c.tester, c.panel}
		share := opinion[key] * c.information / cellSum[key]
		for _, k := range c.rows {
			w := share * f.readingInformation(k) / c.readings
			out[c.panel] = append(out[c.panel], contribution{row: k, weight: w, robust: c.weight})
		}
	}
	for p := range out {
		normalise(out[p])
	}
	return out
}

func normalise(list []contribution) {
	sum := 0.0
	for i := range list {
		sum += list[i].weight
	}
	for i := range list {
		list[i].weight = fieldtest.Significant(list[i].weight / sum)
	}
	sort.SliceStable(list, func(i, j int) bool { return list[i].weight > list[j].weight })
}

// leastWeight is the smallest robust weight.
const leastWeight = 1e-4

// cell is a panel in a session of one tester.
type cell struct {
	tester, session, panel int32
	rows                   []int
	readings               float64 // information of its readings alone
	information            float64 // with the cell's own scatter and robust addition
	weight                 float64
}

func (f *Fitted) readingInformation(k int) float64 {
	r := &f.Rows[k]
	return 1 / (r.U*r.U + f.Fit.Theta[compare.Residual] + 1e-12)
}

func (f *Fitted) cells() []*cell {
	index := map[[2]int32]*cell{}
	var list []*cell
	for k := range f.Rows {
		r := &f.Rows[k]
		key := [2]int32{r.Session, r.Panel}
		c := index[key]
		if c == nil {
			c = &cell{tester: r.Tester, session: r.Session, panel: r.Panel, weight: 1}
			index[key], list = c, append(list, c)
		}
		c.rows = append(c.rows, k)
		c.readings += f.readingInformation(k)
	}
	added := map[[2]int32]float64{}
	level := f.Fit.Level(compare.SessionPanel)
	for i := range level.Len() {
		key := [2]int32{level.Session[i], level.Panel[i]}
		added[key] = level.Added[i]
		if c := index[key]; c != nil {
			c.weight = fieldtest.Significant(max(leastWeight, level.Weight(i)))
		}
	}
	for _, c := range list {
		c.information = 1 / (1/c.readings + f.Fit.Theta[compare.SessionPanel] + added[[2]int32{c.session, c.panel}])
	}
	return list
}

// RowWeights returns, row by row, the reading's share of the information on its panel;
// those of one panel add to 1.
func (f *Fitted) RowWeights() []float64 {
	weights := make([]float64, len(f.Rows))
	for _, list := range f.contributions() {
		for _, c := range list {
			weights[c.row] = c.weight
		}
	}
	return weights
}
