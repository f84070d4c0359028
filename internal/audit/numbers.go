package audit

import (
	"fmt"
	"math"
	"sort"

	"github.com/google/uuid"

	"evensun/internal/interlab"
)

// Limits of the checks of digits (common practice, no source).
const (
	sameReadings   = 3
	sameExpected   = 0.01
	copiedValues   = 5
	digitReadings  = 100
	digitSteps     = 20
	digitsP        = 1e-4
	sameValueShown = 20
	copiedStrength = 6 // place in the queue, as a |t|
)

// triple is what a reading shows, with NaN-free comparison: text of voltage, current and
// power.
type triple struct{ v, i, p float64 }

func tripleOf(r *Raw) (triple, bool) {
	value := func(x *float64) float64 {
		if x == nil {
			return -1 // no instrument shows it here
		}
		return *x
	}
	t := triple{value(r.VoltageV), value(r.CurrentA), value(r.PowerW)}
	return t, t != triple{-1, -1, -1}
}

// digits runs the checks of raw numbers.
func digits(raw []Raw) []doubt {
	list := append([]Raw(nil), raw...)
	sort.SliceStable(list, func(i, j int) bool { return list[i].TakenAt.Before(list[j].TakenAt) })
	byTester := map[uuid.UUID][]*Raw{}
	var testers []uuid.UUID
	for i := range list {
		r := &list[i]
		if byTester[r.TesterID] == nil {
			testers = append(testers, r.TesterID)
		}
		byTester[r.TesterID] = append(byTester[r.TesterID], r)
	}
	var out []doubt
	for _, t := range testers {
		if d, ok := repeatedDigits(t, byTester[t]); ok {
			out = append(out, d)
		}
		out = append(out, lastDigits(t, byTester[t])...)
	}
	return append(out, copies(list)...)
}

// repeatedDigits finds readings of one tester that equal one of another session.
func repeatedDigits(tester uuid.UUID, list []*Raw) (doubt, bool) {
	d := newDoubt(sameDigits)
	groups := map[triple][]*Raw{}
	for _, r := range list {
		if t, ok := tripleOf(r); ok {
			groups[t] = append(groups[t], r)
		}
	}
	var equal []*Raw
	for _, r := range list {
		t, ok := tripleOf(r)
		if !ok {
			continue
		}
		for _, o := range groups[t] {
			if o.SessionID != r.SessionID {
				equal = append(equal, r)
				break
			}
		}
	}
	expected := interlab.ExpectedRepeats(pairsBetween(list), channels(list)...)
	if len(equal) < sameReadings || !(expected < sameExpected) {
		return d, false
	}
	d.tester = &tester
	d.value, d.limit, d.relation, d.unit = float64(len(equal)), sameReadings, "<", "1"
	d.strength = copiedStrength
	d.note("expected_pairs", expected)
	d.basis["readings"] = rawShown(equal)
	d.reason = fmt.Sprintf("%d readings show exactly the digits of a reading in another session; by chance %.2g pairs would. Likely copied or invented numbers, or a session entered twice.", len(equal), expected)
	return d, true
}

// pairsBetween is the number of pairs of readings of different sessions.
func pairsBetween(list []*Raw) int {
	perSession := map[uuid.UUID]int{}
	for _, r := range list {
		perSession[r.SessionID]++
	}
	pairs := len(list) * (len(list) - 1) / 2
	for _, n := range perSession {
		pairs -= n * (n - 1) / 2
	}
	return pairs
}

// channels are the displayed quantities that all of a tester's readings have, with the
// display's step: the rig's, else the smallest difference seen.
func channels(list []*Raw) []interlab.Channel {
	var out []interlab.Channel
	for _, get := range []func(*Raw) (x, step *float64){voltage, current, power} {
		var values []float64
		step := math.Inf(1)
		for _, r := range list {
			x, s := get(r)
			if x == nil {
				values = nil
				break
			}
			values = append(values, *x)
			if s != nil && *s > 0 {
				step = min(step, *s)
			}
		}
		if len(values) < 2 {
			continue
		}
		sort.Float64s(values)
		if math.IsInf(step, 1) {
			step = smallestStep(values)
		}
		if span := values[len(values)-1] - values[0]; span > 0 {
			out = append(out, interlab.Channel{Resolution: step, Range: span})
		}
	}
	return out
}

func smallestStep(sortedValues []float64) float64 {
	step := math.Inf(1)
	for i := 1; i < len(sortedValues); i++ {
		if d := sortedValues[i] - sortedValues[i-1]; d > 1e-9 {
			step = min(step, d)
		}
	}
	return step
}

func voltage(r *Raw) (x, step *float64) { return r.VoltageV, r.Resolution.VoltageV }
func current(r *Raw) (x, step *float64) { return r.CurrentA, r.Resolution.CurrentA }
func power(r *Raw) (x, step *float64)   { return r.PowerW, r.Resolution.PowerW }

// lastDigits tests a tester's last displayed digits, one quantity at a time; the finding
// names the worst.
func lastDigits(tester uuid.UUID, list []*Raw) []doubt {
	worst := newDoubt(terminalDigits)
	for _, quantity := range []struct {
		name string
		get  func(*Raw) (x, step *float64)
	}{{"voltage_v", voltage}, {"current_a", current}, {"power_w", power}} {
		counts, n, span := make([]int, 10), 0, span{math.Inf(1), math.Inf(-1)}
		for _, r := range list {
			x, step := quantity.get(r)
			if x == nil || step == nil || !(*step > 0) {
				continue
			}
			steps := math.Round(*x / *step)
			counts[int(math.Mod(math.Abs(steps), 10))]++
			n++
			span.add(steps)
		}
		if n < digitReadings || span.hi-span.lo < digitSteps {
			continue
		}
		chi2, p := interlab.TerminalDigits(counts)
		if p < digitsP && !(worst.p <= p) {
			worst.p, worst.value, worst.limit, worst.relation, worst.unit = p, p, digitsP, ">=", "1"
			worst.note("chi_square", chi2)
			worst.basis["counts"], worst.basis["quantity"], worst.basis["readings"] = counts, quantity.name, n
		}
	}
	if math.IsNaN(worst.p) {
		return nil
	}
	worst.tester = &tester
	worst.reason = fmt.Sprintf("The last digits of %v readings of %v are not evenly spread. Likely rounded by eye, or invented.", worst.basis["readings"], worst.basis["quantity"])
	return []doubt{worst}
}

type span struct{ lo, hi float64 }

func (s *span) add(x float64) { s.lo, s.hi = min(s.lo, x), max(s.hi, x) }

// copies finds stretches that a session shares with an earlier one.
func copies(list []Raw) []doubt {
	var sequences [][]triple
	var members [][]*Raw
	index := map[uuid.UUID]int{}
	for i := range list {
		r := &list[i]
		t, ok := tripleOf(r)
		if !ok {
			continue
		}
		at, seen := index[r.SessionID]
		if !seen {
			at = len(sequences)
			index[r.SessionID] = at
			sequences, members = append(sequences, nil), append(members, nil)
		}
		sequences[at], members[at] = append(sequences[at], t), append(members[at], r)
	}
	var out []doubt
	for _, run := range interlab.CopiedRuns(sequences, copiedValues) {
		first, second := members[run.First], members[run.Second]
		d := newDoubt(copiedSession)
		d.session, d.tester = &second[0].SessionID, &second[0].TesterID
		d.value, d.limit, d.relation, d.unit = float64(run.Length), copiedValues, "<", "1"
		d.strength = copiedStrength
		d.basis["other_session_id"], d.basis["other_tester_id"] = first[0].SessionID, first[0].TesterID
		d.basis["readings"] = rawShown(second[run.SecondStart:min(len(second), run.SecondStart+run.Length)])
		d.basis["other_readings"] = rawShown(first[run.FirstStart:min(len(first), run.FirstStart+run.Length)])
		d.reason = fmt.Sprintf("%d readings in order equal those of an earlier session, digit by digit. Likely the same session submitted twice, or copied.", run.Length)
		out = append(out, d)
	}
	return out
}

func rawShown(list []*Raw) []map[string]any {
	out := []map[string]any{}
	for _, r := range list[:min(sameValueShown, len(list))] {
		m := map[string]any{"reading_id": r.ReadingID, "session_id": r.SessionID, "label": r.Label, "taken_at": r.TakenAt}
		for name, x := range map[string]*float64{"voltage_v": r.VoltageV, "current_a": r.CurrentA, "power_w": r.PowerW} {
			if x != nil {
				m[name] = *x
			}
		}
		out = append(out, m)
	}
	return out
}
