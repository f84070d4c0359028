package combine_test

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"evensun/internal/combine"
	"evensun/internal/seedrand"
)

const twoParts = "value,panel,session,tester\n3,c,u,3\n4,d,u,3\n3.3,c,v,4\n4.1,d,v,4\n" +
	"1,a,s,1\n2,b,s,1\n9,e,s,1\n1.1,a,t,2\n2.2,b,t,2\n9.3,e,t,2\n"

// What nothing joins is not in one list: the best of each part has rank 1 there, the larger
// part comes first, and a part's ranks are those that it has alone.
func TestRanksByPart(t *testing.T) {
	t.Parallel()
	got := combineText(t, twoParts, combine.Options{})
	var order []string
	for _, r := range got.Rank {
		order = append(order, fmt.Sprintf("%s %d.%d", r.Panel, r.Part, r.Rank))
	}
	if want := []string{"e 1.1", "b 1.2", "a 1.3", "d 2.1", "c 2.2"}; !cmp.Equal(order, want) {
		t.Errorf("ranks %v, want %v", order, want)
	}
	for _, r := range got.Rank {
		if size := map[int]int{1: 3, 2: 2}[r.Part]; r.RankLo < 1 || r.RankHi > size {
			t.Errorf("rank of %s is %d to %d of %d", r.Panel, r.RankLo, r.RankHi, size)
		}
	}
	joined := combineText(t, twoParts+"3,c,w,2\n9,e,w,2\n", combine.Options{})
	for _, r := range joined.Rank {
		if r.Part != 0 {
			t.Errorf("%s is in part %d, though a session joins all", r.Panel, r.Part)
		}
	}
	byTester := combineText(t, strings.ReplaceAll(twoParts, ",v,4", ",v,2"), combine.Options{})
	if byTester.Rank[0].Part != 0 {
		t.Error("a tester of both parts does not join them")
	}
}

// ratios is a table of logarithms by few testers: 4 sessions of each with 4 of 6 panels, all
// truly equal, read twice.
func ratios(seed uint64, testers int) string {
	r := seedrand.New(seed)
	var b strings.Builder
	b.WriteString("value,panel,session,tester,standard_uncertainty\n")
	for t := range testers {
		bias, opinion := 0.02*r.Normal(), [6]float64{}
		for i := range opinion {
			opinion[i] = 0.012 * r.Normal()
		}
		for s := range 4 {
			hour, skip := 0.03*r.Normal(), int(6*r.Uniform())
			for i := range 6 {
				if i == skip || i == (skip+2)%6 {
					continue
				}
				cell := 0.008 * r.Normal()
				for range 2 {
					u := 0.008 + 0.022*r.Uniform()
					fmt.Fprintf(&b, "%.6f,p%d,t%ds%d,t%d,%.6f\n", bias+hour+opinion[i]+cell+0.006*r.Normal()+u*r.Normal(), i, t, s, t, u)
				}
			}
		}
	}
	return b.String()
}

// Lists by two testers that tell truly equal panels apart: at most 5 %, with what chance
// adds once in a thousand. The panels are equal, so each letter but one is an error.
func TestListsOfTwoTesters(t *testing.T) {
	t.Parallel()
	const count = 200
	for name, opt := range map[string]combine.Options{"plain": {}, "priors": {Priors: practice(t)}} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			wrong := 0
			for i := range uint64(count) {
				for _, r := range combineText(t, ratios(81000+i, 2), opt).Rank {
					if r.TieGroup != "a" {
						wrong++
						break
					}
				}
			}
			t.Logf("%d of %d lists tell equal panels apart", wrong, count)
			if most := 0.05*count + 3.1*math.Sqrt(0.05*0.95*count); float64(wrong) > most {
				t.Errorf("%d of %d lists tell equal panels apart, want at most %.0f", wrong, count, most)
			}
		})
	}
}

func practice(tb testing.TB) []combine.Prior {
	tb.Helper()
	out, err := combine.ParsePriors("tester=0.02, session=0.03,tester:panel=0.012,session:panel=0.008,residual=0.006")
	if err != nil {
		tb.Fatal(err)
	}
	return out
}

// Up to four testers bound the degrees of freedom of a list, five do not.
func TestFamilyDofOfFewTesters(t *testing.T) {
	t.Parallel()
	for testers, bounded := range map[int]bool{2: true, 4: true, 5: false} {
		most := 0.0
		for seed := range uint64(5) {
			dof, err := combine.FamilyDof(context.Background(), strings.NewReader(ratios(82000+seed, testers)), combine.Options{})
			if err != nil {
				t.Fatal(err)
			}
			most = max(most, dof)
		}
		if limit := float64(testers + 4); bounded && most != limit || !bounded && most <= limit {
			t.Errorf("%d testers: at most %g degrees of freedom, bounded %v", testers, most, bounded)
		}
	}
}

// Priors are in the unit of the values: with values and priors a hundred times as large all
// else stays.
func TestPriorsHaveTheUnit(t *testing.T) {
	t.Parallel()
	one := ratios(83000, 2)
	var b strings.Builder
	for i, line := range strings.Split(strings.TrimSpace(one), "\n") {
		var v, u float64
		if cells := strings.Split(line, ","); i > 0 {
			fmt.Sscan(cells[0], &v)
			fmt.Sscan(cells[4], &u)
			line = fmt.Sprintf("%.4f,%s,%s,%s,%.4f", 100*v, cells[1], cells[2], cells[3], 100*u)
		}
		b.WriteString(line + "\n")
	}
	priors, large := practice(t), practice(t)
	for i := range large {
		large[i].SD *= 100
	}
	small, big := combineText(t, one, combine.Options{Priors: priors}), combineText(t, b.String(), combine.Options{Priors: large})
	for i, v := range small.Variances {
		if got, want := float64(big.Variances[i].Value), 1e4*float64(v.Value); math.Abs(got-want) > 1e-6*want || want == 0 {
			t.Errorf("variance of %s: %g, want %g", v.Term, got, want)
		}
	}
}

// The usual priors are the practice values, which tables in that unit can give one by one.
func TestUsualPriors(t *testing.T) {
	t.Parallel()
	table := ratios(83001, 2)
	usual, given := combineText(t, table, combine.Options{UsualPriors: true}), combineText(t, table, combine.Options{Priors: practice(t)})
	none := combineText(t, table, combine.Options{})
	if !cmp.Equal(usual.Variances, given.Variances) || cmp.Equal(usual.Variances, none.Variances) {
		t.Errorf("variances %v, given %v, without %v", usual.Variances, given.Variances, none.Variances)
	}
}

func TestPriorsRefused(t *testing.T) {
	t.Parallel()
	for _, list := range []string{"tester", "tester=", "tester=0", "tester=-1", "tester=x", "tester=Inf", "tester=NaN", "tester=0.02,,"} {
		if got, err := combine.ParsePriors(list); !errors.As(err, new(*combine.OptionError)) {
			t.Errorf("%q gives %v, %v", list, got, err)
		}
	}
	for _, prior := range []combine.Prior{{"bogus", 1}, {"session:panel", 1}, {"rig", 1}} {
		_, err := combine.Combine(context.Background(), strings.NewReader("value,panel,tester,rig\n1,a,s,r\n2,b,s,r\n1.1,a,t,r\n2.3,b,t,q\n1,a,u,q\n2.2,b,u,q\n"),
			combine.Options{Random: []string{"tester", "rig"}, Priors: []combine.Prior{prior}})
		if option := new(combine.OptionError); !errors.As(err, &option) || option.Option != "--prior" {
			t.Errorf("%v: error %v", prior, err)
		}
	}
	if got, err := combine.ParsePriors(" "); got != nil || err != nil {
		t.Errorf("an empty list gives %v, %v", got, err)
	}
}
