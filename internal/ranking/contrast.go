package ranking

import (
	"math"
	"sort"

	"gonum.org/v1/gonum/stat/distuv"
)

// exactContrasts is the number of panels up to which every panel's degrees of freedom are
// computed; in longer lists the median of so many stands for all (common practice, no
// source).
const (
	exactContrasts   = 300
	sampledContrasts = 64
)

// contrastDofs fills in every panel's degrees of freedom against the mean of its
// component.
func (f *Fitted) contrastDofs() error {
	f.contrasts = make([]float64, len(f.Panels))
	for c := 1; c <= f.componentCount(); c++ {
		var members []int
		for p := range f.Panels {
			if f.Component[p] == c && !math.IsNaN(f.Fit.Mu[p]) {
				members = append(members, p)
			}
		}
		if err := f.componentDofs(members); err != nil {
			return err
		}
	}
	return nil
}

func (f *Fitted) componentDofs(members []int) error {
	asked := members
	if len(members) > exactContrasts {
		asked = nil
		for k := 0; k < len(members); k += max(1, len(members)/sampledContrasts) {
			asked = append(asked, members[k])
		}
	}
	weights := make([]map[int]float64, len(asked))
	for k, p := range asked {
		weights[k] = againstMean(p, members)
	}
	found, err := f.Fit.Combinations(weights)
	if err != nil {
		return err
	}
	dofs := make([]float64, len(found))
	for k := range found {
		dofs[k] = found[k].Dof
	}
	if len(asked) < len(members) {
		sort.Float64s(dofs)
		for _, p := range members {
			f.contrasts[p] = dofs[len(dofs)/2]
		}
		return nil
	}
	for k, p := range members {
		f.contrasts[p] = dofs[k]
	}
	return nil
}

// againstMean are the weights of a panel less the mean of a list.
func againstMean(p int, members []int) map[int]float64 {
	w := make(map[int]float64, len(members))
	for _, j := range members {
		w[j] = -1 / float64(len(members))
	}
	w[p]++
	return w
}

// A contrastTable holds the variances of a list's figures against their mean.
type contrastTable struct {
	f       *Fitted
	members []int
	merits  []merit
	own     []float64 // variance of each figure
	row     []float64 // sum of its covariances with all members, itself included
	total   float64   // sum of row
}

func (f *Fitted) contrastTable(members []int, merits []merit) *contrastTable {
	t := &contrastTable{f: f, members: members, merits: merits, own: make([]float64, len(members)), row: make([]float64, len(members))}
	for a := range members {
		t.own[a] = t.covariance(a, a)
		t.row[a] = t.own[a]
		for b := range members {
			if b != a {
				t.row[a] += t.covariance(a, b)
			}
		}
		t.total += t.row[a]
	}
	return t
}

// covariance of two members; that of different ones counts as 0 where it is not held, which
// makes no variance against the mean too small, as covariances are not negative.
func (t *contrastTable) covariance(a, b int) float64 {
	if a != b && !t.f.Fit.Dense() {
		return 0
	}
	return t.f.figureCovariance(t.members[a], t.members[b], t.merits[a], t.merits[b])
}

// variance returns that of member a's figure against the mean of the n members:
//
//	C_aa - 2 sum_b C_ab / n + sum_bc C_bc / n^2
func (t *contrastTable) variance(a int) float64 {
	n := float64(len(t.members))
	return max(0, t.own[a]-2*t.row[a]/n+t.total/(n*n))
}

// level is the variance of the members' mean.
func (t *contrastTable) level() float64 {
	n := float64(len(t.members))
	return t.total / (n * n)
}

// halfWidth is that of the interval of member a against the mean.
func (t *contrastTable) halfWidth(a int, confidence float64) float64 {
	return studentQuantile((1+confidence)/2, t.f.contrasts[t.members[a]]) * math.Sqrt(t.variance(a))
}

// drop takes member a out of the list.
func (t *contrastTable) drop(a int) {
	for b := range t.members {
		if b != a {
			t.row[b] -= t.covariance(a, b)
		}
	}
	last := len(t.members) - 1
	t.total = 0
	for _, list := range [][]float64{t.own, t.row} {
		copy(list[a:], list[a+1:])
	}
	copy(t.members[a:], t.members[a+1:])
	copy(t.merits[a:], t.merits[a+1:])
	t.members, t.merits, t.own, t.row = t.members[:last], t.merits[:last], t.own[:last], t.row[:last]
	for _, sum := range t.row {
		t.total += sum
	}
}

// tooWide drops the members that are not known well enough against the mean of the others,
// the least known first, since one of those widens the mean for all. It returns each with
// its half-width.
func (t *contrastTable) tooWide(rules *Rules) map[int]float64 {
	out := map[int]float64{}
	for len(t.members) > 1 {
		worst, widest := -1, rules.MaxHalfWidth
		for a := range t.members {
			if h := t.halfWidth(a, rules.ConfidenceOfInterval); h > widest {
				worst, widest = a, h
			}
		}
		if worst < 0 {
			break
		}
		out[t.members[worst]] = widest
		t.drop(worst)
	}
	return out
}

func studentQuantile(p, dof float64) float64 {
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: dof}.Quantile(p)
}
