package compare

// A blockCov sets out to the covariance of the panels' estimates at the opinions of a
// block, m x m.
type blockCov func(t int, out []float64)

// blockCov returns the covariances at the last measure: exact where C is held, else from
// its probes; nil where the panels count as known.
func (e *engine) blockCov() blockCov {
	d := e.d
	if cov := e.cov(); cov != nil {
		return func(t int, out []float64) {
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

// A probeBatch holds r draws x ~ N(0, C) and H x, by panel.
type probeBatch struct {
	x, hx []float64
	r     int
}

// drawProbes draws the probes of one theta.
func (e *engine) drawProbes() error {
	e.probes = e.probes[:0]
	count := e.opt.probes()
	for from := 0; from < count; from += maxRHS {
		r := min(maxRHS, count-from)
		hx, err := e.rightSides(purposeProbe, from, r)
		if err != nil {
			return err
		}
		x, err := e.nrm.solveRough(hx, r)
		if err != nil {
			return err
		}
		e.probes = append(e.probes, probeBatch{x: x, hx: hx, r: r})
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
func (e *engine) probedCov(t int, out []float64) {
	d, n := e.d, e.nrm
	first, m := d.size(t)
	place, rows := make([]int, m), []int(nil) // of an opinion's panel; a first opinion of each panel
	for i := range m {
		if i == 0 || d.opPanel[first+i] != d.opPanel[first+i-1] {
			rows = append(rows, i)
		}
		place[i] = len(rows) - 1
	}
	k := len(rows)
	inverse, cov, mean := make([]float64, k*k), make([]float64, k*k), make([]float64, k)
	for a, i := range rows {
		for b, j := range rows {
			inverse[a*k+b] = n.val[n.slot[d.blockAt[t]+i*m+j]]
		}
	}
	invert(inverse, k, make([]int, k))
	for _, batch := range e.probes {
		for c := range batch.r {
			e.conditionalMean(mean, inverse, batch, c, first, rows)
			for a, x := range mean {
				for b, y := range mean {
					cov[a*k+b] += x * y / float64(e.opt.probes())
				}
			}
		}
	}
	for i := range m {
		for j := range m {
			at := place[i]*k + place[j]
			out[i*m+j] = cov[at] + inverse[at]
			if n.anchor[d.opPanel[first+i]] || n.anchor[d.opPanel[first+j]] {
				out[i*m+j] = 0
			}
		}
	}
}

// conditionalMean sets the mean of a draw at some panels given all others.
func (e *engine) conditionalMean(mean, inverse []float64, batch probeBatch, column, first int, rows []int) {
	k := len(rows)
	for a, i := range rows {
		mean[a] = batch.x[int(e.d.opPanel[first+i])*batch.r+column]
		for b, j := range rows {
			mean[a] -= inverse[a*k+b] * batch.hx[int(e.d.opPanel[first+j])*batch.r+column]
		}
	}
}
