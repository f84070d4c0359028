package compare

// levelStats are score s = z'Py and information v = z'Pz of every effect, by
// sorted index. Residual scores are summed a cell.
type levelStats struct {
	s, v    [terms][]float64
	fe      []float64 // residual working variate, cell means
	wte     []float64 // its moment with time within cells
	ee      []float64 // its scatter within cells
	s2e     []float64 // sum of squared reading scores of a cell
	slope   []float64 // fitted drift of a session
	cross   []float64 // with drift: cells' Q with the slope within
	inner   []float64 // with drift: sessions' Q of the slope within
	opScore []float64 // m - M mu
}

func newLevelStats(d *design, active [slots]bool) *levelStats {
	ls := &levelStats{fe: make([]float64, d.cells()), ee: make([]float64, d.cells()), s2e: make([]float64, d.cells()), opScore: make([]float64, d.opinions())}
	for l, size := range d.effects() {
		ls.s[l], ls.v[l] = make([]float64, size), make([]float64, size)
	}
	if d.tau != nil {
		ls.wte, ls.slope = make([]float64, d.cells()), make([]float64, d.sessions())
		ls.cross, ls.inner = make([]float64, d.cells()), make([]float64, d.sessions())
	}
	return ls
}

// effects returns the number of effects of each term, at the residual that of cells.
func (d *design) effects() [terms]int {
	return [terms]int{Tester: d.blocks(), Session: d.sessions(), TesterPanel: d.groups(), SessionPanel: d.cells(), Residual: d.cells(), Specimen: d.specs(), Drift: d.sessions()}
}

// score fills every s from the panels' estimates.
func (s *state) score(mu []float64, ls *levelStats, readings bool) {
	s.d.inBlocks(s.work, func(_, lo, hi int, sc *scratch) {
		for t := lo; t < hi; t++ {
			s.scoreBlock(t, mu, ls, readings, sc)
		}
	})
}

func (s *state) scoreBlock(t int, mu []float64, ls *levelStats, readings bool, sc *scratch) {
	first, m := s.d.size(t)
	local := sc.x[:m]
	for i := range m {
		local[i] = mu[s.d.opPanel[first+i]]
	}
	s.scoreOpinions(t, local, ls, readings, sc)
}

// scoreOpinions fills every s of a block from the panels' estimates at its opinions.
func (s *state) scoreOpinions(t int, local []float64, ls *levelStats, readings bool, sc *scratch) {
	d := s.d
	first, m := d.size(t)
	at := d.blockAt[t]
	fitted := sc.z[:m]
	op := ls.opScore[first : first+m]
	clear(op)
	addProduct(op, s.big[at:at+m*m], local, m, 1)
	ls.s[Tester][t] = 0
	for i := range m {
		op[i] = s.m[first+i] - op[i]
		ls.s[Tester][t] += op[i]
	}
	sumGroups(ls.s[TesterPanel], op, d.opGroup[first:first+m])
	sumGroups(ls.s[Specimen], op, d.opSpec[first:first+m])
	clear(fitted)
	addProduct(fitted, s.post[at:at+m*m], s.b[first:first+m], m, 1)
	addProductTransposed(fitted, s.ninv[at:at+m*m], local, m, 1)
	for j := d.testStart[t]; j < d.testStart[t+1]; j++ {
		s.scoreSession(int(j), fitted, first, ls)
		if readings {
			for c := d.sessStart[j]; c < d.sessStart[j+1]; c++ {
				s.scoreReadings(int(c), int(j), ls)
			}
		}
	}
}

// sumGroups sets sums of consecutive elements with the same group.
func sumGroups(out, x []float64, group []int32) {
	for i, g := range group {
		if i == 0 || g != group[i-1] {
			out[g] = 0
		}
		out[g] += x[i]
	}
}

func (s *state) scoreSession(j int, fitted []float64, first int, ls *levelStats) {
	d := s.d
	lo, hi := int(d.sessStart[j]), int(d.sessStart[j+1])
	var v [2]float64
	for c := lo; c < hi; c++ {
		tb, _ := s.time(c)
		r := s.p[c] * (s.yb[c] - fitted[int(d.cellOp[c])-first])
		v[0] += r
		v[1] += r * tb
		if s.wty != nil {
			v[1] += s.wty[c]
		}
	}
	kv := apply(s.k[j], v)
	total, drift := 0.0, 0.0
	for c := lo; c < hi; c++ {
		tb, wt := s.time(c)
		x := s.p[c] * (s.yb[c] - fitted[int(d.cellOp[c])-first] - kv[0] - kv[1]*tb)
		ls.s[SessionPanel][c] = x
		total += x
		if s.wty != nil {
			drift += tb*x + s.wty[c] - kv[1]*wt
		}
	}
	ls.s[Session][j] = total
	if ls.slope != nil {
		ls.s[Drift][j], ls.slope[j] = drift, kv[1]
	}
}

// readingScore returns z'Py of one reading.
func (s *state) readingScore(k, c, j int, ls *levelStats) float64 {
	r := s.d.y[k] - s.yb[c]
	if ls.slope != nil {
		r -= ls.slope[j] * (s.d.tau[k] - s.tb[c])
	}
	return (r + ls.s[SessionPanel][c]/s.w[c]) / s.variance(k, s.theta[Residual])
}

func (s *state) scoreReadings(c, j int, ls *levelStats) {
	d := s.d
	extra := s.theta[Residual]
	var sum, sum2, mean, wte, ee float64
	for k := int(d.cellStart[c]); k < int(d.cellStart[c+1]); k++ {
		x := s.readingScore(k, c, j, ls)
		v := s.variance(k, extra)
		sum += x
		sum2 += x * x
		mean += x / v
		ee += x * x / v
		if ls.wte != nil {
			wte += (d.tau[k] - s.tb[c]) * x / v
		}
	}
	mean /= s.w[c]
	ls.s[Residual][c], ls.s2e[c], ls.fe[c] = sum, sum2, mean
	ls.ee[c] = max(0, ee-s.w[c]*mean*mean)
	if ls.wte != nil {
		ls.wte[c] = wte
	}
}

// inform fills every v; cov is nil for known panels.
func (s *state) inform(cov blockCov, ls *levelStats) {
	s.d.inBlocks(s.work, func(_, lo, hi int, sc *scratch) {
		for t := lo; t < hi; t++ {
			s.informBlock(t, cov, ls, sc)
		}
	})
}

func (s *state) informBlock(t int, cov blockCov, ls *levelStats, sc *scratch) {
	d := s.d
	first, m := d.size(t)
	at := d.blockAt[t]
	big := s.big[at : at+m*m]
	post := sc.a[:m*m]
	q := sc.c[:m*m]
	copy(post, s.post[at:at+m*m])
	copy(q, big)
	if cov != nil {
		s.spread(t, cov, q, post, sc)
	}
	s.informOpinions(t, q, ls)
	for j := d.testStart[t]; j < d.testStart[t+1]; j++ {
		s.informSession(int(j), post, first, m, ls, sc)
	}
}

// spread subtracts M C M from q and adds N^-T C N^-1 to post.
func (s *state) spread(t int, cov blockCov, q, post []float64, sc *scratch) {
	d := s.d
	_, m := d.size(t)
	at := d.blockAt[t]
	big, ninv := s.big[at:at+m*m], s.ninv[at:at+m*m]
	ctt, tmp, out := sc.g[:m*m], sc.d[:m*m], sc.e[:m*m]
	cov(t, ctt, sc)
	multiply(tmp, ctt, big, m)
	multiplySymmetric(out, big, tmp, m)
	for i, v := range out {
		q[i] -= v
	}
	multiply(tmp, ctt, ninv, m)
	multiplyTransposedSymmetric(out, ninv, tmp, m)
	for i, v := range out {
		post[i] += v
	}
}

func (s *state) informOpinions(t int, q []float64, ls *levelStats) {
	d := s.d
	first, m := d.size(t)
	ls.v[Tester][t] = 0
	for i := range m {
		ls.v[TesterPanel][d.opGroup[first+i]], ls.v[Specimen][d.opSpec[first+i]] = 0, 0
	}
	for i := range m {
		for j := range m {
			v := q[i*m+j]
			ls.v[Tester][t] += v
			if d.opGroup[first+i] == d.opGroup[first+j] {
				ls.v[TesterPanel][d.opGroup[first+i]] += v
			}
			if d.opSpec[first+i] == d.opSpec[first+j] {
				ls.v[Specimen][d.opSpec[first+i]] += v
			}
		}
	}
}

// informSession forms Q = B - B R B on the session's cells, with the slope within
// cells as a last row when there is drift, R the spread of opinions.
func (s *state) informSession(j int, post []float64, first, m int, ls *levelStats, sc *scratch) {
	d := s.d
	lo, hi := int(d.sessStart[j]), int(d.sessStart[j+1])
	rows := hi - lo
	size := rows
	if s.tb != nil {
		size++
	}
	b, r, br := sc.q[:size*size], sc.r[:size*size], sc.t[:size*size]
	s.fillB(b, j, size)
	for x := range size {
		for y := range size {
			r[x*size+y] = 0
			if x < rows && y < rows {
				r[x*size+y] = post[(int(d.cellOp[lo+x])-first)*m+int(d.cellOp[lo+y])-first]
			}
		}
	}
	multiply(br, b, r, size)
	multiply(r, br, b, size)
	for i := range b {
		b[i] -= r[i]
	}
	s.collect(j, b, size, ls)
}

// fillB sets the inverse covariance of the session's cell means (and slope within).
func (s *state) fillB(b []float64, j, size int) {
	lo, rows := int(s.d.sessStart[j]), int(s.d.sessStart[j+1]-s.d.sessStart[j])
	u := func(x int) [2]float64 {
		if x == rows {
			return [2]float64{0, 1}
		}
		tb, _ := s.time(lo + x)
		return [2]float64{s.p[lo+x], s.p[lo+x] * tb}
	}
	for x := range size {
		kx := apply(s.k[j], u(x))
		for y := range size {
			uy := u(y)
			b[x*size+y] = -(kx[0]*uy[0] + kx[1]*uy[1])
		}
		if x < rows {
			b[x*size+x] += s.p[lo+x]
		}
	}
}

// collect reads the v of cells, session, readings and drift from Q.
func (s *state) collect(j int, q []float64, size int, ls *levelStats) {
	lo, rows := int(s.d.sessStart[j]), int(s.d.sessStart[j+1]-s.d.sessStart[j])
	total := 0.0
	for x := range rows {
		c := lo + x
		for y := range rows {
			total += q[x*size+y]
		}
		v := q[x*size+x]
		ls.v[SessionPanel][c] = v
		e := s.w[c]*(1-s.w2[c]) + s.w2[c]*v
		if s.tb != nil {
			ls.cross[c] = q[x*size+rows]
			e += 2*s.t1[c]*q[x*size+rows] + s.t2[c]*q[rows*size+rows]
		}
		ls.v[Residual][c] = e
	}
	ls.v[Session][j] = total
	if s.tb != nil {
		ls.inner[j] = q[rows*size+rows]
		ls.v[Drift][j] = s.driftInformation(lo, rows, q, size)
	}
}

func (s *state) driftInformation(lo, rows int, q []float64, size int) float64 {
	z, within := make([]float64, size), 0.0
	for x := range rows {
		z[x] = s.tb[lo+x]
		within += s.wt[lo+x]
	}
	z[rows] = within
	return within + quadratic(q, z, size)
}
