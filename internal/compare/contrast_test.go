package compare_test

import (
	"errors"
	"math"
	"testing"

	"evensun/internal/compare"
	"evensun/internal/seedrand"
)

// Two panels in two sessions leave one degree of freedom.
func TestBalancedDofIsExact(t *testing.T) {
	f, err := compare.Estimate(t.Context(), compare.Table{
		Value: []float64{-1, -2, -1.1, -2.2}, Panel: []int32{0, 1, 0, 1}, Session: []int32{0, 0, 1, 1},
	}, compare.Options{Random: []compare.Term{compare.Session, compare.Residual}})
	if err != nil {
		t.Fatal(err)
	}
	c, err := f.Contrast(1, 0)
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(c.Dof-1) > 1e-8 {
		t.Errorf("degrees of freedom = %.12g, want 1", c.Dof)
	}
}

// In a balanced table the variance of a contrast is one mean square of the analysis of
// variance, and has its degrees of freedom: of panels x testers where each tester has
// opinions of his own. Groupings take the same model through the crossed path. Within
// 1e-6: the search ends where a step would move no variance by more than 1e-5, and degrees
// of freedom hang on how it moves their ratios.
//
// Source: S. Searle, G. Casella, C. McCulloch, Variance Components, 1992, chapter 4 (from
// memory).
func TestBalancedDofOfOpinions(t *testing.T) {
	const panels, testers, sessions = 4, 6, 3 // sessions of each tester
	table, pairs := balanced(11, panels, testers, sessions)
	random := []compare.Term{compare.Tester, compare.Session, compare.Residual}
	for name, opt := range map[string]compare.Options{
		"nested":  {Random: append(random, compare.TesterPanel)},
		"crossed": {Random: random, Groupings: []compare.Grouping{{Name: "tester:panel", Codes: pairs}}},
	} {
		f, err := compare.Estimate(t.Context(), table, opt)
		if err != nil {
			t.Fatal(err)
		}
		if len(f.AtBound) > 0 {
			t.Fatalf("%s: %v at the lower limit, where the formula does not hold", name, f.AtBound)
		}
		c, err := f.Contrast(0, 2)
		if err != nil {
			t.Fatal(err)
		}
		if want := float64((panels - 1) * (testers - 1)); math.Abs(c.Dof-want) > 1e-6*want {
			t.Errorf("%s: degrees of freedom = %.12g, want %g", name, c.Dof, want)
		}
	}
}

// balanced draws a table in which every tester reads all panels once in each of his
// sessions, and returns the codes of the tester x panel pairs.
func balanced(seed uint64, panels, testers, sessions int) (t compare.Table, pairs []int32) {
	s := seedrand.New(seed)
	for tester := range testers {
		own, opinion := 0.02*s.Normal(), make([]float64, panels)
		for i := range opinion {
			opinion[i] = 0.012 * s.Normal()
		}
		for k := range sessions {
			hour := 0.03 * s.Normal()
			for i := range panels {
				t.Value = append(t.Value, own+opinion[i]+hour+0.008*s.Normal())
				t.Panel, t.Tester = append(t.Panel, int32(i)), append(t.Tester, int32(tester))
				t.Session = append(t.Session, int32(tester*sessions+k))
				pairs = append(pairs, int32(tester*panels+i))
			}
		}
	}
	return t, pairs
}

// Many contrasts at once are those taken one by one, to the last bit where the covariance
// is held; with eight and one left over, a panel with itself among them.
func TestContrastsAreThoseOneByOne(t *testing.T) {
	table, _ := balanced(12, 10, 5, 2)
	for name, opt := range map[string]compare.Options{
		"dense":  {Random: []compare.Term{compare.Tester, compare.Session, compare.TesterPanel, compare.Residual}},
		"sparse": {Random: []compare.Term{compare.Session, compare.Residual}, DenseLimit: 5},
	} {
		f, err := compare.Estimate(t.Context(), table, opt)
		if err != nil {
			t.Fatal(err)
		}
		pairs := [][2]int{{4, 4}}
		for i := range 9 {
			pairs = append(pairs, [2]int{i, i + 1})
		}
		all, err := f.Contrasts(pairs)
		if err != nil {
			t.Fatal(err)
		}
		for k, p := range pairs {
			one, err := f.Contrast(p[0], p[1])
			if err != nil {
				t.Fatal(err)
			}
			if name == "dense" && all[k] != one || math.Abs(all[k].SE-one.SE) > 1e-9*one.SE || math.Abs(all[k].Dof-one.Dof) > 1e-7*one.Dof {
				t.Errorf("%s: contrast of %v = %+v, one by one %+v", name, p, all[k], one)
			}
		}
	}
	f, err := compare.Estimate(t.Context(), table, compare.Options{Random: []compare.Term{compare.Session, compare.Residual}})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := f.Contrasts([][2]int{{0, 1}, {0, 99}}); !errors.Is(err, compare.ErrColumn) {
		t.Errorf("contrast with a panel that is not there: %v, want ErrColumn", err)
	}
}
