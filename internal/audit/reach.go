package audit

import (
	"fmt"

	"github.com/google/uuid"

	"evensun/internal/fieldtest"
	"evensun/internal/ranking"
)

// A reachIndex finds the readings that a verdict on a finding would take out.
type reachIndex struct {
	observations []ranking.Observation
	bySession    map[uuid.UUID][]int
	byTester     map[uuid.UUID][]int
	byPanel      map[string][]int
}

func newReachIndex(in *ranking.Inputs) *reachIndex {
	x := &reachIndex{observations: in.Observations, bySession: map[uuid.UUID][]int{}, byTester: map[uuid.UUID][]int{}, byPanel: map[string][]int{}}
	for i := range in.Observations {
		o := &in.Observations[i]
		x.bySession[o.SessionID] = append(x.bySession[o.SessionID], i)
		x.byTester[o.TesterID] = append(x.byTester[o.TesterID], i)
		x.byPanel[o.Panel] = append(x.byPanel[o.Panel], i)
	}
	return x
}

// tell says in the evidence how far a verdict on the finding reaches: the readings that
// match all that it names, and how many testers they are of. A reviewer knows it before
// deciding.
func (x *reachIndex) tell(d *doubt) {
	readings, testers := 0, map[uuid.UUID]bool{}
	for _, i := range x.narrowest(d) {
		if o := &x.observations[i]; d.names(o) {
			readings++
			testers[o.TesterID] = true
		}
	}
	d.basis["reach_readings"], d.basis["reach_testers"] = readings, len(testers)
	d.basis["reach"] = fmt.Sprintf("A verdict to exclude takes out %s.", d.reachWords(readings, len(testers)))
}

func (x *reachIndex) narrowest(d *doubt) []int {
	switch {
	case d.session != nil:
		return x.bySession[*d.session]
	case d.tester != nil:
		return x.byTester[*d.tester]
	case d.panel != nil:
		return x.byPanel[*d.panel]
	}
	return nil
}

// names tells whether a reading has all that the doubt is about.
func (d *doubt) names(o *ranking.Observation) bool {
	return (d.reading == nil || *d.reading == o.ReadingID) && (d.session == nil || *d.session == o.SessionID) &&
		(d.rig == nil || *d.rig == o.RigID) && (d.tester == nil || *d.tester == o.TesterID) && (d.panel == nil || *d.panel == o.Panel) &&
		(d.arrangement == nil || *d.arrangement == o.Arrangement) && (d.coverClass == nil || *d.coverClass == coverClassOf(o))
}

func coverClassOf(o *ranking.Observation) string {
	if o.Result == nil || o.Result.Retention == nil {
		return ""
	}
	return o.Result.Retention.CoverClass
}

func (d *doubt) reachWords(readings, testers int) string {
	if d.reading != nil {
		return "this reading alone"
	}
	text := fmt.Sprintf("%d readings", readings)
	if readings == 1 {
		text = "1 reading"
	}
	if d.panel != nil {
		text += " of " + *d.panel
	}
	if d.arrangement != nil {
		text += " " + lay(*d.arrangement, d.coverClass)
	}
	switch {
	case d.session != nil:
		return text + " in this session"
	case d.rig != nil:
		return text + " with this rig"
	case d.tester != nil:
		return text + " by this tester"
	case testers == 1:
		return text + " by one tester"
	}
	return text + fmt.Sprintf(" by %d testers", testers)
}

// lay says how panels lay, as "tilted", "flat on the ground" or "covered (class 0.25)".
func lay(a fieldtest.Arrangement, class *string) string {
	switch {
	case a == fieldtest.Flat:
		return "flat on the ground"
	case a == fieldtest.Covered && class != nil:
		return "covered (class " + *class + ")"
	}
	return string(a)
}
