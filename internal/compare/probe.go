package compare

// rightSides returns r columns xi ~ N(0, H): sums of E'M^(1/2) z, z by opinion, in the
// room of xi.
func (e *engine) rightSides(z, xi []float64, r int) []float64 {
	d := e.d
	d.inBlocks(e.st.work, func(_, lo, hi int, sc *scratch) {
		for t := lo; t < hi; t++ {
			first, m := d.size(t)
			root := sc.a[:m*m]
			copy(root, e.st.big[d.blockAt[t]:d.blockAt[t]+m*m])
			choleskyPSD(root, m)
			for i := range m {
				out := xi[(first+i)*r : (first+i+1)*r]
				clear(out)
				for k, f := range root[i*m : i*m+i+1] {
					for c, v := range z[(first+k)*r : (first+k+1)*r] {
						out[c] += f * v
					}
				}
			}
		}
	})
	return e.nrm.gather(xi[:d.opinions()*r], r)
}

// normals sets r columns of z to standard normal numbers by opinion, from the given
// column of a purpose on.
func (e *engine) normals(z []float64, purpose uint64, from, r int) {
	d := e.d
	inShards(d.blocks(), e.st.work, func(_, lo, hi int) {
		for t := lo; t < hi; t++ {
			first, m := d.size(t)
			for c := range r {
				stream := blockStream(e.opt.Seed+uint64(from+c)<<32, purpose, t)
				for k := range m {
					z[(first+k)*r+c] = stream.Normal()
				}
			}
		}
	})
}

// subtract takes weight * (z'V^-1 X x)^2 of r columns from every v.
func (s *state) subtract(x []float64, r int, weight float64, ls *levelStats) {
	s.d.inBlocks(s.work, func(_, lo, hi int, sc *scratch) {
		for t := lo; t < hi; t++ {
			s.subtractBlock(t, x, r, weight, ls, sc)
		}
	})
}

func (s *state) subtractBlock(t int, x []float64, r int, weight float64, ls *levelStats, sc *scratch) {
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
		s.subtractOpinions(t, fitted[c:], r, weight, ls)
	}
	clear(fitted)
	addProductTransposed(fitted, s.ninv[at:at+m*m], local, m, r)
	for j := int(d.testStart[t]); j < int(d.testStart[t+1]); j++ {
		for c := range r {
			s.subtractSession(j, first, fitted[c:], r, weight, ls)
		}
	}
}

func (s *state) subtractOpinions(t int, x []float64, r int, weight float64, ls *levelStats) {
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
			ls.v[TesterPanel][d.opGroup[o]] -= weight * group * group
			group = 0
		}
		if last || d.opSpec[o+1] != d.opSpec[o] {
			ls.v[Specimen][d.opSpec[o]] -= weight * spec * spec
			spec = 0
		}
	}
	ls.v[Tester][t] -= weight * total * total
}

func (s *state) subtractSession(j, first int, fitted []float64, r int, weight float64, ls *levelStats) {
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
		ls.v[SessionPanel][c] -= weight * x * x
		e := x * x * s.w2[c]
		if s.t1 != nil {
			e += kv[1]*kv[1]*s.t2[c] - 2*kv[1]*x*s.t1[c]
			ls.cross[c] += weight * x * kv[1]
		}
		ls.v[Residual][c] -= weight * e
	}
	ls.v[Session][j] -= weight * total * total
	if s.t1 != nil {
		ls.inner[j] -= weight * kv[1] * kv[1]
	}
	ls.v[Drift][j] -= weight * drift * drift
}
