package compare

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

const maxRHS = 8

// normal holds the equations of the panels, H mu = h: dense with its Cholesky
// factor and inverse, or sparse rows for conjugate gradients.
type normal struct {
	d      *design
	anchor []bool // panels fixed at 0: absent, or one a component when sessions are fixed
	work   int

	chol mat.Cholesky // dense path
	c    *mat.SymDense

	start, col []int32 // sparse path: rows of H
	slot       []int32 // element of M to element of H
	val, diag  []float64
}

func newNormal(d *design, anchor []bool, dense bool, workers int) *normal {
	n := &normal{d: d, anchor: anchor, work: workers}
	if !dense {
		n.pattern()
	}
	return n
}

func (n *normal) dense() bool { return n.start == nil }

// assembleDense builds and factors H; ok is false where H is not positive definite.
func (n *normal) assembleDense(big []float64) bool {
	d := n.d
	h := mat.NewSymDense(d.panels, nil)
	raw := h.RawSymmetric()
	for t := range d.blocks() {
		first, m := d.size(t)
		for a := range m {
			i := int(d.opPanel[first+a])
			for b := range m {
				if j := int(d.opPanel[first+b]); j >= i {
					raw.Data[i*raw.Stride+j] += big[d.blockAt[t]+a*m+b]
				}
			}
		}
	}
	for i := range d.panels {
		if !n.anchor[i] {
			continue
		}
		for j := range d.panels {
			h.SetSym(i, j, 0)
		}
		h.SetSym(i, i, 1)
	}
	return n.chol.Factorize(h)
}

// invertDense sets C; anchored panels have no variance.
func (n *normal) invertDense() error {
	n.c = mat.NewSymDense(n.d.panels, nil)
	err := n.chol.InverseTo(n.c)
	if _, ill := err.(mat.Condition); err != nil && !ill {
		return fmt.Errorf("invert H of %d panels: %w", n.d.panels, err)
	}
	for i, a := range n.anchor {
		if a {
			n.c.SetSym(i, i, 0)
		}
	}
	return nil
}

// gather sums values of opinions, r a row, into panels.
func (n *normal) gather(opinions []float64, r int) []float64 {
	d := n.d
	out := make([]float64, d.panels*r)
	inShards(d.panels, n.work, func(_, lo, hi int) {
		for i := lo; i < hi; i++ {
			if n.anchor[i] {
				continue
			}
			for _, o := range d.panelOps[d.panelStart[i]:d.panelStart[i+1]] {
				for c := range r {
					out[i*r+c] += opinions[int(o)*r+c]
				}
			}
		}
	})
	return out
}

// solve returns H^-1 h for r right-hand sides, on the sparse path to a relative
// 1e-10 in the norm of the preconditioned residual, from a start or nil.
func (n *normal) solve(h []float64, r int, start []float64) ([]float64, error) {
	return n.solveTo(h, r, start, 1e-10)
}

// solveRough is solve to 1e-6, for draws and information matrices.
func (n *normal) solveRough(h []float64, r int, start []float64) ([]float64, error) {
	return n.solveTo(h, r, start, 1e-6)
}

func (n *normal) solveTo(h []float64, r int, start []float64, tol float64) ([]float64, error) {
	if !n.dense() {
		return n.conjugate(h, r, start, tol*tol)
	}
	out := make([]float64, len(h))
	x, b := mat.NewDense(n.d.panels, r, out), mat.NewDense(n.d.panels, r, h)
	err := n.chol.SolveTo(x, b)
	if _, ill := err.(mat.Condition); err != nil && !ill {
		return nil, fmt.Errorf("solve for %d panels: %w", n.d.panels, err)
	}
	return out, nil
}

// pattern finds which elements of H are not 0 and where each element of M goes.
func (n *normal) pattern() {
	d := n.d
	block := make([]int32, d.opinions())
	for t := range d.blocks() {
		first, m := d.size(t)
		for o := first; o < first+m; o++ {
			block[o] = int32(t)
		}
	}
	n.slot = make([]int32, d.blockAt[d.blocks()])
	n.start = make([]int32, d.panels+1)
	place := make([]int32, d.panels) // element of the open row, plus one
	for i := range d.panels {
		begin := int32(len(n.col))
		n.col = append(n.col, int32(i)) // the diagonal comes first
		place[i] = begin + 1
		for _, o := range d.panelOps[d.panelStart[i]:d.panelStart[i+1]] {
			n.placeRow(int(block[o]), int(o), begin, place)
		}
		n.start[i+1] = int32(len(n.col))
	}
	n.val, n.diag = make([]float64, len(n.col)), make([]float64, d.panels)
}

func (n *normal) placeRow(t, o int, begin int32, place []int32) {
	d := n.d
	first, m := d.size(t)
	row := d.blockAt[t] + (o-first)*m
	for b := range m {
		j := d.opPanel[first+b]
		if place[j] <= begin {
			n.col = append(n.col, j)
			place[j] = int32(len(n.col))
		}
		n.slot[row+b] = place[j] - 1
	}
}

// assembleSparse sets the elements of H.
func (n *normal) assembleSparse(big []float64, block func(o int) (at, m int)) {
	d := n.d
	inShards(d.panels, n.work, func(_, lo, hi int) {
		for i := lo; i < hi; i++ {
			clear(n.val[n.start[i]:n.start[i+1]])
			for _, o := range d.panelOps[d.panelStart[i]:d.panelStart[i+1]] {
				row, m := block(int(o))
				for b := range m {
					n.val[n.slot[row+b]] += big[row+b]
				}
			}
			n.maskRow(i)
			n.diag[i] = n.val[n.start[i]]
		}
	})
}

func (n *normal) maskRow(i int) {
	for e := n.start[i]; e < n.start[i+1]; e++ {
		if n.anchor[i] || n.anchor[n.col[e]] {
			n.val[e] = 0
		}
	}
	if n.anchor[i] {
		n.val[n.start[i]] = 1
	}
}

// times sets out = H x for r columns.
func (n *normal) times(out, x []float64, r int) {
	inShards(n.d.panels, n.work, func(_, lo, hi int) {
		for i := lo; i < hi; i++ {
			cols, vals := n.col[n.start[i]:n.start[i+1]], n.val[n.start[i]:n.start[i+1]]
			switch r {
			case 1:
				out[i] = timesRow1(x, cols, vals)
			case maxRHS:
				timesRow8((*[maxRHS]float64)(out[i*r:]), x, cols, vals)
			default:
				timesRow(out[i*r:i*r+r], x, cols, vals)
			}
		}
	})
}

func timesRow(out, x []float64, cols []int32, vals []float64) {
	clear(out)
	for e, f := range vals {
		xr := x[int(cols[e])*len(out):]
		for c := range out {
			out[c] += f * xr[c]
		}
	}
}

func timesRow1(x []float64, cols []int32, vals []float64) float64 {
	sum := 0.0
	for e, f := range vals {
		sum += f * x[cols[e]]
	}
	return sum
}

// timesRow8 is timesRow for a full block of columns, kept in registers.
func timesRow8(out *[maxRHS]float64, x []float64, cols []int32, vals []float64) {
	var s0, s1, s2, s3, s4, s5, s6, s7 float64
	for e, f := range vals {
		v := (*[maxRHS]float64)(x[int(cols[e])*maxRHS:])
		s0 += f * v[0]
		s1 += f * v[1]
		s2 += f * v[2]
		s3 += f * v[3]
		s4 += f * v[4]
		s5 += f * v[5]
		s6 += f * v[6]
		s7 += f * v[7]
	}
	*out = [maxRHS]float64{s0, s1, s2, s3, s4, s5, s6, s7}
}

const conjugateLimit = 1000

// conjugate solves by conjugate gradients with the diagonal as preconditioner, at most
// maxRHS columns at a time, until r'D^-1 r of each has fallen to tol of h'D^-1 h.
func (n *normal) conjugate(h []float64, r int, start []float64, tol float64) ([]float64, error) {
	x, res := make([]float64, len(h)), make([]float64, len(h))
	z, dir, hd := make([]float64, len(h)), make([]float64, len(h)), make([]float64, len(h))
	first := n.size(h, z, r)
	if n.nearer(start, h, first, res, z, r) {
		copy(x, start)
	} else {
		copy(res, h)
	}
	rho := n.size(res, z, r)
	copy(dir, z)
	for range conjugateLimit {
		if solved(rho, first, tol) {
			return x, nil
		}
		n.times(hd, dir, r)
		step := ratios(rho, columnDots(dir, hd, r))
		for i := 0; i < len(x); i += r {
			for c, s := range step {
				x[i+c] += s * dir[i+c]
				res[i+c] -= s * hd[i+c]
			}
		}
		next := n.size(res, z, r)
		beta := ratios(next, rho)
		rho = next
		for i := 0; i < len(x); i += r {
			for c, s := range beta {
				dir[i+c] = z[i+c] + s*dir[i+c]
			}
		}
	}
	return nil, fmt.Errorf("%w: conjugate gradients did not settle in %d steps", ErrModel, conjugateLimit)
}

// size sets z = D^-1 x and returns x'z of every column.
func (n *normal) size(x, z []float64, r int) []float64 {
	n.precondition(z, x, r)
	return columnDots(x, z, r)
}

// nearer sets res = h - H start, with room in z, and tells whether that is smaller than h
// in every column: not where there is no start, or one that is not finite.
func (n *normal) nearer(start, h, first, res, z []float64, r int) bool {
	if start == nil {
		return false
	}
	n.times(res, start, r)
	for i, v := range res {
		res[i] = h[i] - v
	}
	for c, left := range n.size(res, z, r) {
		if !(left <= first[c]) {
			return false
		}
	}
	return true
}

func (n *normal) precondition(z, res []float64, r int) {
	for i, v := range n.diag {
		for c := range r {
			z[i*r+c] = res[i*r+c] / v
		}
	}
}

func columnDots(a, b []float64, r int) []float64 {
	out := make([]float64, r)
	for i := 0; i < len(a); i += r {
		for c := range out {
			out[c] += a[i+c] * b[i+c]
		}
	}
	return out
}

func ratios(a, b []float64) []float64 {
	out := make([]float64, len(a))
	for i := range a {
		if b[i] != 0 {
			out[i] = a[i] / b[i]
		}
	}
	return out
}

func solved(rho, first []float64, tol float64) bool {
	for i := range rho {
		if !(rho[i] <= tol*first[i]) && !math.IsNaN(rho[i]) {
			return false
		}
	}
	return true
}

// ops returns for every opinion the first element of its row of M and the row's length.
func (d *design) ops() func(o int) (at, m int) {
	row, size := make([]int, d.opinions()), make([]int32, d.opinions())
	for t := range d.blocks() {
		first, m := d.size(t)
		for a := range m {
			row[first+a], size[first+a] = d.blockAt[t]+a*m, int32(m)
		}
	}
	return func(o int) (int, int) { return row[o], int(size[o]) }
}
