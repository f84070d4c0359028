package store_test

import (
	"context"
	"net/url"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"evensun/internal/fieldtest"
	"evensun/internal/ledger"
	"evensun/internal/pgserver"
	"evensun/internal/store"
)

// A role that follows the package comment can do all the service does, but cannot
// rewrite the ledger.
func TestServiceRoleCannotRewriteTheLedger(t *testing.T) {
	t.Parallel()
	owner := durableURL(t)
	if err := store.Migrate(t.Context(), owner); err != nil {
		t.Fatal(err)
	}
	conn, err := pgx.Connect(t.Context(), owner)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(context.WithoutCancel(t.Context()))
	for _, sql := range append([]string{"CREATE ROLE service LOGIN"}, grantsOfDoc(t)...) {
		if _, err := conn.Exec(t.Context(), sql); err != nil {
			t.Fatalf("%s: %v", sql, err)
		}
	}
	service := as(t, owner, "service")
	db, err := store.Open(t.Context(), service, store.Options{Migrated: true})
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	w := worldOn(t, db)
	s := w.session(t, 2)
	f := finding(t, "too_cold", nil)
	s.Judged[0].Findings = []fieldtest.Finding{f}
	w.save(t, s)
	w.mustVerdict(t, f.ID, fieldtest.Exclude)
	mine, err := pgx.Connect(t.Context(), service)
	if err != nil {
		t.Fatal(err)
	}
	defer mine.Close(context.WithoutCancel(t.Context()))
	for _, sql := range []string{"UPDATE ledger SET kind = 'x'", "DELETE FROM ledger", "TRUNCATE ledger", "DELETE FROM verdict"} {
		if _, err := mine.Exec(t.Context(), sql); err == nil || !strings.Contains(err.Error(), "permission denied") {
			t.Errorf("%s as the service = %v, want permission denied", sql, err)
		}
	}
}

// grantsOfDoc reads the statements that the package comment tells operators to run.
func grantsOfDoc(t *testing.T) []string {
	t.Helper()
	raw, err := os.ReadFile("doc.go")
	if err != nil {
		t.Fatal(err)
	}
	var grants []string
	for line := range strings.Lines(string(raw)) {
		if sql, ok := strings.CutPrefix(line, "//\t"); ok {
			grants = append(grants, strings.TrimSpace(sql))
		}
	}
	if len(grants) != 2 {
		t.Fatalf("doc.go shows %d statements, want 2", len(grants))
	}
	return grants
}

func as(t *testing.T, raw, user string) string {
	t.Helper()
	u, err := url.Parse(raw)
	if err != nil {
		t.Fatal(err)
	}
	q := u.Query()
	q.Set("user", user)
	u.RawQuery = q.Encode()
	return u.String()
}

// What was acknowledged before kill -9 of the database is there after it, by the
// same pool, and the ledger's chain holds.
func TestAcknowledgedSurvivesKill(t *testing.T) {
	t.Parallel()
	link := durableURL(t)
	db, err := store.Open(t.Context(), link, store.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	w := worldOn(t, db)
	var ids []uuid.UUID
	for range 20 {
		s := w.session(t, 5)
		w.save(t, s)
		ids = append(ids, s.ID)
	}
	kill(t, link)
	untilBack(t, link, db)
	for _, id := range ids {
		if s, err := db.Session(t.Context(), id); err != nil || len(s.Readings) != 5 {
			t.Errorf("after kill -9 session %s has %d readings, %v, want 5", id, len(s.Readings), err)
		}
	}
	entries, err := db.Ledger(t.Context(), 0, 1000)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := ledger.Verify(ledger.Genesis(), entries); err != nil {
		t.Error(err)
	}
	w.save(t, w.session(t, 1))
}

// untilBack waits until the server recovered, and lets the pool find out which of its
// connections are dead.
func untilBack(t *testing.T, link string, db *store.DB) {
	t.Helper()
	second, err := pgserver.Start(t.Context(), pgserver.Options{DataDir: dataDir(t, link)})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := second.Stop(context.WithoutCancel(t.Context())); err != nil {
			t.Error(err)
		}
	})
	for range 20 {
		if db.Ping(t.Context()) == nil {
			return
		}
	}
	t.Fatal("the pool does not find the recovered database")
}

func dataDir(t *testing.T, link string) string {
	t.Helper()
	u, err := url.Parse(link)
	if err != nil {
		t.Fatal(err)
	}
	return filepath.Dir(u.Query().Get("host"))
}

func kill(t *testing.T, link string) {
	t.Helper()
	raw, err := os.ReadFile(filepath.Join(dataDir(t, link), "postgres", "postmaster.pid"))
	if err != nil {
		t.Fatal(err)
	}
	line, _, _ := strings.Cut(string(raw), "\n")
	pid, err := strconv.Atoi(line)
	if err != nil {
		t.Fatal(err)
	}
	if err := syscall.Kill(pid, syscall.SIGKILL); err != nil {
		t.Fatal(err)
	}
}
