package refresh_test

import (
	"errors"
	"slices"
	"testing"

	"evensun/internal/fieldtest"
)

// A panel that nobody has read is to be read beside one of the list.
func TestSuggest(t *testing.T) {
	t.Parallel()
	w := newWorld(t, 4, 3)
	for range 2 {
		for tester := range w.testers {
			w.save(t, w.session(t, tester, []int{0, 1}, nil))
		}
	}
	r := w.once(t)
	got, err := r.Suggest(t.Context(), 38.5, -106, nil)
	if err != nil {
		t.Fatalf("Suggest() = %v", err)
	}
	if len(got.Items) == 0 || !slices.Contains(got.Items[0].Models, "panel-2") || got.Items[0].ExpectedGain == nil {
		t.Errorf("Suggest() = %+v, want a session with panel-2 first", got.Items)
	}
	if len(got.GoodHours) == 0 {
		t.Error("no good sun in two days at 38.5 deg north")
	}
	_, err = r.Suggest(t.Context(), 38.5, -106, []string{"no-such"})
	if refusal, ok := errors.AsType[*fieldtest.Refusal](err); !ok || refusal.Kind != fieldtest.InvalidParameter {
		t.Errorf("Suggest(no-such) = %v, want a refusal", err)
	}
}
