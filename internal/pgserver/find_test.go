package pgserver_test

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"evensun/internal/pgserver"
	"evensun/internal/storetest"
)

func TestFindSaysWhatIsMissing(t *testing.T) {
	t.Parallel()
	empty := t.TempDir()
	_, err := pgserver.Find(empty)
	if !errors.Is(err, pgserver.ErrNoPrograms) {
		t.Fatalf("Find(empty folder) = %v, want ErrNoPrograms", err)
	}
	for _, want := range []string{empty, "initdb, postgres", "apt-get install -y postgresql", "brew install", "EVENSUN_PG_BIN", "EVENSUN_DATABASE_URL"} {
		if !strings.Contains(err.Error(), want) {
			t.Errorf("Find(empty folder) = %q, want it to say %q", err, want)
		}
	}
}

func TestFindPutsTheNewestFirst(t *testing.T) {
	t.Parallel()
	found, err := pgserver.Find("")
	if err != nil {
		t.Fatal(err)
	}
	for i := 1; i < len(found); i++ {
		if found[i].Major > found[i-1].Major {
			t.Errorf("Find() = %v, want the newest first", found)
		}
	}
}

func TestOtherMajorIsRefused(t *testing.T) {
	t.Parallel()
	dir := storetest.EmptyDataDir(t)
	cluster := filepath.Join(dir, "postgres")
	if err := os.Mkdir(cluster, 0o700); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(cluster, "PG_VERSION"), []byte("9\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if os.Geteuid() == 0 {
		if err := os.Chown(cluster, 1, 1); err != nil {
			t.Fatal(err)
		}
	}
	_, err := pgserver.Start(t.Context(), pgserver.Options{DataDir: dir})
	if err == nil || !strings.Contains(err.Error(), "made by PostgreSQL 9") {
		t.Errorf("Start() on data of version 9 = %v, want a refusal that names the version", err)
	}
}

func TestUnreachableDirectoryIsNamed(t *testing.T) {
	t.Parallel()
	if os.Geteuid() != 0 {
		t.Skip("skipped: only root runs the server as another user")
	}
	closed := filepath.Join(storetest.EmptyDataDir(t), "closed")
	if err := os.Mkdir(closed, 0o700); err != nil {
		t.Fatal(err)
	}
	_, err := pgserver.Start(t.Context(), pgserver.Options{DataDir: filepath.Join(closed, "data")})
	if err == nil || !strings.Contains(err.Error(), closed) || !strings.Contains(err.Error(), "EVENSUN_DATA_DIR") {
		t.Errorf("Start() below a closed folder = %v, want it to name %s and the setting", err, closed)
	}
}
