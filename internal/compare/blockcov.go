package compare

// A blockCov sets out to the covariance of the panels' estimates at the opinions of a
// block, m x m; it uses the room of d, e, x and z.
type blockCov func(t int, out []float64, sc *scratch)

// blockCov returns the covariances at the last measure: exact where C is held, else from
// its probes; nil where the panels count as known.
func (e *engine) blockCov() blockCov {
	d := e.d
	if cov := e.cov(); cov != nil {
		return func(t int, out []float64, _ *scratch) {
			first, m := d.size(t)
			for i := range m {
				for j := range m {
					out[i*m+j] = cov(int(d.opPanel[first+i]), int(d.opPanel[first+j]))
				}
			}
		}
	}
	if e.opt.ML || e.probes == nil {
		return nil
	}
	return e.probedCov
}

// A probeBatch holds r draws x ~ N(0, C), the H x that they solve, by panel, and the
// normal numbers z that these are made of, by opinion.
type probeBatch struct {
	x, hx, z []float64
	r        int
}

// drawProbes draws the probes of one theta, from the same normal numbers at each.
func (e *engine) drawProbes() error {
	if e.probes == nil {
		for from := 0; from < e.opt.probes(); from += maxRHS {
			r := min(maxRHS, e.opt.probes()-from)
			p := probeBatch{z: make([]float64, e.d.opinions()*r), r: r}
			e.normals(p.z, purposeProbe, from, r)
			e.probes = append(e.probes, p)
		}
	}
	room := make([]float64, e.d.opinions()*maxRHS)
	for i := range e.probes {
		p := &e.probes[i]
		p.hx = e.rightSides(p.z, room, p.r)
		x, err := e.nrm.solveRough(p.hx, p.r, p.x)
		if err != nil {
			return err
		}
		p.x = x
	}
	return nil
}

// probedCov sets the covariance at a block's opinions. Given all other panels, those of
// the block vary with the inverse of their part of H, exactly; only the variance of their
// conditional mean x - (H_tt)^-1 (H x)_t is left to the probes:
//
//	C_tt = (H_tt)^-1 + mean (x_t - (H_tt)^-1 (H x)_t) (...)'
//
// Source: D. Blackwell, Ann. Math. Stat. 18 (1947) 105-110, for conditioning.
func (e *engine) probedCov(t int, out []float64, sc *scratch) {
	d, n := e.d, e.nrm
	first, m := d.size(t)
	place, rows := sc.row[:m], sc.rows[:0] // of an opinion's panel; a first opinion of each panel
	for i := range m {
		if i == 0 || d.opPanel[first+i] != d.opPanel[first+i-1] {
			rows = append(rows, i)
		}
		place[i] = len(rows) - 1
	}
	k := len(rows)
	inverse, cov := sc.d[:k*k], sc.e[:k*k]
	for a, i := range rows {
		slots := n.slot[d.blockAt[t]+i*m:][:m]
		for b, j := range rows {
			inverse[a*k+b] = n.val[slots[j]]
		}
	}
	invert(inverse, k, sc.perm)
	clear(cov)
	for _, batch := range e.probes {
		addSquares(cov, e.conditionalMeans(inverse, batch, first, rows, sc), k)
	}
	share := 1 / float64(e.opt.probes())
	for i := range m {
		for j := range m {
			a, b := place[i], place[j]
			out[i*m+j] = share*cov[max(a, b)*k+min(a, b)] + inverse[a*k+b]
			if n.anchor[d.opPanel[first+i]] || n.anchor[d.opPanel[first+j]] {
				out[i*m+j] = 0
			}
		}
	}
}

// conditionalMeans returns the means of draws at some panels given all others, maxRHS
// columns a panel, those beyond the batch 0.
func (e *engine) conditionalMeans(inverse []float64, batch probeBatch, first int, rows []int, sc *scratch) []float64 {
	k := len(rows)
	mean, hx := sc.x[:k*maxRHS], sc.z[:k*maxRHS]
	clear(mean)
	clear(hx)
	for a, i := range rows {
		at := int(e.d.opPanel[first+i]) * batch.r
		copy(mean[a*maxRHS:], batch.x[at:at+batch.r])
		for c, v := range batch.hx[at : at+batch.r] {
			hx[a*maxRHS+c] = -v
		}
	}
	for a := range k {
		addRows8((*[maxRHS]float64)(mean[a*maxRHS:]), inverse[a*k:a*k+k], hx)
	}
	return mean
}

// addRows8 adds the rows of x, each times its factor.
func addRows8(out *[maxRHS]float64, f, x []float64) {
	for j, g := range f {
		add8(out, g, (*[maxRHS]float64)(x[j*maxRHS:]))
	}
}

// addSquares adds x x' to the lower triangle of a k x k matrix, x of maxRHS columns.
func addSquares(cov, x []float64, k int) {
	for a := range k {
		u := (*[maxRHS]float64)(x[a*maxRHS:])
		for b := range a + 1 {
			v := (*[maxRHS]float64)(x[b*maxRHS:])
			cov[a*k+b] += u[0]*v[0] + u[1]*v[1] + u[2]*v[2] + u[3]*v[3] + u[4]*v[4] + u[5]*v[5] + u[6]*v[6] + u[7]*v[7]
		}
	}
}
