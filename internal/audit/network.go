package audit

import (
	"fmt"
	"math"

	"evensun/internal/compare"
	"evensun/internal/fieldtest"
)

// dependent are ranked panels whose estimate would leave its own interval without one
// tester.
func (v *view) dependent() []doubt {
	var out []doubt
	for p, slug := range v.Panels {
		e := v.entries[slug]
		if e == nil || p >= len(v.Shifts) || v.Shifts[p].Tester < 0 || math.IsNaN(v.Shifts[p].Change) {
			continue
		}
		half := math.Log(e.EstimateHi/e.EstimateLo) / 2
		change := v.Shifts[p].Change
		if !(math.Abs(change) > half) {
			continue
		}
		d := newDoubt(dependsOnTester)
		d.panel = &v.Panels[p]
		d.value, d.limit, d.relation, d.unit = math.Abs(change), half, "<=", "1"
		d.delta = change
		d.t = change / v.se[p]
		d.basis["tester_id"] = v.Testers[v.Shifts[p].Tester]
		d.impact = v.impactOf(int32(p), 1, change)
		d.note("with", v.figure(v.Fit.Mu[p], int32(p)))
		d.note("without", v.figure(v.Fit.Mu[p]-change, int32(p)))
		d.reason = fmt.Sprintf("Without one tester the estimate of %s would be %s %s, outside its own interval. More testers are needed.", v.panelLying(slug), offBy(-change), direction(-change))
		out = append(out, d)
	}
	return out
}

// A split is that of a pair with its p-value after Holm's correction.
type split struct {
	compare.Split
	holm float64
}

// inconsistent are pairs of which the sessions with both panels and the rest of the
// network say different things. One finding names all pairs of its first panel.
func (v *view) inconsistent() []doubt {
	first := map[int32]*doubt{}
	var order []int32
	for _, s := range v.splits() {
		if !(s.holm < falseDiscovery) {
			continue
		}
		d, ok := first[int32(s.I)]
		if !ok {
			d = v.splitDoubt(&s)
			first[int32(s.I)], order = d, append(order, int32(s.I))
		}
		d.basis["pairs"] = append(d.basis["pairs"].([]map[string]any), v.splitEvidence(&s))
		if math.Abs(s.Z) > math.Abs(d.t) {
			d.t, d.p, d.q = s.Z, s.P, s.holm
		}
	}
	var out []doubt
	for _, i := range order {
		out = append(out, *first[i])
	}
	return out
}

// splits are the fit's own, with Holm's p-values over all.
func (v *view) splits() []split {
	all := v.Fit.NodeSplits()
	out, p := make([]split, len(all)), make([]float64, len(all))
	for i, s := range all {
		out[i].Split, p[i] = s, s.P
	}
	for i, holm := range compare.Holm(p) {
		out[i].holm = holm
	}
	return out
}

func (v *view) splitDoubt(s *split) *doubt {
	d := newDoubt(splitDiffers)
	d.panel = &v.Panels[s.I]
	d.delta, d.t, d.p, d.q = s.Direct-s.Others, s.Z, s.P, s.holm
	d.value, d.limit, d.relation, d.unit = s.holm, falseDiscovery, ">=", "1"
	d.basis["pairs"] = []map[string]any{}
	d.impact.topped = v.top[v.Panels[s.I]] || v.top[v.Panels[s.J]]
	d.reason = fmt.Sprintf("Side by side%s, %s is %.4g times %s, through all other sessions %.4g times. Likely one of the panels differs between testers, or was mislabelled.",
		v.lying(", "), v.Panels[s.I], math.Exp(s.Direct+v.lnPmax[s.I]-v.lnPmax[s.J]), v.Panels[s.J], math.Exp(s.Others+v.lnPmax[s.I]-v.lnPmax[s.J]))
	return &d
}

func (v *view) splitEvidence(s *split) map[string]any {
	rating := v.lnPmax[s.I] - v.lnPmax[s.J]
	return map[string]any{
		"other_panel_model": v.Panels[s.J], "direct_ratio": fieldtest.Significant(math.Exp(s.Direct + rating)), "direct_se": fieldtest.Significant(s.DirectSE),
		"indirect_ratio": fieldtest.Significant(math.Exp(s.Others + rating)), "indirect_se": fieldtest.Significant(s.OthersSE), "z": fieldtest.Significant(s.Z),
		"p_holm": fieldtest.Significant(s.holm), "sessions": s.Sessions, "testers": s.Testers,
	}
}
