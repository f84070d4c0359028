package compare

import "slices"

// A localBlock follows what changed weights of one block do to its own statistics and to
// the estimates of its panels while all other blocks stay as they were at the last
// measure. There the panels at the block's opinions have estimates mu, covariance C and
// from the block information M and weighted values m; with M + D and m + d instead
//
//	C* = (I + C D)^-1 C,   mu* = mu + C* (d - D mu)
//
// exactly where C is; C from probes is as good as elsewhere.
type localBlock struct {
	e              *engine
	t              int
	mu, cov        []float64 // at the last measure; cov nil: panels count as known
	big, m         []float64
	fresh, inverse []float64 // room
	sc             *scratch
}

func (e *engine) localBlock(t int, cov blockCov, sc *scratch) *localBlock {
	d := e.d
	first, m := d.size(t)
	at := d.blockAt[t]
	b := &localBlock{e: e, t: t, mu: make([]float64, m), big: slices.Clone(e.st.big[at : at+m*m]), m: slices.Clone(e.st.m[first : first+m]), sc: sc}
	for i := range m {
		b.mu[i] = e.mu[d.opPanel[first+i]]
	}
	if cov != nil {
		b.cov, b.fresh, b.inverse = make([]float64, m*m), make([]float64, m*m), make([]float64, m*m)
		cov(t, b.cov, sc)
	}
	return b
}

// renew sets the block's statistics at its present additions.
func (b *localBlock) renew() {
	e := b.e
	e.st.absorbBlock(b.t, b.sc)
	mu, cov := b.panels()
	e.st.scoreOpinions(b.t, mu, e.ls, e.opt.has(Residual), b.sc)
	e.st.informBlock(b.t, cov, e.ls, b.sc)
}

// panels returns mu* and C*.
func (b *localBlock) panels() ([]float64, blockCov) {
	if b.cov == nil {
		return b.mu, nil
	}
	d := b.e.d
	first, m := d.size(b.t)
	at := d.blockAt[b.t]
	change, mu := b.sc.c[:m*m], slices.Clone(b.mu)
	pull := make([]float64, m) // d - D mu
	for i, v := range b.e.st.big[at : at+m*m] {
		change[i] = v - b.big[i]
		pull[i/m] -= change[i] * b.mu[i%m]
	}
	for i, v := range b.e.st.m[first : first+m] {
		pull[i] += v - b.m[i]
	}
	multiply(b.inverse, b.cov, change, m)
	for i := range m {
		b.inverse[i*m+i]++
	}
	invert(b.inverse, m, b.sc.perm)
	multiply(b.fresh, b.inverse, b.cov, m)
	addProduct(mu, b.fresh, pull, m, 1)
	return mu, func(_ int, out []float64, _ *scratch) { copy(out, b.fresh) }
}
