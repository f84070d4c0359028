package audit

import (
	"fmt"
	"math"
	"sort"

	"gonum.org/v1/gonum/stat/distuv"

	"evensun/internal/compare"
	"evensun/internal/interlab"
)

// A deviation is how far a tester is from all others over all panels.
type deviation struct {
	tester                  int32
	delta, se               float64 // logarithmic; se without what testers usually differ
	zPrime, zeta, en        float64
	t, p                    float64 // deleted form: spread of the other testers
	h                       float64 // Mandel's
	scatter, scatterDof     float64 // within cells, standard deviation
	k, scatterP, cochran    float64
	consistencyP            float64
	consistencyDof          int
	meanClaimed, panelsRead float64
}

// deviations returns every tester's, in the order of their codes.
func (v *view) testers() []deviation {
	l := effectsOf(v.Fit.Level(compare.Tester))
	out := make([]deviation, l.Len())
	var deltas []float64
	for i := range out {
		d := &out[i]
		d.tester, d.delta = l.Tester[i], l.Delta(i)
		v.scores(d, &l, i)
		deltas = append(deltas, d.delta)
	}
	h := interlab.MandelH(deltas)
	for i := range out {
		out[i].h = math.NaN()
		if h != nil {
			out[i].h = h[i]
		}
		deleted(&out[i], len(out))
	}
	v.scatters(out)
	return out
}

// scores are those of ISO 13528 with all other testers as the assigned value: z' against
// what testers usually differ, zeta and En against the tester's own uncertainty.
func (v *view) scores(d *deviation, l *effects, i int) {
	total := 1 / l.Information[i]
	between := v.Fit.Theta[compare.Tester]
	d.se = math.Sqrt(math.Max(0, total-between))
	d.zPrime = d.delta / math.Sqrt(total)
	d.zeta = d.delta / d.se
	d.en = d.zeta / 2
	d.panelsRead = float64(v.distinct(v.ofTester[d.tester], panelCode))
}

// deleted turns z', whose spread between testers includes the tester's own deviation,
// into Student's t on the spread of the others:
//
//	t = z sqrt((n-2)/(n-1-z^2)),   n-2 degrees of freedom
//
// Source: the externally studentised residual of a mean (Cook and Weisberg 1982).
func deleted(d *deviation, testers int) {
	n := float64(testers)
	d.t, d.p = math.NaN(), math.NaN()
	if testers < 4 || math.IsNaN(d.zPrime) {
		return
	}
	left := math.Max(1e-3, n-1-d.zPrime*d.zPrime)
	d.t = d.zPrime * math.Sqrt((n-2)/left)
	d.p = compare.StudentP(d.t, n-2)
}

// scatters compares the testers' scatter within cells.
func (v *view) scatters(all []deviation) {
	var sum, dof float64
	squares := make([]float64, len(all))
	for i := range all {
		squares[i], all[i].scatterDof = v.within(&all[i])
		sum, dof = sum+squares[i], dof+all[i].scatterDof
	}
	pooled := math.Sqrt(sum / dof)
	largest, total := 0.0, 0.0
	for i := range all {
		d := &all[i]
		d.scatter = math.Sqrt(squares[i] / d.scatterDof)
		d.k, d.scatterP = d.scatter/pooled, math.NaN()
		if rest := dof - d.scatterDof; d.scatterDof > 0 && rest > 0 && sum > squares[i] {
			f := (squares[i] / d.scatterDof) / ((sum - squares[i]) / rest)
			d.scatterP = distuv.F{D1: d.scatterDof, D2: rest}.Survival(f)
		}
		if d.scatterDof > 0 {
			largest, total = max(largest, d.scatter*d.scatter), total+d.scatter*d.scatter
		}
	}
	for i := range all {
		all[i].cochran = largest / total
	}
}

// within is the sum of squares of a tester's readings about their cells' means, and its
// degrees of freedom. It also tests whether they scatter less than claimed.
func (v *view) within(d *deviation) (squares, dof float64) {
	type key struct{ session, panel int32 }
	index := map[key]int{}
	var readings, claimed [][]float64
	for _, k := range v.ofTester[d.tester] {
		r := &v.Rows[k]
		at, ok := index[key{r.Session, r.Panel}]
		if !ok {
			at = len(readings)
			index[key{r.Session, r.Panel}] = at
			readings, claimed = append(readings, nil), append(claimed, nil)
		}
		readings[at], claimed[at] = append(readings[at], r.Y), append(claimed[at], r.U)
		d.meanClaimed += r.U / float64(len(v.ofTester[d.tester]))
	}
	for _, cell := range readings {
		mean := 0.0
		for _, y := range cell {
			mean += y / float64(len(cell))
		}
		for _, y := range cell {
			squares += (y - mean) * (y - mean)
		}
		dof += float64(len(cell) - 1)
	}
	d.consistencyP, d.consistencyDof = interlab.TooConsistent(readings, claimed)
	return squares, dof
}

// testerDoubts raises what stands out of the testers. A doubt about a mean is raised by
// one rule only.
func (v *view) testerDoubts() []doubt {
	all := v.testers()
	if len(all) < 2 {
		return v.withImpact(v.consistent(all))
	}
	var out []doubt
	raised := map[int32]bool{}
	for _, check := range []func([]deviation) []doubt{v.offsets, v.extremes, v.meansOff} {
		for _, d := range check(all) {
			if t := int32(d.at); !raised[t] {
				raised[t] = true
				d.fine = all[t].fine()
				out = append(out, d)
			}
		}
	}
	out = append(out, v.scattered(all)...)
	out = append(out, v.consistent(all)...)
	return v.withImpact(out)
}

// Limits of the scores from which a reviewer should look (ISO 13528:2015, 9.4 and 9.7, from
// memory).
const (
	warnScore = 2.0 // of |z'| and |zeta|
	warnEn    = 1.0
)

// fine tells whether all scores of a tester are within what needs no look.
func (d *deviation) fine() bool {
	return math.Abs(d.zPrime) < warnScore && math.Abs(d.zeta) < warnScore && math.Abs(d.en) < warnEn
}

// withImpact adds what leaving each tester out would change.
func (v *view) withImpact(doubts []doubt) []doubt {
	for i := range doubts {
		doubts[i].impact = v.leaving(int32(doubts[i].at))
	}
	return doubts
}

// about makes the doubt about one tester, with all numbers in the evidence.
func (v *view) about(rule string, d *deviation) doubt {
	x := newDoubt(rule)
	id := v.Testers[d.tester]
	x.tester, x.delta, x.se = &id, d.delta, d.se
	x.at = int(d.tester)
	x.note("z_prime", d.zPrime)
	x.note("zeta", d.zeta)
	x.note("en", d.en)
	x.note("h", d.h)
	x.note("k", d.k)
	x.note("panels", d.panelsRead)
	x.note("readings", float64(len(v.ofTester[d.tester])))
	return x
}

// leaving is what rankings would change without a tester.
func (v *view) leaving(tester int32) impact {
	var worst impact
	changes, err := v.Fit.LeaveOut(tester)
	if err != nil {
		return worst
	}
	for p, change := range changes {
		if math.IsNaN(change) || v.entries[v.Panels[p]] == nil {
			continue
		}
		if i := v.impactOf(int32(p), 1, change); i.inSE > worst.inSE {
			worst = i
		}
	}
	return worst
}

const actionLimit = 3 // of |z'| (ISO 13528:2015, 9.4)

// offsets are testers whose mean deviation is beyond the usual spread: |z'| of 3, or
// unlikely by the spread of the others.
func (v *view) offsets(all []deviation) []doubt {
	var tests []doubt
	for i := range all {
		d := &all[i]
		x := v.about(testerOffset, d)
		x.t, x.p = d.t, d.p
		x.value, x.limit, x.relation, x.unit = math.Abs(d.zPrime), actionLimit, "<=", "1"
		x.reason = fmt.Sprintf("Over %.0f panels this tester reads %s %s than the others: z' %.2f, zeta %.2f, En %.2f. All panels alike: likely the calibration of the rig or of the irradiance meter.",
			d.panelsRead, offBy(d.delta), direction(d.delta), d.zPrime, d.zeta, d.en)
		tests = append(tests, x)
	}
	out := discovered(tests, leastT)
	for i := range tests {
		if math.Abs(all[i].zPrime) >= actionLimit && !(tests[i].q < falseDiscovery && math.Abs(tests[i].t) > leastT) {
			out = append(out, tests[i])
		}
	}
	return out
}

const outlierLevel = 0.01 // of Grubbs' and Mandel's tests (ISO 5725-2: outlier)

// extremes are Grubbs' outliers among the testers' deviations: one, or else a pair.
func (v *view) extremes(all []deviation) []doubt {
	deltas := make([]float64, len(all))
	for i := range all {
		deltas[i] = all[i].delta
	}
	low, high := interlab.Grubbs(deltas)
	limit := interlab.GrubbsLimit(len(deltas), outlierLevel, interlab.TwoSided)
	order := make([]int, len(all))
	for i := range order {
		order[i] = i
	}
	sort.SliceStable(order, func(i, j int) bool { return deltas[order[i]] < deltas[order[j]] })
	last := len(order) - 1
	switch pairLow, pairHigh := interlab.GrubbsPair(deltas); {
	case high > limit && high >= low:
		return v.extreme(all, order[last:], high, limit, "<=")
	case low > limit:
		return v.extreme(all, order[:1], low, limit, "<=")
	case pairHigh < interlab.GrubbsPairLimit(len(deltas), outlierLevel, interlab.TwoSided):
		return v.extreme(all, order[last-1:], pairHigh, interlab.GrubbsPairLimit(len(deltas), outlierLevel, interlab.TwoSided), ">=")
	case pairLow < interlab.GrubbsPairLimit(len(deltas), outlierLevel, interlab.TwoSided):
		return v.extreme(all, order[:2], pairLow, interlab.GrubbsPairLimit(len(deltas), outlierLevel, interlab.TwoSided), ">=")
	}
	return nil
}

func (v *view) extreme(all []deviation, who []int, statistic, limit float64, relation string) []doubt {
	var out []doubt
	for _, i := range who {
		d := v.about(testerExtreme, &all[i])
		d.value, d.limit, d.relation, d.unit = statistic, limit, relation, "1"
		d.t = all[i].t
		d.basis["testers_in_test"], d.basis["outliers"] = len(all), len(who)
		d.reason = fmt.Sprintf("Among %d testers the mean deviation of this one, %s %s, is an outlier by Grubbs' test. Likely the calibration of the rig.", len(all), offBy(all[i].delta), direction(all[i].delta))
		out = append(out, d)
	}
	return out
}

func hLimit(testers int) float64 { return interlab.MandelHLimit(testers, outlierLevel) }

// meansOff are testers by Mandel's h.
func (v *view) meansOff(all []deviation) []doubt {
	n := float64(len(all))
	limit := hLimit(len(all))
	var tests []doubt
	for i := range all {
		d := v.about(testerMean, &all[i])
		d.value, d.limit, d.relation, d.unit = math.Abs(all[i].h), limit, "<=", "1"
		h2 := all[i].h * all[i].h
		if left := (n-1)*(n-1) - n*h2; left > 0 && n > 2 {
			d.p = compare.StudentP(math.Sqrt(h2*n*(n-2)/left), n-2)
		}
		d.reason = fmt.Sprintf("This tester's mean deviation, %s %s, stands out among %d testers (h %.2f).", offBy(all[i].delta), direction(all[i].delta), len(all), all[i].h)
		tests = append(tests, d)
	}
	var out []doubt
	for _, d := range discovered(tests, 0) {
		if d.value > limit {
			out = append(out, d)
		}
	}
	return out
}

// scattered are testers whose repeats scatter more than those of the others.
func (v *view) scattered(all []deviation) []doubt {
	var tests []doubt
	for i := range all {
		d := v.about(testerScatter, &all[i])
		d.delta, d.se, d.p = math.NaN(), math.NaN(), all[i].scatterP
		d.value, d.unit = all[i].k, "1"
		d.note("scatter_percent", 100*all[i].scatter)
		d.note("degrees_of_freedom", all[i].scatterDof)
		d.note("cochran", all[i].cochran)
		d.reason = fmt.Sprintf("This tester's repeats scatter by %.2g %%, %.2g times as much as usual. Likely unsteady light, a short warm-up, or a coarse display.", 100*all[i].scatter, all[i].k)
		tests = append(tests, d)
	}
	var out []doubt
	for _, d := range discovered(tests, 0) {
		if d.p < outlierLevel {
			out = append(out, d)
		}
	}
	return out
}

// Limits of the check for too little scatter (common practice, no source).
const (
	consistencyDof = 20
	consistencyP   = 1e-4
)

// consistent are testers whose repeats agree better than their uncertainty allows.
func (v *view) consistent(all []deviation) []doubt {
	var out []doubt
	for i := range all {
		d := &all[i]
		if d.consistencyDof < consistencyDof || !(d.consistencyP < consistencyP) {
			continue
		}
		x := v.about(tooConsistent, d)
		x.delta, x.se, x.p = math.NaN(), math.NaN(), d.consistencyP
		x.value, x.limit, x.relation, x.unit = d.consistencyP, consistencyP, ">=", "1"
		x.note("degrees_of_freedom", float64(d.consistencyDof))
		x.note("claimed_percent", 100*d.meanClaimed)
		x.note("scatter_percent", 100*d.scatter)
		x.reason = fmt.Sprintf("Repeats scatter by %.2g %% where %.2g %% is claimed. Likely the claimed accuracy is that of the whole scale, or repeats were copied.", 100*d.scatter, 100*d.meanClaimed)
		out = append(out, x)
	}
	return out
}
