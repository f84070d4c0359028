package store_test

import (
	"strings"
	"testing"

	"evensun/internal/store"
	"evensun/internal/storetest"
)

func TestMigrationsUpDownUp(t *testing.T) {
	t.Parallel()
	url := storetest.EmptyURL(t)
	for _, step := range []func(string) error{store.Migrate, store.MigrateDown, store.Migrate, store.Migrate} {
		if err := step(url); err != nil {
			t.Fatal(err)
		}
	}
	version, dirty, err := store.SchemaVersion(url)
	if err != nil || dirty || version == 0 {
		t.Errorf("SchemaVersion() = %d, %v, %v, want the newest, clean", version, dirty, err)
	}
}

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
