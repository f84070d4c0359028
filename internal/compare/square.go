package compare

// effectSquares holds a number for every effect of each term, by sorted index.
type effectSquares [terms][]float64

// squares returns (z'V^-1 X x)^2 of every effect for each of r columns of x.
func (s *state) squares(x []float64, r int) []effectSquares {
	out := make([]effectSquares, r)
	for c := range out {
		for l, size := range s.d.effects() {
			out[c][l] = make([]float64, size)
		}
	}
	s.d.inBlocks(s.work, func(_, lo, hi int, sc *scratch) {
		for t := lo; t < hi; t++ {
			s.squareBlock(t, x, r, out, sc)
		}
	})
	return out
}

func (s *state) squareBlock(t int, x []float64, r int, out []effectSquares, sc *scratch) {
	d := s.d
	first, m := d.size(t)
	at := d.blockAt[t]
	local, fitted := sc.x[:m*r], sc.z[:m*r]
	for i := range m {
		copy(local[i*r:i*r+r], x[int(d.opPanel[first+i])*r:])
	}
	clear(fitted)
	addProduct(fitted, s.big[at:at+m*m], local, m, r)
	for c := range r {
		s.squareOpinions(t, fitted[c:], r, &out[c])
	}
	clear(fitted)
	addProductTransposed(fitted, s.ninv[at:at+m*m], local, m, r)
	for j := int(d.testStart[t]); j < int(d.testStart[t+1]); j++ {
		for c := range r {
			s.squareSession(j, first, fitted[c:], r, &out[c])
		}
	}
}

func (s *state) squareOpinions(t int, x []float64, r int, out *effectSquares) {
	d := s.d
	first, m := d.size(t)
	total, group, spec := 0.0, 0.0, 0.0
	for i := range m {
		o := first + i
		total += x[i*r]
		group += x[i*r]
		spec += x[i*r]
		last := i+1 == m
		if last || d.opGroup[o+1] != d.opGroup[o] {
			out[TesterPanel][d.opGroup[o]] = group * group
			group = 0
		}
		if last || d.opSpec[o+1] != d.opSpec[o] {
			out[Specimen][d.opSpec[o]] = spec * spec
			spec = 0
		}
	}
	out[Tester][t] = total * total
}

func (s *state) squareSession(j, first int, fitted []float64, r int, out *effectSquares) {
	d := s.d
	lo, hi := int(d.sessStart[j]), int(d.sessStart[j+1])
	var v [2]float64
	for c := lo; c < hi; c++ {
		tb, _ := s.time(c)
		pf := s.p[c] * fitted[(int(d.cellOp[c])-first)*r]
		v[0] += pf
		v[1] += pf * tb
	}
	kv := apply(s.k[j], v)
	total, drift := 0.0, 0.0
	for c := lo; c < hi; c++ {
		tb, wt := s.time(c)
		x := s.p[c] * (fitted[(int(d.cellOp[c])-first)*r] - kv[0] - kv[1]*tb)
		total += x
		drift += tb*x - kv[1]*wt
		out[SessionPanel][c] = x * x
		e := x * x * s.w2[c]
		if s.t1 != nil {
			e += kv[1]*kv[1]*s.t2[c] - 2*kv[1]*x*s.t1[c]
		}
		out[Residual][c] = e
	}
	out[Session][j] = total * total
	out[Drift][j] = drift * drift
}
