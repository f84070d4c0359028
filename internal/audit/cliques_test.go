package audit_test

import (
	"bytes"
	"slices"
	"testing"

	"github.com/google/uuid"

	"evensun/internal/ranking"
)

// Who shares panels with two friends, but not with both the same ones, is found with each,
// and every audit of the same readings names the same.
func TestEachCliqueIsNamed(t *testing.T) {
	t.Parallel()
	p := usual()
	p.perSession, p.panels = 10, 10
	f := p.field()
	t3 := slices.Clone(f.testers[:3]) // in the order of a fit, so that the one who is shared comes first in both pairs
	slices.SortFunc(t3, func(a, b uuid.UUID) int { return bytes.Compare(a[:], b[:]) })
	only := map[string][]uuid.UUID{}
	for k, friends := range [][]uuid.UUID{{t3[0], t3[1]}, {t3[0], t3[2]}} {
		for panel := 3 * k; panel < 3*k+3; panel++ {
			only[slugOf(panel)] = friends
		}
	}
	f.in.Observations = slices.DeleteFunc(f.in.Observations, func(o ranking.Observation) bool {
		friends, shared := only[o.Panel]
		return shared && !slices.Contains(friends, o.TesterID)
	})
	var first []uuid.UUID
	for range 10 {
		var named []uuid.UUID
		for _, found := range f.found(t) {
			if found.Rule == "same_few_testers" {
				named = append(named, *found.TesterID)
			}
		}
		if len(named) != 2 || named[0] == named[1] {
			t.Fatalf("cliques of %v, want two by different testers", named)
		}
		if first == nil {
			first = named
		}
		if !slices.Equal(named, first) {
			t.Errorf("cliques of %v, before of %v", named, first)
		}
	}
}
