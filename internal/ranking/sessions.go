package ranking

import "sort"

// sortSessions sorts session codes by their keys.
func sortSessions(codes []int32, keys []uint64) {
	sort.Slice(codes, func(i, j int) bool { return keys[codes[i]] < keys[codes[j]] })
}

// Drift of a session with time (common practice, no source).
const (
	driftRepeatMinutes = 10   // a unit read again after so long tells of drift
	driftSessions      = 50   // such sessions needed to estimate its variance
	driftDefaultSD     = 0.01 // per 30 minutes, until then
)

// minutes are the times of the readings from the first of their session, and how many
// sessions read a unit twice far enough apart. Without any, drift cannot be told from
// differences between panels.
func (d *Dataset) minutes() (times []float64, repeating int) {
	type unit struct {
		session, panel int32
		specimen       string
	}
	first := make(map[int32]int)
	for i := range d.Rows {
		s := d.Rows[i].Session
		if j, ok := first[s]; !ok || d.Rows[i].Observation.TakenAt.Before(d.Rows[j].Observation.TakenAt) {
			first[s] = i
		}
	}
	earliest, repeats := map[unit]float64{}, map[int32]bool{}
	for i := range d.Rows {
		r := &d.Rows[i]
		at := r.Observation.TakenAt.Sub(d.Rows[first[r.Session]].Observation.TakenAt).Minutes()
		times = append(times, at)
		key := unit{r.Session, r.Panel, r.Observation.Specimen}
		before, seen := earliest[key]
		switch {
		case !seen:
			earliest[key] = at
		case at-before >= driftRepeatMinutes || before-at >= driftRepeatMinutes:
			repeats[r.Session] = true
		}
	}
	return times, len(repeats)
}

// specimenPairs is how many testers must have two units of a model before units are
// told apart from opinions (common practice, no source).
const specimenPairs = 10

// specimens codes the units, and counts the tester and model pairs with two or more.
func (d *Dataset) specimens() (codes []int32, pairs int) {
	type unit struct {
		tester, panel int32
		name          string
	}
	known := map[unit]int32{}
	per := map[[2]int32]int{}
	for i := range d.Rows {
		r := &d.Rows[i]
		key := unit{r.Tester, r.Panel, r.Observation.Specimen}
		c, seen := known[key]
		if !seen {
			c = int32(len(known))
			known[key] = c
			per[[2]int32{r.Tester, r.Panel}]++
		}
		codes = append(codes, c)
	}
	for _, n := range per {
		if n >= 2 {
			pairs++
		}
	}
	return codes, pairs
}
