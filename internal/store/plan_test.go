package store_test

import (
	"os"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"

	"evensun/internal/storetest"
)

// Every main read can be served by indexes alone. The tables here are empty, so the
// planner is told to scan a whole large table only where it has no other way.
func TestMainReadsHaveIndexes(t *testing.T) {
	t.Parallel()
	conn := storetest.Connect(t, storetest.URL(t))
	if _, err := conn.Exec(t.Context(), "SET enable_seqscan = off"); err != nil {
		t.Fatal(err)
	}
	const id = "'0197a000-0000-7000-8000-000000000000'"
	cases := map[string]string{ // arguments in order
		"session":              id + ", NULL",
		"session_readings":     id + ", 1",
		"session_findings":     id + ", 1",
		"reading_place":        id,
		"verdicts":             "ARRAY[" + id + "]::uuid[]",
		"sessions":             "51, 1000, 900, " + id + strings.Repeat(", NULL", 10),
		"readings":             "51, 1000, 900, 3, " + id + strings.Repeat(", NULL", 8) + ", false",
		"findings":             "51, 1000, 900, " + id + strings.Repeat(", NULL", 8),
		"findings_by_priority": "51, 1000, 50, " + id + ", ARRAY['open']" + strings.Repeat(", NULL", 7),
		"ledger":               "900, 100",
		"find_key":             "'abcDEF0123'",
		"session_known_by":     id + ", 'content', 'x'",
		"ranking":              "'stc-power', ''",
		"panel_detail":         "'x'",
		"panel_model":          "'x', NULL",
		"rig":                  id + ", NULL",
	}
	for name, args := range cases {
		raw, err := os.ReadFile("query/" + name + ".sql")
		if err != nil {
			t.Fatal(err)
		}
		if _, err := conn.Exec(t.Context(), "PREPARE q_"+name+" AS "+string(raw)); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		rows, err := conn.Query(t.Context(), "EXPLAIN EXECUTE q_"+name+"("+args+")", pgx.QueryExecModeSimpleProtocol)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		plan, err := pgx.CollectRows(rows, pgx.RowTo[string])
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if text := strings.Join(plan, "\n"); strings.Contains(text, "Seq Scan") {
			t.Errorf("%s reads a whole table:\n%s", name, text)
		}
	}
}
