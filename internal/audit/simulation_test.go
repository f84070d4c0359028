package audit_test

import (
	"flag"
	"fmt"
	"sort"
	"strings"
	"testing"

	"evensun/internal/audit"
	"evensun/internal/fieldtest"
)

var trials = flag.Int("trials", 4, "trials a row of the simulation; 100 for the table in the package's comment")

// cases are the faults that the audit must find, with what the finding is about.
func cases() []struct {
	name  string
	fault fault
	rules []string // any of these counts as found
	about func(*field, fieldtest.Finding) bool
} {
	tester := func(i int) func(*field, fieldtest.Finding) bool {
		return func(f *field, x fieldtest.Finding) bool { return x.TesterID != nil && *x.TesterID == f.testers[i] }
	}
	session := func(t, s int) func(*field, fieldtest.Finding) bool {
		return func(f *field, x fieldtest.Finding) bool {
			return x.SessionID != nil && *x.SessionID == f.sessions[t][s]
		}
	}
	panel := func(p int) func(*field, fieldtest.Finding) bool {
		return func(f *field, x fieldtest.Finding) bool { return x.PanelModel != nil && *x.PanelModel == slugOf(p) }
	}
	return []struct {
		name  string
		fault fault
		rules []string
		about func(*field, fieldtest.Finding) bool
	}{
		{"tester 12 % low", fault{tester: [2]float64{3, -0.12}}, []string{"tester_offset", "tester_extreme", "tester_mean_off_h"}, tester(3)},
		{"opinion 8 % low", fault{opinion: -0.08}, []string{"opinion_off"}, panel(0)},
		{"session 20 % low", fault{session: -0.2}, []string{"session_off"}, session(1, 0)},
		{"panel in a session 6 % low", fault{cell: -0.06}, []string{"panel_off_in_session"}, session(2, 1)},
		{"reading 5 % low", fault{reading: -0.05}, []string{"reading_off_its_repeats"}, session(3, 2)},
		{"labels swapped", fault{swap: true}, []string{"mislabelled_panel"}, session(2, 0)},
		{"second rig 8 % low", fault{rig: -0.08}, []string{"rig_offset"}, tester(4)},
		{"repeats scatter threefold", fault{scatter: 3}, []string{"tester_scatter_k"}, tester(5)},
		{"repeats ten times too good", fault{steady: 0.1}, []string{"too_consistent"}, tester(6)},
		{"0.4 % a minute of drift", fault{drift: -0.004}, []string{"session_trend"}, session(1, 4)},
		{"panel loses 18 % a year", fault{ageing: -0.0005}, []string{"ageing_trend"}, panel(3)},
		{"session copied", fault{copied: true}, []string{"copied_session"}, session(6, 1)},
		{"pairs contradict by 6 %", fault{conflict: 0.06}, []string{"direct_indirect_differ", "panel_off_in_session"}, panel(0)},
	}
}

// TestSimulation plants faults in clean data and counts what is found, and how much is
// found where there is nothing.
func TestSimulation(t *testing.T) {
	t.Parallel()
	var table strings.Builder
	alarms := map[string]int{}
	total := 0
	for seed := range *trials {
		p := usual()
		p.seed = uint64(1000 + seed)
		for _, x := range p.field().found(t) {
			alarms[x.Rule]++
			total++
		}
	}
	n := float64(*trials)
	fmt.Fprintf(&table, "clean data: %.2f findings a trial", float64(total)/n)
	for _, rule := range sortedKeys(alarms) {
		fmt.Fprintf(&table, "; %s %.2f", rule, float64(alarms[rule])/n)
	}
	fmt.Fprintln(&table)
	if float64(total)/n > 1 {
		t.Errorf("findings in clean data = %.2f a trial, want at most 1", float64(total)/n)
	}
	for _, c := range cases() {
		hits, others := 0, 0
		for seed := range *trials {
			p := usual()
			p.seed, p.fault = uint64(1000+seed), c.fault
			f := p.field()
			hit := false
			for _, x := range f.found(t) {
				if among(c.rules, x.Rule) && c.about(f, x) {
					hit = true
				} else {
					others++
				}
			}
			if hit {
				hits++
			}
		}
		fmt.Fprintf(&table, "%-28s found %3.0f %%, other findings %.2f\n", c.name, 100*float64(hits)/n, float64(others)/n)
		if hits*2 < *trials {
			t.Errorf("%s: found in %d of %d trials, want half or more", c.name, hits, *trials)
		}
	}
	t.Log("\n" + table.String())
}

func among(list []string, s string) bool {
	for _, x := range list {
		if x == s {
			return true
		}
	}
	return false
}

func sortedKeys(m map[string]int) []string {
	var keys []string
	for k := range m {
		keys = append(keys, k)
	}
	sort.Strings(keys)
	return keys
}

func TestRulesAreKnown(t *testing.T) {
	t.Parallel()
	known := map[string]bool{}
	for _, id := range audit.RuleIDs() {
		known[id] = true
	}
	for _, c := range cases() {
		for _, r := range c.rules {
			if !known[r] {
				t.Errorf("rule %q of case %q is not in Rules()", r, c.name)
			}
		}
	}
}
