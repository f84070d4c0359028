package fieldtest_test

import (
	"testing"

	"evensun/internal/fieldtest"
)

// What a finding makes of a reading, for every severity and state.
func TestEffect(t *testing.T) {
	t.Parallel()
	want := map[fieldtest.Severity]map[fieldtest.FindingState]fieldtest.ReadingState{
		fieldtest.Note: {
			"": fieldtest.Counted, fieldtest.FindingOpen: fieldtest.Counted, fieldtest.FindingAsked: fieldtest.Counted,
			fieldtest.FindingKept: fieldtest.Counted, fieldtest.FindingExcluded: fieldtest.Excluded, fieldtest.FindingObsolete: fieldtest.Counted,
		},
		fieldtest.Hold: {
			"": fieldtest.Held, fieldtest.FindingOpen: fieldtest.Held, fieldtest.FindingAsked: fieldtest.Held,
			fieldtest.FindingKept: fieldtest.Counted, fieldtest.FindingExcluded: fieldtest.Excluded, fieldtest.FindingObsolete: fieldtest.Counted,
		},
	}
	want[fieldtest.Reject] = want[fieldtest.Hold]
	for severity, states := range want {
		for _, state := range append(fieldtest.FindingStates(), "") {
			if got := fieldtest.Effect(severity, state); got != states[state] {
				t.Errorf("a %s that is %q makes a reading %s, want %s", severity, state, got, states[state])
			}
		}
	}
}

// The gravest effect decides, in whatever order findings come.
func TestUnderTakesTheGravest(t *testing.T) {
	t.Parallel()
	order := []fieldtest.ReadingState{fieldtest.Counted, fieldtest.Held, fieldtest.Excluded, fieldtest.Superseded}
	for i, a := range order {
		for k, b := range order {
			if got := a.Under(b); got != order[max(i, k)] {
				t.Errorf("%s under %s is %s, want %s", a, b, got, order[max(i, k)])
			}
		}
	}
}
