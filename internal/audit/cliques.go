package audit

import (
	"cmp"
	"fmt"
	"maps"
	"slices"

	"github.com/google/uuid"
)

// Conditions of a clique (common practice, no source): two accounts make a rank, and two
// friends may well share one or two rare panels.
const (
	cliqueTesters = 2
	cliquePanels  = 3
	cliqueOthers  = 3 // testers besides, without whom nobody could have read more
)

// cliques are sets of ranked panels that only the same two testers read. The two may be
// one person, and panels that nobody else can check push others down a list.
func (v *view) cliques() []doubt {
	panels := map[pair][]int{}
	for p, slug := range v.Panels {
		if v.entries[slug] == nil {
			continue
		}
		var readers []int32
		for _, k := range v.ofPanel[p] {
			if t := v.Rows[k].Tester; !slices.Contains(readers, t) {
				readers = append(readers, t)
			}
		}
		if len(readers) == cliqueTesters && len(v.Testers) >= cliqueTesters+cliqueOthers {
			slices.Sort(readers)
			panels[pair(readers)] = append(panels[pair(readers)], p)
		}
	}
	var out []doubt
	named := map[int32]bool{}
	for _, testers := range largestFirst(panels) {
		if list := panels[testers]; len(list) >= cliquePanels {
			about := testers[0]
			if named[about] {
				about = testers[1]
			}
			named[about] = true
			out = append(out, v.clique(about, testers, list))
		}
	}
	return out
}

// A pair of testers, by their numbers in a fit.
type pair [cliqueTesters]int32

// largestFirst orders pairs by how many panels they have to themselves. The order decides
// which of a pair a finding names where somebody has more than one friend: a tester has
// one finding by this rule at most.
func largestFirst(panels map[pair][]int) []pair {
	return slices.SortedFunc(maps.Keys(panels), func(a, b pair) int {
		return cmp.Or(cmp.Compare(len(panels[b]), len(panels[a])), slices.Compare(a[:], b[:]))
	})
}

func (v *view) clique(about int32, testers pair, list []int) doubt {
	d := newDoubt(sameFewTesters)
	d.at, d.tester = int(about), &v.Testers[about]
	d.value, d.limit, d.relation, d.unit = float64(len(list)), cliquePanels, "<", "1"
	var ids []uuid.UUID
	for _, t := range testers {
		ids = append(ids, v.Testers[t])
	}
	var slugs []string
	for _, p := range list {
		slugs = append(slugs, v.Panels[p])
		d.impact.topped = d.impact.topped || v.top[v.Panels[p]]
	}
	d.basis["tester_ids"], d.basis["panel_models"] = ids, slugs
	d.strength = leastT
	d.reason = fmt.Sprintf("%d ranked panels were read by the same two testers and by nobody else, so that nobody can check them. Are the two one person, and do these panels exist?", len(list))
	return d
}
