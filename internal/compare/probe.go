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
