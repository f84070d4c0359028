package compare

// averageInformation returns f_l'P f_m / 2 for the listed terms, f_l = V_l P y.
//
// Source: A. Gilmour, R. Thompson, B. Cullis, Biometrics 51 (1995) 1440-1450.
func (e *engine) averageInformation(list []Term) ([][]float64, error) {
	d, st, r := e.d, e.st, len(list)
	b, mv := make([]float64, d.opinions()*r), make([]float64, d.opinions()*r)
	inShards(d.blocks(), st.work, func(_, lo, hi int) {
		w := &work{list: list, ls: e.ls, st: st, f: make([]float64, r), tf: make([]float64, r), k0: make([]float64, r), k1: make([]float64, r)}
		for t := lo; t < hi; t++ {
			first, m := d.size(t)
			for j := int(d.testStart[t]); j < int(d.testStart[t+1]); j++ {
				w.session(t, j)
				w.addRight(t, j, b)
			}
			at := d.blockAt[t]
			addProduct(mv[first*r:(first+m)*r], st.ninv[at:at+m*m], b[first*r:(first+m)*r], m, r)
		}
	})
	mu, err := e.nrm.solveRough(e.nrm.gather(mv, r), r, nil)
	if err != nil {
		return nil, err
	}
	return e.crossProducts(list, b, mu), nil
}

// crossProducts sums f_m'P f_l over cells, shard by shard.
func (e *engine) crossProducts(list []Term, b, mu []float64) [][]float64 {
	d, st, r := e.d, e.st, len(list)
	parts := make([][]float64, shards(d.blocks()))
	d.inBlocks(st.work, func(shard, lo, hi int, sc *scratch) {
		w := &work{list: list, ls: e.ls, st: st, f: make([]float64, r), tf: make([]float64, r), k0: make([]float64, r), k1: make([]float64, r)}
		w.sum = make([]float64, r*r)
		for t := lo; t < hi; t++ {
			w.block(t, b, mu, sc)
		}
		parts[shard] = w.sum
	})
	ai := make([][]float64, r)
	for i := range ai {
		ai[i] = make([]float64, r)
		for j := range ai[i] {
			for _, p := range parts {
				ai[i][j] += (p[i*r+j] + p[j*r+i]) / 4
			}
		}
	}
	return ai
}

// work is the state of one pass over working variates.
type work struct {
	list   []Term
	ls     *levelStats
	st     *state
	f, tf  []float64 // variates of a cell and their moments with time within
	k0, k1 []float64 // level and drift fitted to each variate
	fit    []float64 // fitted opinions of the block; nil: none
	sum    []float64
}

// cell sets the working variates of a cell.
func (w *work) cell(t, j, c int) {
	d, ls := w.st.d, w.ls
	o := d.cellOp[c]
	for i, l := range w.list {
		w.tf[i] = 0
		switch l {
		case Tester:
			w.f[i] = ls.s[Tester][t]
		case Session:
			w.f[i] = ls.s[Session][j]
		case TesterPanel:
			w.f[i] = ls.s[TesterPanel][d.opGroup[o]]
		case SessionPanel:
			w.f[i] = ls.s[SessionPanel][c]
		case Residual:
			w.f[i] = ls.fe[c]
			if ls.wte != nil {
				w.tf[i] = ls.wte[c]
			}
		case Specimen:
			w.f[i] = ls.s[Specimen][d.opSpec[o]]
		case Drift:
			w.f[i], w.tf[i] = ls.s[Drift][j]*w.st.tb[c], ls.s[Drift][j]*w.st.wt[c]
		}
	}
}

// residual returns a variate of the current cell less the fitted opinion.
func (w *work) residual(i, o, first int) float64 {
	if w.fit == nil {
		return w.f[i]
	}
	return w.f[i] - w.fit[(o-first)*len(w.list)+i]
}

// session fits level and drift of a session to every variate.
func (w *work) session(t, j int) {
	d, st := w.st.d, w.st
	first, _ := d.size(t)
	clear(w.k0)
	clear(w.k1)
	for c := int(d.sessStart[j]); c < int(d.sessStart[j+1]); c++ {
		w.cell(t, j, c)
		tb, _ := st.time(c)
		for i := range w.list {
			r := st.p[c] * w.residual(i, int(d.cellOp[c]), first)
			w.k0[i] += r
			w.k1[i] += r*tb + w.tf[i]
		}
	}
	for i := range w.list {
		kv := apply(st.k[j], [2]float64{w.k0[i], w.k1[i]})
		w.k0[i], w.k1[i] = kv[0], kv[1]
	}
}

// addRight adds Z'B f of a session to the opinions.
func (w *work) addRight(t, j int, b []float64) {
	d, st, r := w.st.d, w.st, len(w.list)
	for c := int(d.sessStart[j]); c < int(d.sessStart[j+1]); c++ {
		w.cell(t, j, c)
		tb, _ := st.time(c)
		o := int(d.cellOp[c])
		for i := range w.list {
			b[o*r+i] += st.p[c] * (w.f[i] - w.k0[i] - w.k1[i]*tb)
		}
	}
}

func (w *work) block(t int, b, mu []float64, sc *scratch) {
	d, st, r := w.st.d, w.st, len(w.list)
	first, m := d.size(t)
	at := d.blockAt[t]
	local := sc.x[:m*r]
	for i := range m {
		copy(local[i*r:i*r+r], mu[int(d.opPanel[first+i])*r:])
	}
	w.fit = sc.z[:m*r]
	clear(w.fit)
	addProduct(w.fit, st.post[at:at+m*m], b[first*r:(first+m)*r], m, r)
	addProductTransposed(w.fit, st.ninv[at:at+m*m], local, m, r)
	for j := int(d.testStart[t]); j < int(d.testStart[t+1]); j++ {
		w.session(t, j)
		for c := int(d.sessStart[j]); c < int(d.sessStart[j+1]); c++ {
			w.cell(t, j, c)
			w.addCell(j, c, first)
		}
	}
}

// addCell adds the products of the current cell's variates.
func (w *work) addCell(j, c, first int) {
	st, r := w.st, len(w.list)
	tb, _ := st.time(c)
	for l := range w.list {
		score := st.p[c] * (w.residual(l, int(st.d.cellOp[c]), first) - w.k0[l] - w.k1[l]*tb)
		for m := range w.list {
			w.sum[m*r+l] += w.f[m]*score - w.k1[l]*w.tf[m] + w.within(m, l, j, c)
		}
	}
}

// within returns sum (f_m - mean)(f_l - mean)/d of a cell: only residual and drift
// vary inside one.
func (w *work) within(m, l, j, c int) float64 {
	a, b := w.list[m], w.list[l]
	switch {
	case a == Residual && b == Residual:
		return w.ls.ee[c]
	case a == Drift && b == Drift:
		return w.ls.s[Drift][j] * w.ls.s[Drift][j] * w.st.wt[c]
	case a == Drift && b == Residual, a == Residual && b == Drift:
		return w.ls.s[Drift][j] * w.tf[pick(a == Residual, m, l)]
	}
	return 0
}

func pick(yes bool, a, b int) int {
	if yes {
		return a
	}
	return b
}
