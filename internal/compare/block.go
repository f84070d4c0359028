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
		o := out[i*m : i*m+m]
		for k := range m {
			f := a[i*m+k]
			if f == 0 {
				continue
			}
			for j, v := range b[k*m : k*m+m] {
				o[j] += f * v
			}
		}
	}
}

// multiplyTransposed sets out = a' b, all m x m.
func multiplyTransposed(out, a, b []float64, m int) {
	clear(out[:m*m])
	for k := range m {
		for i := range m {
			f := a[k*m+i]
			if f == 0 {
				continue
			}
			o := out[i*m : i*m+m]
			for j, v := range b[k*m : k*m+m] {
				o[j] += f * v
			}
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
