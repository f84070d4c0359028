package compare_test

import (
	"context"
	"math"
	"testing"

	"evensun/internal/compare"
	"evensun/internal/seedrand"

	"gonum.org/v1/gonum/mat"
)

// An oracle is the model written out: V, X and P as full matrices. TestSlopes holds it
// against published values on a model that package compare does not have.
type oracle struct {
	t     compare.Table
	v, p  *mat.Dense
	py    *mat.VecDense
	logR  float64
	logML float64
	c     *mat.Dense
	mu    []float64
}

func indicator(n int, same func(k int) bool) *mat.VecDense {
	z := mat.NewVecDense(n, nil)
	for k := range n {
		if same(k) {
			z.SetVec(k, 1)
		}
	}
	return z
}

func code(x []int32, k int) int32 {
	if x == nil {
		return 0
	}
	return x[k]
}

// tau is the time of a reading in half hours from the middle of its session.
func tau(t compare.Table) []float64 {
	lo, hi := map[int32]float64{}, map[int32]float64{}
	for k, j := range t.Session {
		if _, ok := lo[j]; !ok {
			lo[j], hi[j] = t.Minutes[k], t.Minutes[k]
		}
		lo[j], hi[j] = min(lo[j], t.Minutes[k]), max(hi[j], t.Minutes[k])
	}
	out := make([]float64, t.Len())
	for k, j := range t.Session {
		out[k] = (t.Minutes[k] - (lo[j]+hi[j])/2) / 30
	}
	return out
}

// newOracle builds V for theta, known variances and additions by row (tester x
// panel, cell, session, reading), and P.
func newOracle(tb testing.TB, t compare.Table, theta compare.Theta, add [][4]float64, fixed bool) *oracle {
	tb.Helper()
	n := t.Len()
	v := mat.NewDense(n, n, nil)
	var times []float64
	if t.Minutes != nil {
		times = tau(t)
	}
	for a := range n {
		for b := range n {
			sameTester, sameSession := code(t.Tester, a) == code(t.Tester, b), t.Session[a] == t.Session[b]
			if t.Tester == nil {
				sameTester = sameSession
			}
			samePanel, sameRig, sameSpec := t.Panel[a] == t.Panel[b], code(t.Rig, a) == code(t.Rig, b), code(t.Specimen, a) == code(t.Specimen, b)
			x := 0.0
			if sameTester {
				x += theta[compare.Tester]
				if t.RigVariance != nil && sameRig {
					x += t.RigVariance[t.Rig[a]]
				}
				if samePanel {
					x += theta[compare.TesterPanel] + add[a][0]
					if sameSpec {
						x += theta[compare.Specimen]
					}
				}
			}
			if sameSession {
				if !fixed {
					x += theta[compare.Session] + add[a][2]
					if t.SessionVariance != nil {
						x += t.SessionVariance[t.Session[a]]
					}
				}
				if times != nil {
					x += theta[compare.Drift] * times[a] * times[b]
				}
				if samePanel && sameRig && sameSpec {
					x += theta[compare.SessionPanel] + add[a][1]
				}
			}
			if a == b {
				x += theta[compare.Residual] + add[a][3]
				if t.Variance != nil {
					x += t.Variance[a]
				}
			}
			v.Set(a, b, x)
		}
	}
	o := &oracle{t: t, v: v}
	o.solve(tb, o.columns(fixed))
	return o
}

// columns returns X: one column a panel, and with fixed sessions one a session
// but the first (for a connected network).
func (o *oracle) columns(fixed bool) *mat.Dense {
	n, p := o.t.Len(), o.t.Panels()
	q := 0
	if fixed {
		q = o.t.Sessions() - 1
	}
	x := mat.NewDense(n, p+q, nil)
	for k := range n {
		x.Set(k, int(o.t.Panel[k]), 1)
		if j := int(o.t.Session[k]); fixed && j > 0 {
			x.Set(k, p+j-1, 1)
		}
	}
	return x
}

// solve fills in all that follows from V and X.
func (o *oracle) solve(tb testing.TB, x *mat.Dense) {
	tb.Helper()
	n := o.t.Len()
	var lu, lx mat.LU
	lu.Factorize(o.v)
	lnV, _ := lu.LogDet()
	inv := mat.NewDense(n, n, nil)
	if err := lu.SolveTo(inv, false, eye(n)); err != nil {
		tb.Fatal(err)
	}
	_, q := x.Dims()
	var vx, xvx mat.Dense
	vx.Mul(inv, x)
	xvx.Mul(x.T(), &vx)
	lx.Factorize(&xvx)
	lnX, _ := lx.LogDet()
	o.c = mat.NewDense(q, q, nil)
	if err := lx.SolveTo(o.c, false, eye(q)); err != nil {
		tb.Fatal(err)
	}
	var tmp, hat mat.Dense
	tmp.Mul(&vx, o.c)
	hat.Mul(&tmp, vx.T())
	o.p = mat.NewDense(n, n, nil)
	o.p.Sub(inv, &hat)
	y := mat.NewVecDense(n, o.t.Value)
	o.py = mat.NewVecDense(n, nil)
	o.py.MulVec(o.p, y)
	quad := mat.Dot(y, o.py)
	o.logR = -(float64(n-q)*math.Log(2*math.Pi) + lnV + lnX + quad) / 2
	o.logML = -(float64(n)*math.Log(2*math.Pi) + lnV + quad) / 2
	var mu mat.VecDense
	mu.MulVec(tmp.T(), y)
	o.mu = append([]float64(nil), mu.RawVector().Data...)
}

func eye(n int) *mat.Dense {
	m := mat.NewDense(n, n, nil)
	for i := range n {
		m.Set(i, i, 1)
	}
	return m
}

func (o *oracle) statistics(z *mat.VecDense) (s, v float64) {
	var pz mat.VecDense
	pz.MulVec(o.p, z)
	return mat.Dot(z, o.py), mat.Dot(z, &pz)
}

// invented returns a table with everything in it: rigs, specimens, times, known
// variances of readings, sessions and rigs.
func invented(seed uint64, drift bool) compare.Table {
	r := seedrand.New(seed)
	pick := func(n int) int32 { return int32(r.Uniform() * float64(n)) }
	var t compare.Table
	session := int32(0)
	for tester := range int32(4) {
		for range 3 {
			rig := tester*2 + pick(2)
			shift := 0.03 * r.Normal()
			for k := range 6 {
				panel := (tester + pick(4)) % 5
				t.Value = append(t.Value, 0.1*float64(panel)+0.02*float64(tester)+shift+0.01*r.Normal())
				t.Variance = append(t.Variance, math.Pow(0.005+0.02*r.Uniform(), 2))
				t.Panel, t.Tester, t.Session = append(t.Panel, panel), append(t.Tester, tester), append(t.Session, session)
				t.Rig, t.Specimen = append(t.Rig, rig), append(t.Specimen, (tester*5+panel)*2+pick(2))
				if drift {
					t.Minutes = append(t.Minutes, float64(7*k)+r.Uniform())
				}
			}
			session++
		}
	}
	for range session {
		t.SessionVariance = append(t.SessionVariance, 1e-4*r.Uniform())
	}
	for range 8 {
		t.RigVariance = append(t.RigVariance, 1e-4*r.Uniform())
	}
	return t
}

var everything = []compare.Term{compare.Tester, compare.Session, compare.TesterPanel, compare.SessionPanel, compare.Residual, compare.Specimen}

func TestLevelsAgainstOracle(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name         string
		drift, fixed bool
	}{{"random", false, false}, {"drift", true, false}, {"fixed", false, true}, {"fixed_drift", true, true}} {
		t.Run(c.name, func(t *testing.T) { checkLevels(t, c.drift, c.fixed) })
	}
}

func checkLevels(t *testing.T, drift, fixed bool) {
	table := invented(7, drift)
	theta := compare.Theta{compare.TesterPanel: 2e-4, compare.SessionPanel: 6e-5, compare.Residual: 3e-5, compare.Specimen: 5e-5}
	random := []compare.Term{compare.TesterPanel, compare.SessionPanel, compare.Residual, compare.Specimen}
	if fixed {
		table.SessionVariance, table.RigVariance = nil, nil
	} else {
		theta[compare.Tester], theta[compare.Session] = 4e-4, 9e-4
		random = append(random, compare.Tester, compare.Session)
	}
	if drift {
		theta[compare.Drift] = 1e-4
		random = append(random, compare.Drift)
	}
	opt := compare.Options{Random: random, SessionFixed: fixed, Start: &theta, Hold: true}
	f, add, err := compare.EstimateWithAdditions(table, opt, func(i int) float64 { return 1e-5 * float64(i%4) })
	if err != nil {
		t.Fatal(err)
	}
	o := newOracle(t, table, theta, add, fixed)
	near(t, "lR", f.LogLikelihood, o.logR, 1e-8)
	for i := range f.Mu {
		near(t, "contrast", f.Mu[i]-f.Mu[1], o.mu[i]-o.mu[1], 1e-9)
	}
	for _, term := range []compare.Term{compare.Tester, compare.Session, compare.TesterPanel, compare.SessionPanel, compare.Residual, compare.Drift} {
		compareLevel(t, f.Level(term), o)
	}
	rigs := f.Rigs()
	for i := range rigs.Score {
		s, v := o.statistics(indicator(table.Len(), func(k int) bool {
			return table.Rig[k] == rigs.Rig[i] && table.Tester[k] == rigs.Tester[i]
		}))
		near(t, "rig s", rigs.Score[i], s, 1e-7*math.Sqrt(max(v, 0))+1e-7)
		near(t, "rig v", rigs.Information[i], v, 1e-8*v+1e-7)
	}
}

func compareLevel(t *testing.T, l compare.Level, o *oracle) {
	t.Helper()
	cell := 0
	for i := range l.Score {
		z := indicator(o.t.Len(), func(k int) bool {
			return (l.Tester == nil || l.Tester[i] == o.t.Tester[k]) && (l.Session == nil || l.Session[i] == o.t.Session[k]) &&
				(l.Panel == nil || l.Panel[i] == o.t.Panel[k]) && (l.Rows == nil || int(l.Rows[i]) == k)
		})
		if l.Term == compare.Drift {
			times := tau(o.t)
			for k := range times {
				z.SetVec(k, z.AtVec(k)*times[k])
			}
		}
		if l.Term == compare.SessionPanel && specimens(o.t, l.Session[i], l.Panel[i]) > 1 {
			cell++
			continue // such a cell is one of several of its session and panel
		}
		s, v := o.statistics(z)
		near(t, l.Term.String()+" s", l.Score[i], s, 1e-7*math.Sqrt(max(v, 0))+1e-7)
		near(t, l.Term.String()+" v", l.Information[i], v, 1e-8*v+1e-7)
	}
	if cell > len(l.Score)*3/4 {
		t.Errorf("%v: only %d of %d effects were compared", l.Term, len(l.Score)-cell, len(l.Score))
	}
}

func specimens(t compare.Table, session, panel int32) int {
	seen := map[int32]bool{}
	for k, j := range t.Session {
		if j == session && t.Panel[k] == panel {
			seen[t.Specimen[k]] = true
		}
	}
	return len(seen)
}

func near(tb testing.TB, what string, got, want, tol float64) {
	tb.Helper()
	if !(math.Abs(got-want) <= tol) {
		tb.Errorf("%s = %.12g, want %.12g within %.2g", what, got, want, tol)
	}
}

func TestGradientAgainstOracle(t *testing.T) {
	t.Parallel()
	table := invented(3, true)
	theta := compare.Theta{4e-4, 9e-4, 2e-4, 6e-5, 3e-5, 5e-5, 1e-4}
	opt := compare.Options{Random: append([]compare.Term{compare.Drift}, everything...), Start: &theta, Hold: true}
	f, err := compare.Estimate(context.Background(), table, opt)
	if err != nil {
		t.Fatal(err)
	}
	gradient, information := compare.Derivatives(f)
	none := make([][4]float64, table.Len())
	for l := range theta {
		h := 1e-4 * theta[l]
		up, down := theta, theta
		up[l] += h
		down[l] -= h
		want := (newOracle(t, table, up, none, false).logR - newOracle(t, table, down, none, false).logR) / (2 * h)
		near(t, "gradient "+compare.Term(l).String(), gradient[l], want, 1e-5*math.Abs(want)+1e-2)
	}
	o := newOracle(t, table, theta, none, false)
	for l := range theta {
		for m := range theta {
			want := mat.Dot(o.variate(l, theta), o.projected(m, theta)) / 2
			near(t, "information", information[l][m], want, 1e-7*math.Abs(want)+1e-4)
		}
	}
}

// variate returns V_l P y, by the difference of V for a unit of variance l.
func (o *oracle) variate(l int, theta compare.Theta) *mat.VecDense {
	n := o.t.Len()
	none := make([][4]float64, n)
	var unit compare.Theta
	unit[l] = 1
	bare := o.t
	bare.Variance, bare.SessionVariance, bare.RigVariance = nil, nil, nil
	unit[compare.Residual]++ // keeps the helper's V regular
	with := newOracle(nopTB{}, bare, unit, none, false)
	for k := range n {
		with.v.Set(k, k, with.v.At(k, k)-1)
	}
	f := mat.NewVecDense(n, nil)
	f.MulVec(with.v, o.py)
	return f
}

func (o *oracle) projected(m int, theta compare.Theta) *mat.VecDense {
	out := mat.NewVecDense(o.t.Len(), nil)
	out.MulVec(o.p, o.variate(m, theta))
	return out
}

type nopTB struct{ testing.TB }

func (nopTB) Helper() {}
