package sheet_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/xuri/excelize/v2"

	"evensun/internal/contract"
	"evensun/internal/fieldtest"
	"evensun/internal/sheet"
)

var now = time.Date(2026, 7, 1, 0, 0, 0, 0, time.UTC)

// decoded returns a session as the interface takes it, or fails.
func decoded(t *testing.T, s *sheet.Session) fieldtest.Session {
	t.Helper()
	if len(s.Faults) > 0 {
		t.Fatalf("faults of the session of line %d: %+v", s.Line, s.Faults)
	}
	raw, err := s.Document(nil)
	if err != nil {
		t.Fatal(err)
	}
	session, err := contract.Session(raw, now)
	if err != nil {
		t.Fatalf("%v\n%s", err, raw)
	}
	return session
}

func read(t *testing.T, text string, o sheet.Options) *sheet.Table {
	t.Helper()
	table, err := sheet.Read([]byte(text), o)
	if err != nil {
		t.Fatal(err)
	}
	return table
}

const plain = `date,time,utc_offset,latitude_deg,longitude_deg,rig,rig_kind,power_read_at,label,panel,voltage_v,current_a,power_w
2026-06-14,11:22,+02:00,47.1,9.2,bench 1,mppt_controller,panel_side,A1,Tarn Fold 200,18.10,8.42,152
2026-06-14,11:26,+02:00,47.1,9.2,bench 1,mppt_controller,panel_side,B1,calbrae-trek-140,17.9,5.92,106
2026-06-15,11:22,+02:00,47.1,9.2,bench 1,mppt_controller,panel_side,A1,Tarn Fold 200,18.0,8.4,151
`

func TestReadsSessionsByDayPlaceAndRig(t *testing.T) {
	table := read(t, plain, sheet.Options{})
	if len(table.Sessions) != 2 || table.Sessions[0].Line != 2 || table.Sessions[1].Line != 4 || table.Sessions[0].Readings() != 2 {
		t.Fatalf("sessions = %d, want one of lines 2 and 3 and one of line 4", len(table.Sessions))
	}
	s := decoded(t, table.Sessions[0])
	if got := s.StartedAt.Format(time.RFC3339); got != "2026-06-14T11:22:00+02:00" {
		t.Errorf("started_at = %s, want that of the first reading", got)
	}
	r := s.Readings[0]
	if r.Panel.Model != "tarn-fold-200" || *r.VoltageV != 18.10 || *r.CurrentA != 8.42 || *r.PowerW != 152 || r.Label != "A1" {
		t.Errorf("first reading = %+v", r)
	}
	if s.Rig.Name != "bench 1" || s.Rig.Kind != fieldtest.MPPTController || table.Sessions[0].RigName != "bench 1" {
		t.Errorf("rig = %+v, RigName %q", s.Rig, table.Sessions[0].RigName)
	}
}

// Each way to write the same table says the same.
func TestDialectsSayTheSame(t *testing.T) {
	want, err := read(t, plain, sheet.Options{}).Sessions[0].Document(nil)
	if err != nil {
		t.Fatal(err)
	}
	semicolons := strings.ReplaceAll(plain, ",", ";")
	for name, c := range map[string]struct {
		text    string
		options sheet.Options
	}{
		"byte order mark":        {"\ufeff" + plain, sheet.Options{}},
		"line ends of a PC":      {strings.ReplaceAll(plain, "\n", "\r\n"), sheet.Options{}},
		"semicolons":             {semicolons, sheet.Options{}},
		"separator said":         {"sep=;\n" + semicolons, sheet.Options{}},
		"tabs":                   {strings.ReplaceAll(plain, ",", "\t"), sheet.Options{}},
		"decimal commas":         {strings.ReplaceAll(semicolons, ".", ","), sheet.Options{DecimalComma: true}},
		"empty rows and columns": {strings.ReplaceAll(plain, "\n", ",\n,,,,,,,,,,,,,\n"), sheet.Options{}},
		"offset by parameter":    {strings.ReplaceAll(strings.Replace(plain, "utc_offset,", "", 1), "+02:00,", ""), sheet.Options{UTCOffset: "+02:00"}},
		"usual headings":         {strings.NewReplacer("voltage_v", "Voltage (V)", "current_a", "Amps", "power_w", "Watts [W]", "latitude_deg", "Lat", "date", "Date").Replace(plain), sheet.Options{}},
		"written once": {strings.Replace(strings.Replace(plain, "26,+02:00,47.1,9.2,bench 1,mppt_controller,panel_side", "26,,,,,,", 1),
			"2026-06-14,11:26", ",11:26", 1), sheet.Options{}},
	} {
		t.Run(name, func(t *testing.T) {
			s := read(t, c.text, c.options).Sessions[0]
			decoded(t, s)
			got, err := s.Document(nil)
			if err != nil {
				t.Fatal(err)
			}
			if !bytes.Equal(got, want) {
				t.Errorf("got  %s\nwant %s", got, want)
			}
		})
	}
}

// Conversions by definition: 68 F is 20 C, 36 km/h is 10 m/s, a mile an hour 0.44704 m/s,
// a foot 0.3048 m.
func TestConvertsUnitsOfHeadings(t *testing.T) {
	text := `taken_at,Lat,Lon,Elevation (ft),rig,rig_kind,power_read_at,panel,Power (kW),Volts (mV),Amps (mA),Temp (°F),Wind (mph)
2026-06-14T11:22:00+02:00,47.1,9.2,1000,r,other,unknown,x,0.152,18100,8420,68,10
`
	table := read(t, text, sheet.Options{})
	s := decoded(t, table.Sessions[0])
	r := s.Readings[0]
	for _, c := range []struct {
		what      string
		got, want float64
	}{
		{"altitude", *s.Site.AltitudeM, 304.8}, {"power", *r.PowerW, 152}, {"voltage", *r.VoltageV, 18.1}, {"current", *r.CurrentA, 8.42},
		{"air", *r.Weather.AirTemperatureC, 20}, {"wind", *r.Weather.WindSpeedMS, 4.4704},
	} {
		if c.got != c.want {
			t.Errorf("%s = %v, want %v", c.what, c.got, c.want)
		}
	}
	if len(table.Notes) != 6 || !strings.Contains(table.Notes[0], `"Elevation (ft)"`) {
		t.Errorf("notes = %q, want one for each conversion", table.Notes)
	}
}

func TestCoveredReadings(t *testing.T) {
	text := `taken_at,lat,lon,rig,rig_kind,power_read_at,panel,pmax_w,sections,maker,model_name,sections_covered,power_w
2026-06-14T11:22:00Z,47.1,9.2,r,other,unknown,tarn-fold-200,200,4,Tarn,Fold 200,,152
2026-06-14T11:24:00Z,47.1,9.2,r,other,unknown,halden-120,,,,,0,90
2026-06-14T11:26:00Z,47.1,9.2,r,other,unknown,tarn-fold-200,,4,,,1,100
`
	s := decoded(t, read(t, text, sheet.Options{}).Sessions[0])
	r := s.Readings[2]
	if r.Arrangement != fieldtest.Covered || r.Cover.SectionsCovered != 1 || r.Cover.SectionsTotal != 4 || r.Cover.ReferenceLabel != "1" {
		t.Errorf("covered reading = %+v, cover %+v", r, r.Cover)
	}
	if r.Panel.Nameplate == nil || *r.Panel.Nameplate.PmaxW != 200 || r.Panel.Maker != "Tarn" || r.Panel.Construction == nil {
		t.Errorf("panel of the third row = %+v, want what the first row says of it", r.Panel)
	}
	if s.Readings[1].Cover != nil || s.Readings[1].Panel.Nameplate != nil {
		t.Errorf("second reading = %+v, want neither cover nor nameplate", s.Readings[1])
	}
}

func TestFaultsNameTheirCell(t *testing.T) {
	for name, c := range map[string]struct {
		old, new string
		options  sheet.Options
		line     int
		column   string
		code     string
	}{
		"decimal comma":           {"18.10", `"18,10"`, sheet.Options{}, 2, "voltage_v", "decimal_comma"},
		"point beside commas":     {"xx", "xx", sheet.Options{DecimalComma: true}, 2, "latitude_deg", "decimal_point"},
		"unit in the cell":        {"18.10", "18.10 V", sheet.Options{}, 2, "voltage_v", "not_a_number"},
		"not a number":            {"18.10", "NaN", sheet.Options{}, 2, "voltage_v", "not_a_number"},
		"no offset":               {"+02:00", "", sheet.Options{}, 2, "time", "offset_missing"},
		"an offset of no place":   {"+02:00", "+15:00", sheet.Options{}, 2, "time", "not_an_offset"},
		"date of two readings":    {"2026-06-14,11:26", "6/7/2026,11:26", sheet.Options{}, 3, "time", "date_ambiguous"},
		"no time":                 {"11:26", "noon", sheet.Options{}, 3, "time", "not_a_time"},
		"another site of an hour": {"26,+02:00,47.1,9.2,bench 1,mppt_controller", "26,+02:00,47.1,9.2,bench 1,pwm_controller", sheet.Options{}, 3, "rig_kind", "differs_in_session"},
		"too many cells":          {"106\n", "106,1,2\n", sheet.Options{}, 3, "", "too_many_cells"},
	} {
		t.Run(name, func(t *testing.T) {
			table := read(t, strings.ReplaceAll(plain, c.old, c.new), c.options)
			var all []sheet.Fault
			for _, s := range table.Sessions {
				all = append(all, s.Faults...)
			}
			if len(all) == 0 || all[0].Line != c.line || all[0].Column != c.column || all[0].Code != c.code || all[0].Reason == "" {
				t.Errorf("faults = %+v, want %s at line %d, column %q first", all, c.code, c.line, c.column)
			}
		})
	}
}

// What the interface says of a document is told of the cell that it came from.
func TestFaultsOfTheInterfaceNameTheirCell(t *testing.T) {
	s := read(t, strings.Replace(plain, "17.9", "1790", 1), sheet.Options{}).Sessions[0]
	raw, err := s.Document(nil)
	if err != nil {
		t.Fatal(err)
	}
	_, err = contract.Session(raw, now)
	refusal, ok := errors.AsType[*fieldtest.Refusal](err)
	if !ok {
		t.Fatalf("err = %v, want a refusal", err)
	}
	got := s.Locate(refusal.Faults)
	if len(got) != 1 || got[0].Line != 3 || got[0].Column != "voltage_v" || got[0].Pointer != "#/readings/1/voltage_v" {
		t.Errorf("faults = %+v, want voltage_v of line 3", got)
	}
	whole := s.Locate([]fieldtest.Fault{{Pointer: "#/readings/1"}, {Pointer: "#/sky"}})
	if whole[0].Line != 3 || whole[0].Column != "" || whole[1].Line != 2 {
		t.Errorf("places = %+v, want the rows of the reading and of the session", whole)
	}
}

func TestRefusesTablesThatCannotBeRead(t *testing.T) {
	for name, c := range map[string]struct {
		text, code string
		workbook   bool
	}{
		"empty":                {"", "empty", false},
		"header alone":         {"panel,power_w\n\n", "no_readings", false},
		"unknown column":       {"panel,powr\nx,1\n", "unknown_column", false},
		"unit that is another": {"panel,power_w (V)\nx,1\n", "unknown_column", false},
		"temperature bare":     {"panel,temp\nx,1\n", "unknown_column", false},
		"column twice":         {"panel,watts,power_w\nx,1,1\n", "repeated_column", false},
		"Latin 1":              {"panel,note\nx,\xe9\n", "not_utf8", false},
		"open quote":           {"panel,note\nx,\"a\n", "not_csv", false},
		"too many rows":        {"panel,power_w\n" + strings.Repeat("x,1\n", 20001), "too_many_readings", false},
		"no workbook":          {"PK\x03\x04", "not_a_workbook", true},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := sheet.Read([]byte(c.text), sheet.Options{Workbook: c.workbook})
			refusal, ok := errors.AsType[*fieldtest.Refusal](err)
			if !ok || refusal.Kind != fieldtest.ValidationFailed || refusal.Faults[0].Code != c.code {
				t.Errorf("err = %v, want validation_failed with %s", err, c.code)
			}
		})
	}
	if _, err := sheet.Read([]byte("panel,power_w\n"+strings.Repeat("x,1\n", 20000)), sheet.Options{}); err != nil {
		t.Errorf("20,000 rows: %v", err)
	}
	if _, err := sheet.Read([]byte("panel,my own\nx,1\n"), sheet.Options{Ignore: []string{"my own"}}); err != nil {
		t.Errorf("a column to ignore: %v", err)
	}
}

// A workbook keeps dates as counts of days and numbers without their typed digits.
func TestReadsWorkbooks(t *testing.T) {
	book := excelize.NewFile()
	at := time.Date(2026, 6, 14, 11, 22, 0, 0, time.UTC)
	rows := [][]any{
		{"Timestamp", "utc_offset", "Lat", "Lon", "rig", "rig_kind", "power_read_at", "panel", "Volts", "Amps", "Watts"},
		{at, "+02:00", 47.1, 9.2, "bench 1", "mppt_controller", "panel_side", "Tarn Fold 200", 18.1, 8.42, 152},
	}
	for i, r := range rows {
		cell, err := excelize.CoordinatesToCellName(1, i+1)
		if err != nil {
			t.Fatal(err)
		}
		if err := book.SetSheetRow("Sheet1", cell, &r); err != nil {
			t.Fatal(err)
		}
	}
	var raw bytes.Buffer
	if err := book.Write(&raw); err != nil {
		t.Fatal(err)
	}
	table, err := sheet.Read(raw.Bytes(), sheet.Options{Workbook: true})
	if err != nil {
		t.Fatal(err)
	}
	s := decoded(t, table.Sessions[0])
	if got := s.Readings[0].TakenAt.Format(time.RFC3339); got != "2026-06-14T11:22:00+02:00" {
		t.Errorf("taken_at = %s", got)
	}
	if *s.Readings[0].VoltageV != 18.1 {
		t.Errorf("voltage = %v", *s.Readings[0].VoltageV)
	}
}

// Every column fills a member that the interface has, in the unit that it has there.
func TestColumnsAreMembersOfTheInterface(t *testing.T) {
	own, err := contract.Own()
	if err != nil {
		t.Fatal(err)
	}
	units := map[string]string{}
	for _, schema := range own.Document().Components.Schemas {
		for name, p := range schema.Value.Properties {
			if unit, ok := p.Value.Extensions["x-unit-ucum"].(string); ok {
				units[name] = unit
			}
		}
	}
	for _, c := range sheet.Columns() {
		member := c.Member()
		if member == "" || c.Unit == "" {
			continue
		}
		if got := units[member]; got != c.Unit {
			t.Errorf("column %s: unit %q, the interface has %q for %s", c.Name, c.Unit, got, member)
		}
	}
}

func TestTemplateHasEveryColumnOnce(t *testing.T) {
	header := strings.Split(strings.TrimSpace(string(sheet.Template())), ",")
	if len(header) != len(sheet.Columns()) || len(slices.Compact(slices.Sorted(slices.Values(header)))) != len(header) {
		t.Errorf("template has %d names for %d columns", len(header), len(sheet.Columns()))
	}
}

// No table makes the reader fail in another way than by a refusal, and what it makes is
// JSON whose readings are its rows.
func FuzzRead(f *testing.F) {
	f.Add([]byte(plain), false, "")
	f.Add([]byte("sep=;\npanel;power_w\nx;1,5\n"), true, "+02:00")
	f.Add([]byte("\ufeffTemp (°F),date,time,session\n1,2026-06-14,11:00,a\n,,12:00,\n"), false, "Z")
	f.Fuzz(func(t *testing.T, raw []byte, comma bool, offset string) {
		table, err := sheet.Read(raw, sheet.Options{DecimalComma: comma, UTCOffset: offset})
		if err != nil {
			if _, ok := errors.AsType[*fieldtest.Refusal](err); !ok {
				t.Fatal(err)
			}
			return
		}
		for _, s := range table.Sessions {
			document, err := s.Document(nil)
			if err != nil {
				t.Fatal(err)
			}
			var read struct{ Readings []json.RawMessage }
			if err := json.Unmarshal(document, &read); err != nil || len(read.Readings) != s.Readings() {
				t.Fatalf("document %s of %d rows: %v", document, s.Readings(), err)
			}
		}
	})
}
