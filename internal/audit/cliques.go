package audit

import (
	"fmt"
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
	type pair [cliqueTesters]int32
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
	for testers, list := range panels {
		if len(list) >= cliquePanels {
			out = append(out, v.clique(testers[:], list))
		}
	}
	return out
}

func (v *view) clique(testers []int32, list []int) doubt {
	d := newDoubt(sameFewTesters)
	d.at, d.tester = int(testers[0]), &v.Testers[testers[0]]
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
	d.standing = leastT
	d.reason = fmt.Sprintf("%d ranked panels were read by the same two testers and by nobody else, so that nobody can check them. Are the two one person, and do these panels exist?", len(list))
	return d
}
