package store_test

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"evensun/internal/fieldtest"
	"evensun/internal/ledger"
	"evensun/internal/store"
	"evensun/internal/storetest"
)

// faults verifies everything, a few rows at a time.
func faults(t testing.TB, db *store.DB) []store.ContentFault {
	t.Helper()
	return faultsBy(t, db, 7)
}

// faultsBy verifies everything, some rows at a time.
func faultsBy(t testing.TB, db *store.DB, rows int) []store.ContentFault {
	t.Helper()
	var all []store.ContentFault
	for after := int64(0); ; {
		entries, err := db.Ledger(t.Context(), after, rows)
		if err != nil {
			t.Fatal(err)
		}
		if len(entries) == 0 {
			break
		}
		some, err := db.VerifyContent(t.Context(), entries)
		if err != nil {
			t.Fatal(err)
		}
		all, after = append(all, some...), entries[len(entries)-1].Sequence
	}
	states, err := db.VerifyStates(t.Context(), 10)
	if err != nil {
		t.Fatal(err)
	}
	return append(all, states...)
}

// manifest is a snapshot's as far as verifying reads it.
func withManifest(t testing.TB, name string) (store.Snapshot, []store.SnapshotFile) {
	t.Helper()
	s, files := snapshotNamed(name)
	type info struct {
		Name      string `json:"name"`
		MediaType string `json:"media_type"`
		Size      int64  `json:"size"`
		SHA256    string `json:"sha256"`
	}
	var list []info
	for _, f := range files {
		list = append(list, info{f.Name, f.MediaType, f.Size, f.SHA256})
	}
	raw, err := json.Marshal(map[string]any{"name": name, "created_at": s.CreatedAt, "files": list})
	if err != nil {
		t.Fatal(err)
	}
	s.Manifest, s.SHA256 = raw, hexOf(raw)
	return s, files
}

// everyKind makes a database in which each kind of ledger row stands at least once, and a
// row of each table is in each state that changes later.
func everyKind(t *testing.T, db *store.DB) *world {
	t.Helper()
	w := worldOn(t, db)
	key := func(id string) *fieldtest.Key {
		return &fieldtest.Key{ID: id, TesterID: w.tester.ID, Role: fieldtest.RoleTester, Name: "field", ExpiresAt: noon.AddDate(10, 0, 0).Add(123456789)}
	}
	madeBy := func(parent string, k *fieldtest.Key) *fieldtest.Key {
		k.ParentID = &parent
		return k
	}
	price := fieldtest.StoredPrice{ID: storetest.NewID(t), PanelModel: slug, TesterID: w.tester.ID, Price: fieldtest.Price{Amount: "0189.500", Currency: "EUR", Date: "2026-05-02", Region: "NO", Condition: "new"}}
	rig := w.rig
	rig.Name = "bench 1b"
	w.write(t, func(ctx context.Context, tx *store.Tx) error {
		return errors.Join(tx.CreateKey(key("abcdefghij"), [32]byte{1}), tx.CreateKey(madeBy("abcdefghij", key("klmnopqrst")), [32]byte{2}), tx.Trust(w.tester.ID, true),
			tx.AddPrice(ctx, &price), tx.UpdateRig(ctx, rig.ID, 1, &rig))
	})
	w.write(t, func(ctx context.Context, tx *store.Tx) error { return tx.RevokeKey(ctx, "klmnopqrst") })
	w.sessionsOfEveryState(t)
	frozen, files := withManifest(t, "2026-w24")
	w.write(t, func(_ context.Context, tx *store.Tx) error { return tx.CreateSnapshot(&frozen, files) })
	return w
}

// doubted makes a session with a finding about itself and one about its first reading.
func (w *world) doubted(t *testing.T) store.SessionWrite {
	t.Helper()
	s := w.session(t, 3)
	s.Session.StartedAt = s.Session.StartedAt.Add(-123456789 * time.Nanosecond)
	s.Session.ClientRef = fmt.Sprint("ref-", s.ID)
	s.Session.Readings[1].TakenAt = pointer(noon.Add(987654321 * time.Nanosecond))
	s.Judged[1].TakenAt = *s.Session.Readings[1].TakenAt
	s.Judged[2].Result, s.Judged[2].ResultReason = nil, pointer("no_light")
	s.Findings = []fieldtest.Finding{finding(t, "wind_implausible", func(f *fieldtest.Finding) { f.Severity = fieldtest.Note })}
	s.Judged[0].Findings = []fieldtest.Finding{finding(t, "current_above_isc", func(f *fieldtest.Finding) {
		f.Label, f.PanelModel, f.Pointer = pointer("1"), pointer(slug), "#/readings/0/current_a"
		f.Basis = map[string]any{"tiny": 1e-9, "huge": 1.5e21, "negative_zero": negativeZero(), "text": "<&>\u2028 \u00e9", "list": []any{1.0, nil, true}}
	})}
	s.Judged[0].State = fieldtest.Held
	return sealed(t, s)
}

func negativeZero() float64 { x := 0.0; return -x * 1 }

func (w *world) sessionsOfEveryState(t *testing.T) {
	t.Helper()
	kept, revised, withdrawn, rejudged := w.doubted(t), w.doubted(t), w.doubted(t), w.doubted(t)
	for _, s := range []store.SessionWrite{kept, revised, withdrawn, rejudged} {
		w.save(t, s)
	}
	w.mustVerdict(t, kept.Judged[0].Findings[0].ID, fieldtest.Ask)
	w.mustVerdict(t, kept.Judged[0].Findings[0].ID, fieldtest.Keep)
	again := w.doubted(t)
	again.ID, again.Reason, again.ReasonCode = revised.ID, "mistyped", "mistyped_reading"
	w.write(t, func(ctx context.Context, tx *store.Tx) error { _, err := tx.ReviseSession(ctx, again, 1); return err })
	w.write(t, func(ctx context.Context, tx *store.Tx) error {
		return tx.WithdrawSession(ctx, store.WithdrawalWrite{SessionID: withdrawn.ID, Reason: "the wrong day", By: w.tester.ID})
	})
	restored := w.doubted(t)
	w.save(t, restored)
	for _, do := range []func(ctx context.Context, tx *store.Tx) error{
		func(ctx context.Context, tx *store.Tx) error {
			return tx.WithdrawSession(ctx, store.WithdrawalWrite{SessionID: restored.ID, Reason: "by mistake", By: w.tester.ID})
		},
		func(ctx context.Context, tx *store.Tx) error {
			return tx.RestoreSession(ctx, store.WithdrawalWrite{SessionID: restored.ID, Reason: "it was right", By: w.tester.ID},
				func(uuid.UUID, *uuid.UUID) error { return nil })
		},
	} {
		w.write(t, do)
	}
	judged := rejudged.Judged
	judged[0].Result = result(150)
	fresh := finding(t, "off_maximum_power", func(f *fieldtest.Finding) {
		f.SessionID, f.ReadingID, f.TesterID = &rejudged.ID, judged[1].ID, &w.tester.ID
	})
	w.write(t, func(ctx context.Context, tx *store.Tx) error {
		m := w.model
		m.Reason = "label read again"
		return errors.Join(tx.UpdatePanelModel(ctx, slug, 1, &m), tx.Rejudge(ctx, []store.Rejudgement{{SessionID: rejudged.ID, Revision: 1,
			Readings: judged, Raised: []fieldtest.Finding{fresh}, Gone: []uuid.UUID{judged[0].Findings[0].ID}}}))
	})
	about := finding(t, "nameplate_cells", func(f *fieldtest.Finding) { f.PanelModel, f.Severity = pointer(slug), fieldtest.Note })
	w.write(t, func(ctx context.Context, tx *store.Tx) error {
		return tx.AddFindings(ctx, []fieldtest.Finding{about})
	})
	other := finding(t, "nameplate_order", func(f *fieldtest.Finding) { f.PanelModel, f.Severity = pointer(slug), fieldtest.Note })
	w.write(t, func(ctx context.Context, tx *store.Tx) error {
		return tx.ReplaceFindings(ctx, []fieldtest.Finding{other}, []fieldtest.Finding{about}, 0)
	})
	cable := finding(t, "unit_slip", func(f *fieldtest.Finding) { f.RigID, f.TesterID = &w.rig.ID, &w.tester.ID })
	w.write(t, func(ctx context.Context, tx *store.Tx) error {
		return tx.AddFindings(ctx, []fieldtest.Finding{cable})
	})
	w.write(t, func(ctx context.Context, tx *store.Tx) error {
		return tx.ReplaceFindings(ctx, nil, []fieldtest.Finding{cable}, 1) // the sessions use revision 1
	})
	outlier := finding(t, "outlier", func(f *fieldtest.Finding) { f.SessionID = &kept.ID })
	second := finding(t, "outlier", func(f *fieldtest.Finding) { f.RigID = &w.rig.ID; f.Severity = fieldtest.Note })
	audit(t, w, outlier, second)
	audit(t, w, second)
	audit(t, w, outlier, second)
	audit(t, w, second)
}

func TestWhatIsStoredBearsTheLedgerOut(t *testing.T) {
	t.Parallel()
	w := everyKind(t, storetest.New(t))
	for _, f := range faults(t, w.db) {
		t.Error(f)
	}
	entries, err := w.db.Ledger(t.Context(), 0, 1000)
	if err != nil {
		t.Fatal(err)
	}
	seen := map[string]bool{}
	for _, e := range entries {
		seen[e.Kind] = true
	}
	if len(seen) != 18 {
		t.Errorf("the ledger has rows of %d kinds, want all 18: %v", len(seen), seen)
	}
}

// free are the columns that nothing records: they say nothing about what was measured, or
// repeat what another column holds.
var free = map[string]string{
	"api_key.last_used_on":        "the day of the last use",
	"specimen.id":                 "names nothing outside",
	"session_identity.value":      "of a client_ref; that of the content is checked",
	"session_identity.kind":       "as above",
	"session_identity.session_id": "as above",
	"session_identity.tester_id":  "as above",
}

// Whoever changes one value of one row in a table that the ledger records is found out.
func TestEveryChangeOfAValueIsFound(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	w := everyKind(t, storetest.Open(t, url))
	conn := storetest.Connect(t, url)
	unbind(t, conn)
	for _, c := range columnsOf(t, conn) {
		if _, ok := free[c.table+"."+c.column]; ok {
			continue
		}
		undo := c.tamper(t, conn)
		if len(faultsBy(t, w.db, 1000)) == 0 {
			t.Errorf("%s.%s was changed unseen", c.table, c.column)
		}
		undo()
	}
	for _, f := range faults(t, w.db) {
		t.Error("after undoing all:", f)
	}
}

// unbind takes all constraints but those that the queries need away, as somebody could who
// may change tables.
func unbind(t *testing.T, conn *pgx.Conn) {
	t.Helper()
	_, err := conn.Exec(t.Context(), `DO $$
DECLARE c record;
BEGIN
  FOR c IN SELECT conrelid::regclass AS tab, conname FROM pg_constraint
    WHERE connamespace = 'public'::regnamespace AND conrelid <> 0 ORDER BY contype IN ('p', 'u') LOOP
    EXECUTE format('ALTER TABLE %s DROP CONSTRAINT %I CASCADE', c.tab, c.conname);
  END LOOP;
  DROP INDEX tester_display_name;
END $$`)
	if err != nil {
		t.Fatal(err)
	}
}

// recordedTables are those whose rows the ledger records, with the order of their rows.
var recordedTables = []string{"tester", "tester_trust", "api_key", "panel_model", "panel_model_revision", "price", "rig", "rig_revision", "specimen",
	"session", "session_identity", "reading", "reading_result", "finding", "verdict", "withdrawal", "audit_run", "rejudgement", "snapshot", "snapshot_file"}

// unrecordedTables are made anew from the others, or are the ledger itself.
var unrecordedTables = []string{"dirty", "idempotency", "ledger", "ledger_head", "ranking", "ranking_detail", "schema_migrations"}

// Whoever adds a table says whether the ledger records it.
func TestEveryTableIsRecordedOrNot(t *testing.T) {
	t.Parallel()
	conn := storetest.Connect(t, storetest.URL(t))
	rows, err := conn.Query(t.Context(), `SELECT tablename FROM pg_tables WHERE schemaname = 'public'`)
	if err != nil {
		t.Fatal(err)
	}
	names, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range names {
		if slices.Contains(recordedTables, name) == slices.Contains(unrecordedTables, name) {
			t.Errorf("table %s must stand in one of the two lists", name)
		}
	}
}

type tableColumn struct{ table, column, kind string }

func columnsOf(t *testing.T, conn *pgx.Conn) []tableColumn {
	t.Helper()
	rows, err := conn.Query(t.Context(), `SELECT table_name, column_name, data_type FROM information_schema.columns
		WHERE table_schema = 'public' AND table_name = ANY ($1) ORDER BY 1, ordinal_position`, recordedTables)
	if err != nil {
		t.Fatal(err)
	}
	list, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (tableColumn, error) {
		var c tableColumn
		err := row.Scan(&c.table, &c.column, &c.kind)
		return c, err
	})
	if err != nil || len(list) < 150 {
		t.Fatalf("%d columns, %v", len(list), err)
	}
	return list
}

// other is an SQL expression for another value of a column, by its type.
func (c tableColumn) other() string {
	col := pgx.Identifier{c.column}.Sanitize()
	switch c.kind {
	case "uuid":
		return fmt.Sprintf("coalesce(set_byte(decode(replace(%[1]s::text, '-', ''), 'hex'), 15, get_byte(decode(replace(%[1]s::text, '-', ''), 'hex'), 15) # 1), '\\x00000000000000000000000000000001')", col)
	case "text":
		return fmt.Sprintf("CASE %[1]s WHEN 'counted' THEN 'excluded' WHEN 'held' THEN 'counted' ELSE coalesce(%[1]s, '') || 'x' END", col)
	case "boolean":
		return "NOT " + col
	case "bytea":
		return fmt.Sprintf("set_byte(%[1]s, length(%[1]s) / 2, get_byte(%[1]s, length(%[1]s) / 2) # 1)", col)
	case "integer", "bigint", "double precision", "numeric":
		return fmt.Sprintf("coalesce(%s, 0) + 1", col)
	case "timestamp with time zone":
		return fmt.Sprintf("coalesce(%s, now()) + interval '1 second'", col)
	case "date":
		return fmt.Sprintf("coalesce(%s, current_date) + 1", col)
	case "jsonb":
		return fmt.Sprintf(`%s || '{"more": 1}'`, col)
	case "json":
		return fmt.Sprintf(`(coalesce(%s, '{}')::jsonb || '{"more": 1}')::json`, col)
	case "ARRAY":
		return fmt.Sprintf("%[1]s || %[1]s || ARRAY['00000000-0000-0000-0000-000000000001']::%[2]s[]", col, map[bool]string{true: "text", false: "uuid"}[c.column == "panel_models"])
	}
	return ""
}

func exec(t *testing.T, conn *pgx.Conn, sql string, args ...any) int64 {
	t.Helper()
	tag, err := conn.Exec(t.Context(), sql, args...)
	if err != nil {
		t.Fatalf("%s: %v", sql, err)
	}
	return tag.RowsAffected()
}

// save keeps a table's rows and returns what brings them back.
func save(t *testing.T, conn *pgx.Conn, table string) func() {
	t.Helper()
	exec(t, conn, "CREATE TABLE saved AS TABLE "+table)
	return func() {
		exec(t, conn, "TRUNCATE "+table)
		exec(t, conn, "INSERT INTO "+table+" SELECT * FROM saved")
		exec(t, conn, "DROP TABLE saved")
	}
}

// tamper changes the column in the table's oldest row and returns what undoes that.
func (c tableColumn) tamper(t *testing.T, conn *pgx.Conn) func() {
	t.Helper()
	value := c.other()
	if value == "" {
		t.Fatalf("%s.%s has type %s, which this test cannot change", c.table, c.column, c.kind)
	}
	if c.kind == "uuid" {
		value = "encode(" + value + ", 'hex')::uuid"
	}
	undo := save(t, conn, c.table)
	n := exec(t, conn, fmt.Sprintf("UPDATE %s SET %s = %s WHERE ctid = (SELECT min(ctid) FROM %[1]s)", c.table, pgx.Identifier{c.column}.Sanitize(), value))
	if n != 1 {
		t.Fatalf("%s has no row to change", c.table)
	}
	return undo
}

// A row that is gone, doubled or made up is found, in every table.
func TestEveryRowGoneOrMadeUpIsFound(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	w := everyKind(t, storetest.Open(t, url))
	conn := storetest.Connect(t, url)
	unbind(t, conn)
	for _, table := range recordedTables {
		if table == "session_identity" {
			continue // a client_ref is the session's own; the content is in the test above
		}
		for name, change := range map[string]string{
			"gone":    "DELETE FROM %[1]s WHERE ctid = (SELECT ctid FROM %[1]s LIMIT 1)",
			"doubled": "INSERT INTO %[1]s SELECT * FROM %[1]s LIMIT 1",
		} {
			undo := save(t, conn, table)
			exec(t, conn, fmt.Sprintf(change, table))
			if len(faultsBy(t, w.db, 1000)) == 0 {
				t.Errorf("a row of %s was %s unseen", table, name)
			}
			undo()
		}
	}
}

// Faults name the row of the ledger, its kind and what it is about.
func TestFaultsNameTheRow(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	w := worldOn(t, storetest.Open(t, url))
	s := w.session(t, 1)
	sequence := w.save(t, s)
	conn := storetest.Connect(t, url)
	if _, err := conn.Exec(t.Context(), `UPDATE session SET raw = convert_to(replace(convert_from(raw, 'UTF8'), '18.1', '18.2'), 'UTF8')`); err != nil {
		t.Fatal(err)
	}
	got := faults(t, w.db)
	if len(got) != 1 || got[0].Sequence != sequence || got[0].Kind != "session_accepted" || got[0].SubjectID != s.ID.String() || !strings.Contains(got[0].Reason, "hashes to") {
		t.Errorf("faults = %v, want one of session %s at %d", got, s.ID, sequence)
	}
	unknown, err := w.db.VerifyContent(t.Context(), []ledger.Entry{{Sequence: 1, Kind: "never_heard_of", SubjectID: "x"}})
	if err != nil || len(unknown) != 1 || !strings.Contains(unknown[0].String(), "row 1: never_heard_of x: ") {
		t.Errorf("VerifyContent(unknown kind) = %v, %v", unknown, err)
	}
}
