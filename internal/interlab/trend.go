package interlab

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// A Trend is a straight line through points, and how sure it is.
type Trend struct {
	Slope, SE float64 // of y per unit of x, with its standard error
	T, P      float64 // slope/SE and its two-sided probability
	Dof       int     // points less two
}

// TrendOf returns the least-squares slope of y on x, of one length; all members
// are NaN with fewer than three points or where all x are equal. Points without
// scatter about the line have SE 0 and P 0 (1 where the slope is 0 too).
//
// Source: least squares, as in any textbook; checked against R lm.
func TrendOf(x, y []float64) Trend {
	nan := math.NaN()
	n := len(x)
	sxx := squares(x)
	if n < 3 || len(y) != n || !(sxx > 0) {
		return Trend{nan, nan, nan, nan, n - 2}
	}
	meanX, meanY := stat.Mean(x, nil), stat.Mean(y, nil)
	sxy := 0.0
	for i := range x {
		sxy += (x[i] - meanX) * (y[i] - meanY)
	}
	slope, rest := sxy/sxx, 0.0
	for i := range x {
		e := y[i] - meanY - slope*(x[i]-meanX)
		rest += e * e
	}
	se := math.Sqrt(rest / float64(n-2) / sxx)
	if slope == 0 {
		return Trend{0, se, 0, 1, n - 2}
	}
	t := slope / se
	return Trend{slope, se, t, twoSidedT(t, float64(n-2)), n - 2}
}

func twoSidedT(t, dof float64) float64 {
	if math.IsInf(t, 0) {
		return 0
	}
	return 2 * student(dof).CDF(-math.Abs(t))
}

// A RankCorrelation is Kendall's tau of pairs and how sure it is.
type RankCorrelation struct {
	Tau   float64 // tau-b, -1 to 1
	P     float64 // two-sided probability of one so large by chance
	Exact bool    // P from all permutations; else from the normal distribution
}

// exactUpTo is the number of pairs up to which Kendall's P is exact.
const exactUpTo = 60

// Kendall returns Kendall's tau-b of x and y, of one length. P is exact up to 60
// pairs without ties, beyond it is normal with the variance corrected for ties.
// NaN with fewer than two pairs or where all x or all y are equal. Cost n^2.
//
// Source: Kendall 1948; the exact form as in R cor.test.
func Kendall(x, y []float64) RankCorrelation {
	n := len(x)
	if n < 2 || len(y) != n {
		return RankCorrelation{math.NaN(), math.NaN(), false}
	}
	var score, tiedX, tiedY float64
	for i := range x {
		for j := range i {
			a, b := sign(x[i]-x[j]), sign(y[i]-y[j])
			score += a * b
			tiedX += 1 - a*a
			tiedY += 1 - b*b
		}
	}
	pairs := float64(n*(n-1)) / 2
	tau := score / math.Sqrt((pairs-tiedX)*(pairs-tiedY))
	if math.IsNaN(tau) || tiedX == pairs || tiedY == pairs {
		return RankCorrelation{math.NaN(), math.NaN(), false}
	}
	if tiedX == 0 && tiedY == 0 && n <= exactUpTo {
		return RankCorrelation{tau, kendallExact(n, int(math.Round((pairs+score)/2))), true}
	}
	z := score / math.Sqrt(scoreVariance(x, y))
	return RankCorrelation{tau, math.Erfc(math.Abs(z) / math.Sqrt2), false}
}

func sign(d float64) float64 {
	switch {
	case d > 0:
		return 1
	case d < 0:
		return -1
	}
	return d // 0 or NaN
}

// kendallExact returns the two-sided probability of a number of concordant pairs
// among n!: the distribution is built up from n-1 to n members, each new one
// adding 0 to n-1 pairs with equal probability.
func kendallExact(n, concordant int) float64 {
	law := []float64{1}
	for m := 2; m <= n; m++ {
		next := make([]float64, len(law)+m-1)
		for k, p := range law {
			for add := range m {
				next[k+add] += p / float64(m)
			}
		}
		law = next
	}
	below, above := 0.0, 0.0
	for k, p := range law {
		if k <= concordant {
			below += p
		}
		if k >= concordant {
			above += p
		}
	}
	return min(1, 2*min(below, above))
}

// scoreVariance returns the variance of Kendall's score under independence, with
// ties (Kendall 1948, chapter 4).
func scoreVariance(x, y []float64) float64 {
	n := float64(len(x))
	a, b := tieSums(x), tieSums(y)
	v := (n*(n-1)*(2*n+5) - a.fifths - b.fifths) / 18
	v += a.pairs * b.pairs / (2 * n * (n - 1))
	if n > 2 {
		v += a.triples * b.triples / (9 * n * (n - 1) * (n - 2))
	}
	return v
}

type ties struct {
	pairs, triples, fifths float64 // sums of t(t-1), t(t-1)(t-2), t(t-1)(2t+5)
}

func tieSums(x []float64) ties {
	sorted := slices.Sorted(slices.Values(x))
	var s ties
	for i := 0; i < len(sorted); {
		j := i
		for j < len(sorted) && sorted[j] == sorted[i] {
			j++
		}
		t := float64(j - i)
		s.pairs += t * (t - 1)
		s.triples += t * (t - 1) * (t - 2)
		s.fifths += t * (t - 1) * (2*t + 5)
		i = max(j, i+1)
	}
	return s
}

// ChiSquareTail returns the probability that chi-square with dof degrees of
// freedom exceeds x; NaN for dof below 1.
func ChiSquareTail(x float64, dof int) float64 {
	if dof < 1 {
		return math.NaN()
	}
	return distuv.ChiSquared{K: float64(dof)}.Survival(x)
}
