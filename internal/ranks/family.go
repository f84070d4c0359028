package ranks

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// tieTolerance is the difference of two estimates, in their own unit, up to which
// they count as equal.
const tieTolerance = 1e-12

// A Family is a list of estimates that are compared with each other, larger being
// better. The zero value is the empty family; others come from New or NewSeparate.
type Family struct {
	estimates  []float64
	variances  []float64
	covariance mat.Symmetric // nil: covariances count as 0
	dof        float64
}

// An InvalidError says which number of which argument makes a family impossible.
type InvalidError struct {
	Argument string  // "estimates", "covariance", "standard errors" or "degrees of freedom"
	Index    int     // position of the member, -1 where it is not one member's
	Value    float64 // the number at fault; a length where lengths differ
	Reason   string
}

// Error returns the fault as one lower-case sentence.
func (e *InvalidError) Error() string {
	if e.Index < 0 {
		return fmt.Sprintf("%s: %v: %s", e.Argument, e.Value, e.Reason)
	}
	return fmt.Sprintf("%s of member %d: %v: %s", e.Argument, e.Index, e.Value, e.Reason)
}

// New returns the family of estimates with their covariance matrix and the degrees
// of freedom of its scale, 1 or more, +Inf where the covariance counts as known.
//
// Error: an *InvalidError for numbers that are not finite, negative variances,
// unequal lengths, or fewer than 1 degree of freedom.
func New(estimates []float64, covariance mat.Symmetric, dof float64) (*Family, error) {
	if covariance == nil {
		return nil, &InvalidError{"covariance", -1, math.NaN(), "missing; NewSeparate does without"}
	}
	if n := covariance.SymmetricDim(); n != len(estimates) {
		return nil, &InvalidError{"covariance", -1, float64(n), "rows differ from the number of estimates"}
	}
	variances := make([]float64, len(estimates))
	for i := range variances {
		variances[i] = covariance.At(i, i)
		for j := range i {
			if !isFinite(covariance.At(i, j)) {
				return nil, &InvalidError{"covariance", i, covariance.At(i, j), "not a finite number"}
			}
		}
	}
	f := &Family{estimates: estimates, variances: variances, covariance: covariance, dof: dof}
	return f, f.check("covariance")
}

// NewSeparate returns the family of estimates with standard errors and covariances
// that are not known but not negative. They count as 0, so that the standard error
// of a difference is never too small. Degrees of freedom and errors as for New.
func NewSeparate(estimates, standardErrors []float64, dof float64) (*Family, error) {
	if n := len(standardErrors); n != len(estimates) {
		return nil, &InvalidError{"standard errors", -1, float64(n), "count differs from the number of estimates"}
	}
	variances := make([]float64, len(estimates))
	for i, se := range standardErrors {
		if se < 0 {
			return nil, &InvalidError{"standard errors", i, se, "negative"}
		}
		variances[i] = se * se
	}
	f := &Family{estimates: estimates, variances: variances, dof: dof}
	return f, f.check("standard errors")
}

// check returns the first fault of the family's numbers, nil if there is none.
func (f *Family) check(variances string) error {
	if !(f.dof >= 1) {
		return &InvalidError{"degrees of freedom", -1, f.dof, "below 1"}
	}
	for i, x := range f.estimates {
		if !isFinite(x) {
			return &InvalidError{"estimates", i, x, "not a finite number"}
		}
		if v := f.variances[i]; !isFinite(v) || v < 0 {
			return &InvalidError{variances, i, v, "the variance is negative or not a finite number"}
		}
	}
	return nil
}

// Len returns the number of members.
func (f *Family) Len() int {
	return len(f.estimates)
}

// DifferenceError returns the standard error of estimate i minus estimate j, in
// the unit of the estimates: sqrt(C_ii + C_jj - 2 C_ij).
func (f *Family) DifferenceError(i, j int) float64 {
	v := f.variances[i] + f.variances[j]
	if f.covariance != nil {
		v -= 2 * f.covariance.At(i, j)
	}
	return math.Sqrt(max(0, v))
}

// Studentised returns (estimate i - estimate j) over its standard error: 0 where
// the estimates are equal to 1e-12, infinite where they differ for certain.
func (f *Family) Studentised(i, j int) float64 {
	d := f.estimates[i] - f.estimates[j]
	if math.Abs(d) <= tieTolerance {
		return 0
	}
	return d / f.DifferenceError(i, j)
}

func isFinite(x float64) bool {
	return !math.IsNaN(x) && !math.IsInf(x, 0)
}
