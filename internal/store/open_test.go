package store_test

import (
	"strings"
	"testing"

	"evensun/internal/store"
	"evensun/internal/storetest"
)

func TestUnsafeServerIsRefused(t *testing.T) {
	t.Parallel()
	_, err := store.Open(t.Context(), storetest.URL(t), store.Options{Migrated: true})
	if err == nil || !strings.Contains(err.Error(), "fsync=off") {
		t.Errorf("Open() on a server without fsync = %v, want a refusal that names the setting", err)
	}
}

func TestFreshDatabaseAnswers(t *testing.T) {
	t.Parallel()
	if err := storetest.New(t).Ping(t.Context()); err != nil {
		t.Error(err)
	}
}
