package ranking

import "bytes"

// counts are what a panel's estimate rests on.
type counts struct {
	readings, sessions, testers int
	founding                    bool // read before the dataset had a second tester
}

// count gathers what each panel's estimate rests on.
func (f *Fitted) count() {
	n := len(f.Panels)
	f.counts = make([]counts, n)
	sessions, testers := make([]map[int32]bool, n), make([]map[int32]bool, n)
	for p := range n {
		sessions[p], testers[p] = map[int32]bool{}, map[int32]bool{}
	}
	founding := f.foundingSessions()
	for i := range f.Rows {
		r := &f.Rows[i]
		c := &f.counts[r.Panel]
		c.readings++
		c.founding = c.founding || founding[r.Session]
		sessions[r.Panel][r.Session], testers[r.Panel][r.Tester] = true, true
	}
	for p := range n {
		f.counts[p].sessions, f.counts[p].testers = len(sessions[p]), len(testers[p])
	}
}

// foundingSessions are those that were stored before a second tester had one: ids of
// sessions are made by the service in the order of time, so that nobody can date a session
// back. What one tester ranked alone keeps its rank when the second comes.
func (d *Dataset) foundingSessions() []bool {
	of := d.sessionTesters()
	first := func(but int32) int32 { // the earliest session, of a tester other than but
		found := int32(-1)
		for s, t := range of {
			if t != but && (found < 0 || bytes.Compare(d.Sessions[s][:], d.Sessions[found][:]) < 0) {
				found = int32(s)
			}
		}
		return found
	}
	founder := of[first(-1)]
	second := first(founder)
	out := make([]bool, len(d.Sessions))
	for s, t := range of {
		out[s] = t == founder && (second < 0 || bytes.Compare(d.Sessions[s][:], d.Sessions[second][:]) < 0)
	}
	return out
}

// sessionTesters is the tester of each session.
func (d *Dataset) sessionTesters() []int32 {
	of := make([]int32, len(d.Sessions))
	for i := range d.Rows {
		of[d.Rows[i].Session] = d.Rows[i].Tester
	}
	return of
}

// checkedTesters are those whose data others can check: enough sessions with panels that
// at least two other testers read.
func (d *Dataset) checkedTesters(in *Inputs) []bool {
	readers := make([]map[int32]bool, len(d.Panels))
	for i := range d.Rows {
		r := &d.Rows[i]
		if readers[r.Panel] == nil {
			readers[r.Panel] = map[int32]bool{}
		}
		readers[r.Panel][r.Tester] = true
	}
	shared := make([]map[int32]bool, len(d.Testers))
	for i := range d.Rows {
		r := &d.Rows[i]
		if len(readers[r.Panel]) < checkers+1 {
			continue
		}
		if shared[r.Tester] == nil {
			shared[r.Tester] = map[int32]bool{}
		}
		shared[r.Tester][r.Session] = true
	}
	checked := make([]bool, len(d.Testers))
	for t := range checked {
		checked[t] = len(shared[t]) >= in.Rules.AnchoredAfter
	}
	return checked
}

// checkers is how many others must have read a tester's panel to check the tester.
const checkers = 2

// unchecked are the testers who together weigh no more than a checked one; nil, and all
// count alike, while fewer than least are checked.
func unchecked(checked []bool, least int) []bool {
	out, n := make([]bool, len(checked)), 0
	for t, c := range checked {
		out[t] = !c
		if c {
			n++
		}
	}
	if n < least || n == len(checked) {
		return nil
	}
	return out
}
