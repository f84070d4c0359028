package store_test

import (
	"context"
	"errors"
	"testing"

	"evensun/internal/store"
)

func TestAMovedGroundIsTold(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	s := w.session(t, 1)
	s.Revision = 1
	stored := w.write(t, func(_ context.Context, tx *store.Tx) error { return tx.SaveSession(s) })
	for _, c := range []struct {
		name  string
		slug  string
		since int64
		want  error
	}{
		{"one stored since", slug, stored - 1, store.ErrMoved},
		{"none stored since", slug, stored, nil},
		{"none with this model", "halden-120", 0, nil},
	} {
		_, err := w.try(t, func(ctx context.Context, tx *store.Tx) error { return tx.NoSessionSince(ctx, c.slug, c.since) })
		if !errors.Is(err, c.want) {
			t.Errorf("%s: %v, want %v", c.name, err, c.want)
		}
	}
	old := w.session(t, 2)
	old.Revision, old.ModelRevisions = 1, map[string]int{slug: 7}
	if _, err := w.try(t, func(_ context.Context, tx *store.Tx) error { return tx.SaveSession(old) }); !errors.Is(err, store.ErrMoved) {
		t.Errorf("a session judged by revision 7 of a nameplate ends in %v, want %v", err, store.ErrMoved)
	}
}
