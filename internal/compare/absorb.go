package compare

import (
	"math"
	"sync"
	"sync/atomic"
)

// additions are the robust variances a_e of single effects, by sorted index.
type additions struct {
	group, cell, session, reading []float64
}

func newAdditions(d *design) *additions {
	return &additions{make([]float64, d.groups()), make([]float64, d.cells()), make([]float64, d.sessions()), make([]float64, d.n)}
}

// A state is everything the absorption of one theta leaves behind.
type state struct {
	d     *design
	theta vec
	add   *additions
	fixed bool // sessions are fixed effects
	work  int  // goroutines

	w, yb, p, w2        []float64    // cells: sum 1/d, mean, precision, sum 1/(w d)^2
	tb, wt, wty, t1, t2 []float64    // cells, with drift: mean time and the moments within
	k                   [][3]float64 // sessions: inverse of S^-1 + U'V^-1 U, upper triangle
	big, post, ninv     []float64    // blocks: M, K, N^-1
	b, m                []float64    // opinions: Z'B y, M-weighted
	logDet, y           float64      // W + L and Y of the likelihood
}

func newState(d *design, fixed bool, workers int) *state {
	c, o, size := d.cells(), d.opinions(), d.blockAt[d.blocks()]
	s := &state{d: d, fixed: fixed, work: workers,
		w: make([]float64, c), yb: make([]float64, c), p: make([]float64, c), w2: make([]float64, c),
		k: make([][3]float64, d.sessions()), big: make([]float64, size), post: make([]float64, size), ninv: make([]float64, size),
		b: make([]float64, o), m: make([]float64, o)}
	if d.tau != nil {
		s.tb, s.wt, s.wty, s.t1, s.t2 = make([]float64, c), make([]float64, c), make([]float64, c), make([]float64, c), make([]float64, c)
	}
	return s
}

const shardBlocks = 32

// shards returns how many shards n items make.
func shards(n int) int { return (n + shardBlocks - 1) / shardBlocks }

// inShards runs f on every shard of n items in some order; f writes to its own
// items and to the result slot of its shard only.
func inShards(n, workers int, f func(shard, lo, hi int)) {
	inShardsWith(n, workers, func() struct{} { return struct{}{} }, func(s, lo, hi int, _ struct{}) { f(s, lo, hi) })
}

// inShardsWith is inShards with room of its own for each goroutine.
func inShardsWith[T any](n, workers int, room func() T, f func(shard, lo, hi int, room T)) {
	total := shards(n)
	if workers <= 1 || total == 1 {
		own := room()
		for s := range total {
			f(s, s*shardBlocks, min(n, (s+1)*shardBlocks), own)
		}
		return
	}
	var next atomic.Int64
	var wait sync.WaitGroup
	for range min(workers, total) {
		wait.Go(func() {
			own := room()
			for s := int(next.Add(1)) - 1; s < total; s = int(next.Add(1)) - 1 {
				f(s, s*shardBlocks, min(n, (s+1)*shardBlocks), own)
			}
		})
	}
	wait.Wait()
}

// inBlocks runs f on every shard of blocks.
func (d *design) inBlocks(workers int, f func(shard, lo, hi int, sc *scratch)) {
	inShardsWith(d.blocks(), workers, func() *scratch { return newScratch(d) }, f)
}

// absorb eliminates readings, cells, sessions and blocks at a theta.
func (s *state) absorb(theta vec, add *additions) {
	s.theta, s.add = theta, add
	parts := make([][2]float64, shards(s.d.blocks()))
	s.d.inBlocks(s.work, func(shard, lo, hi int, sc *scratch) {
		var part [2]float64
		for t := lo; t < hi; t++ {
			logDet, y := s.absorbBlock(t, sc)
			part[0] += logDet
			part[1] += y
		}
		parts[shard] = part
	})
	s.logDet, s.y = 0, 0
	for _, part := range parts {
		s.logDet += part[0]
		s.y += part[1]
	}
}

// scratch is room for the largest block and session.
type scratch struct {
	a, g, c, d, e []float64 // m x m
	perm          []int     // m, as row and rows
	row, rows     []int
	x, z          []float64 // m x maxRHS
	q, r, t       []float64 // of a session's cells
}

func newScratch(d *design) *scratch {
	m, cells := 0, 0
	for t := range d.blocks() {
		_, size := d.size(t)
		m = max(m, size)
	}
	for j := range d.sessions() {
		cells = max(cells, int(d.sessStart[j+1]-d.sessStart[j])+1)
	}
	return &scratch{a: make([]float64, m*m), g: make([]float64, m*m), c: make([]float64, m*m), d: make([]float64, m*m), e: make([]float64, m*m),
		perm: make([]int, m), row: make([]int, m), rows: make([]int, m), x: make([]float64, m*maxRHS), z: make([]float64, m*maxRHS),
		q: make([]float64, cells*cells), r: make([]float64, cells*cells), t: make([]float64, cells*cells)}
}

func (s *state) absorbBlock(t int, sc *scratch) (logDet, y float64) {
	d := s.d
	first, m := d.size(t)
	a, b := sc.a[:m*m], s.b[first:first+m]
	clear(a)
	clear(b)
	for j := d.testStart[t]; j < d.testStart[t+1]; j++ {
		for c := d.sessStart[j]; c < d.sessStart[j+1]; c++ {
			l, q := s.absorbCell(int(c))
			logDet += l
			y += q
		}
		l, q := s.absorbSession(int(j), first, m, a, b)
		logDet += l
		y += q
	}
	l, q := s.closeBlock(t, a, sc)
	return logDet + l, y + q
}

// absorbCell takes the readings of a cell together; it returns their part of ln|V|,
// sum ln d + ln w - ln p, and of y'V^-1 y, the scatter about the cell's mean.
func (s *state) absorbCell(c int) (logDet, scatter float64) {
	d := s.d
	lo, hi := int(d.cellStart[c]), int(d.cellStart[c+1])
	extra := s.theta[Residual]
	w, wy, logs := 0.0, 0.0, logSum{product: 1}
	for k := lo; k < hi; k++ {
		v := s.variance(k, extra)
		logs.add(v)
		w += 1 / v
		wy += d.y[k] / v
	}
	yb, w2, q := wy/w, 0.0, 0.0
	for k := lo; k < hi; k++ {
		v := s.variance(k, extra)
		q += (d.y[k] - yb) * (d.y[k] - yb) / v
		w2 += 1 / (v * v)
	}
	p := 1 / (1/w + s.theta[SessionPanel] + s.add.cell[c])
	s.w[c], s.yb[c], s.p[c], s.w2[c] = w, yb, p, w2/(w*w)
	if d.tau != nil {
		s.absorbTimes(c, lo, hi)
	}
	return logs.total() + math.Log(w/p), q
}

func (s *state) variance(k int, extra float64) float64 {
	return s.d.u2[k] + extra + s.add.reading[k]
}

// A logSum adds logarithms by multiplying first: one call for many factors.
type logSum struct{ product, sum float64 }

func (l *logSum) add(v float64) {
	l.product *= v
	if l.product < 1e-150 || l.product > 1e150 {
		l.sum += math.Log(l.product)
		l.product = 1
	}
}

func (l *logSum) total() float64 { return l.sum + math.Log(l.product) }

// absorbTimes sets the moments of time within a cell.
func (s *state) absorbTimes(c, lo, hi int) {
	d, extra, w := s.d, s.theta[Residual], s.w[c]
	mean := 0.0
	for k := lo; k < hi; k++ {
		mean += d.tau[k] / s.variance(k, extra)
	}
	mean /= w
	var wt, wty, t1, t2 float64
	for k := lo; k < hi; k++ {
		v, x := s.variance(k, extra), d.tau[k]-mean
		wt += x * x / v
		wty += x * (d.y[k] - s.yb[c]) / v
		t1 += x / (v * v * w)
		t2 += x * x / (v * v)
	}
	s.tb[c], s.wt[c], s.wty[c], s.t1[c], s.t2[c] = mean, wt, wty, t1, t2
}

// time returns the mean time of a cell and its moment within; 0 without drift.
func (s *state) time(c int) (mean, within float64) {
	if s.tb == nil {
		return 0, 0
	}
	return s.tb[c], s.wt[c]
}

// absorbSession adds Z'B Z to a and Z'B y to b and returns the session's part of
// ln|V| and of y'V^-1 y.
func (s *state) absorbSession(j, first, m int, a, b []float64) (logDet, y float64) {
	d := s.d
	lo, hi := int(d.sessStart[j]), int(d.sessStart[j+1])
	var u [3]float64 // U'V^-1 U
	var v [2]float64 // U'V^-1 y
	for c := lo; c < hi; c++ {
		p, py := s.p[c], s.p[c]*s.yb[c]
		tb, wt := s.time(c)
		u[0] += p
		u[1] += p * tb
		u[2] += p*tb*tb + wt
		v[0] += py
		v[1] += py * tb
		y += py * s.yb[c]
		if s.wty != nil {
			v[1] += s.wty[c]
		}
	}
	k, logDet := s.sessionInverse(j, u)
	s.k[j] = k
	kv := apply(k, v)
	y -= v[0]*kv[0] + v[1]*kv[1]
	for c := lo; c < hi; c++ {
		tb, _ := s.time(c)
		i := int(d.cellOp[c]) - first
		b[i] += s.p[c] * (s.yb[c] - kv[0] - kv[1]*tb)
		a[i*m+i] += s.p[c]
		kc := apply(k, [2]float64{s.p[c], s.p[c] * tb})
		for e := lo; e < hi; e++ {
			te, _ := s.time(e)
			a[i*m+int(d.cellOp[e])-first] -= s.p[e] * (kc[0] + kc[1]*te)
		}
	}
	return logDet, y
}

// sessionInverse returns (S^-1 + u)^-1 and ln|I + S u| for S = diag(g, h), the
// variances of level and drift; g infinite where sessions are fixed.
func (s *state) sessionInverse(j int, u [3]float64) (k [3]float64, logDet float64) {
	h := s.theta[Drift]
	if s.fixed {
		det := u[0]*(1+h*u[2]) - h*u[1]*u[1]
		return [3]float64{(1 + h*u[2]) / det, -h * u[1] / det, h * u[0] / det}, math.Log(det)
	}
	g := s.theta[Session] + s.d.sessVar[j] + s.add.session[j]
	det := (1+g*u[0])*(1+h*u[2]) - g*h*u[1]*u[1]
	return [3]float64{g * (1 + h*u[2]) / det, -g * h * u[1] / det, h * (1 + g*u[0]) / det}, math.Log(det)
}

// apply returns k v for a symmetric 2 x 2 matrix.
func apply(k [3]float64, v [2]float64) [2]float64 {
	return [2]float64{k[0]*v[0] + k[1]*v[1], k[1]*v[0] + k[2]*v[1]}
}

// closeBlock turns A, b of a block into M, K, N^-1 and m.
func (s *state) closeBlock(t int, a []float64, sc *scratch) (logDet, y float64) {
	d := s.d
	first, m := d.size(t)
	at := d.blockAt[t]
	g, n := sc.g[:m*m], s.ninv[at:at+m*m]
	big, post := s.big[at:at+m*m], s.post[at:at+m*m]
	s.fillG(g, first, m)
	multiply(n, a, g, m)
	for i := range m {
		n[i*m+i]++
	}
	logDet = invert(n, m, sc.perm)
	multiplyTransposed(big, n, a, sc.d[:m*m], m)
	symmetrise(big, m)
	multiply(post, g, n, m)
	symmetrise(post, m)
	b, mv := s.b[first:first+m], s.m[first:first+m]
	clear(mv)
	addProduct(mv, n, b, m, 1)
	return logDet, -quadratic(post, b, m)
}

// fillG sets the covariance of a block's opinions.
func (s *state) fillG(g []float64, first, m int) {
	d := s.d
	for i := range m {
		for j := range m {
			v := s.theta[Tester]
			if d.opGroup[first+i] == d.opGroup[first+j] {
				v += s.theta[TesterPanel] + s.add.group[d.opGroup[first+i]]
			}
			if d.opSpec[first+i] == d.opSpec[first+j] {
				v += s.theta[Specimen]
			}
			if d.opRig[first+i] == d.opRig[first+j] {
				v += d.opRigVar[first+i]
			}
			g[i*m+j] = v
		}
	}
}
