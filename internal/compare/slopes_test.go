package compare_test

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"evensun/internal/compare"
	"evensun/internal/reftest"

	"gonum.org/v1/gonum/mat"
)

// slopes is a model in which each session (a subject) has its own intercept and slope,
// correlated: y = X b + (intercept + slope day) + residual.
type slopes struct {
	table compare.Table
	x     *mat.Dense // ones and days
}

// A slopesTheta is the Cholesky factor L of the covariance of intercept and slope,
// L11, L21, L22, and the residual variance: any L gives a covariance.
type slopesTheta [4]float64

func (theta slopesTheta) root() *mat.Dense {
	return mat.NewDense(2, 2, []float64{theta[0], 0, theta[1], theta[2]})
}

// spread returns Z M Z' + residual I: M where two readings are of one session.
func (s slopes) spread(m mat.Matrix, residual float64) *mat.Dense {
	n := s.table.Len()
	v := mat.NewDense(n, n, nil)
	for i := range n {
		for j := range n {
			if s.table.Session[i] == s.table.Session[j] {
				v.Set(i, j, mat.Inner(s.x.RowView(i), m, s.x.RowView(j)))
			}
		}
		v.Set(i, i, v.At(i, i)+residual)
	}
	return v
}

// at returns the oracle for theta.
func (s slopes) at(tb testing.TB, theta slopesTheta) *oracle {
	tb.Helper()
	var g mat.Dense
	g.Mul(theta.root(), theta.root().T())
	o := &oracle{t: s.table, v: s.spread(&g, theta[3])}
	o.solve(tb, s.x)
	return o
}

// derivatives returns dV by the members of theta: E L' + L E' for an element of L.
func (s slopes) derivatives(theta slopesTheta) [4]*mat.Dense {
	var out [4]*mat.Dense
	for l, element := range [3][2]int{{0, 0}, {1, 0}, {1, 1}} {
		e := mat.NewDense(2, 2, nil)
		e.Set(element[0], element[1], 1)
		var a, m mat.Dense
		a.Mul(e, theta.root().T())
		m.Add(&a, a.T())
		out[l] = s.spread(&m, 0)
	}
	out[3] = s.spread(mat.NewDense(2, 2, nil), 1)
	return out
}

// step returns the gradient of the restricted likelihood and the step to its maximum
// if it were a parabola with the average information (A. R. Gilmour, R. Thompson,
// B. R. Cullis, Biometrics 51 (1995) 1440-1450).
func (s slopes) step(tb testing.TB, o *oracle, theta slopesTheta) (gradient, step *mat.VecDense) {
	tb.Helper()
	n := s.table.Len()
	gradient, step = mat.NewVecDense(4, nil), mat.NewVecDense(4, nil)
	information := mat.NewDense(4, 4, nil)
	var f, pf [4]mat.VecDense // V_l P y, P V_l P y
	for l, d := range s.derivatives(theta) {
		f[l].MulVec(d, o.py)
		pf[l].MulVec(o.p, &f[l])
		trace := 0.0
		for i := range n {
			trace += mat.Dot(o.p.RowView(i), d.ColView(i))
		}
		gradient.SetVec(l, (mat.Dot(o.py, &f[l])-trace)/2)
	}
	for l := range f {
		for m := range f {
			information.Set(l, m, mat.Dot(&f[l], &pf[m])/2)
		}
	}
	if err := step.SolveVec(information, gradient); err != nil {
		tb.Fatal(err)
	}
	return gradient, step
}

// fit climbs from theta to the maximum, halving steps that lead down.
func (s slopes) fit(tb testing.TB, theta slopesTheta) (*oracle, slopesTheta) {
	tb.Helper()
	o := s.at(tb, theta)
	for range 50 {
		_, step := s.step(tb, o, theta)
		size, share := 0.0, 1.0
		for ; share > 1e-6; share /= 2 {
			next := theta
			size = 0
			for l := range next {
				next[l] += share * step.AtVec(l)
				size = max(size, math.Abs(next[l]-theta[l])/max(1e-3, math.Abs(theta[l])))
			}
			if next[3] <= 0 {
				continue
			}
			if up := s.at(tb, next); up.logR >= o.logR-1e-9 {
				o, theta = up, next
				break
			}
		}
		if size < 1e-9 {
			return o, theta
		}
	}
	tb.Fatal("no maximum after 50 steps")
	return nil, theta
}

func sleepstudy(tb testing.TB) slopes {
	tb.Helper()
	table, n := readTable(tb, "sleepstudy.csv")
	x := mat.NewDense(table.Len(), 2, nil)
	for k, panel := range table.Panel {
		day, err := strconv.ParseFloat(strings.TrimPrefix(n.panel[panel], "d"), 64)
		if err != nil {
			tb.Fatal(err)
		}
		x.SetRow(k, []float64{1, day})
	}
	return slopes{table, x}
}

// Source: cases.json, sleepstudy_slopes (lme4, Reaction ~ Days + (Days | Subject)).
func TestSlopes(t *testing.T) {
	t.Parallel()
	want := reftest.BesideFits[struct {
		LogLikelihood float64   `json:"log_likelihood_reml"`
		Fixed         []float64 `json:"fixef"`
		SE            []float64 `json:"se"`
		Intercept     float64   `json:"var_intercept"`
		Slope         float64   `json:"var_slope"`
		Covariance    float64   `json:"cov"`
		Residual      float64   `json:"residual"`
	}](t, "sleepstudy_slopes")
	if len(want.Fixed) != 2 || len(want.SE) != 2 {
		t.Fatalf("%+v: want two coefficients", want)
	}
	s := sleepstudy(t)
	o, theta := s.fit(t, slopesTheta{40, 0, 10, 2000})
	near(t, "log-likelihood", o.logR, want.LogLikelihood, 1e-6)
	for i := range want.Fixed {
		near(t, "coefficient", o.mu[i], want.Fixed[i], 1e-6*math.Abs(want.Fixed[i]))
		near(t, "se", math.Sqrt(o.c.At(i, i)), want.SE[i], 1e-5*want.SE[i])
	}
	near(t, "variance of the intercept", theta[0]*theta[0], want.Intercept, 1e-4*want.Intercept)
	near(t, "covariance", theta[0]*theta[1], want.Covariance, 1e-4*want.Covariance)
	near(t, "variance of the slope", theta[1]*theta[1]+theta[2]*theta[2], want.Slope, 1e-4*want.Slope)
	near(t, "residual variance", theta[3], want.Residual, 1e-4*want.Residual)
}

// The gradient that leads the fit is the slope of the likelihood.
func TestSlopesGradient(t *testing.T) {
	t.Parallel()
	s, theta := sleepstudy(t), slopesTheta{30, 1, 8, 900}
	gradient, _ := s.step(t, s.at(t, theta), theta)
	for l := range theta {
		h := 1e-4 * theta[l]
		up, down := theta, theta
		up[l] += h
		down[l] -= h
		want := (s.at(t, up).logR - s.at(t, down).logR) / (2 * h)
		near(t, "gradient", gradient.AtVec(l), want, 1e-5*math.Abs(want)+1e-7)
	}
}
