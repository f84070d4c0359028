package ranks_test

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"gonum.org/v1/gonum/mat"

	"evensun/internal/ranks"
	"evensun/internal/reftest"
	"evensun/internal/seedrand"
)

type rankCase struct {
	Source    string    `json:"source"`
	Estimates []float64 `json:"estimates"`
	SD        float64   `json:"sd"`
	Critical  float64   `json:"critical"`
	Rank      []int     `json:"rank"`
	Lower     []int     `json:"lower"`
	Upper     []int     `json:"upper"`
	PScore    []float64 `json:"p_score"`
}

// Source: table rank_intervals_equal_variance (Mogstad, Romano, Shaikh and Wilhelm
// 2024, one step; critical value exact by qtukey).
func TestRankIntervalsOfWorkedCase(t *testing.T) {
	t.Parallel()
	c := reftest.Table[rankCase](t, "rank_intervals_equal_variance")
	f := family(t, c.Estimates, same(len(c.Estimates), c.SD), math.Inf(1))
	if got := f.Ranks(); !slices.Equal(got, c.Rank) {
		t.Errorf("Ranks() = %v, want %v", got, c.Rank)
	}
	simulated := f.CriticalValue(0.95, ranks.Draws, seedrand.New(20260614))
	if math.Abs(simulated/c.Critical-1) > 0.005 {
		t.Errorf("CriticalValue() = %v, want %v within 0.5 %%", simulated, c.Critical)
	}
	if got := ranks.RangeQuantile(0.95, 6, math.Inf(1)) / math.Sqrt2; math.Abs(got-c.Critical) > 1e-6 {
		t.Errorf("RangeQuantile(0.95, 6, Inf)/sqrt(2) = %v, want %v", got, c.Critical)
	}
	for _, critical := range []float64{c.Critical, simulated} {
		for i, got := range f.RankIntervals(critical) {
			if want := (ranks.Interval{Lo: c.Lower[i], Hi: c.Upper[i]}); got != want {
				t.Errorf("RankIntervals(%v)[%d] = %v, want %v (%s)", critical, i, got, want, c.Source)
			}
		}
	}
	for i, got := range f.PScores() {
		if math.Abs(got-c.PScore[i]) > 1e-8 {
			t.Errorf("PScores()[%d] = %v, want %v", i, got, c.PScore[i])
		}
	}
}

func ExampleFamily_RankIntervals() {
	f, err := ranks.NewSeparate([]float64{4.1, 3.2, 3.0, 2.9, 1.5, 0.2}, []float64{.35, .35, .35, .35, .35, .35}, math.Inf(1))
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(f.RankIntervals(f.CriticalValue(0.95, ranks.Draws, seedrand.New(1))))
	// Output: [{1 4} {1 4} {1 4} {1 5} {4 6} {5 6}]
}

// Equal independent errors make the range quantile exact, so that the simulation
// has an outside value; two members make Student's quantile exact.
func TestCriticalValue(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		members int
		dof     float64
		within  float64 // relative; five standard deviations of the simulation
	}{{2, 7, 1e-9}, {3, 5, 0.002}, {6, 24, 0.005}, {40, math.Inf(1), 0.02}, {120, 30, 0.03}} {
		f := family(t, make([]float64, c.members), same(c.members, 0.2), c.dof)
		got := f.CriticalValue(0.95, ranks.Draws, seedrand.New(3))
		want := ranks.RangeQuantile(0.95, c.members, c.dof) / math.Sqrt2
		if math.Abs(got/want-1) > c.within {
			t.Errorf("CriticalValue of %d members, %v dof = %v, want %v within %v", c.members, c.dof, got, want, c.within)
		}
	}
	long := family(t, make([]float64, 301), same(301, 0.2), 50)
	if got, want := long.CriticalValue(0.95, ranks.Draws, seedrand.New(3)), ranks.RangeQuantile(0.95, 301, 50)/math.Sqrt2; got != want {
		t.Errorf("CriticalValue of 301 members = %v, want the range quantile %v", got, want)
	}
	if got := family(t, []float64{1}, []float64{1}, 5).CriticalValue(0.95, 10, seedrand.New(1)); got != 0 {
		t.Errorf("CriticalValue of one member = %v, want 0", got)
	}
	if got := family(t, []float64{1, 2}, []float64{1, 1}, 5).CriticalValue(1.5, 10, seedrand.New(1)); !math.IsNaN(got) {
		t.Errorf("CriticalValue at level 1.5 = %v, want NaN", got)
	}
}

// A part shared by all members, however large, cancels from every difference, and
// the range quantile is never smaller than the simulated value (Hayter 1984).
func TestCriticalValueIgnoresSharedError(t *testing.T) {
	t.Parallel()
	own := []float64{0.01, 0.02, 0.01, 0.04, 0.015}
	plain := family(t, make([]float64, 5), own, 12)
	c := mat.NewSymDense(5, nil)
	for i := range 5 {
		for j := i; j < 5; j++ {
			c.SetSym(i, j, 9)
		}
		c.SetSym(i, i, 9+own[i]*own[i])
	}
	shared, err := ranks.New(make([]float64, 5), c, 12)
	if err != nil {
		t.Fatal(err)
	}
	a := plain.CriticalValue(0.95, ranks.Draws, seedrand.New(8))
	b := shared.CriticalValue(0.95, ranks.Draws, seedrand.New(8))
	if math.Abs(a-b) > 1e-6 {
		t.Errorf("CriticalValue with a shared error of 3 = %v, want %v as without", b, a)
	}
	if bound := ranks.RangeQuantile(0.95, 5, 12) / math.Sqrt2; a > bound {
		t.Errorf("simulated value %v is above the range quantile %v", a, bound)
	}
}

// The same member under two names: a singular covariance, a difference of 0.
func TestTwins(t *testing.T) {
	t.Parallel()
	c := mat.NewSymDense(3, []float64{1, 1, 0, 1, 1, 0, 0, 0, 1})
	f, err := ranks.New([]float64{2, 2, 0}, c, 20)
	if err != nil {
		t.Fatal(err)
	}
	if got := f.Ranks(); !slices.Equal(got, []int{1, 1, 3}) {
		t.Errorf("Ranks() = %v, want 1, 1, 3", got)
	}
	for i, e := range f.Table(0.95, seedrand.New(4)).Entries {
		if e.Interval != (ranks.Interval{Lo: 1, Hi: 3}) || e.TieGroup != "a" {
			t.Errorf("entry %d = %+v, want 1 to 3 and letter a: 2 is 1.4 standard errors", i, e)
		}
	}
}

// In 300 families whose true values are known all true ranks are inside the
// intervals in 95 % or more; 0.95 less three standard deviations of 300 trials is
// 0.912. True values with many near ties are the hard case.
func TestAllTrueRanksAreInside(t *testing.T) {
	t.Parallel()
	truth := []float64{0, 0.01, 0.02, 0.03, 1, 1.01, 3}
	truth = append(truth, 3.02)
	trueRank := family(t, truth, same(8, 1), 10).Ranks()
	s := seedrand.New(99)
	inside := 0
	for range 300 {
		inside += allInside(t, truth, trueRank, s)
	}
	if share := float64(inside) / 300; share < 0.912 {
		t.Errorf("share of families with all true ranks inside = %v, want 0.95", share)
	}
}

func allInside(t *testing.T, truth []float64, trueRank []int, s *seedrand.Stream) int {
	t.Helper()
	estimates, errors := make([]float64, len(truth)), make([]float64, len(truth))
	for i := range truth {
		errors[i] = 0.2 + 0.1*float64(i%3)
		estimates[i] = truth[i] + errors[i]*s.Normal()
	}
	f := family(t, estimates, errors, math.Inf(1))
	for i, v := range f.RankIntervals(f.CriticalValue(0.95, 200, s)) {
		if trueRank[i] < v.Lo || trueRank[i] > v.Hi {
			return 0
		}
	}
	return 1
}

// Somebody is best in every draw; of two the larger has the probability of beating the
// other: Phi(0.8/sqrt(2)) = 0.7142 with a known error, T_3(0.8/sqrt(2)) = 0.6944 with
// three degrees of freedom (Student's distribution).
func TestBestProbabilities(t *testing.T) {
	t.Parallel()
	sum := 0.0
	for _, p := range family(t, []float64{0.5, 0.1, 0, -0.6}, same(4, 0.4), 9).BestProbabilities(ranks.Draws, seedrand.New(6)) {
		sum += p
	}
	if math.Abs(sum-1) > 1e-9 {
		t.Errorf("probabilities of being best add to %v, want 1", sum)
	}
	for _, c := range []struct{ dof, want float64 }{{math.Inf(1), 0.7142}, {3, 0.6944}} {
		two := family(t, []float64{0.8, 0}, same(2, 1), c.dof).BestProbabilities(40000, seedrand.New(6))
		if math.Abs(two[0]-c.want) > 0.008 {
			t.Errorf("BestProbabilities of two, %v degrees of freedom = %v, want %v", c.dof, two[0], c.want)
		}
	}
	if got := family(t, nil, nil, 9).BestProbabilities(10, seedrand.New(1)); got != nil {
		t.Errorf("BestProbabilities of none = %v, want none", got)
	}
	if got := family(t, []float64{4}, []float64{1}, 9).BestProbabilities(10, seedrand.New(1)); got[0] != 1 {
		t.Errorf("BestProbabilities of one = %v, want 1", got)
	}
	for n, want := range map[int]bool{ranks.SimulatedUpTo: true, ranks.SimulatedUpTo + 1: false} {
		if got := family(t, make([]float64, n), same(n, 1), 9).BestProbabilities(5, seedrand.New(1)); (got != nil) != want {
			t.Errorf("BestProbabilities of %d members: %d values, want some: %v", n, len(got), want)
		}
	}
}

func TestRanksOfTies(t *testing.T) {
	t.Parallel()
	f := family(t, []float64{0.5, 0.7, 0.5 + 4e-13, 0.1, 0.7}, same(5, 0.1), 8)
	if got, want := f.Ranks(), []int{3, 1, 3, 5, 1}; !slices.Equal(got, want) {
		t.Errorf("Ranks() = %v, want %v", got, want)
	}
	if got := family(t, nil, nil, 8).Ranks(); len(got) != 0 {
		t.Errorf("Ranks() of none = %v, want none", got)
	}
}

// The same seed gives the same table; a list turned upside down gives it mirrored.
func TestTableRepeatsAndMirrors(t *testing.T) {
	t.Parallel()
	f := ergoStool(t)
	a, b := f.Table(0.95, seedrand.New(5)), f.Table(0.95, seedrand.New(5))
	if diff := cmp.Diff(a.Entries, b.Entries); diff != "" || a.Critical != b.Critical {
		t.Errorf("two tables of one seed differ: %s", diff)
	}
}

// Ranks lie in their intervals, the best never below the worst, scores average one
// half, and turning all signs mirrors ranks and scores.
func FuzzRankIntervals(f *testing.F) {
	f.Add(uint64(1), 2.0, 5, 0.5)
	f.Add(uint64(9), 3.3, 40, 2.0)
	f.Fuzz(func(t *testing.T, seed uint64, critical float64, n int, spread float64) {
		n = 1 + int(reftest.Fold(float64(n), 0, 60))
		critical, spread = reftest.Fold(critical, 0, 6), reftest.Fold(spread, 0, 2)
		s := seedrand.New(seed)
		estimates, mirrored, errors := make([]float64, n), make([]float64, n), make([]float64, n)
		for i := range estimates {
			estimates[i] = math.Round(8*s.Normal()) / 4
			mirrored[i] = -estimates[i]
			errors[i] = 0.3 * math.Exp(spread*s.Normal())
		}
		up, down := family(t, estimates, errors, 9), family(t, mirrored, errors, 9)
		intervals, opposite := up.RankIntervals(critical), down.RankIntervals(critical)
		scores, other, sum := up.PScores(), down.PScores(), 0.0
		for i, rank := range up.Ranks() {
			v := intervals[i]
			if rank < v.Lo || rank > v.Hi || v.Lo < 1 || v.Hi > n {
				t.Errorf("member %d of %d: rank %d outside %v", i, n, rank, v)
			}
			if w := opposite[i]; w.Lo != n+1-v.Hi || w.Hi != n+1-v.Lo {
				t.Errorf("member %d of %d: %v, mirrored %v", i, n, v, w)
			}
			if math.Abs(scores[i]+other[i]-1) > 1e-12 {
				t.Errorf("member %d: score %v, mirrored %v", i, scores[i], other[i])
			}
			sum += scores[i]
		}
		if math.Abs(sum/float64(n)-0.5) > 1e-12 {
			t.Errorf("scores average %v, want 0.5", sum/float64(n))
		}
	})
}
