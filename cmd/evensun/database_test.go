package main

import (
	"context"
	"fmt"
	"net"
	"net/http"
	"os"
	"reflect"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"evensun/internal/contract"
	"evensun/internal/fieldtest"
	"evensun/internal/intake"
	"evensun/internal/store"
	"evensun/internal/storetest"
)

// unsafeDatabase lets commands open the tests' server, which runs without fsync, and no
// other setting of the environment through.
func unsafeDatabase(t *testing.T) {
	t.Helper()
	for _, s := range settingsList() {
		if _, set := os.LookupEnv(s.name); set {
			t.Setenv(s.name, "") // restored afterwards
			os.Unsetenv(s.name)
		}
	}
	t.Setenv(envPrefix+"ALLOW_UNSAFE_DATABASE", "true")
}

func change(t *testing.T, url, sql string) {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(t.Context())
	tag, err := conn.Exec(t.Context(), sql)
	if err != nil || tag.RowsAffected() == 0 {
		t.Fatalf("%s: %d rows, %v", sql, tag.RowsAffected(), err)
	}
}

// Who starts without the demonstration is told how to get a key, as long as nobody has one.
func TestFirstKeyIsTold(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	told := func(s settings) string {
		var out strings.Builder
		if err := tellFirstKey(t.Context(), &out, s, db); err != nil {
			t.Fatal(err)
		}
		return out.String()
	}
	if got := told(settings{}); !strings.Contains(got, "evensun keys create --role operator NAME") {
		t.Errorf("on an empty database = %q, want the command", got)
	}
	if got := told(settings{OperatorKey: strings.Repeat("k", 32)}); got != "" {
		t.Errorf("with an operator's key in the settings = %q, want nothing", got)
	}
	if _, _, err := newTester(t.Context(), db, "Head", fieldtest.RoleOperator, true); err != nil {
		t.Fatal(err)
	}
	if got := told(settings{}); got != "" {
		t.Errorf("where a key is = %q, want nothing", got)
	}
}

func TestKeysCommand(t *testing.T) {
	unsafeDatabase(t)
	url := storetest.URL(t)
	if got := evensun(t, "", "keys", "list", "--database", url); got.code != exitDone || got.out != "" {
		t.Errorf("keys list of nobody = %+v", got)
	}
	secret := regexp.MustCompile(`^evs_[0-9A-Za-z]+_?\w*\n$`)
	var made []string
	for role, args := range map[string][]string{
		"tester":   {"keys", "create", "Field Hand", "--database", url},
		"reviewer": {"keys", "--database", url, "create", "--role", "reviewer", "Careful Reader"},
	} {
		got := evensun(t, "", args...)
		if got.code != exitDone || !secret.MatchString(got.out) {
			t.Errorf("keys create of a %s = %+v", role, got)
		}
		made = append(made, strings.TrimSpace(got.out))
	}
	list := evensun(t, "", "keys", "list", "--database", url)
	if n := strings.Count(list.out, "\n"); n != 2 || strings.Count(list.out, "good") != 2 || !strings.Contains(list.out, "tester ") || !strings.Contains(list.out, "reviewer ") {
		t.Errorf("keys list = %+v, want two good keys", list)
	}
	for _, key := range made {
		if strings.Contains(list.out, key) {
			t.Errorf("keys list shows the secret of a key: %s", list.out)
		}
	}
}

// fill submits the sessions of the README to a database.
func fill(t *testing.T, url string) {
	t.Helper()
	db := storetest.Open(t, url)
	id, _, err := newTester(t.Context(), db, "Field Hand", fieldtest.RoleTester, true)
	if err != nil {
		t.Fatal(err)
	}
	raw, err := os.ReadFile(goodSession)
	if err != nil {
		t.Fatal(err)
	}
	s, err := contract.Session(raw, time.Now())
	if err != nil {
		t.Fatal(err)
	}
	in := intake.New(db, uuid.NewV7, time.Now)
	if _, _, err := in.Submit(t.Context(), fieldtest.Caller{TesterID: id, Role: fieldtest.RoleTester, Trusted: true}, s, intake.SubmitOptions{}); err != nil {
		t.Fatal(err)
	}
}

// verify finds a session that somebody changed in the database, and says which row of the
// ledger it belies.
func TestVerifyNamesWhatWasChanged(t *testing.T) {
	unsafeDatabase(t)
	url := storetest.URL(t)
	fill(t, url)
	change(t, url, `UPDATE session SET raw = convert_to(replace(convert_from(raw, 'UTF8'), '"voltage_v":', '"voltage_v": '), 'UTF8')`)
	change(t, url, `UPDATE reading_result SET stc_power_w = stc_power_w + 1`)
	change(t, url, `UPDATE tester SET display_name = 'Somebody Else'`)
	got := evensun(t, "", "verify", "--database", url)
	named := regexp.MustCompile(`^evensun verify: what is stored is not what the ledger records:
  row 1: tester_created [0-9a-f-]{36}: what is stored hashes to [0-9a-f]{64}, the ledger says [0-9a-f]{64}
  row \d+: session_accepted [0-9a-f-]{36}: what is stored hashes to [0-9a-f]{64}, the ledger says [0-9a-f]{64}
  row \d+: session_accepted [0-9a-f-]{36}: its results hash to [0-9a-f]{64}, their newest record says [0-9a-f]{64}
$`)
	if got.code != exitFailed || got.out != "" || !named.MatchString(got.err) {
		t.Errorf("verify = %+v, want three faults named", got)
	}
}

// Of many faults the first are told, and how many more there are.
func TestVerifyTellsTheFirstFaults(t *testing.T) {
	var found contentFaults
	for i := range 13 {
		found.add([]store.ContentFault{{Sequence: int64(i + 1), Kind: "price_added", SubjectID: "p", Reason: "gone"}})
	}
	lines := strings.Split(found.Error(), "\n")
	if len(lines) != shownFaults+2 || lines[1] != "  row 1: price_added p: gone" || lines[shownFaults+1] != "  and 3 more" {
		t.Errorf("Error() = %q", lines)
	}
}

// verify finds a whole ledger whole, and one with a row changed or taken out, the last
// one included, not.
func TestVerifyFindsTampering(t *testing.T) {
	unsafeDatabase(t)
	for name, sql := range map[string]string{
		"nothing":          "",
		"content":          `UPDATE ledger SET content_sha256 = (SELECT content_sha256 FROM ledger ORDER BY sequence LIMIT 1) WHERE sequence = 3`,
		"subject":          `UPDATE ledger SET subject_id = subject_id || 'x' WHERE sequence = 3`,
		"time":             `UPDATE ledger SET at = at - interval '1 day' WHERE sequence = 3`,
		"a row is missing": `DELETE FROM ledger WHERE sequence = 2`,
		"another head":     `UPDATE ledger_head SET hash = (SELECT hash FROM ledger WHERE sequence = 1)`,
		"the last row":     `DELETE FROM ledger WHERE sequence = (SELECT max(sequence) FROM ledger)`,
	} {
		t.Run(name, func(t *testing.T) {
			url := storetest.URL(t)
			fill(t, url)
			if sql != "" {
				change(t, url, sql)
			}
			got := evensun(t, "", "verify", "--database", url)
			switch {
			case sql == "" && (got.code != exitDone || !regexp.MustCompile(`^ledger whole: [1-9]\d* rows, head [0-9a-f]{64}\n$`).MatchString(got.out)):
				t.Errorf("verify = %+v, want the ledger whole", got)
			case sql != "" && (got.code != exitFailed || got.out != "" || got.err == ""):
				t.Errorf("verify = %+v, want it to fail", got)
			}
		})
	}
}

func TestServeRefusesBadSettings(t *testing.T) {
	unsafeDatabase(t)
	for name, value := range map[string]string{
		"OPERATOR_KEY": "short", "REGISTRATION": "maybe", "QUERY_MODE": "guess", "DRAIN_FOR": "-5s", "WRITES_PER_MINUTE": "many",
		"READS_PER_MINUTE": "-1", "ANONYMOUS_PER_MINUTE": "1000001", "DRY_RUNS_PER_MINUTE": "1.5", "ALLOW_UNSAFE_DATABASE": "perhaps",
	} {
		t.Run(name, func(t *testing.T) {
			t.Setenv(envPrefix+name, value)
			got := evensun(t, "", "serve", "--addr", "127.0.0.1:0", "--database", "postgres://nobody@localhost:1/none")
			if got.code == exitDone || got.out != "" || !strings.Contains(got.err, envPrefix+name) {
				t.Errorf("serve = %+v, want a word about %s", got, name)
			}
			if name != "OPERATOR_KEY" && !strings.Contains(got.err, fmt.Sprintf("is %q, must be ", value)) {
				t.Errorf("serve = %+v, want the value %q and what is allowed", got, value)
			}
			if name == "OPERATOR_KEY" && strings.Contains(got.err, value) {
				t.Errorf("the key is printed: %s", got.err)
			}
		})
	}
}

// All settings that are wrong are told at once, each by its variable, value and range.
func TestAllBadNumbersAreTold(t *testing.T) {
	unsafeDatabase(t)
	t.Setenv(envPrefix+"WRITES_PER_MINUTE", "many")
	t.Setenv(envPrefix+"READS_PER_MINUTE", "-1")
	t.Setenv(envPrefix+"DRAIN_FOR", "5")
	got := evensun(t, "", "serve", "--database", "postgres://nobody@localhost:1/none")
	want := `evensun serve: EVENSUN_WRITES_PER_MINUTE is "many", must be a whole number from 0 to 1000000
EVENSUN_DRAIN_FOR is "5", must be a time from 0s to 10m, as 5s
EVENSUN_READS_PER_MINUTE is "-1", must be a whole number from 0 to 1000000
`
	if got.code != exitFailed || got.err != want {
		t.Errorf("serve = %d %s, want %s", got.code, got.err, want)
	}
}

// Every setting that is a number or a time has a range whose ends can be read.
func TestRangesOfSettings(t *testing.T) {
	t.Parallel()
	fields := reflect.TypeFor[settings]()
	for i := range fields.NumField() {
		f := fields.Field(i)
		if kind := f.Type.Kind(); kind != reflect.Int && kind != reflect.Int64 {
			continue
		}
		low, high, ok := strings.Cut(f.Tag.Get("range"), " ")
		if !ok || low == "" || amount(f.Type, low) != 0 || amount(f.Type, high) <= 0 {
			t.Errorf("setting %s has range %q", f.Name, f.Tag.Get("range"))
		}
	}
}

func TestServeTellsOfAnAddressInUse(t *testing.T) {
	unsafeDatabase(t)
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer taken.Close()
	addr := taken.Addr().String()
	got := evensun(t, "", "serve", "--addr", addr, "--database", storetest.EmptyURL(t))
	if got.code != exitFailed || got.out != "" || !strings.Contains(got.err, addr) || !strings.Contains(got.err, "address already in use") {
		t.Errorf("serve on an address in use = %+v", got)
	}
}

func status(t *testing.T, url string) int {
	t.Helper()
	response, err := http.Get(url)
	if err != nil {
		t.Error(err)
		return 0
	}
	response.Body.Close()
	return response.StatusCode
}

// asked cancels a context once the service prints that it serves, and asks it first.
type asked struct {
	t      *testing.T
	stop   context.CancelFunc
	url    string
	status map[string]int
}

// Write implements io.Writer.
func (a *asked) Write(p []byte) (int, error) {
	if m := servesLine.FindSubmatch(p); m != nil {
		a.url = string(m[1])
		go func() { // the service answers when this line is out
			defer a.stop()
			for path := range a.status {
				a.status[path] = status(a.t, a.url+path)
			}
		}()
	}
	return len(p), nil
}

// served runs serve until it answered some requests, then ends its context.
func served(t *testing.T, args ...string) (*asked, ran) {
	t.Helper()
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	a := &asked{t: t, stop: stop, status: map[string]int{"/livez": 0, "/readyz": 0, "/v1/rankings": 0, "/": 0}}
	var stderr strings.Builder
	code := run(ctx, streams{strings.NewReader(""), a, &stderr}, append([]string{"serve", "--addr", "127.0.0.1:0"}, args...))
	for path, got := range a.status {
		if got != http.StatusOK {
			t.Errorf("GET %s = %d", path, got)
		}
	}
	return a, ran{code: code, err: stderr.String()}
}

// serve ends with 0 when its context does, and leaves no listener behind.
func TestServeStopsCleanly(t *testing.T) {
	unsafeDatabase(t)
	a, got := served(t, "--database", storetest.EmptyURL(t))
	if got.code != exitDone {
		t.Errorf("serve = %+v", got)
	}
	addr := strings.TrimPrefix(a.url, "http://")
	listener, err := net.Listen("tcp", addr)
	if err != nil {
		t.Fatalf("the address is still in use: %v", err)
	}
	listener.Close()
}

// Without a database URL, evensun runs a PostgreSQL of its own, and what is in it is
// there again at the next start.
func TestOwnDatabaseKeepsItsData(t *testing.T) {
	unsafeDatabase(t)
	os.Unsetenv(envPrefix + "ALLOW_UNSAFE_DATABASE")
	t.Setenv(envPrefix+"DATA_DIR", storetest.DataDir(t))
	if got := evensun(t, "", "keys", "create", "Field Hand"); got.code != exitDone {
		t.Fatalf("keys create = %+v", got)
	}
	before := evensun(t, "", "keys", "list")
	if before.code != exitDone || strings.Count(before.out, "\n") != 1 {
		t.Fatalf("keys list = %+v", before)
	}
	if _, got := served(t); got.code != exitDone {
		t.Errorf("serve = %+v", got)
	}
	if after := evensun(t, "", "keys", "list"); after != before {
		t.Errorf("keys list = %+v after serving, was %+v", after, before)
	}
	if got := evensun(t, "", "verify"); got.code != exitDone || !strings.HasPrefix(got.out, "ledger whole: ") {
		t.Errorf("verify = %+v", got)
	}
}
