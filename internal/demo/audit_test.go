package demo_test

import (
	"testing"

	"evensun/internal/audit"
	"evensun/internal/demo"
	"evensun/internal/ranking"
)

// TestAuditFindsWhatNeedsManySessions ranks all sessions, those held left out, and
// looks for the swapped labels and the copy among the audit's doubts.
func TestAuditFindsWhatNeedsManySessions(t *testing.T) {
	t.Parallel()
	last := dates()[1]
	w := demo.NewWeekend(1, last)
	in, shown := inputs(t, &w, last, all)
	out, err := ranking.Compute(t.Context(), in, nil)
	if err != nil {
		t.Fatal(err)
	}
	findings, err := audit.Find(t.Context(), &in, out, shown)
	if err != nil {
		t.Fatal(err)
	}
	found := map[string]bool{}
	for _, f := range findings {
		if f.SessionID == nil {
			continue
		}
		found[f.Rule] = true
		if s := &w.Sessions[int(f.SessionID[15])-1]; s.Mistake == "" {
			t.Errorf("an honest session is doubted: %s %s", f.Rule, f.Reason)
		}
	}
	for i := range w.Sessions {
		if rule := w.Sessions[i].Mistake; ofTheAudit(rule) && !found[rule] {
			t.Errorf("session %d: no %s", i, rule)
		}
	}
}
