package audit

import (
	"fmt"
	"math"

	"evensun/internal/compare"
	"evensun/internal/fieldtest"
	"evensun/internal/interlab"
)

// Conditions of the trends (common practice, no source).
const (
	trendReadings = 6
	trendP        = 0.01
	ageingCells   = 6
	ageingDays    = 90
	daysAYear     = 365.25
)

// trends finds sessions in which readings drift: by least squares and by ranks.
func (v *view) trends() []doubt {
	opinion := v.opinions()
	var tests []doubt
	for s, rows := range v.ofSession {
		if len(rows) < trendReadings {
			continue
		}
		minutes, rest := make([]float64, len(rows)), make([]float64, len(rows))
		first := v.Rows[rows[0]].Observation.TakenAt
		for i, k := range rows {
			r := &v.Rows[k]
			minutes[i] = r.Observation.TakenAt.Sub(first).Minutes()
			rest[i] = r.Y - v.Fit.Mu[r.Panel] - opinion[[2]int32{r.Tester, r.Panel}]
		}
		line, ranks := interlab.TrendOf(minutes, rest), interlab.Kendall(minutes, rest)
		d := newDoubt(sessionTrend)
		d.t, d.p = line.T, line.P
		if !(ranks.P < trendP) {
			d.p = math.Max(line.P, ranks.P)
		}
		d.value, d.limit, d.relation, d.unit = line.P, trendP, ">=", "1"
		d.note("tau", ranks.Tau)
		d.note("tau_p", ranks.P)
		d.note("percent_per_10_min", 100*math.Expm1(10*line.Slope))
		d.at = s
		tests = append(tests, d)
	}
	var out []doubt
	for _, d := range discovered(tests, 0) {
		session := int32(d.at)
		if d.p >= trendP {
			continue
		}
		o := v.Rows[v.ofSession[session][0]].Observation
		d.session, d.tester = &o.SessionID, &o.TesterID
		d.basis["comparison_readings"] = v.shown(v.ofSession[session], -1)
		d.reason = fmt.Sprintf("During this session readings change by %.2g %% in 10 minutes, beyond what panels and repeats explain. Likely warming up, changing light, or an aim that was not followed.", d.basis["percent_per_10_min"])
		out = append(out, d)
	}
	return out
}

// ageing finds panels whose deviations from their sessions change over months.
func (v *view) ageing() []doubt {
	l := effectsOf(v.Fit.Level(compare.SessionPanel))
	byPanel := make([][]int, len(v.Panels))
	for i := range l.Len() {
		if se := l.SE(i); !math.IsNaN(se) && se > 0 {
			byPanel[l.Panel[i]] = append(byPanel[l.Panel[i]], i)
		}
	}
	var tests []doubt
	for p, cells := range byPanel {
		if d, ok := v.age(&l, cells); ok {
			d.panel = &v.Panels[p]
			tests = append(tests, d)
		}
	}
	return discovered(tests, 0)
}

// age is the weighted slope of a panel's cells on their date. Its standard error is that
// of the scatter seen where that is larger than the one expected.
func (v *view) age(l *effects, cells []int) (doubt, bool) {
	d := newDoubt(ageingTrend)
	if len(cells) < ageingCells {
		return d, false
	}
	days, y, w := make([]float64, len(cells)), make([]float64, len(cells)), make([]float64, len(cells))
	first := v.Rows[v.cell(l.Session[cells[0]], l.Panel[cells[0]])[0]].Observation.TakenAt
	lo, hi, sum, meanX, meanY := math.Inf(1), math.Inf(-1), 0.0, 0.0, 0.0
	for i, c := range cells {
		at := v.Rows[v.cell(l.Session[c], l.Panel[c])[0]].Observation.TakenAt
		days[i], y[i], w[i] = at.Sub(first).Hours()/24, l.Delta(c), 1/(l.SE(c)*l.SE(c))
		lo, hi = math.Min(lo, days[i]), math.Max(hi, days[i])
		sum, meanX, meanY = sum+w[i], meanX+w[i]*days[i], meanY+w[i]*y[i]
	}
	if hi-lo < ageingDays {
		return d, false
	}
	meanX, meanY = meanX/sum, meanY/sum
	var sxx, sxy, rss float64
	for i := range cells {
		sxx += w[i] * (days[i] - meanX) * (days[i] - meanX)
		sxy += w[i] * (days[i] - meanX) * (y[i] - meanY)
	}
	slope := sxy / sxx
	for i := range cells {
		e := y[i] - meanY - slope*(days[i]-meanX)
		rss += w[i] * e * e
	}
	dof := float64(len(cells) - 2)
	d.se = math.Sqrt(math.Max(1, rss/dof)/sxx) * daysAYear
	d.t = slope * daysAYear / d.se
	d.p = compare.StudentP(d.t, dof)
	d.value, d.unit = fieldtest.Significant(100*math.Expm1(slope*daysAYear)), "%/a"
	d.note("percent_per_year", 100*math.Expm1(slope*daysAYear))
	d.note("cells", float64(len(cells)))
	d.note("days", hi-lo)
	d.reason = fmt.Sprintf("Beside the panels read with it, this one changes by %.2g %% a year over %.0f days. Likely ageing, dirt, or another production run.", 100*math.Expm1(slope*daysAYear), hi-lo)
	return d, true
}
