package store_test

import (
	"context"
	"fmt"
	"io/fs"
	"net/url"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/jackc/pgx/v5"

	"evensun/internal/store"
	"evensun/internal/storetest"
	"evensun/migrations"
)

func TestMigrationsUpDownUp(t *testing.T) {
	t.Parallel()
	url := storetest.EmptyURL(t)
	for _, step := range []func(context.Context, string) error{store.Migrate, store.MigrateDown, store.MigrateDown, store.Migrate, store.Migrate} {
		if err := step(t.Context(), url); err != nil {
			t.Fatal(err)
		}
	}
	isWhole(t, url)
}

// Killed at every statement of every migration and at every mark, a database comes to the
// schema of one that nothing disturbed.
func TestKilledMigrationsGoOn(t *testing.T) {
	t.Parallel()
	url := superuser(t, storetest.EmptyURL(t))
	conn := storetest.Connect(t, url)
	run(t, conn, plantKills)
	var at, reached int64
	for kills := 0; ; kills++ {
		var version int64
		if err := conn.QueryRow(t.Context(), "SELECT coalesce(max(version), 0) FROM schema_migrations").Scan(&version); err != nil {
			t.Fatal(err)
		}
		if version > reached {
			at, reached = 0, version // its first statements are yet to be killed
		}
		at++
		run(t, conn, fmt.Sprintf("ALTER SEQUENCE statements RESTART; UPDATE killing SET at = %d", at))
		if err := store.Migrate(t.Context(), url); err == nil {
			if files := len(upFiles(t)); kills < 2*files {
				t.Errorf("only %d kills for %d migrations", kills, files)
			}
			break
		}
	}
	run(t, conn, "DROP EVENT TRIGGER killing; DROP TABLE killing; DROP FUNCTION kill_ddl, kill_mark CASCADE; DROP SEQUENCE statements")
	isWhole(t, url)
}

// plantKills ends the session at the n-th statement that changes the schema or its mark. A
// sequence counts through what is rolled back.
const plantKills = `CREATE SEQUENCE statements;
CREATE TABLE killing (at bigint); INSERT INTO killing VALUES (0);
CREATE TABLE schema_migrations (version bigint PRIMARY KEY, dirty boolean NOT NULL);
CREATE FUNCTION kill_mark() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN
  IF nextval('statements') = (SELECT at FROM killing) THEN PERFORM pg_terminate_backend(pg_backend_pid()); END IF;
  RETURN NULL; END $$;
CREATE TRIGGER killing AFTER INSERT ON schema_migrations FOR EACH ROW EXECUTE FUNCTION kill_mark();
CREATE FUNCTION kill_ddl() RETURNS event_trigger LANGUAGE plpgsql AS $$ BEGIN
  IF to_regclass('killing') IS NOT NULL AND nextval('statements') = (SELECT at FROM killing) THEN PERFORM pg_terminate_backend(pg_backend_pid()); END IF;
  END $$;
CREATE EVENT TRIGGER killing ON ddl_command_end WHEN TAG IN ('CREATE TABLE', 'ALTER TABLE', 'CREATE INDEX', 'COMMENT') EXECUTE FUNCTION kill_ddl()`

// An earlier program marked a migration as dirty, sent it as one transaction and then
// cleared the mark: killed in between it left the migration whole or absent.
func TestDirtyMarksOfEarlierProgramsAreRepaired(t *testing.T) {
	t.Parallel()
	files := upFiles(t)
	for _, whole := range []bool{true, false} {
		for _, last := range []int{1, 13, 23, 28, 29} { // tables, a table, a column, indexes, columns and an index
			t.Run(fmt.Sprintf("%d, whole %v", last, whole), func(t *testing.T) {
				t.Parallel()
				url := storetest.EmptyURL(t)
				conn := storetest.Connect(t, url)
				for i, sql := range files {
					if i+1 < last || i+1 == last && whole {
						run(t, conn, "BEGIN; "+sql+"; COMMIT")
					}
				}
				run(t, conn, fmt.Sprintf("CREATE TABLE schema_migrations (version bigint PRIMARY KEY, dirty boolean NOT NULL); INSERT INTO schema_migrations VALUES (%d, true)", last))
				if err := store.Migrate(t.Context(), url); err != nil {
					t.Fatal(err)
				}
				isWhole(t, url)
			})
		}
	}
}

// A schema that is up to date needs no write, and one of a later program is left alone.
func TestMigrateLeavesWhatNeedsNothing(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	conn := storetest.Connect(t, url)
	run(t, conn, "ALTER DATABASE "+pgx.Identifier{conn.Config().Database}.Sanitize()+" SET default_transaction_read_only = on")
	if err := store.Migrate(t.Context(), url); err != nil {
		t.Errorf("up to date, read only: %v", err)
	}
	run(t, conn, "UPDATE schema_migrations SET version = 999999")
	if err := store.Migrate(t.Context(), url); err != nil {
		t.Errorf("of a later program: %v", err)
	}
	if got := mark(t, url); got != 999999 {
		t.Errorf("of a later program it became version %d", got)
	}
}

// Replicas that start at once on an empty database end with one schema.
func TestReplicasMigrateAtOnce(t *testing.T) {
	t.Parallel()
	url := storetest.EmptyURL(t)
	ended := make(chan error, 4)
	for range cap(ended) {
		go func() { ended <- store.Migrate(t.Context(), url) }()
	}
	for range cap(ended) {
		if err := storetest.Await(t, ended, "a replica to migrate"); err != nil {
			t.Error(err)
		}
	}
	isWhole(t, url)
}

func upFiles(t *testing.T) []string {
	t.Helper()
	names, err := fs.Glob(migrations.Files, "*.up.sql")
	if err != nil || len(names) == 0 {
		t.Fatalf("migrations: %v, %v", names, err)
	}
	var files []string
	for _, name := range slices.Sorted(slices.Values(names)) {
		raw, err := fs.ReadFile(migrations.Files, name)
		if err != nil {
			t.Fatal(err)
		}
		files = append(files, string(raw))
	}
	return files
}

// superuser returns the address with the user that may make event triggers.
func superuser(t *testing.T, raw string) string {
	t.Helper()
	u, err := url.Parse(raw)
	if err != nil {
		t.Fatal(err)
	}
	u.User = url.User("evensun")
	return u.String()
}

func run(t *testing.T, conn *pgx.Conn, sql string) {
	t.Helper()
	if _, err := conn.PgConn().Exec(t.Context(), sql).ReadAll(); err != nil {
		t.Fatalf("%s: %v", sql, err)
	}
}

func mark(t *testing.T, url string) int64 {
	t.Helper()
	version, dirty, err := store.SchemaVersion(t.Context(), url)
	if err != nil || dirty {
		t.Fatalf("SchemaVersion() = %d, %v, %v, want a clean one", version, dirty, err)
	}
	return version
}

// isWhole holds a schema against one that was migrated undisturbed.
func isWhole(t *testing.T, url string) {
	t.Helper()
	want, got := describe(t, storetest.URL(t)), describe(t, url)
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("schema: -want +got\n%s", diff)
	}
	if version := mark(t, url); version != mark(t, storetest.URL(t)) {
		t.Errorf("the schema says it has version %d", version)
	}
}

// describe lists columns, indexes, constraints and comments.
func describe(t *testing.T, url string) string {
	t.Helper()
	rows, err := storetest.Connect(t, url).Query(t.Context(), `
SELECT concat_ws(' ', table_name, column_name, data_type, is_nullable, column_default, col_description(table_name::regclass, ordinal_position)) FROM information_schema.columns WHERE table_schema = 'public'
UNION ALL SELECT indexdef FROM pg_indexes WHERE schemaname = 'public'
UNION ALL SELECT concat_ws(' ', conrelid::regclass, conname, pg_get_constraintdef(oid)) FROM pg_constraint WHERE connamespace = 'public'::regnamespace
UNION ALL SELECT (SELECT count(*) FROM ledger_head)::text
ORDER BY 1`)
	if err != nil {
		t.Fatal(err)
	}
	lines, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		t.Fatal(err)
	}
	return strings.Join(lines, "\n")
}
