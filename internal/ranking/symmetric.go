package ranking

import "gonum.org/v1/gonum/mat"

// symmetric is a symmetric matrix by a function of its elements.
type symmetric struct {
	n  int
	at func(i, j int) float64
}

// Dims returns the dimensions.
func (s symmetric) Dims() (r, c int) { return s.n, s.n }

// At returns an element.
func (s symmetric) At(i, j int) float64 { return s.at(i, j) }

// T returns the transpose, which is the matrix itself.
func (s symmetric) T() mat.Matrix { return s }

// SymmetricDim returns the number of rows.
func (s symmetric) SymmetricDim() int { return s.n }
