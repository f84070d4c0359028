package audit

import (
	"math"

	"evensun/internal/compare"
	"evensun/internal/fieldtest"
	"evensun/internal/interlab"
	"evensun/internal/ranking"
)

// judged tests those effects of a level that include holds, as one family, and returns
// the doubts that stand out; at is the effect's place in the level.
func judged(rule string, l *effects, include func(i int) bool, p func(t float64) float64) []doubt {
	var at []int
	var ps []float64
	for i := range l.Len() {
		if t := l.T(i); !math.IsNaN(t) && !math.IsInf(t, 0) && include(i) {
			at, ps = append(at, i), append(ps, p(t))
		}
	}
	var out []doubt
	for k, q := range compare.BenjaminiHochberg(ps) {
		i := at[k]
		if !(q < falseDiscovery && math.Abs(l.T(i)) > leastT) {
			continue
		}
		d := newDoubt(rule)
		d.at, d.delta, d.se, d.t, d.weight, d.p, d.q = i, l.Delta(i), l.SE(i), l.T(i), l.Weight(i), ps[k], q
		d.value, d.limit, d.relation, d.unit = math.Abs(d.t), leastT, "<=", "1"
		out = append(out, d)
	}
	return out
}

// readings tests every reading that has repeats in its cell. Of two readings that
// disagree nothing tells which is wrong; the one that fits the rest less is named.
func (v *view) readings() []doubt {
	l := effectsOf(v.Fit.Level(compare.Residual))
	named := v.namedReadings(&l)
	found := judged(readingOff, &l, func(i int) bool { return named[i] }, normalP)
	for i := range found {
		v.describeReading(&found[i], int(l.Rows[found[i].at]))
	}
	return found
}

// namedReadings are the readings to test: all of cells with three or more, the worse one
// of cells with two.
func (v *view) namedReadings(l *effects) []bool {
	byCell := map[[2]int32][]int{}
	for i := range l.Len() {
		r := &v.Rows[l.Rows[i]]
		key := [2]int32{r.Session, r.Panel}
		byCell[key] = append(byCell[key], i)
	}
	named := make([]bool, l.Len())
	for _, cell := range byCell {
		switch {
		case len(cell) == 2 && math.Abs(l.T(cell[1])) > math.Abs(l.T(cell[0])):
			named[cell[1]] = true
		case len(cell) == 2:
			named[cell[0]] = true
		case len(cell) > 2:
			for _, i := range cell {
				named[i] = true
			}
		}
	}
	return named
}

func (v *view) describeReading(d *doubt, k int) {
	r := &v.Rows[k]
	o := r.Observation
	d.reading, d.session, d.panel, d.tester, d.label = &o.ReadingID, &o.SessionID, &o.Panel, &o.TesterID, &o.Label
	cell := v.cell(r.Session, r.Panel)
	v.expect(d, r.Y, r.Panel)
	d.impact = v.impactOf(r.Panel, v.weight[k], d.delta)
	d.basis["comparison_readings"] = v.shown(cell, k)
	d.reason = v.readingReason(d, len(cell))
}

// cells tests every panel in a session that other panels of the session and other
// sessions of the panel speak about.
func (v *view) cells() []doubt {
	l := effectsOf(v.Fit.Level(compare.SessionPanel))
	several := v.severalPanels()
	// Where the session has one panel, panel and hour are one effect: judged as the session.
	found := judged(panelOff, &l, func(i int) bool { return several[l.Session[i]] }, normalP)
	for i := range found {
		v.describeCell(&found[i], l.Session[found[i].at], l.Panel[found[i].at])
	}
	return found
}

// severalPanels tells of every session whether it has two panels or more.
func (v *view) severalPanels() []bool {
	several := make([]bool, len(v.Sessions))
	for s, rows := range v.ofSession {
		several[s] = v.distinct(rows, panelCode) > 1
	}
	return several
}

func (v *view) describeCell(d *doubt, session, panel int32) {
	rows := v.cell(session, panel)
	o := v.Rows[rows[0]].Observation
	d.session, d.panel, d.tester = &o.SessionID, &o.Panel, &o.TesterID
	v.expect(d, v.mean(rows), panel)
	d.impact = v.impactOf(panel, v.share(rows), d.delta)
	d.basis["comparison_readings"] = v.shown(v.elsewhere(panel, session), rows[0])
	d.basis["session_panels"] = v.distinct(v.ofSession[session], panelCode)
	d.reason = v.cellReason(d)
}

// sessions tests every session as a whole.
func (v *view) sessions() []doubt {
	l := effectsOf(v.Fit.Level(compare.Session))
	found := judged(sessionOff, &l, func(int) bool { return true }, normalP)
	for i := range found {
		v.describeSession(&found[i], l.Session[found[i].at])
	}
	return found
}

func (v *view) describeSession(d *doubt, session int32) {
	rows := v.ofSession[session]
	o := v.Rows[rows[0]].Observation
	d.session, d.tester = &o.SessionID, &o.TesterID
	d.impact = v.sessionImpact(session, d.delta)
	d.basis["irradiance_origin"], d.basis["session_panels"] = o.Result.IrradianceOrigin, v.distinct(rows, panelCode)
	d.basis["comparison_readings"] = v.shown(rows, -1)
	d.reason = v.sessionReason(d, rows)
}

// opinionsOff tests every tester's view of a panel that rests on two sessions or more.
func (v *view) opinionsOff() []doubt {
	l := effectsOf(v.Fit.Level(compare.TesterPanel))
	dof := math.Max(3, float64(l.Len()-len(v.Panels)-len(v.Testers)+1))
	// Where an opinion rests on one session it is judged as the cell.
	found := judged(opinionOff, &l, func(i int) bool { return v.distinct(v.opinion(l.Tester[i], l.Panel[i]), sessionCode) > 1 },
		func(t float64) float64 { return compare.StudentP(t, dof) })
	for i := range found {
		v.describeOpinion(&found[i], l.Tester[found[i].at], l.Panel[found[i].at])
	}
	return found
}

func (v *view) describeOpinion(d *doubt, tester, panel int32) {
	rows := v.opinion(tester, panel)
	id := v.Testers[tester]
	d.tester, d.panel = &id, &v.Panels[panel]
	expected := v.Fit.Mu[panel] - v.share(rows)*d.delta
	v.expect(d, expected+d.delta, panel)
	d.impact = v.impactOf(panel, v.share(rows), d.delta)
	d.basis["sessions"] = v.distinct(rows, sessionCode)
	d.basis["comparison_readings"] = v.shown(v.others(panel, tester), -1)
	d.reason = v.opinionReason(d)
}

// rigs tests the rigs of testers that use two or more.
func (v *view) rigs() []doubt {
	rigs := v.Fit.Rigs()
	l := effectsOf(rigs.Level)
	count := map[int32]int{}
	for i := range l.Len() {
		count[l.Tester[i]]++
	}
	found := judged(rigOffset, &l, func(i int) bool { return count[l.Tester[i]] > 1 }, normalP)
	for i := range found {
		d := &found[i]
		rig, tester := v.Fitted.Rigs[rigs.Rig[d.at]], v.Testers[l.Tester[d.at]]
		d.rig, d.tester = &rig.ID, &tester
		d.basis["rig_revision"], d.basis["rigs_of_tester"] = rig.Revision, count[l.Tester[d.at]]
		d.reason = "With this rig the tester reads " + offBy(d.delta) + " " + direction(d.delta) + " than with the tester's other rigs. Likely a meter or cable of the rig."
	}
	return found
}

// patterns tests sessions in which no single panel stands out. The covariance of the
// cells' scores is rebuilt from their informations, taking what other sessions say of
// the panels as independent: B = diag(p) - k p p', k = 1/(1/session variance + sum p).
func (v *view) patterns(doubted []doubt) []doubt {
	skip := map[string]bool{}
	for i := range doubted {
		if doubted[i].session != nil {
			skip[doubted[i].session.String()] = true
		}
	}
	l := effectsOf(v.Fit.Level(compare.SessionPanel))
	byLevel := map[int32][]int{}
	for i := range l.Len() {
		byLevel[l.Session[i]] = append(byLevel[l.Session[i]], i)
	}
	var tests []doubt
	for s := range v.Sessions {
		cells := byLevel[int32(s)]
		if len(cells) < 3 || skip[v.Sessions[s].String()] {
			continue
		}
		d := newDoubt(patternOff)
		pattern := v.pattern(&l, cells, v.Fit.Theta[compare.Session]+v.sessionVariance(s))
		d.p, d.value, d.relation, d.unit = pattern.P, pattern.Squared, "<=", "1"
		d.at = s
		d.note("degrees_of_freedom", float64(pattern.Rank))
		tests = append(tests, d)
	}
	found := discovered(tests, leastT)
	for i := range found {
		d := &found[i]
		session := int32(d.at)
		o := v.Rows[v.ofSession[session][0]].Observation
		d.session, d.tester = &o.SessionID, &o.TesterID
		d.basis["panels"] = v.deviations(&l, byLevel[session])
		d.reason = "No panel of this session stands out alone, but together they are further from their usual order than chance allows. Likely changing light or wind between the readings, or panels not given time to warm up."
	}
	return found
}

func (v *view) sessionVariance(s int) float64 {
	if s < len(v.Table.SessionVariance) {
		return v.Table.SessionVariance[s]
	}
	return 0
}

// pattern is the Mahalanobis distance of a session's scores.
func (v *view) pattern(l *effects, cells []int, sessionVariance float64) interlab.Pattern {
	score := make([]float64, len(cells))
	p := make([]float64, len(cells))
	for a, i := range cells {
		score[a], p[a] = l.Score[i], l.Information[i]
	}
	var k float64
	for range 50 { // v_a = p_a - k p_a^2, solved from v_a = p_a on
		sum := 0.0
		for _, x := range p {
			sum += x
		}
		k = 1 / (1/math.Max(sessionVariance, 1e-12) + sum)
		for a, i := range cells {
			p[a] = l.Information[i] + k*p[a]*p[a]
		}
	}
	return interlab.Mahalanobis(score, scoreCovariance{p: p, k: k})
}

// deviations are a session's panels with how far each is off.
func (v *view) deviations(l *effects, cells []int) []map[string]any {
	var out []map[string]any
	for _, i := range cells {
		out = append(out, map[string]any{"panel_model": v.Panels[l.Panel[i]], "delta_percent": fieldtest.Significant(100 * math.Expm1(l.Delta(i))), "t": fieldtest.Significant(l.T(i))})
	}
	return out
}

// swaps looks for another panel model that a doubted cell fits much better.
func (v *view) swaps(cells []doubt) []doubt {
	if v.unit != "W" {
		return nil
	}
	var out []doubt
	for i := range cells {
		c := &cells[i]
		panel, ok := v.code(*c.panel)
		if !ok {
			continue
		}
		if d, ok := v.swap(c, panel); ok {
			out = append(out, d)
		}
	}
	return out
}

func (v *view) code(slug string) (int32, bool) {
	for p, s := range v.Panels {
		if s == slug {
			return int32(p), true
		}
	}
	return 0, false
}

// leastRatio is how many times likelier another label must be for each label that is
// tried (common practice, no source).
const leastRatio = 1000

// swap tries the labels of all panels that the tester has read.
func (v *view) swap(c *doubt, panel int32) (doubt, bool) {
	tried := map[int32]bool{}
	for t, id := range v.Testers {
		if id != *c.tester {
			continue
		}
		for _, k := range v.ofTester[t] {
			tried[v.Rows[k].Panel] = true
		}
	}
	delete(tried, panel)
	best, ratio := int32(-1), math.Inf(-1)
	for p := range v.Panels {
		if !tried[int32(p)] {
			continue
		}
		shift := v.Fit.Mu[p] + v.lnPmax[p] - v.Fit.Mu[panel] - v.lnPmax[panel]
		r := interlab.LogLikelihoodRatio(c.delta, interlab.Prediction{Mean: 0, SD: c.se}, interlab.Prediction{Mean: shift, SD: c.se})
		if r > ratio {
			best, ratio = int32(p), r
		}
	}
	if best < 0 || ratio < math.Log(leastRatio*float64(len(tried))) {
		return doubt{}, false
	}
	d := *c
	d.rule, d.basis = mislabelled, map[string]any{}
	d.value, d.limit, d.relation, d.unit = ratio, math.Log(leastRatio*float64(len(tried))), "<=", "1"
	d.basis["other_panel_model"], d.basis["labels_tried"] = v.Panels[best], len(tried)
	d.note("ln_likelihood_ratio", ratio)
	for _, name := range []string{"observed", "expected", "unit"} {
		if x, ok := c.basis[name]; ok {
			d.basis[name] = x
		}
	}
	d.note("expected_of_other", v.expectedOf(c, panel, best))
	d.reason = "These readings fit " + v.Panels[best] + " far better than " + *c.panel + ". Likely the labels of two panels were swapped."
	return d, true
}

func (v *view) expectedOf(c *doubt, panel, other int32) float64 {
	expected, ok := c.basis["expected"].(float64)
	if !ok {
		return math.NaN()
	}
	return expected * math.Exp(v.Fit.Mu[other]+v.lnPmax[other]-v.Fit.Mu[panel]-v.lnPmax[panel])
}

// elsewhere are a panel's rows of other sessions.
func (v *view) elsewhere(panel, session int32) []int {
	return v.filtered(panel, func(r *ranking.Row) bool { return r.Session != session })
}

// others are a panel's rows of other testers.
func (v *view) others(panel, tester int32) []int {
	return v.filtered(panel, func(r *ranking.Row) bool { return r.Tester != tester })
}

func (v *view) filtered(panel int32, keep func(*ranking.Row) bool) []int {
	var rows []int
	for _, k := range v.ofPanel[panel] {
		if keep(&v.Rows[k]) {
			rows = append(rows, k)
		}
	}
	return rows
}
