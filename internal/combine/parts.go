package combine

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"evensun/internal/compare"
	"evensun/internal/ranks"
	"evensun/internal/robust"
	"evensun/internal/seedrand"
)

const (
	level = 0.95               // confidence of rank intervals
	seed  = 0x6576656e73756e01 // of the draws behind them: any number, always this one

	// fewTesters is the most testers of whom lists have at most compare.FewTesterDof degrees
	// of freedom (common practice, no source). Without that bound 7 to 11 % of lists by two
	// testers, of 4 to 12 panels, contradict a true difference, with it 3 to 4 %.
	fewTesters = 4
)

// parts returns the panels that sessions and testers join, the largest part first, each in
// byte order; all in one where neither is recorded.
func (m *model) parts() [][]int {
	var codes [][]int32
	for _, name := range []string{"session", "tester"} {
		if f, ok := m.data.factors[name]; ok {
			codes = append(codes, f.codes)
		}
	}
	joined := func(int) int { return 0 }
	if len(codes) > 0 {
		joined = joinedBy(m.data.factors["panel"].codes, codes...)
	}
	var out [][]int
	at := map[int]int{}
	for i := range m.panels() {
		k, ok := at[joined(i)]
		if !ok {
			k = len(out)
			at[joined(i)], out = k, append(out, nil)
		}
		out[k] = append(out[k], i)
	}
	slices.SortStableFunc(out, func(a, b []int) int { return cmp.Compare(len(b), len(a)) })
	return out
}

// ranks returns where the panels stand among those of their part, from the best, equal ones
// in byte order.
func (m *model) ranks(f *compare.Fit, errors []float64, contrasts []compare.Contrast) ([]Rank, error) {
	var out []Rank
	parts := m.parts()
	for k, members := range parts {
		family, err := m.family(f, members, errors, contrasts)
		if err != nil {
			return nil, fmt.Errorf("rank %d panels: %w", len(members), err)
		}
		list := m.list(family, members)
		for i := range list {
			if len(parts) > 1 {
				list[i].Part = k + 1
			}
		}
		out = append(out, list...)
	}
	return out, nil
}

func (m *model) list(family *ranks.Family, members []int) []Rank {
	out := make([]Rank, len(members))
	for k, e := range family.Table(level, seedrand.New(seed)).Entries {
		out[k] = Rank{
			Panel: m.data.factors["panel"].names[members[k]], Rank: e.Rank, RankLo: e.Interval.Lo, RankHi: e.Interval.Hi,
			PScore: Number(e.PScore), TieGroup: e.TieGroup,
		}
	}
	slices.SortStableFunc(out, func(a, b Rank) int { return cmp.Compare(a.Rank, b.Rank) })
	return out
}

// family returns some panels as a list to rank.
func (m *model) family(f *compare.Fit, members []int, errors []float64, contrasts []compare.Contrast) (*ranks.Family, error) {
	all := m.estimates(f)
	estimates, se := make([]float64, len(members)), make([]float64, len(members))
	for k, i := range members {
		estimates[k], se[k] = all[i], errors[i]
	}
	dof := m.familyDof(f, members, contrasts)
	if !f.Dense() {
		return ranks.NewSeparate(estimates, se, dof)
	}
	c := mat.NewSymDense(len(members), nil)
	for a, i := range members {
		for b := a; b < len(members); b++ {
			c.SetSym(a, b, f.Cov(i, members[b]))
		}
	}
	return ranks.New(estimates, c, dof)
}

// familyDof returns the degrees of freedom of all pairs of a list: the median of many where
// that is little work, else of the contrasts to the reference.
func (m *model) familyDof(f *compare.Fit, members []int, contrasts []compare.Contrast) float64 {
	dof := math.Inf(1)
	if m.panels()*len(m.data.value) <= exactWork {
		dof = f.FamilyDof(members)
	} else if len(contrasts) > 1 {
		dof = m.medianDof(contrasts)
	}
	if testers := len(m.data.factors["tester"].names); testers > 0 && testers <= fewTesters {
		dof = min(dof, compare.FewTesterDof(testers))
	}
	return dof
}

func (m *model) medianDof(contrasts []compare.Contrast) float64 {
	var dofs []float64
	for i, c := range contrasts {
		if i != m.reference {
			dofs = append(dofs, c.Dof)
		}
	}
	return robust.Median(dofs)
}
