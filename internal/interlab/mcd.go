package interlab

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

// A Cloud is where a set of points lies and how it spreads.
type Cloud struct {
	Centre    []float64
	Scatter   *mat.SymDense
	Distances []float64 // of all rows, Mahalanobis, not squared
}

// An MCD is the minimum covariance determinant estimate of rows of numbers.
type MCD struct {
	Raw        Cloud  // of the half of the rows that lies closest together
	Reweighted Cloud  // of the rows that Raw does not find far off
	Kept       []bool // whether a row counts in Reweighted
	Half       []int  // the rows of Raw, ascending
}

// cut is the share of normal points within the distance at which a row still counts.
const cut = 0.975

// MCDOf returns centre and scatter of the rows of x as if up to about half of them
// were not there: those of the h = (n+p+1)/2 of n rows of p numbers whose covariance
// has the smallest determinant, and from them those of all rows within the 97.5 %
// distance of chi-square. Both scatters are scaled to be those of normal points.
//
// The h rows are sought by concentration: of a set of rows, the h nearest by its own
// distance have no larger determinant. It starts from all subsets of p+1 rows where
// these times n are up to 500,000, else from some that are drawn by the data, so that
// the same rows in the same order give the same answer. Equally far rows count in order.
//
// It tells false for fewer than 5p rows, where a number is not finite, or where h
// rows lie in a plane (p = 1: are equal), to 1e-6 of their own spread. Wrong rows much
// closer together than the good ones, and not far off, may be taken for the half.
//
// Error: that the determinant is the smallest is not proven; it is in the small
// tables of which the tests try every half. Of 15 or more normal rows the determinant
// of the scatters, to the power 1/p, is right in the mean to 10 %; of 5 to 10 rows
// of one number the raw scatter is 1.5 times too wide.
//
// Source: P. J. Rousseeuw, K. Van Driessen, Technometrics 41 (1999) 212-223; C. Croux,
// G. Haesbroeck, Journal of Multivariate Analysis 71 (1999) 161-190, consistency, by
// the share of rows that count; G. Pison, S. Van Aelst, G. Willems, Metrika 55 (2002)
// 111-123, few rows. All from memory; the constants compared with robustbase covMcd.
func MCDOf(x *mat.Dense) (MCD, bool) {
	n, p := x.Dims()
	if n < 5*p || !rowsFinite(x) {
		return MCD{}, false
	}
	spread := spreads(x)
	if floats.Min(spread) == 0 {
		return MCD{}, false
	}
	h := (n + p + 1) / 2
	rows, ok := tightestHalf(x, spread, h)
	if !ok {
		return MCD{}, false
	}
	return aroundHalf(x, spread, rows)
}

// aroundHalf returns the estimate whose tightest half are these rows.
func aroundHalf(x *mat.Dense, spread []float64, rows []int) (MCD, bool) {
	n, p := x.Dims()
	out := MCD{Half: rows, Kept: make([]bool, n)}
	factor := consistency(p, float64(len(rows))/float64(n)) * smallRaw().factor(n, p)
	out.Raw, _ = cloudOf(x, rows, spread, factor)
	limit := math.Sqrt(chiSquareQuantile(cut, p))
	var kept []int
	for i, d := range out.Raw.Distances {
		if out.Kept[i] = d <= limit; out.Kept[i] {
			kept = append(kept, i)
		}
	}
	factor = 1
	if len(kept) < n {
		factor = consistency(p, float64(len(kept))/float64(n)) * smallReweighted().factor(n, p)
	}
	var ok bool
	out.Reweighted, ok = cloudOf(x, kept, spread, factor)
	return out, ok
}

// spreads returns for each column the MAD, or the range where that is 0.
func spreads(x *mat.Dense) []float64 {
	_, p := x.Dims()
	out := make([]float64, p)
	for j := range out {
		column := mat.Col(nil, j, x)
		if out[j] = MAD(column); out[j] == 0 {
			out[j] = floats.Max(column) - floats.Min(column)
		}
	}
	return out
}

func chiSquareQuantile(share float64, dof int) float64 {
	return distuv.ChiSquared{K: float64(dof)}.Quantile(share)
}

// consistency returns by how much the covariance of the innermost share of normal
// points in p dimensions is too small.
//
// Source: Croux and Haesbroeck 1999.
func consistency(p int, share float64) float64 {
	return share / distuv.ChiSquared{K: float64(p + 2)}.CDF(chiSquareQuantile(share, p))
}

// smallSample is by how much the scatter of few normal points is low: the mean of its
// determinant to the power 1/p is 1 - exp(a)/n^b. In one and two dimensions a
// and b are given, in more they follow from 1 - alpha/p^beta at n = 2p^2 and 3p^2.
//
// Source: Pison, Van Aelst and Willems 2002, for h = (n+p+1)/2.
type smallSample struct {
	a, b        [2]float64 // for p = 1, 2
	alpha, beta [2]float64 // for p > 2, at n = 2p^2, 3p^2
}

func smallRaw() smallSample {
	return smallSample{
		a: [2]float64{0.262024211897096, 0.673292623522027}, b: [2]float64{0.604756680630497, 0.691365864961895},
		alpha: [2]float64{1.42764571687802, 1.06141115981725}, beta: [2]float64{1.26263336932151, 1.28907991440387},
	}
}

func smallReweighted() smallSample {
	return smallSample{
		a: [2]float64{1.11098143415027, 3.11101712909049}, b: [2]float64{1.5182890270453, 1.91401056721863},
		alpha: [2]float64{1.02842572724793, 0.26800273450853}, beta: [2]float64{1.67659883081926, 1.35968562893582},
	}
}

// factor returns what the scatter of n points in p dimensions is to be multiplied by.
func (s smallSample) factor(n, p int) float64 {
	size := math.Log(float64(n))
	if p <= 2 {
		return 1 / (1 - math.Exp(s.a[p-1]-s.b[p-1]*size))
	}
	square := 2 * math.Log(float64(p))
	y2 := math.Log(s.alpha[0]) - s.beta[0]*square/2
	y3 := math.Log(s.alpha[1]) - s.beta[1]*square/2
	b := (y2 - y3) / math.Log(1.5)
	return 1 / (1 - math.Exp(y2-b*(size-math.Ln2-square)))
}

// cloudOf returns the mean of some rows and their covariance times a factor. It tells
// false where they lie in a plane.
func cloudOf(x *mat.Dense, rows []int, spread []float64, factor float64) (Cloud, bool) {
	g := gaussOf(x, rows, spread)
	out := Cloud{Centre: g.centre, Scatter: mat.NewSymDense(len(g.centre), nil), Distances: g.squaredDistances(x)}
	out.Scatter.ScaleSym(factor, g.covariance)
	for i, d := range out.Distances {
		out.Distances[i] = math.Sqrt(d / factor)
	}
	return out, !g.flat
}

// tightestHalf returns the h rows whose covariance has the smallest determinant: each
// start is concentrated twice, the best are to the end. It tells false where it finds
// h rows in a plane.
func tightestHalf(x *mat.Dense, spread []float64, h int) ([]int, bool) {
	n, p := x.Dims()
	var best []half
	for _, subset := range elementalSubsets(n, p+1, seedOf(x)) {
		c := concentrate(x, spread, subset, h, 2)
		if c.flat {
			return nil, false
		}
		if len(best) == refined && c.logDet >= best[refined-1].logDet || slices.ContainsFunc(best, c.same) {
			continue
		}
		best = append(best, c)
		slices.SortStableFunc(best, half.compare)
		best = best[:min(refined, len(best))]
	}
	for i, c := range best {
		best[i] = concentrate(x, spread, c.rows, h, mostSteps)
		if best[i].flat {
			return nil, false
		}
	}
	return slices.MinFunc(best, half.compare).rows, true
}

// A half is a set of h rows, ascending.
type half struct {
	rows   []int
	logDet float64 // of their covariance
	flat   bool    // whether they lie in a plane
}

func (a half) compare(b half) int { return cmp.Compare(a.logDet, b.logDet) }
func (a half) same(b half) bool   { return slices.Equal(a.rows, b.rows) }

// concentrate goes from a set of rows to the h rows nearest by its distance, and on
// from these, until they stay or the steps are done.
func concentrate(x *mat.Dense, spread []float64, start []int, h, steps int) half {
	g, rows := gaussOf(x, start, spread), start
	for range steps {
		next := nearest(g.squaredDistances(x), h)
		if slices.Equal(next, rows) {
			break
		}
		g, rows = gaussOf(x, next, spread), next
		if g.flat {
			break
		}
	}
	return half{rows, g.logDet, g.flat}
}

// nearest returns the h rows of smallest distance, ascending; of equal ones the first.
func nearest(distances []float64, h int) []int {
	order := make([]int, len(distances))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(distances[a], distances[b]) })
	slices.Sort(order[:h])
	return order[:h]
}

// A gauss is mean and covariance of some rows.
type gauss struct {
	centre     []float64
	covariance *mat.SymDense
	root       mat.TriDense // lower, of the covariance
	logDet     float64
	flat       bool // whether the rows lie in a plane
}

// gaussOf returns mean and covariance of two rows or more. Rows in a plane get a
// little width, so that those outside count as far off.
func gaussOf(x *mat.Dense, rows []int, spread []float64) gauss {
	p := len(spread)
	g := gauss{centre: make([]float64, p), covariance: mat.NewSymDense(p, nil)}
	for _, i := range rows {
		floats.AddScaled(g.centre, 1/float64(len(rows)), x.RawRowView(i))
	}
	d := mat.NewVecDense(p, nil)
	for _, i := range rows {
		floats.SubTo(d.RawVector().Data, x.RawRowView(i), g.centre)
		g.covariance.SymRankOne(g.covariance, 1/float64(len(rows)-1), d)
	}
	if g.flat = inPlane(g.covariance, spread); g.flat {
		for j, s := range spread {
			g.covariance.SetSym(j, j, g.covariance.At(j, j)*(1+1e-12)+1e-18*s*s)
		}
	}
	var root mat.Cholesky
	if root.Factorize(g.covariance) {
		root.LTo(&g.root)
		g.logDet = root.LogDet()
	}
	return g
}

// inPlane tells whether a covariance has no inverse to be trusted: a standard
// deviation below 1e-9 of the column's spread, or one below about 1e-6 of the others
// in some direction, each number in units of its own.
func inPlane(covariance *mat.SymDense, spread []float64) bool {
	p := len(spread)
	correlation := mat.NewSymDense(p, nil)
	for j, s := range spread {
		if !(covariance.At(j, j) > 1e-18*s*s) {
			return true
		}
		for k := range j + 1 {
			correlation.SetSym(j, k, covariance.At(j, k)/math.Sqrt(covariance.At(j, j)*covariance.At(k, k)))
		}
	}
	var root mat.Cholesky
	return !root.Factorize(correlation) || root.Cond() > 1e12
}

// squaredDistances returns the squared Mahalanobis distance of all rows.
func (g gauss) squaredDistances(x *mat.Dense) []float64 {
	n, p := x.Dims()
	out, z := make([]float64, n), make([]float64, p)
	for i := range out {
		for j := range z {
			z[j] = x.At(i, j) - g.centre[j]
			for k := range j {
				z[j] -= g.root.At(j, k) * z[k]
			}
			z[j] /= g.root.At(j, j)
			out[i] += z[j] * z[j]
		}
	}
	return out
}
