package ranks_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"gonum.org/v1/gonum/stat/distuv"

	"evensun/internal/compare"
	"evensun/internal/ranks"
	"evensun/internal/reftest"
	"evensun/internal/seedrand"
)

// Source: multcomp's letters for nlme::ergoStool at 5 %: T2 a, T3 b, T4 c, T1 c.
func TestLettersOfErgoStool(t *testing.T) {
	t.Parallel()
	f := ergoStool(t)
	for i, want := range []string{"c", "a", "b", "c"} {
		if got := f.Letters(ranks.RangeQuantile(0.95, 4, 24) / math.Sqrt2).Label(i); got != want {
			t.Errorf("letters of T%d = %q, want %q", i+1, got, want)
		}
		if got := f.Table(0.95, seedrand.New(1)).Entries[i].TieGroup; got != want {
			t.Errorf("tie group of T%d = %q, want %q", i+1, got, want)
		}
	}
}

// Source: case ergostool, letters_holm_05 (nlme ergoStool; Holm 1979 at 5 %): T2 a, T3 b,
// T4 c, T1 c. Holm's decisions grow with |t|, so they are those of one critical value,
// between the largest |t| that is kept and the smallest that is rejected.
func TestHolmLettersOfErgoStool(t *testing.T) {
	t.Parallel()
	size := []float64{7.49760956169227, 4.28434832096702, 1.28530449629011, 3.21326124072526, 6.21230506540217, 2.99904382467691}
	want := []float64{5.85205229608476e-07, 0.00102517089608423, 0.210951190041478, 0.0111578278762523, 1.01313823774873e-05, 0.0124397007851504}
	student := distuv.StudentsT{Sigma: 1, Nu: 24}
	p := make([]float64, len(size))
	for i, v := range size {
		p[i] = 2 * student.Survival(v)
	}
	kept, rejected := 0.0, math.Inf(1)
	for i, adjusted := range compare.Holm(p) {
		if math.Abs(adjusted-want[i]) > 1e-6 {
			t.Errorf("pair %d: adjusted p %g, want %g", i, adjusted, want[i])
		}
		if adjusted > 0.05 {
			kept = max(kept, size[i])
		} else {
			rejected = min(rejected, size[i])
		}
	}
	if kept >= rejected {
		t.Fatalf("kept up to %g, rejected from %g", kept, rejected)
	}
	f := ergoStool(t)
	for i, want := range []string{"c", "a", "b", "c"} {
		if got := f.Letters((kept + rejected) / 2).Label(i); got != want {
			t.Errorf("letters of T%d = %q, want %q", i+1, got, want)
		}
	}
}

func ExampleFamily_Letters() {
	f, err := ranks.NewSeparate([]float64{5, 4, 3, 1}, []float64{0.5, 0.5, 0.5, 0.5}, math.Inf(1))
	if err != nil {
		fmt.Println(err)
		return
	}
	d := f.Letters(2)
	for i := range f.Len() {
		fmt.Println(d.Label(i), d.Alike(i))
	}
	// Output:
	// a [1]
	// ab [0 2]
	// b [1]
	// c []
}

// random returns a family whose errors differ by exp(spread), so that members of a
// letter are not always consecutive.
func random(tb testing.TB, n int, spread float64, seed uint64) *ranks.Family {
	tb.Helper()
	s := seedrand.New(seed)
	estimates, errors := make([]float64, n), make([]float64, n)
	for i := range estimates {
		estimates[i], errors[i] = s.Normal(), 0.1*math.Exp(spread*s.Normal())
	}
	return family(tb, estimates, errors, 40)
}

// checkLetters verifies what letters mean: shared exactly by pairs not told apart,
// each letter as large as it can be, in the order of their best members.
func checkLetters(t *testing.T, f *ranks.Family, critical float64) *ranks.Display {
	t.Helper()
	d := f.Letters(critical)
	of := make([][]int, f.Len())
	for i := range of {
		of[i] = d.Of(i)
		if len(of[i]) == 0 {
			t.Fatalf("member %d of %d has no letter", i, f.Len())
		}
	}
	members := make([][]int, d.Len())
	for i, letters := range of {
		for _, k := range letters {
			members[k] = append(members[k], i)
		}
		for j := range i {
			alike := math.Abs(f.Studentised(i, j)) <= critical
			shared := slices.ContainsFunc(letters, func(k int) bool { return slices.Contains(of[j], k) })
			if alike != shared || alike != slices.Contains(d.Alike(i), j) {
				t.Fatalf("members %d and %d: alike %v, share a letter %v", i, j, alike, shared)
			}
		}
	}
	best := 1
	for k, group := range members {
		top := f.Len()
		for _, i := range group {
			top = min(top, f.Ranks()[i])
		}
		if top < best {
			t.Errorf("letter %d has best rank %d after one of %d", k, top, best)
		}
		best = top
		for i := range f.Len() {
			fits := func(j int) bool { return math.Abs(f.Studentised(i, j)) <= critical }
			if !slices.Contains(group, i) && !slices.ContainsFunc(group, func(j int) bool { return !fits(j) }) {
				t.Errorf("member %d is alike to all of letter %d and not in it", i, k)
			}
		}
	}
	return d
}

// The three ways of finding letters: consecutive stretches, insert and absorb, cover.
func TestLettersMeanNotToldApart(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		members int
		spread  float64
	}{{1, 0}, {2, 0}, {7, 0}, {60, 0}, {60, 0.3}, {60, 1}, {130, 0.6}, {320, 0.5}} {
		for seed := range uint64(3) {
			checkLetters(t, random(t, c.members, c.spread, seed), 3)
		}
	}
}

// Up to ten members all sets can be tried: insert and absorb finds every largest
// set of alike members and no other.
func TestLettersFindAllLargestSets(t *testing.T) {
	t.Parallel()
	for seed := range uint64(60) {
		f := random(t, 4+int(seed%7), 1.2, seed)
		if got, want := f.Letters(2.5).Len(), largestSets(f, 2.5); got != want {
			t.Errorf("seed %d: %d letters, want %d", seed, got, want)
		}
	}
}

func largestSets(f *ranks.Family, critical float64) int {
	n := f.Len()
	alike := make([]int, n)
	for i := range alike {
		for j := range n {
			if math.Abs(f.Studentised(i, j)) <= critical {
				alike[i] |= 1 << j
			}
		}
	}
	count := 0
	for set := 1; set < 1<<n; set++ {
		common := 1<<n - 1
		for i := range n {
			if set>>i&1 == 1 {
				common &= alike[i]
			}
		}
		if common == set {
			count++
		}
	}
	return count
}

func TestLabelsBeyondZ(t *testing.T) {
	t.Parallel()
	estimates := make([]float64, 60)
	for i := range estimates {
		estimates[i] = -float64(i)
	}
	apart := family(t, estimates, same(60, 0.01), 50).Letters(3)
	for i, want := range map[int]string{0: "a", 25: "z", 26: "a1", 51: "z1", 52: "a2"} {
		if got := apart.Label(i); got != want {
			t.Errorf("Label(%d) = %q, want %q", i, got, want)
		}
	}
	chained := family(t, estimates, same(60, 1), 50).Letters(3) // alike up to 4 places away
	for i, want := range map[int]string{0: "a", 1: "ab", 2: "a-c", 30: "a1-e1"} {
		if got := chained.Label(i); got != want {
			t.Errorf("Label(%d) = %q, want %q", i, got, want)
		}
	}
}

func TestSentences(t *testing.T) {
	t.Parallel()
	w := ranks.Wording{One: "panel", Many: "panels"}
	names := []string{"Tarn 200", "Kite 120", "Moss 100", "Reed 60", "Alder", "Birch", "Cedar", "Doum"}
	for _, c := range []struct {
		estimates []float64
		member    int
		want      string
	}{
		{[]float64{5}, 0, "The only panel in this list, so there is nothing to rank it against."},
		{[]float64{9, 5, 1}, 0, "Rank 1 and no other: better than every other panel in this list at 95 % confidence."},
		{[]float64{9, 5, 1}, 2, "Rank 3 and no other: behind every other panel in this list at 95 % confidence."},
		{[]float64{9, 5, 1, -3}, 1, "Rank 2 and no other: behind the panel above it and better than the 2 panels below it at 95 % confidence."},
		{[]float64{9, 5, 5.2, 0}, 1, "Rank 3, could be 2 to 3: the data cannot tell it apart from Moss 100."},
		{[]float64{9, 5, 5.2, 5.1}, 3, "Rank 3, could be 2 to 4: the data cannot tell it apart from Moss 100 and Kite 120."},
		{[]float64{5, 5.1, 5.2, 5.3, 5.4, 5.5, 5.6, 5.7}, 7, "Rank 1, could be 1 to 8: the data cannot tell it apart from Cedar, Birch, Alder, Reed 60, Moss 100 and 2 others."},
		{[]float64{5, 5.1, 5.2, 5.3, 5.4, 5.5, 5.6}, 6, "Rank 1, could be 1 to 7: the data cannot tell it apart from Birch, Alder, Reed 60, Moss 100, Kite 120 and 1 other."},
	} {
		f := family(t, c.estimates, same(len(c.estimates), 0.3), 40)
		if got := f.Table(0.95, seedrand.New(1)).Sentence(c.member, names, w); got != c.want {
			t.Errorf("Sentence(%d) of %v = %q, want %q", c.member, c.estimates, got, c.want)
		}
	}
}

func TestHeadline(t *testing.T) {
	t.Parallel()
	w := ranks.Wording{One: "panel", Many: "panels"}
	for _, c := range []struct {
		estimates []float64
		want      string
	}{
		{[]float64{5, 5.1, 5.2}, "These panels cannot be told apart with the data so far."},
		{[]float64{5, 9, 5.2}, "Birch is better than every other panel in this list at 95 % confidence."},
		{[]float64{5, 9.1, 9}, "Birch leads, but the data cannot tell it apart from Cedar."},
		{[]float64{5, 9, 9}, "Birch leads, but the data cannot tell it apart from Cedar."},
		{[]float64{9}, ""}, {nil, ""},
	} {
		f := family(t, c.estimates, same(len(c.estimates), 0.3), 40)
		if got := f.Table(0.95, seedrand.New(1)).Headline([]string{"Alder", "Birch", "Cedar"}, w); got != c.want {
			t.Errorf("Headline of %v = %q, want %q", c.estimates, got, c.want)
		}
	}
}

// Letters, intervals and sentences say the same: alone means an interval of one
// rank, and a sentence never has a rank without the ranks that it could be.
func FuzzTable(f *testing.F) {
	f.Add(uint64(3), 9, 0.4)
	f.Add(uint64(4), 30, 0.0)
	f.Fuzz(func(t *testing.T, seed uint64, n int, spread float64) {
		n = 1 + int(reftest.Fold(float64(n), 0, 40))
		fam := random(t, n, reftest.Fold(spread, 0, 1.5), seed)
		critical := 1 + 3*seedrand.New(seed).Uniform()
		d := checkLetters(t, fam, critical)
		table := ranks.Table{Level: 0.95, Critical: critical, Entries: make([]ranks.Entry, n), Letters: d}
		names := make([]string, n)
		for i, v := range fam.RankIntervals(critical) {
			names[i] = fmt.Sprint("m", i)
			table.Entries[i] = ranks.Entry{Rank: fam.Ranks()[i], Interval: v}
			if len(d.Alike(i)) != v.Hi-v.Lo {
				t.Errorf("member %d: %d alike, interval %v", i, len(d.Alike(i)), v)
			}
		}
		for i := range names {
			text := table.Sentence(i, names, ranks.Wording{One: "member", Many: "members"})
			if strings.Contains(text, "Rank") && !strings.Contains(text, "could be") && !strings.Contains(text, "and no other") {
				t.Errorf("a rank without its interval: %q", text)
			}
		}
	})
}

// BenchmarkTable reports what a list costs in units of its plain p-scores, both
// timed in one run; errors that differ twofold, so that letters are not stretches.
func BenchmarkTable(b *testing.B) {
	for _, n := range []int{300, 2000, 5000} {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			f := random(b, n, 0.5, 1)
			var scores, table time.Duration
			for b.Loop() {
				start := time.Now()
				f.PScores()
				scored := time.Now()
				f.Table(0.95, seedrand.New(1))
				scores, table = scores+scored.Sub(start), table+time.Since(scored)
			}
			b.ReportMetric(float64(table)/float64(scores), "x-scores")
		})
	}
}
