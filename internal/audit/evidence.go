package audit

import (
	"math"
	"sort"

	"gonum.org/v1/gonum/mat"

	"evensun/internal/fieldtest"
)

// mostShown bounds the readings shown beside a doubt.
const mostShown = 20

// expect notes what was observed and what all other data say it should be.
func (v *view) expect(d *doubt, ln float64, panel int32) {
	observed, expected := v.figure(ln, panel), v.figure(ln-d.delta, panel)
	d.basis["unit"] = v.unit
	d.note("observed", observed)
	d.note("expected", expected)
	d.note("delta", observed-expected)
}

// impactOf is what a panel's estimate would change without data that are off by delta
// and have a share of its information: share times delta, to first order.
func (v *view) impactOf(panel int32, share, delta float64) impact {
	change := share * delta
	mu := v.Fit.Mu[panel]
	return impact{
		panel: v.Panels[panel], inSE: math.Abs(change) / v.se[panel], from: v.figure(mu, panel), to: v.figure(mu-change, panel),
		topped: v.top[v.Panels[panel]],
	}
}

// sessionImpact is that on the panel that suffers most. What a session shifts as a whole
// is mostly taken by its own effect: what is left is the variance that others give it.
func (v *view) sessionImpact(session int32, delta float64) impact {
	var worst impact
	shares := map[int32]float64{}
	for _, k := range v.ofSession[session] {
		shares[v.Rows[k].Panel] += v.weight[k]
	}
	single := len(shares) == 1
	for p := range v.Panels {
		share, ok := shares[int32(p)]
		if !ok {
			continue
		}
		if !single { // its panels are compared with each other: the common part mostly cancels
			share /= float64(len(shares))
		}
		if i := v.impactOf(int32(p), share, delta); worst.panel == "" || i.inSE > worst.inSE {
			worst = i
		}
	}
	return worst
}

// shown are readings to compare with, the weightiest first.
func (v *view) shown(rows []int, but int) []map[string]any {
	list := make([]int, 0, len(rows))
	for _, k := range rows {
		if k != but {
			list = append(list, k)
		}
	}
	sort.SliceStable(list, func(i, j int) bool { return v.weight[list[i]] > v.weight[list[j]] })
	out := []map[string]any{}
	for _, k := range list[:min(mostShown, len(list))] {
		r := &v.Rows[k]
		o := r.Observation
		out = append(out, map[string]any{
			"reading_id": o.ReadingID, "session_id": o.SessionID, "tester_id": o.TesterID, "panel_model": o.Panel, "label": o.Label,
			"value": fieldtest.Significant(v.figure(r.Y, r.Panel)), "taken_at": o.TakenAt,
		})
	}
	return out
}

// scoreCovariance is diag(p) - k p p'.
type scoreCovariance struct {
	p []float64
	k float64
}

// Dims returns the dimensions.
func (s scoreCovariance) Dims() (r, c int) { return len(s.p), len(s.p) }

// At returns an element.
func (s scoreCovariance) At(i, j int) float64 {
	x := -s.k * s.p[i] * s.p[j]
	if i == j {
		x += s.p[i]
	}
	return x
}

// T returns the transpose, which is the matrix itself.
func (s scoreCovariance) T() mat.Matrix { return s }

// SymmetricDim returns the number of rows.
func (s scoreCovariance) SymmetricDim() int { return len(s.p) }
