package compare_test

import (
	"context"
	"math"
	"testing"

	"evensun/internal/compare"

	"gonum.org/v1/gonum/mat"
)

// nested is the restricted likelihood of tester > session with panels crossed, written
// out by small dense matrices: V of each session as it stands, and the effects that
// sessions of a tester share, tester and tester x panel, by Woodbury's identity. It
// has no approximation and shares no code with the engine, which never forms V.
type nested struct {
	table   compare.Table
	testers [][][]int // rows by tester and session
}

func newNested(t compare.Table) nested {
	s := nested{table: t}
	place := map[int32]int{}
	for k, j := range t.Session {
		for int(t.Tester[k]) >= len(s.testers) {
			s.testers = append(s.testers, nil)
		}
		sessions := &s.testers[t.Tester[k]]
		if _, ok := place[j]; !ok {
			place[j] = len(*sessions)
			*sessions = append(*sessions, nil)
		}
		(*sessions)[place[j]] = append((*sessions)[place[j]], k)
	}
	return s
}

// sums collects ln|V|, y'V^-1 y, X'V^-1 y and X'V^-1 X.
type sums struct {
	logV, quad float64
	xy         *mat.VecDense
	xx         *mat.SymDense
}

// logLikelihood returns the restricted log-likelihood at theta.
func (s nested) logLikelihood(tb testing.TB, theta compare.Theta) float64 {
	tb.Helper()
	p := s.table.Panels()
	all := sums{xy: mat.NewVecDense(p, nil), xx: mat.NewSymDense(p, nil)}
	for _, sessions := range s.testers {
		s.addTester(tb, sessions, theta, &all)
	}
	var root mat.Cholesky
	if !root.Factorize(all.xx) {
		tb.Fatal("X'V^-1 X has no root")
	}
	var mu mat.VecDense
	if err := root.SolveVecTo(&mu, all.xy); err != nil {
		tb.Fatal(err)
	}
	n := float64(s.table.Len() - p)
	return -(n*math.Log(2*math.Pi) + all.logV + root.LogDet() + all.quad - mat.Dot(&mu, all.xy)) / 2
}

// addTester adds a tester's share. Its panels have the codes 0 to q-1, the columns of
// its shared effects Z are these and, last, the tester; X is Z without that.
func (s nested) addTester(tb testing.TB, sessions [][]int, theta compare.Theta, all *sums) {
	tb.Helper()
	codes, panels := map[int32]int{}, []int32{}
	for _, rows := range sessions {
		for _, k := range rows {
			if _, ok := codes[s.table.Panel[k]]; !ok {
				codes[s.table.Panel[k]] = len(panels)
				panels = append(panels, s.table.Panel[k])
			}
		}
	}
	q := len(panels)
	if q == 0 {
		return
	}
	zz, zy := mat.NewSymDense(q+1, nil), mat.NewVecDense(q+1, nil) // Z'W^-1 Z, Z'W^-1 y of the sessions
	for _, rows := range sessions {
		s.addSession(tb, rows, codes, theta, zz, zy, all)
	}
	inner := mat.NewSymDense(q+1, nil) // G^-1 + Z'W^-1 Z
	inner.CopySym(zz)
	for c := range q {
		inner.SetSym(c, c, inner.At(c, c)+1/theta[compare.TesterPanel])
	}
	inner.SetSym(q, q, inner.At(q, q)+1/theta[compare.Tester])
	var root mat.Cholesky
	if !root.Factorize(inner) {
		tb.Fatal("a tester's matrix has no root")
	}
	all.logV += root.LogDet() + float64(q)*math.Log(theta[compare.TesterPanel]) + math.Log(theta[compare.Tester])
	var az, left mat.Dense
	var ay, zay mat.VecDense
	if err := root.SolveTo(&az, zz); err != nil {
		tb.Fatal(err)
	}
	if err := root.SolveVecTo(&ay, zy); err != nil {
		tb.Fatal(err)
	}
	left.Mul(zz, &az)
	zay.MulVec(zz, &ay)
	all.quad -= mat.Dot(zy, &ay)
	for c, i := range panels {
		all.xy.SetVec(int(i), all.xy.AtVec(int(i))+zy.AtVec(c)-zay.AtVec(c))
		for d := range c + 1 {
			j := panels[d]
			all.xx.SetSym(int(i), int(j), all.xx.At(int(i), int(j))+zz.At(c, d)-left.At(c, d))
		}
	}
}

// addSession adds a session's W, its covariance without what sessions share.
func (s nested) addSession(tb testing.TB, rows []int, codes map[int32]int, theta compare.Theta, zz *mat.SymDense, zy *mat.VecDense, all *sums) {
	tb.Helper()
	n, last := len(rows), zy.Len()-1
	w, y := mat.NewSymDense(n, nil), mat.NewVecDense(n, nil)
	for a, k := range rows {
		y.SetVec(a, s.table.Value[k])
		for b := range a + 1 {
			v := theta[compare.Session]
			if s.table.Panel[k] == s.table.Panel[rows[b]] {
				v += theta[compare.SessionPanel]
			}
			if a == b {
				v += theta[compare.Residual] + s.table.Variance[k]
			}
			w.SetSym(a, b, v)
		}
	}
	var root mat.Cholesky
	var inverse mat.SymDense
	if !root.Factorize(w) {
		tb.Fatal("a session's matrix has no root")
	}
	if err := root.InverseTo(&inverse); err != nil {
		tb.Fatal(err)
	}
	var wy mat.VecDense
	wy.MulVec(&inverse, y)
	all.logV += root.LogDet()
	all.quad += mat.Dot(y, &wy)
	// SetSym writes both halves: of each two panels the upper element is added to.
	for a, k := range rows {
		ca := codes[s.table.Panel[k]]
		zy.SetVec(ca, zy.AtVec(ca)+wy.AtVec(a))
		zy.SetVec(last, zy.AtVec(last)+wy.AtVec(a))
		for b, m := range rows {
			v, cb := inverse.At(a, b), codes[s.table.Panel[m]]
			if ca <= cb {
				zz.SetSym(ca, cb, zz.At(ca, cb)+v)
			}
			zz.SetSym(ca, last, zz.At(ca, last)+v)
			zz.SetSym(last, last, zz.At(last, last)+v)
		}
	}
}

// checkMaximum fails unless the engine's likelihood is exact, at its fit and at the
// file's variances, and highest at its fit: lower there if any one variance is changed
// by 0.05 %, and lower at the file's.
func (c scaleCase) checkMaximum(tb testing.TB, table compare.Table, f *compare.Fit) {
	tb.Helper()
	s := newNested(table)
	top := s.logLikelihood(tb, f.Theta)
	near(tb, "log-likelihood of the fit", f.LogLikelihood, top, 1e-6)
	for l := range c.Variances {
		for _, factor := range []float64{1 - 5e-4, 1 + 5e-4} {
			beside := f.Theta
			beside[l] *= factor
			if up := s.logLikelihood(tb, beside); !(up < top) {
				tb.Errorf("%v times %v: likelihood %.7f, at the fit %.7f", compare.Term(l), factor, up, top)
			}
		}
	}
	var theirs compare.Theta
	copy(theirs[:], c.Variances[:])
	held, err := compare.Estimate(context.Background(), table, compare.Options{Random: fiveTerms, Start: &theirs, Hold: true})
	if err != nil {
		tb.Fatal(err)
	}
	low := s.logLikelihood(tb, theirs)
	near(tb, "log-likelihood at the file's variances", held.LogLikelihood, low, 1e-6)
	near(tb, "log-likelihood at the file's variances, as printed", low, c.LogLikelihood, 1e-4)
	if !(top > low+0.003) {
		tb.Errorf("likelihood %.7f at our variances, %.7f at the file's: want 0.0034 above", top, low)
	}
}
