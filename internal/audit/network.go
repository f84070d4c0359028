package audit

import (
	"context"
	"fmt"
	"math"

	"evensun/internal/compare"
)

// splitLimit is the number of panels up to which pairs are split (common practice, no
// source): above, each pair's refit would cost more than the ranking.
const splitLimit = 300

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
		d.reason = fmt.Sprintf("Without one tester the estimate of %s would be %s %s, outside its own interval. More testers are needed.", slug, offBy(-change), direction(-change))
		out = append(out, d)
	}
	return out
}

// inconsistent are pairs of which the sessions with both panels and the rest of the
// network say different things. One finding names all pairs of its first panel.
func (v *view) inconsistent(ctx context.Context) ([]doubt, error) {
	if len(v.Panels) > splitLimit || len(v.Testers) < 2 {
		return nil, nil
	}
	splits, err := v.Fit.Inconsistency(ctx, v.Table)
	if err != nil {
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		return nil, nil // the network is too thin to split
	}
	first := map[int]*doubt{}
	var order []int
	for i := range splits {
		s := &splits[i]
		if s.NoIndirectEvidence || !(s.PHolm < falseDiscovery) {
			continue
		}
		d, ok := first[s.I]
		if !ok {
			d = v.split(s)
			first[s.I] = d
			order = append(order, s.I)
		}
		d.basis["pairs"] = append(d.basis["pairs"].([]map[string]any), v.splitEvidence(s))
		if math.Abs(s.Z) > math.Abs(d.t) {
			d.t, d.p, d.q = s.Z, s.P, s.PHolm
		}
	}
	var out []doubt
	for _, i := range order {
		out = append(out, *first[i])
	}
	return out, nil
}

func (v *view) split(s *compare.Split) *doubt {
	d := newDoubt(splitDiffers)
	d.panel = &v.Panels[s.I]
	d.delta, d.t, d.p, d.q = s.Direct-s.Others, s.Z, s.P, s.PHolm
	d.value, d.limit, d.relation, d.unit = s.PHolm, falseDiscovery, ">=", "1"
	d.basis["pairs"] = []map[string]any{}
	d.impact.topped = v.top[v.Panels[s.I]] || v.top[v.Panels[s.J]]
	d.reason = fmt.Sprintf("Side by side %s is %.4g times %s, through all other sessions %.4g times. Likely one of the panels differs between testers, or was mislabelled.",
		v.Panels[s.I], math.Exp(s.Direct+v.lnPmax[s.I]-v.lnPmax[s.J]), v.Panels[s.J], math.Exp(s.Others+v.lnPmax[s.I]-v.lnPmax[s.J]))
	return &d
}

func (v *view) splitEvidence(s *compare.Split) map[string]any {
	rating := v.lnPmax[s.I] - v.lnPmax[s.J]
	return map[string]any{
		"other_panel_model": v.Panels[s.J], "direct_ratio": significant(math.Exp(s.Direct + rating)), "direct_se": significant(s.DirectSE),
		"indirect_ratio": significant(math.Exp(s.Others + rating)), "indirect_se": significant(s.OthersSE), "z": significant(s.Z),
		"p_holm": significant(s.PHolm), "sessions": s.Sessions, "testers": s.Testers,
	}
}
