package contract_test

import (
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"evensun/internal/contract"
	"evensun/internal/fieldtest"

	"github.com/google/go-cmp/cmp"
)

var now = time.Date(2026, 7, 1, 12, 0, 0, 0, time.UTC)

// good is a session that nothing is wrong with.
const good = `{
 "started_at": "2026-06-14T11:05:00-06:00", "ended_at": "2026-06-14T12:10:00-06:00",
 "site": {"latitude_deg": 38.5, "longitude_deg": -106.0}, "rig": {"kind": "mppt_controller", "power_read_at": "panel_side"},
 "readings": [
  {"label": "A1", "panel": {"model": "tarn-fold-200"}, "taken_at": "2026-06-14T11:22:00-06:00", "power_w": 152},
  {"label": "A2", "panel": {"model": "tarn-fold-200"}, "arrangement": "covered", "cover": {"sections_covered": 2, "sections_total": 4, "reference_label": "A1"}, "power_w": 73.8}
 ]}`

// faultsOf returns the kind of refusal and its faults as pointer and code.
func faultsOf(t *testing.T, err error) (fieldtest.RefusalKind, []string) {
	t.Helper()
	if err == nil {
		return "", nil
	}
	r, ok := errors.AsType[*fieldtest.Refusal](err)
	if !ok {
		t.Fatalf("%v is no refusal", err)
	}
	var out []string
	for _, f := range r.Faults {
		if f.Reason == "" || strings.Contains(f.Reason, "%!") || strings.Contains(f.Reason, "%s") {
			t.Errorf("%s %s has the reason %q", f.Pointer, f.Code, f.Reason)
		}
		out = append(out, f.Pointer+" "+f.Code)
	}
	return r.Kind, out
}

func TestGoodSession(t *testing.T) {
	t.Parallel()
	s, err := contract.Session([]byte(good), now)
	if err != nil {
		t.Fatal(err)
	}
	if len(s.Readings) != 2 || *s.Readings[1].PowerW != 73.8 || s.Readings[1].Cover.SectionsCovered != 2 || s.Rig.Kind != fieldtest.MPPTController {
		t.Errorf("decoded %+v", s)
	}
	if _, offset := s.StartedAt.Zone(); offset != -6*3600 {
		t.Errorf("started_at lost its offset: %v", s.StartedAt)
	}
}

// Absent and null mean the same.
func TestNullIsAbsent(t *testing.T) {
	t.Parallel()
	nulls := strings.NewReplacer(`"site"`, `"client_ref": null, "note": null, "sky": null, "weather": null, "plane": {"tilt_deg": null}, "site"`,
		`"longitude_deg": -106.0`, `"longitude_deg": -106.0, "altitude_m": null, "ground": null`,
		`"power_w": 152`, `"power_w": 152, "voltage_v": null, "sweep": null, "contest": null, "kind": null, "irradiance": null`).Replace(good)
	with, err := contract.Session([]byte(nulls), now)
	if err != nil {
		t.Fatal(err)
	}
	without, err := contract.Session([]byte(good), now)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(without, with); diff != "" {
		t.Errorf("nulls make a difference:\n%s", diff)
	}
}

func TestFaults(t *testing.T) {
	t.Parallel()
	long := strings.Repeat("x", 70)
	for name, c := range map[string]struct {
		old, new string // replaced in the good session
		kind     fieldtest.RefusalKind
		want     []string
	}{
		"in document order, missing last": {`"site": {"latitude_deg": 38.5, "longitude_deg": -106.0}`, `"site": {"latitude_deg": 91, "altitude_m": 9999}`, fieldtest.ValidationFailed,
			[]string{"#/site/latitude_deg out_of_range", "#/site/altitude_m out_of_range", "#/site/longitude_deg required"}},
		"schema and rules together": {`"label": "A2", "panel": {"model": "tarn-fold-200"}`, `"label": "A1", "panel": {"model": "Tarn"}`, fieldtest.ValidationFailed,
			[]string{"#/readings/1/label repeated_label", "#/readings/1/panel/model wrong_form", "#/readings/1/cover/reference_label reference_of_other_panel"}},
		"a rule does not repeat what the schema says": {`"rig": {"kind": "mppt_controller", "power_read_at": "panel_side"}`, `"rig": null`, fieldtest.ValidationFailed, []string{"#/rig required"}},
		"a member's name is escaped":                  {`"power_w": 152`, `"a/b~c d": 152`, fieldtest.ValidationFailed, []string{"#/readings/0/power_w required", "#/readings/0/a~1b~0c%20d unknown_member"}},
		"too long":                                    {`"label": "A1"`, `"label": "` + long + `"`, fieldtest.ValidationFailed, []string{"#/readings/0/label too_long", "#/readings/1/cover/reference_label reference_unknown"}},
		"empty text":                                  {`"label": "A1"`, `"label": ""`, fieldtest.ValidationFailed, []string{"#/readings/0/label too_short", "#/readings/1/cover/reference_label reference_unknown"}},
		"rounding":                                    {`"longitude_deg": -106.0`, `"longitude_deg": -106.0, "place_rounding_deg": 0.05`, fieldtest.ValidationFailed, []string{"#/site/place_rounding_deg not_one_of"}},
		"half a section":                              {`"sections_covered": 2`, `"sections_covered": 2.5`, fieldtest.ValidationFailed, []string{"#/readings/1/cover/sections_covered wrong_type"}},
		"a zero Voc":                                  {`{"model": "tarn-fold-200"}, "taken_at"`, `{"nameplate": {"pmax_w": 200, "voc_v": 0}}, "taken_at"`, fieldtest.ValidationFailed, []string{"#/readings/0/panel/nameplate/voc_v out_of_range", "#/readings/1/cover/reference_label reference_of_other_panel"}},
		"rig twice":                                   {`"rig": {`, `"rig": {"id": "01970000-0000-7000-8000-000000000000", `, fieldtest.ValidationFailed, []string{"#/rig rig_twice"}},
		"rig half":                                    {`"rig": {"kind": "mppt_controller", `, `"rig": {`, fieldtest.ValidationFailed, []string{"#/rig/kind required"}},
		"rig empty":                                   {`{"kind": "mppt_controller", "power_read_at": "panel_side"}`, `{}`, fieldtest.ValidationFailed, []string{"#/rig/id required"}},
		"cover on a tilted panel":                     {`"arrangement": "covered", `, ``, fieldtest.ValidationFailed, []string{"#/readings/1/cover cover_not_expected"}},
		"other unit":                                  {`"label": "A2", "panel": {"model": "tarn-fold-200"}`, `"label": "A2", "panel": {"model": "tarn-fold-200", "specimen": "unit-2"}`, fieldtest.ValidationFailed, []string{"#/readings/1/cover/reference_label reference_of_other_panel"}},
		"tilted and flat":                             {`"label": "A1", `, `"label": "A1", "arrangement": "flat", "plane": {"tilt_deg": 35}, `, fieldtest.ValidationFailed, []string{"#/readings/0/plane/tilt_deg flat_with_tilt"}},
		"a size for a known panel":                    {`{"model": "tarn-fold-200"}, "taken_at"`, `{"model": "tarn-fold-200", "size": {"mass_kg": 6}}, "taken_at"`, fieldtest.ValidationFailed, []string{"#/readings/0/panel/size not_expected"}},
		"no panel":                                    {`{"model": "tarn-fold-200"}, "taken_at"`, `{}, "taken_at"`, fieldtest.ValidationFailed, []string{"#/readings/0/panel/model required", "#/readings/1/cover/reference_label reference_of_other_panel"}},
		"only voltage":                                {`"power_w": 152`, `"voltage_v": 18`, fieldtest.ValidationFailed, []string{"#/readings/0/current_a required"}},
		"only current":                                {`"power_w": 152`, `"current_a": 8`, fieldtest.ValidationFailed, []string{"#/readings/0/voltage_v required"}},
		"open circuit without voltage":                {`"power_w": 152`, `"power_w": 152, "kind": "open_circuit"`, fieldtest.ValidationFailed, []string{"#/readings/0/voltage_v required"}},
		"short circuit without current":               {`"power_w": 152`, `"voltage_v": 152, "kind": "short_circuit"`, fieldtest.ValidationFailed, []string{"#/readings/0/current_a required"}},
		"a sweep on an operating point":               {`"power_w": 152`, `"power_w": 152, "sweep": {"voltage_v": [1,2,3,4,5], "current_a": [5,5,5,4,1]}`, fieldtest.ValidationFailed, []string{"#/readings/0/sweep not_expected"}},
		"a clock that was not set":                    {"2026-06-14T11:05:00-06:00", "1970-01-01T00:05:00Z", fieldtest.ValidationFailed, []string{"#/started_at time_too_early"}},
		"tolerances turned":                           {`{"model": "tarn-fold-200"}, "taken_at"`, `{"nameplate": {"pmax_w": 200, "tolerance": [0.05, -0.03]}}, "taken_at"`, fieldtest.ValidationFailed, []string{"#/readings/0/panel/nameplate/tolerance tolerance_reversed", "#/readings/1/cover/reference_label reference_of_other_panel"}},
		"battery readings are enough":                 {`"power_w": 152`, `"battery_voltage_v": 13.3, "battery_current_a": 10`, "", nil},
		"a whole number with a point":                 {`"sections_covered": 2`, `"sections_covered": 2.0`, "", nil},
		"a leap second":                               {"2026-06-14T11:05:00-06:00", "2016-12-31T23:59:60Z", "", nil},
		"minus zero offset":                           {"2026-06-14T11:05:00-06:00", "2026-06-14T17:05:00-00:00", "", nil},
		"four minutes ahead":                          {"2026-06-14T12:10:00-06:00", "2026-07-01T12:04:00Z", "", nil},
		"six minutes ahead":                           {"2026-06-14T12:10:00-06:00", "2026-07-01T12:06:00Z", fieldtest.ValidationFailed, []string{"#/ended_at time_in_future"}},
	} {
		body := strings.Replace(good, c.old, c.new, 1)
		if body == good {
			t.Errorf("%s: the good session does not hold %s", name, c.old)
		}
		_, err := contract.Session([]byte(body), now)
		kind, got := faultsOf(t, err)
		if kind != c.kind || !cmp.Equal(got, c.want) {
			t.Errorf("%s: %s %v, want %s %v", name, kind, got, c.kind, c.want)
		}
	}
}

func TestSyntax(t *testing.T) {
	t.Parallel()
	for body, want := range map[string]string{
		``:           "# empty",
		` `:          "# empty",
		`{`:          "# not_json",
		`{"site": }`: "#/site not_json",
		`{"site": {"latitude_deg": 1, "latitude_deg": 1}}`: "#/site/latitude_deg duplicate_member",
		`{"unknown": {"a": 1, "a": 1}}`:                    "#/unknown/a duplicate_member",
		`{} {}`:                                            "# trailing_bytes",
		`{}}`:                                              "# trailing_bytes",
		`{"note": "a\u0000b"}`:                             "# nul_character",
		"{\"note\": \"a\x00b\"}":                           "# nul_character",
		"{\"note\": \"a\xffb\"}":                           "#/note not_utf8",
		`{"note": "\ud800"}`:                               "#/note not_json",
		`{"note": NaN}`:                                    "#/note not_a_number",
		`{"note": -Infinity}`:                              "#/note not_a_number",
		`{"note": nan}`:                                    "#/note not_a_number",
		`{"note": nul}`:                                    "#/note not_json",
		`{'note': 1}`:                                      "# not_json",
		`{"note": 01}`:                                     "# not_json",
	} {
		_, err := contract.Session([]byte(body), now)
		kind, got := faultsOf(t, err)
		if kind != fieldtest.MalformedRequest || len(got) != 1 || got[0] != want {
			t.Errorf("%q: %s %q, want malformed_request %q", body, kind, got, want)
		}
	}
	// A backslash before a backslash and u0000 is text, not NUL.
	if _, err := contract.Session([]byte(strings.Replace(good, `"site"`, `"note": "a\\u0000b", "site"`, 1)), now); err != nil {
		t.Errorf("an escaped backslash was taken for NUL: %v", err)
	}
}

func TestSyntaxTellsLineAndColumn(t *testing.T) {
	t.Parallel()
	_, err := contract.Session([]byte("{\n \"note\": tru\n}"), now)
	r, ok := errors.AsType[*fieldtest.Refusal](err)
	if !ok || !strings.Contains(r.Faults[0].Reason, "Line 2, column 1") {
		t.Errorf("%v, want line 2", err)
	}
}

func TestValueIsCutAndLimitTold(t *testing.T) {
	t.Parallel()
	long := strings.Repeat("é", 100)
	_, err := contract.Session([]byte(strings.Replace(good, `"label": "A1"`, `"label": "`+long+`"`, 1)), now)
	r, ok := errors.AsType[*fieldtest.Refusal](err)
	if !ok {
		t.Fatal(err)
	}
	f := r.Faults[0]
	if value, _ := f.Value.(string); len([]rune(value)) != 64 || f.Limit != 40 || f.Relation != "<=" {
		t.Errorf("fault = %+v, want a value of 64 characters and the limit 40", f)
	}
	_, err = contract.Session([]byte(strings.Replace(good, `"power_w": 152`, `"power_w": 20000`, 1)), now)
	if r, ok = errors.AsType[*fieldtest.Refusal](err); !ok || r.Faults[0].Unit != "W" || r.Faults[0].Limit != 10000.0 || r.Faults[0].Value != 20000.0 {
		t.Errorf("fault = %v, want 20000 of at most 10000 W", err)
	}
}

// A pointer is made of what was sent: it must not send that back at three times the
// length.
func TestNothingLongIsEchoed(t *testing.T) {
	t.Parallel()
	name := strings.Repeat("é", 2000)
	for what, body := range map[string]string{
		"a long name":      `{"` + name + `": 1}`,
		"a long name deep": strings.Replace(good, `"panel":`, `"`+name+`": 1, "panel":`, 1),
		"deep lists":       strings.Repeat("[", 20000),
		"deep long names":  strings.Repeat(`{"`+name+`":`, 100),
		"doubled long":     `{"` + name + `": 1, "` + name + `": 2}`,
	} {
		_, err := contract.Session([]byte(body), now)
		r, ok := errors.AsType[*fieldtest.Refusal](err)
		if !ok || len(r.Faults) == 0 {
			t.Errorf("%s: %v, want a refusal", what, err)
			continue
		}
		for _, f := range r.Faults {
			if value, _ := f.Value.(string); len(f.Pointer) > 800 || len(f.Reason) > 800 || len(value) > 300 {
				t.Errorf("%s: %d bytes of pointer, %d of reason", what, len(f.Pointer), len(f.Reason))
			}
		}
	}
	_, err := contract.Session([]byte(strings.Replace(good, `"panel":`, `"`+name+`": 1, "panel":`, 1)), now)
	if _, got := faultsOf(t, err); len(got) != 1 || got[0] != "#/readings/0 unknown_member" {
		t.Errorf("%q, want the pointer to the reading that holds the member", got)
	}
}

// A slip of units stays within the contract's wide bounds, so that the rules of
// physics can explain it.
func TestSlipsReachPhysics(t *testing.T) {
	t.Parallel()
	for _, more := range []string{`"back_temperature_c": 118`, `"weather": {"air_temperature_c": 75}`, `"irradiance": {"poa_w_m2": 2400}`, `"voltage_v": 182, "current_a": 84`} {
		if _, err := contract.Session([]byte(strings.Replace(good, `"power_w": 152`, more+`, "power_w": 152`, 1)), now); err != nil {
			t.Errorf("%s: %v", more, err)
		}
	}
	if _, err := contract.PanelModel([]byte(`{"slug":"x","maker":"M","model":"X","nameplate":{"pmax_w":200,"gamma_pmax_per_k":-0.35}}`)); err != nil {
		t.Errorf("a coefficient in %%/K: %v", err)
	}
}

func TestPointer(t *testing.T) {
	t.Parallel()
	for want, parts := range map[string][]string{"#": nil, "#/readings/3/voltage_v": {"readings", "3", "voltage_v"}, "#/a~1b/m~0n/c%25d/e%5Ef/g%22h/%20": {"a/b", "m~n", "c%d", "e^f", `g"h`, " "}} {
		if got := contract.Pointer(parts...); got != want {
			t.Errorf("Pointer(%q) = %q, want %q", parts, got, want)
		}
	}
}

func TestParseTime(t *testing.T) {
	t.Parallel()
	for s, want := range map[string]string{
		"2026-06-14T11:05:00-06:00":   "2026-06-14T17:05:00Z",
		"2016-12-31T23:59:60Z":        "2016-12-31T23:59:59.999999Z",
		"2016-12-31T18:59:60.5-05:00": "2016-12-31T23:59:59.999999Z",
		"2026-06-14T11:05:00":         "",
		"2026-06-14T1:05:00Z":         "",
		"2026-06-14 11:05:00Z":        "",
		"2026-02-30T11:05:00Z":        "",
		"2026-06-14T11:05:00,5Z":      "",
		"2026-06-14T11:05:00Z[UTC]":   "",
		"2026-06-14T11:05:00+24:00":   "",
		"":                            "",
	} {
		got, err := contract.ParseTime(s)
		if (err == nil) != (want != "") || err == nil && got.UTC().Format(time.RFC3339Nano) != want {
			t.Errorf("ParseTime(%q) = %v, %v, want %q", s, got.UTC(), err, want)
		}
	}
}

func TestHundredFaultsAtMost(t *testing.T) {
	t.Parallel()
	readings := strings.TrimSuffix(strings.Repeat(`{"panel": {"model": "a"}, "power_w": -1, "current_a": -1},`, 300), ",")
	body := good[:strings.Index(good, `"readings"`)] + `"readings": [` + readings + `]}`
	_, err := contract.Session([]byte(body), now)
	r, ok := errors.AsType[*fieldtest.Refusal](err)
	if !ok || len(r.Faults) != 100 || r.Extra["errors_omitted"] != 500 {
		t.Errorf("%d faults told, %v omitted, want 100 and 500", len(r.Faults), r.Extra)
	}
}

func TestOtherBodies(t *testing.T) {
	t.Parallel()
	var price fieldtest.Price
	if err := contract.Checked([]byte(`{"amount":"189.00","currency":"EUR","date":"2026-05-02"}`), "Price", &price, noRules); err != nil || price.Amount != "189.00" {
		t.Errorf("price = %+v, %v", price, err)
	}
	for body, want := range map[string]string{
		`{"amount":"189,00","currency":"EUR","date":"2026-05-02"}`: "#/amount wrong_form",
		`{"amount":189,"currency":"EUR","date":"2026-05-02"}`:      "#/amount wrong_type",
		`{"amount":"1","currency":"EUR","date":"2026-05-32"}`:      "#/date not_a_date",
	} {
		_, got := faultsOf(t, contract.Checked([]byte(body), "Price", &price, noRules))
		if len(got) != 1 || got[0] != want {
			t.Errorf("%s: %v, want %s", body, got, want)
		}
	}
	if err := contract.Checked([]byte(`{}`), "Nonsense", &price, noRules); err == nil {
		t.Error("a schema that does not exist was found")
	}
}

func TestRevisionPointsInsideItsSession(t *testing.T) {
	t.Parallel()
	var r struct {
		Reason  string            `json:"reason"`
		Session fieldtest.Session `json:"session"`
	}
	body := `{"reason": "typo", "session": ` + strings.Replace(good, `"label": "A2"`, `"label": "A1"`, 1) + `}`
	err := contract.Checked([]byte(body), "SessionRevision", &r, func() []fieldtest.Fault {
		return contract.Under("session", contract.CheckSession(r.Session, now))
	})
	if _, got := faultsOf(t, err); len(got) == 0 || got[0] != "#/session/readings/1/label repeated_label" {
		t.Errorf("faults %v", got)
	}
}

// Names of every script are taken, and none that only seems to be another.
func TestNamesReadAsTheyAreWritten(t *testing.T) {
	t.Parallel()
	for name, good := range map[string]bool{
		"North Lawn Panel Club": true, "نادي الألواح": true, "מועדון הפאנלים": true, "太陽電池クラブ": true, "می\u200cخواهم": true, "👩\u200d🔧 ☀️": true, "<b>": true, "=1+1": true,
		" ": false, "club ": false, "\u00a0club": false, "club\u200b": false, "\u202eclub": false, "cl\u2066ub": false, "a\nb": false, "a\tb": false, "a\u2028b": false, "\ufeffclub": false, "club\u200d": false, "cl\u00adub": false,
	} {
		body, err := json.Marshal(map[string]any{"display_name": name, "accept_licence": true})
		if err != nil {
			t.Fatal(err)
		}
		var to map[string]any
		err = contract.Checked(body, "Registration", &to, noRules)
		if _, got := faultsOf(t, err); good != (err == nil) || !good && got[0] != "#/display_name not_plain" {
			t.Errorf("%q: %v, want it taken: %t", name, err, good)
		}
	}
}

// Who must give a reason gives one in any script, or is asked for it.
func TestAReasonSaysSomething(t *testing.T) {
	t.Parallel()
	for reason, good := range map[string]bool{
		"The panel was dusty.": true, "埃": true, "?": true, " yes ": true, "two\\nlines": true,
		" ": false, "\u00a0": false, "\\n\\t": false, "\u200b": false, "\u2028": false,
	} {
		body := []byte(`{"reason": "` + reason + `"}`)
		var to map[string]any
		err := contract.Checked(body, "Withdrawal", &to, noRules)
		if _, got := faultsOf(t, err); good != (err == nil) || !good && got[0] != "#/reason blank" {
			t.Errorf("%q: %v, want it taken: %t", reason, err, good)
		}
	}
}

func TestOnlyNearNamesAreSuggested(t *testing.T) {
	t.Parallel()
	for name, near := range map[string]bool{"nott": true, "x": false, "ab": false} {
		_, err := contract.Session([]byte(strings.Replace(good, `"site"`, `"`+name+`": 1, "site"`, 1)), now)
		r, ok := errors.AsType[*fieldtest.Refusal](err)
		if !ok || strings.Contains(r.Faults[0].Reason, "meant") != near {
			t.Errorf("%s: %v, a suggestion: %t", name, err, near)
		}
	}
}

func TestLoadRefusesWhatItDoesNotCheck(t *testing.T) {
	t.Parallel()
	doc := func(schema string) []byte {
		return []byte("openapi: 3.0.3\ninfo: {title: t, version: '1'}\npaths: {}\ncomponents: {schemas: {A: " + schema + "}}\n")
	}
	if _, err := contract.Load(doc("{type: object, properties: {a: {type: string}}}")); err != nil {
		t.Fatal(err)
	}
	for _, schema := range []string{"{oneOf: [{type: string}, {type: number}]}", "{type: array, uniqueItems: true, items: {type: string}}", "{type: number, multipleOf: 3}", "{type: string, pattern: '('}"} {
		if _, err := contract.Load(doc(schema)); err == nil {
			t.Errorf("Load took %s, which bodies are not checked for", schema)
		}
	}
	if _, err := contract.Load([]byte("not yaml: [")); err == nil {
		t.Error("Load took no document")
	}
}

// TestMemberWithoutItsUnit leaves the unit out of members' names: the right one is named,
// whichever other name is shorter to reach.
func TestMemberWithoutItsUnit(t *testing.T) {
	t.Parallel()
	for sent, meant := range map[string]string{"power": "power_w", "voltage": "voltage_v", "back_temperature": "back_temperature_c", "warm_up": "warm_up_min"} {
		body := fmt.Sprintf(`{"started_at": "2026-06-14T11:05:00Z", "site": {"latitude_deg": 38, "longitude_deg": -106}, "rig": {"kind": "resistor", "power_read_at": "panel_side"},
	 "readings": [{"panel": {"model": "tarn-fold-200"}, "power_w": 152, %q: 8.4}]}`, sent)
		_, err := contract.Session([]byte(body), time.Date(2026, 7, 1, 0, 0, 0, 0, time.UTC))
		refusal, _ := errors.AsType[*fieldtest.Refusal](err)
		if refusal == nil || len(refusal.Faults) != 1 || !strings.Contains(refusal.Faults[0].Reason, fmt.Sprintf("Is %q meant?", meant)) {
			t.Errorf("%s: %+v, want a fault that suggests %s", sent, refusal, meant)
		}
	}
}

func ExampleSession() {
	body := `{"started_at": "2026-06-14T11:05:00", "site": {"latitude_deg": 385, "longitude_deg": -106}, "rig": {"kind": "resistor", "power_read_at": "panel_side"},
	 "readings": [{"panel": {"model": "tarn-fold-200"}, "power_w": 152, "curent_a": 8.4}]}`
	_, err := contract.Session([]byte(body), time.Date(2026, 7, 1, 0, 0, 0, 0, time.UTC))
	refusal, _ := errors.AsType[*fieldtest.Refusal](err)
	for _, f := range refusal.Faults {
		fmt.Println(f.Pointer, f.Code, f.Reason)
	}
	// Output:
	// #/started_at time_without_offset A time needs its offset from UTC at the end, as -06:00, or Z for UTC.
	// #/site/latitude_deg out_of_range Must be at most 90 deg, is 385.
	// #/readings/0/curent_a unknown_member There is no member "curent_a" here. Is "current_a" meant?
}

// noRules leaves a body to its schema alone.
func noRules() []fieldtest.Fault { return nil }
