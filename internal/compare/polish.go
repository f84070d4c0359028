package compare

import (
	"math"
	"slices"
)

// A polish is the median decomposition of cell means into panels, opinions and sessions.
type polish struct {
	d                 *design
	mean, within      []float64 // of cells
	rest              []float64 // cell means less their session
	mu, opinion, hour []float64 // panels, tester x panel pairs, sessions
	cellStart, cells  []int32   // cells of each pair
}

const polishSweeps = 8

// polish sets the first weights from a median decomposition, which gross errors in
// less than half of a panel's opinions, an opinion's sessions or a session's cells
// do not move, and returns the variances it sees.
func (r *robustRun) polish() vec {
	p := newPolish(r.e)
	for range polishSweeps {
		p.sweep(r.e.st.work)
	}
	theta := p.variances(r.e)
	r.firstWeights(p, theta)
	return theta
}

func newPolish(e *engine) *polish {
	d := e.d
	p := &polish{d: d, mean: make([]float64, d.cells()), within: make([]float64, d.cells()), rest: make([]float64, d.cells()),
		mu: make([]float64, d.panels), opinion: make([]float64, d.groups()), hour: make([]float64, d.sessions())}
	for c := range d.cells() {
		w, wy := 0.0, 0.0
		for k := d.cellStart[c]; k < d.cellStart[c+1]; k++ {
			v := d.u2[k] + assumedExtra
			w += 1 / v
			wy += d.y[k] / v
		}
		p.mean[c], p.within[c] = wy/w, 1/w
	}
	p.sortCells()
	return p
}

// assumedExtra is the residual variance before any is estimated, (0.006)^2: common
// practice, no source.
const assumedExtra = 0.006 * 0.006

func (p *polish) group(c int) int32 { return p.d.opGroup[p.d.cellOp[c]] }

// sortCells lists the cells of every tester x panel pair, in their order.
func (p *polish) sortCells() {
	d := p.d
	p.cellStart, p.cells = make([]int32, d.groups()+1), make([]int32, d.cells())
	for c := range d.cells() {
		p.cellStart[p.group(c)+1]++
	}
	for g := range d.groups() {
		p.cellStart[g+1] += p.cellStart[g]
	}
	next := slices.Clone(p.cellStart)
	for c := range d.cells() {
		g := p.group(c)
		p.cells[next[g]] = int32(c)
		next[g]++
	}
}

// sweep takes the medians of sessions, opinions and panels in turn.
func (p *polish) sweep(workers int) {
	d := p.d
	inShards(d.blocks(), workers, func(_, lo, hi int) {
		var list []float64
		for t := lo; t < hi; t++ {
			list = p.sweepBlock(t, list)
		}
	})
	inShards(d.panels, workers, func(_, lo, hi int) {
		var list []float64
		for i := lo; i < hi; i++ {
			list = list[:0]
			for _, o := range d.panelOps[d.panelStart[i]:d.panelStart[i+1]] {
				if g := d.opGroup[o]; d.groupStart[g] == o {
					list = append(list, p.opinion[g])
				}
			}
			p.mu[i] = median(list)
		}
	})
}

// sweepBlock sets sessions and opinions of one block, in the room of a list.
func (p *polish) sweepBlock(t int, list []float64) []float64 {
	d := p.d
	for j := d.testStart[t]; j < d.testStart[t+1]; j++ {
		list = list[:0]
		lo, hi := d.sessStart[j], d.sessStart[j+1]
		for c := lo; c < hi; c++ {
			list = append(list, p.mean[c]-p.mu[d.opPanel[d.cellOp[c]]])
		}
		p.hour[j] = median(list)
		for c := lo; c < hi; c++ {
			p.rest[c] = p.mean[c] - p.hour[j]
		}
	}
	for groups := d.groupsOf(t); groups.lo < groups.hi; groups.lo++ {
		list = list[:0]
		for _, c := range p.cells[p.cellStart[groups.lo]:p.cellStart[groups.lo+1]] {
			list = append(list, p.rest[c])
		}
		p.opinion[groups.lo] = median(list)
	}
	return list
}

// median sorts x and returns its median; 0 for an empty list.
func median(x []float64) float64 {
	if len(x) == 0 {
		return 0
	}
	slices.Sort(x)
	h := len(x) / 2
	if len(x)%2 == 1 {
		return x[h]
	}
	return (x[h-1] + x[h]) / 2
}

// madVariance returns the square of 1.4826 times the median absolute value.
func madVariance(x []float64) float64 {
	for i := range x {
		x[i] = math.Abs(x[i])
	}
	m := 1.4826 * median(x)
	return m * m
}

// variances returns the squared robust spread of each level.
func (p *polish) variances(e *engine) vec {
	d := p.d
	testers, hours, opinions, cells := make([]float64, d.blocks()), make([]float64, d.sessions()), make([]float64, d.groups()), make([]float64, d.cells())
	medians := p.testerMedians()
	for t := range testers {
		testers[t] = medians[d.testStart[t]]
	}
	for j := range hours {
		hours[j] = p.hour[j] - medians[j]
	}
	centre := median(slices.Clone(testers))
	for t := range testers {
		testers[t] -= centre
	}
	for g := range opinions {
		opinions[g] = p.opinion[g] - p.mu[d.opPanel[d.groupStart[g]]]
	}
	for j := range d.sessions() {
		for c := d.sessStart[j]; c < d.sessStart[j+1]; c++ {
			cells[c] = p.mean[c] - p.hour[j] - p.opinion[p.group(int(c))]
		}
	}
	theta := vec{Tester: madVariance(testers), Session: madVariance(hours), TesterPanel: madVariance(opinions), SessionPanel: madVariance(cells), Residual: assumedExtra, Specimen: 1e-5, Drift: 1e-4}
	for l := range terms {
		theta[l] += 1e-6
		if !e.opt.has(l) {
			theta[l] = 0
		}
	}
	return theta
}

// testerMedians returns for every session the median hour of its tester.
func (p *polish) testerMedians() []float64 {
	d := p.d
	out := make([]float64, d.sessions())
	for t := range d.blocks() {
		m := median(slices.Clone(p.hour[d.testStart[t]:d.testStart[t+1]]))
		for j := d.testStart[t]; j < d.testStart[t+1]; j++ {
			out[j] = m
		}
	}
	return out
}

// firstWeights weighs opinions, cells and sessions by their distance from the
// medians.
func (r *robustRun) firstWeights(p *polish, theta vec) {
	d, e := r.e.d, r.e
	keep := r.keep
	centre := p.testerMedians()
	noise := make([]float64, d.groups()) // sum of 1/variance of an opinion's cells
	for j := range d.sessions() {
		for c := int(d.sessStart[j]); c < int(d.sessStart[j+1]); c++ {
			own := theta[SessionPanel] + p.within[c]
			noise[p.group(c)] += 1 / own
			if !keep.cell(c) {
				r.set(&r.w.cell[c], &e.add.cell[c], (p.mean[c]-p.hour[j]-p.opinion[p.group(c)])/math.Sqrt(own), own)
			}
		}
		if own := theta[Session] + d.sessVar[j]; !keep.session(j) && !e.opt.SessionFixed && own > 0 {
			r.set(&r.w.session[j], &e.add.session[j], (p.hour[j]-centre[j])/math.Sqrt(own), own)
		}
	}
	for g := range noise {
		own := theta[TesterPanel] + 1/noise[g]
		if !keep.group(g) {
			r.set(&r.w.group[g], &e.add.group[g], (p.opinion[g]-p.mu[d.opPanel[d.groupStart[g]]])/math.Sqrt(own), own)
		}
	}
}
