package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"strings"
	"testing"

	"evensun/internal/contract"
	"evensun/internal/storetest"
)

// A ran is what a command line came to.
type ran struct {
	code     int
	out, err string
}

func evensun(t testing.TB, in string, args ...string) ran {
	t.Helper()
	var out, stderr bytes.Buffer
	code := run(t.Context(), streams{strings.NewReader(in), &out, &stderr}, args)
	return ran{code, out.String(), stderr.String()}
}

const (
	goodSession       = "../../testdata/tour/session.json"
	impossibleSession = "../../testdata/tour/impossible.json"
	goodTable         = "../../testdata/reference/statistics/ergostool.csv"
)

// Command lines that need no database: what they print where, and the exit code.
// dimSession holds a reading without meter under clouds and a metered one in little light.
const dimSession = `{"started_at": "2026-06-20T12:30:00-06:00", "site": {"latitude_deg": 39.7, "longitude_deg": -105, "altitude_m": 1600}, "sky": {"condition": "broken_cloud"},
 "rig": {"kind": "electronic_load", "power_read_at": "panel_side"}, "plane": {"tilt_deg": 30, "azimuth_deg": 180},
 "readings": [{"panel": {"nameplate": {"pmax_w": 200}}, "taken_at": "2026-06-20T13:00:00-06:00", "power_w": 150},
  {"panel": {"nameplate": {"pmax_w": 200}}, "taken_at": "2026-06-20T13:04:00-06:00", "power_w": 62, "irradiance": {"poa_w_m2": 350, "sensor": "reference_cell"}}]}`

func TestCommandLines(t *testing.T) {
	t.Parallel()
	malformed := `{"started_at": "2026-06-19T11:37:00+09:00",`
	cases := []struct {
		name     string
		in       string
		args     []string
		code     int
		out, err []string // pieces of what is printed; none: nothing may be
	}{
		{name: "nothing", code: exitDone, out: []string{"Commands:"}},
		{name: "help flag", args: []string{"--help"}, code: exitDone, out: []string{"Commands:"}},
		{name: "unknown command", args: []string{"sreve"}, code: exitMisused, err: []string{`no command "sreve"`, "evensun help"}},
		{name: "unknown flag", args: []string{"check", "--jsn", goodSession}, code: exitMisused, err: []string{"evensun check:", "-jsn"}},
		{name: "help of a command", args: []string{"check", "--help"}, code: exitDone, err: []string{"-explain", "-method"}},

		{name: "check", args: []string{"check", goodSession}, code: exitDone, out: []string{"A1", "W at standard test conditions", "Caution"}},
		{name: "check, flag behind the file", args: []string{"check", goodSession, "--explain"}, code: exitDone, out: []string{"The sun stood", "standard uncertainty"}},
		{name: "check, refused", args: []string{"check", impossibleSession}, code: exitFailed, out: []string{"#/readings/1/current_a  current_above_isc", "is 11.84, must be <= 8.42911 A", "#/readings/1/power_w"}},
		{name: "check, what stands in the way", in: dimSession, args: []string{"check", "-"}, code: exitDone, out: []string{
			"no result (sky_not_clear): with clouds about only a light meter", "not ranked (irradiance_too_low): below 400 W/m2", "350 W/m2 on the cells (measured)"}},
		{name: "check of a table", args: []string{"check", "../../testdata/tour/readings.csv"}, code: exitDone, out: []string{
			"was converted from f to C", "Session from line 2", "A2  covered, counted", "shade-retention 0.492", "Session from line 5", "A3  tilted"}},
		{name: "check of a table with a decimal comma asked for", args: []string{"check", "--decimal", "comma", "../../testdata/tour/readings.csv"}, code: exitFailed, out: []string{
			"line 2, column latitude_deg: This number has a point", "(decimal_point)"}},
		{name: "check of a table, no such decimal", args: []string{"check", "--decimal", "dot", "../../testdata/tour/readings.csv"}, code: exitMisused, err: []string{"point or comma"}},
		{name: "check of a table as JSON", args: []string{"check", "--json", "../../testdata/tour/readings.csv"}, code: exitDone, out: []string{`"line": 2`, `"receipt"`, `"retained"`}},
		{name: "check, malformed", in: malformed, args: []string{"check", "-"}, code: exitFailed, out: []string{"not_json", "Line 1"}},
		{name: "check, wrong type", in: `{"started_at": 3}`, args: []string{"check", "-"}, code: exitFailed, out: []string{"#/started_at", "is 3, must be string\n", "#/rig  required"}},
		{name: "check, not the data for a method", args: []string{"check", "--method", "procedure_2", goodSession}, code: exitFailed, out: []string{"method  data_missing", "series resistance"}},
		{name: "check, no such method", args: []string{"check", "--method", "procedure_9", goodSession}, code: exitFailed, out: []string{`method  method_unknown`, `"procedure_9"`}},
		{name: "check, no file", args: []string{"check"}, code: exitMisused, err: []string{"one session file"}},
		{name: "check, missing file", args: []string{"check", "no-such-file.json"}, code: exitMisused, err: []string{"no-such-file.json"}},

		{name: "combine", args: []string{"combine", goodTable}, code: exitDone, out: []string{`"contrasts"`, `"p_value"`}},
		{name: "combine, bad rows", in: "panel,session,value\nT1,1,12\nT2,1,nope\nT1,2,\nT2,2,14\n", args: []string{"combine", "-"}, code: exitMisused,
			err: []string{`line 3, column value: "nope"`, `line 4, column value: ""`, "2 bad rows"}},
		{name: "combine, no such estimator", args: []string{"combine", "--estimator", "banana", goodTable}, code: exitMisused, err: []string{"banana"}},
		{name: "combine, no such term", args: []string{"combine", "--random", "tester:bogus", goodTable}, code: exitMisused, err: []string{"tester:bogus"}},
		{name: "combine, missing file", args: []string{"combine", "no-such-file.csv"}, code: exitMisused, err: []string{"no-such-file.csv"}},
		{name: "combine, two files", args: []string{"combine", goodTable, goodTable}, code: exitMisused, err: []string{"one CSV file"}},

		{name: "migrate, no such direction", args: []string{"migrate", "--database", "postgres://nowhere", "sideways"}, code: exitMisused, err: []string{`"sideways"`}},
		{name: "migrate, two directions", args: []string{"migrate", "up", "down"}, code: exitMisused, err: []string{"one of"}},
		{name: "keys, no verb", args: []string{"keys"}, code: exitMisused, err: []string{"create or list"}},
		{name: "keys, no such verb", args: []string{"keys", "forge"}, code: exitMisused, err: []string{"create or list"}},
		{name: "keys, no name", args: []string{"keys", "create"}, code: exitMisused, err: []string{"needs the name"}},
		{name: "keys, no such role", args: []string{"keys", "create", "--role", "king", "Arthur"}, code: exitMisused, err: []string{`"king"`}},
		{name: "serve, argument", args: []string{"serve", "now"}, code: exitMisused, err: []string{`"now"`}},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			got := evensun(t, c.in, c.args...)
			if got.code != c.code {
				t.Errorf("exit code %d, want %d; printed %s%s", got.code, c.code, got.out, got.err)
			}
			holdsPieces(t, "stdout", got.out, c.out)
			holdsPieces(t, "stderr", got.err, c.err)
		})
	}
}

func holdsPieces(t *testing.T, name, printed string, pieces []string) {
	t.Helper()
	if len(pieces) == 0 && printed != "" {
		t.Errorf("%s: %q, want nothing", name, printed)
	}
	for _, piece := range pieces {
		if !strings.Contains(printed, piece) {
			t.Errorf("%s: %q, want %q in it", name, printed, piece)
		}
	}
}

// The answers of check --json are those of the API: a receipt with derivations, or the
// members of a problem document.
func TestCheckJSON(t *testing.T) {
	t.Parallel()
	own, err := contract.Own()
	if err != nil {
		t.Fatal(err)
	}
	accepted := evensun(t, "", "check", "--json", goodSession)
	var receipt any
	if err := json.Unmarshal([]byte(accepted.out), &receipt); err != nil || accepted.code != exitDone {
		t.Fatalf("exit code %d, %v", accepted.code, err)
	}
	if err := own.Document().Components.Schemas["Receipt"].Value.VisitJSON(receipt); err != nil {
		t.Errorf("no receipt: %v", err)
	}
	var steps struct {
		Readings []struct {
			Derivation []struct{ Step, Source string }
		}
	}
	if err := json.Unmarshal([]byte(accepted.out), &steps); err != nil || len(steps.Readings) != 3 {
		t.Fatalf("%d readings, %v", len(steps.Readings), err)
	}
	for i, r := range steps.Readings {
		if len(r.Derivation) < 5 || r.Derivation[0].Step != "sun_position" || r.Derivation[0].Source == "" {
			t.Errorf("reading %d: derivation %v", i, r.Derivation)
		}
	}
	refused := evensun(t, "", "check", "--json", impossibleSession)
	var problem struct {
		Code   string
		Errors []struct {
			Pointer, Code, Reason, Relation, Unit string
			Value, Limit                          float64
		}
	}
	if err := json.Unmarshal([]byte(refused.out), &problem); err != nil || refused.code != exitFailed || refused.err != "" {
		t.Fatalf("exit code %d, %v, stderr %q", refused.code, err, refused.err)
	}
	if problem.Code != "physically_impossible" || len(problem.Errors) != 2 {
		t.Fatalf("%s with %d errors, want physically_impossible with 2", problem.Code, len(problem.Errors))
	}
	if e := problem.Errors[0]; e.Pointer != "#/readings/1/current_a" || e.Code != "current_above_isc" || e.Value != 11.84 || e.Relation != "<=" || e.Limit >= e.Value || e.Unit != "A" || e.Reason == "" {
		t.Errorf("first error %+v", e)
	}
}

// A session on standard input is judged like the same in a file.
func TestCheckReadsStandardInput(t *testing.T) {
	t.Parallel()
	raw, err := os.ReadFile(goodSession)
	if err != nil {
		t.Fatal(err)
	}
	if got, want := evensun(t, string(raw), "check", "--json", "-"), evensun(t, "", "check", "--json", goodSession); got != want {
		t.Errorf("check - = %+v, want %+v", got, want)
	}
}

// help lists every command and every setting, and says what each is for.
func TestHelpIsWhole(t *testing.T) {
	t.Parallel()
	got := evensun(t, "", "help")
	for _, c := range commands() {
		if !strings.Contains(got.out, "  evensun "+c.name+" ") || c.does == "" || !strings.Contains(got.out, c.does) {
			t.Errorf("help lacks the command %s", c.name)
		}
	}
	fields := reflect.TypeFor[settings]()
	for i := range fields.NumField() {
		tag := fields.Field(i).Tag
		name := tag.Get("env")
		if name == "-" {
			continue
		}
		if name == "" || tag.Get("help") == "" || !strings.Contains(got.out, "  "+envPrefix+name+"\n      "+tag.Get("help")) {
			t.Errorf("help lacks the setting of field %s", fields.Field(i).Name)
		}
	}
}

// What the documents tell people to type and to set exists.
func TestDocumentsNameOnlyWhatExists(t *testing.T) {
	t.Parallel()
	help := evensun(t, "", "help").out
	typed := regexp.MustCompile("(?:cmd/evensun|`evensun) ([a-z]+)")
	set := regexp.MustCompile(`\b` + envPrefix + `[A-Z_]+`)
	files, err := filepath.Glob("../../*.md")
	if err != nil || len(files) < 2 {
		t.Fatalf("documents %v, %v", files, err)
	}
	found := 0
	for _, file := range files {
		raw, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range typed.FindAllStringSubmatch(string(raw), -1) {
			found++
			if m[1] != "help" && !strings.Contains(help, "  evensun "+m[1]+" ") {
				t.Errorf("%s tells of a command %s that does not exist", file, m[1])
			}
		}
		for _, name := range set.FindAllString(string(raw), -1) {
			if !strings.Contains(help, "  "+name+"\n") {
				t.Errorf("%s tells of a setting %s that does not exist", file, name)
			}
		}
	}
	if found == 0 {
		t.Error("no document names a command")
	}
}

func TestMigrateCommand(t *testing.T) {
	t.Parallel()
	url := storetest.EmptyURL(t)
	newest := evensun(t, "", "migrate", "--database", url).out // up
	if newest == "version 0\n" || !strings.HasPrefix(newest, "version ") {
		t.Fatalf("migrate = %q", newest)
	}
	for _, step := range []struct{ direction, want string }{
		{"version", newest}, {"up", newest}, {"down", "version 0\n"}, {"version", "version 0\n"}, {"up", newest},
	} {
		if got := evensun(t, "", "migrate", step.direction, "--database", url); got.code != exitDone || got.out != step.want {
			t.Errorf("migrate %s = %+v, want %q", step.direction, got, step.want)
		}
	}
}

// Without a database there is nothing to migrate, and it is said so.
func TestMigrateNeedsADatabase(t *testing.T) {
	t.Setenv(envPrefix+"DATABASE_URL", "")
	if got := evensun(t, "", "migrate", "up"); got.code != exitMisused || !strings.Contains(got.err, "--database") {
		t.Errorf("migrate without a database = %+v", got)
	}
}
