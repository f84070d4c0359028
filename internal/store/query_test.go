package store_test

import (
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"

	"evensun/internal/storetest"
)

// Every query file is prepared against the migrated database, so that a renamed
// column fails here at once.
func TestEveryQueryPrepares(t *testing.T) {
	t.Parallel()
	conn := storetest.Connect(t, storetest.URL(t))
	for _, file := range queryFiles(t) {
		raw, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		if !strings.HasPrefix(string(raw), "-- ") {
			t.Errorf("%s does not begin with what it is for", file)
		}
		if _, err := conn.Prepare(t.Context(), filepath.Base(file), string(raw)); err != nil {
			t.Errorf("%s: %v", file, err)
		}
	}
}

// A page far down a list begins at its place in an index. A plan that any page may get
// must say so: else each page reads all before it, or, of readings, the whole table.
func TestLaterPagesBeginAtTheirPlace(t *testing.T) {
	t.Parallel()
	conn := storetest.Connect(t, storetest.URL(t))
	if _, err := conn.Exec(t.Context(), "SET plan_cache_mode = force_generic_plan; SET enable_seqscan = off; SET enable_bitmapscan = off"); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"readings", "sessions", "findings"} {
		raw, err := os.ReadFile(filepath.Join("query", name+".sql"))
		if err != nil {
			t.Fatal(err)
		}
		prepared, err := conn.Prepare(t.Context(), name, string(raw))
		if err != nil {
			t.Fatal(err)
		}
		nulls := strings.TrimSuffix(strings.Repeat("NULL, ", len(prepared.ParamOIDs)), ", ")
		rows, err := conn.Query(t.Context(), "EXPLAIN EXECUTE "+name+"("+nulls+")", pgx.QueryExecModeSimpleProtocol)
		if err != nil {
			t.Fatal(err)
		}
		plan, err := pgx.CollectRows(rows, pgx.RowTo[string])
		if err != nil {
			t.Fatal(err)
		}
		if !slices.ContainsFunc(plan, fromPlace.MatchString) {
			t.Errorf("%s does not begin at $3:\n%s", name, strings.Join(plan, "\n"))
		}
	}
}

var fromPlace = regexp.MustCompile(`Index Cond: .*\bsequence\b.*\$3`)

var named = regexp.MustCompile(`(?:query\(|scan[A-Za-z]*, |\}, |"findings", |&tx\.early, |at\.batch, )"([a-z_]+)"`)

// Every query file is used, and every name that the code uses is a file.
func TestQueryNames(t *testing.T) {
	t.Parallel()
	code := ""
	sources, err := filepath.Glob("*.go")
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range sources {
		if strings.HasSuffix(s, "_test.go") {
			continue
		}
		raw, err := os.ReadFile(s)
		if err != nil {
			t.Fatal(err)
		}
		code += string(raw)
	}
	exists := map[string]bool{}
	for _, file := range queryFiles(t) {
		name := strings.TrimSuffix(filepath.Base(file), ".sql")
		exists[name] = true
		if !strings.Contains(code, `"`+name+`"`) {
			t.Errorf("%s is used by nothing", file)
		}
	}
	for _, match := range named.FindAllStringSubmatch(code, -1) {
		if !exists[match[1]] {
			t.Errorf("the code asks for query %q, which is no file", match[1])
		}
	}
}

func queryFiles(t *testing.T) []string {
	t.Helper()
	files, err := filepath.Glob("query/*.sql")
	if err != nil || len(files) == 0 {
		t.Fatalf("query files: %v, %v", files, err)
	}
	return files
}
