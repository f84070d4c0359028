package compare

import "math"

// Small dense matrices, row-major in plain slices. One block has 1 to some dozens
// of rows, where calls into a library cost more than the arithmetic.

// invert replaces the m x m matrix n by its inverse, Gauss-Jordan with row
// pivoting, and returns ln|det n|; -Inf where n is singular. perm has room for m.
func invert(n []float64, m int, perm []int) float64 {
	logDet := 0.0
	for c := range m {
		pivot := pivotRow(n, m, c)
		perm[c] = pivot
		swapRows(n, m, c, pivot)
		p := n[c*m+c]
		logDet += math.Log(math.Abs(p))
		if p == 0 {
			return math.Inf(-1)
		}
		eliminate(n, m, c, 1/p)
	}
	for c := m - 1; c >= 0; c-- {
		swapColumns(n, m, c, perm[c])
	}
	return logDet
}

func pivotRow(n []float64, m, c int) int {
	best := c
	for r := c + 1; r < m; r++ {
		if math.Abs(n[r*m+c]) > math.Abs(n[best*m+c]) {
			best = r
		}
	}
	return best
}

func swapRows(n []float64, m, a, b int) {
	if a == b {
		return
	}
	x, y := n[a*m:a*m+m], n[b*m:b*m+m]
	for j := range x {
		x[j], y[j] = y[j], x[j]
	}
}

func swapColumns(n []float64, m, a, b int) {
	if a == b {
		return
	}
	for r := range m {
		n[r*m+a], n[r*m+b] = n[r*m+b], n[r*m+a]
	}
}

func eliminate(n []float64, m, c int, inverse float64) {
	row := n[c*m : c*m+m]
	row[c] = 1
	for j := range row {
		row[j] *= inverse
	}
	for r := range m {
		if r == c {
			continue
		}
		other := n[r*m : r*m+m]
		f := other[c]
		if f == 0 {
			continue
		}
		other[c] = 0
		for j, v := range row {
			other[j] -= f * v
		}
	}
}

// multiply sets out = a b, all m x m.
func multiply(out, a, b []float64, m int) {
	clear(out[:m*m])
	for i := range m {
		addRows(out[i*m:i*m+m], a[i*m:i*m+m], 1, b, m)
	}
}

// addRows adds to o the sum of the rows of b, each times its factor, every stride-th
// element of f; four rows at a time, so that o is read and written once for them. Four
// factors of 0 are passed over: panels that a tester never read in one session make them.
func addRows(o, f []float64, stride int, b []float64, m int) {
	k := 0
	for ; k+4 <= m; k += 4 {
		f0, f1, f2, f3 := f[k*stride], f[(k+1)*stride], f[(k+2)*stride], f[(k+3)*stride]
		if f0 == 0 && f1 == 0 && f2 == 0 && f3 == 0 {
			continue
		}
		b0, b1, b2, b3 := b[k*m:][:len(o)], b[(k+1)*m:][:len(o)], b[(k+2)*m:][:len(o)], b[(k+3)*m:][:len(o)]
		for j := range o {
			o[j] += f0*b0[j] + f1*b1[j] + f2*b2[j] + f3*b3[j]
		}
	}
	for ; k < m; k++ {
		f0, b0 := f[k*stride], b[k*m:][:len(o)]
		for j := range o {
			o[j] += f0 * b0[j]
		}
	}
}

// multiplyTransposed sets out = (a b)', with room for a': fast where b has many zeros.
func multiplyTransposed(out, a, b, room []float64, m int) {
	for i := range m {
		for j := range m {
			room[j*m+i] = a[i*m+j]
		}
	}
	clear(out[:m*m])
	for j := range m {
		addRows(out[j*m:j*m+m], b[j:], m, room, m)
	}
}

// multiplySymmetric sets out = a b where that is symmetric, from its lower triangle.
func multiplySymmetric(out, a, b []float64, m int) {
	clear(out[:m*m])
	for i := range m {
		addRows(out[i*m:i*m+i+1], a[i*m:i*m+m], 1, b, m)
	}
	mirror(out, m)
}

// multiplyTransposedSymmetric sets out = a' b where that is symmetric.
func multiplyTransposedSymmetric(out, a, b []float64, m int) {
	clear(out[:m*m])
	for i := range m {
		addRows(out[i*m:i*m+i+1], a[i:], m, b, m)
	}
	mirror(out, m)
}

func mirror(a []float64, m int) {
	for i := range m {
		for j := range i {
			a[j*m+i] = a[i*m+j]
		}
	}
}

func symmetrise(a []float64, m int) {
	for i := range m {
		for j := range i {
			v := (a[i*m+j] + a[j*m+i]) / 2
			a[i*m+j], a[j*m+i] = v, v
		}
	}
}

// addProduct adds a x to out for m x m a and x, out of m rows with r columns.
func addProduct(out, a, x []float64, m, r int) {
	if r == maxRHS {
		for i := range m {
			addRows8((*[maxRHS]float64)(out[i*maxRHS:]), a[i*m:i*m+m], x)
		}
		return
	}
	for i := range m {
		o := out[i*r : i*r+r]
		for j, f := range a[i*m : i*m+m] {
			for c, v := range x[j*r : j*r+r] {
				o[c] += f * v
			}
		}
	}
}

// addProductTransposed adds a' x to out.
func addProductTransposed(out, a, x []float64, m, r int) {
	if r == maxRHS {
		addProductTransposed8(out, a, x, m)
		return
	}
	for j := range m {
		xr := x[j*r : j*r+r]
		for i, f := range a[j*m : j*m+m] {
			o := out[i*r : i*r+r]
			for c, v := range xr {
				o[c] += f * v
			}
		}
	}
}

func addProductTransposed8(out, a, x []float64, m int) {
	for j := range m {
		v := (*[maxRHS]float64)(x[j*maxRHS:])
		for i, f := range a[j*m : j*m+m] {
			add8((*[maxRHS]float64)(out[i*maxRHS:]), f, v)
		}
	}
}

// add8 adds f v to o.
func add8(o *[maxRHS]float64, f float64, v *[maxRHS]float64) {
	o[0] += f * v[0]
	o[1] += f * v[1]
	o[2] += f * v[2]
	o[3] += f * v[3]
	o[4] += f * v[4]
	o[5] += f * v[5]
	o[6] += f * v[6]
	o[7] += f * v[7]
}

// quadratic returns x'a x.
func quadratic(a, x []float64, m int) float64 {
	total := 0.0
	for i := range m {
		row := 0.0
		for j, f := range a[i*m : i*m+m] {
			row += f * x[j]
		}
		total += x[i] * row
	}
	return total
}

// choleskyPSD replaces the lower triangle of a positive semidefinite a by its
// factor; columns whose pivot is lost in rounding become 0.
func choleskyPSD(a []float64, m int) {
	top := 0.0
	for i := range m {
		top = max(top, a[i*m+i])
	}
	for c := range m {
		p := a[c*m+c]
		for k := range c {
			p -= a[c*m+k] * a[c*m+k]
		}
		if p <= 1e-13*top {
			for r := c; r < m; r++ {
				a[r*m+c] = 0
			}
			continue
		}
		p = math.Sqrt(p)
		a[c*m+c] = p
		for r := c + 1; r < m; r++ {
			v := a[r*m+c]
			for k := range c {
				v -= a[r*m+k] * a[c*m+k]
			}
			a[r*m+c] = v / p
		}
	}
}
