package ranking

import "fmt"

// notRanked says why a panel can have no rank in a list of a component, and what would
// cure it. Every condition is such that more readings never take a rank away.
func (f *Fitted) notRanked(in *Inputs, l *List, p int, m merit) (reason, needs string) {
	c, rules := &f.counts[p], &in.Rules
	switch {
	case c.sessions < rules.MinSessions: // before testers: one session has one tester
		return "one_session_only", "a second session, best by another tester"
	case c.testers < rules.MinTesters && !c.founding:
		return "one_tester_only", "a session by another tester, beside a panel of this list"
	case c.testers < l.MinTesters:
		return "min_testers", fmt.Sprintf("sessions by %d testers, as asked for; %d so far", l.MinTesters, c.testers)
	case c.readings < rules.MinReadings:
		return "too_few_readings", fmt.Sprintf("readings: %d more", rules.MinReadings-c.readings)
	case f.Component[p] != l.Component:
		return "not_connected", fmt.Sprintf("one session with this panel beside any panel of component %d", l.Component)
	case m.missing != "":
		return m.missing, m.needs
	}
	return "", ""
}

// contrastNeeds is what a panel needs that is not known well enough against the list.
func contrastNeeds(halfWidth, most float64) string {
	return fmt.Sprintf("sessions beside ranked panels: against the list it is known to %.0f %%, a rank needs %.0f %%", 100*halfWidth, 100*most)
}
