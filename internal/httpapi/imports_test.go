package httpapi_test

import (
	"strings"
	"testing"
)

// tableOfReadings is two sessions of a rig that the table describes, on panels that a
// scene has.
const tableOfReadings = `date,time,utc_offset,Lat,Lon,sky,rig,rig_kind,power_read_at,panel,tilt_deg,azimuth_deg,Volts (V),Amps (A),Watts (W),Irradiance (W/m2),Air temp (°F)
2026-06-14,11:22,-06:00,38.5,-106.0,haze,field meter,mppt_controller,panel_side,tarn-fold-200,35,180,18.10,8.42,152,912,75.2
,11:26,,,,,,,,tarn-fold-200,35,180,18.05,8.40,151.5,910,75.2
2026-06-15,11:22,,,,,,,,tarn-fold-200,35,180,18.12,8.45,153,915,75.2
`

func table(key, query, body string) ask {
	return ask{do: "POST /v1/imports" + query, key: key, body: body, header: map[string]string{"Content-Type": "text/csv; charset=utf-8"}}
}

func TestImport(t *testing.T) {
	t.Parallel()
	s := newScene(t)
	dry := s.must(207, table("", "?dry_run=true", tableOfReadings))
	conforms(t, "Import", dry.response.Body.Bytes())
	if dry.json("stored") != false || dry.json("summary.created") != 2.0 || dry.json("items.0.id") != nil {
		t.Errorf("dry run = %s", dry.text())
	}

	first := s.must(207, table(s.key, "", tableOfReadings))
	conforms(t, "Import", first.response.Body.Bytes())
	if first.json("summary.created") != 2.0 || first.json("summary.failed") != 0.0 || first.json("summary.readings") != 3.0 || first.response.Header().Get("Evensun-Failed") != "0" {
		t.Fatalf("import = %s", first.text())
	}
	if !strings.Contains(first.text(), `"Air temp (°F)\" was converted from f to C`) {
		t.Errorf("notes do not tell the conversion: %s", first.text())
	}
	one := s.must(200, ask{do: "GET /v1/sessions/" + first.json("items.0.id").(string)})
	two := s.must(200, ask{do: "GET /v1/sessions/" + first.json("items.1.id").(string)})
	if one.json("rig_id") != two.json("rig_id") {
		t.Errorf("a rig named in every row was stored twice: %v, %v", one.json("rig_id"), two.json("rig_id"))
	}
	if got := one.json("session.readings.0.voltage_v"); got != 18.1 {
		t.Errorf("voltage stored = %v", got)
	}

	again := s.must(207, table(s.key, "", tableOfReadings))
	if again.json("summary.created") != 0.0 || again.json("summary.replayed") != 2.0 {
		t.Errorf("the same table again = %s, want both sessions known", again.text())
	}
}

// A session with a fault is refused whole, with the cell; the others are stored.
func TestImportRefusesSessionsByThemselves(t *testing.T) {
	t.Parallel()
	s := newScene(t)
	for name, c := range map[string]struct {
		old, new, code, column string
	}{
		"a cell":           {"18.05", `"18,05"`, "decimal_comma", "voltage_v"},
		"the interface":    {"18.05", "-18.05", "out_of_range", "voltage_v"},
		"physics":          {"8.40,151.5", "18.40,332", "current_above_isc", "current_a"},
		"an unknown panel": {"tarn-fold-200,35,180,18.05", "no-such-panel,35,180,18.05", "unknown", "panel"},
	} {
		t.Run(name, func(t *testing.T) {
			x := s.must(207, table(s.key, "?dry_run=true", strings.Replace(tableOfReadings, c.old, c.new, 1)))
			conforms(t, "Import", x.response.Body.Bytes())
			if x.response.Header().Get("Evensun-Failed") != "1" || x.json("summary.created") != 1.0 || x.json("items.0.outcome") != "failed" || x.json("items.0.id") != nil {
				t.Fatalf("import = %s, want one session of two refused and told first", x.text())
			}
			if x.json("items.0.errors.0.code") != c.code || x.json("items.0.errors.0.line") != 3.0 || x.json("items.0.errors.0.column") != c.column {
				t.Errorf("fault = %v, want %s of line 3, column %s", x.json("items.0.errors"), c.code, c.column)
			}
		})
	}
}

func TestImportOfOtherForms(t *testing.T) {
	t.Parallel()
	s := newScene(t)
	line := strings.Join(strings.Fields(s.session()), " ")
	x := s.must(207, ask{do: "POST /v1/imports", key: s.key, body: line + "\n\n{\"started_at\": 3}\n", header: map[string]string{"Content-Type": "application/x-ndjson"}})
	conforms(t, "Import", x.response.Body.Bytes())
	if x.json("summary.created") != 1.0 || x.json("summary.failed") != 1.0 || x.json("items.0.line") != 3.0 || x.json("items.0.errors.0.line") != 3.0 {
		t.Errorf("JSON Lines = %s", x.text())
	}
	comma := strings.NewReplacer(",", ";", "18.05", "18,05").Replace(tableOfReadings)
	if x := s.must(207, table(s.key, "?dry_run=true", comma)); x.json("summary.failed") != 1.0 {
		t.Errorf("a decimal comma nobody asked for = %s", x.text())
	}
	for name, c := range map[string]struct {
		ask    ask
		status int
		code   string
	}{
		"JSON":           {ask{do: "POST /v1/imports", key: s.key, body: "{}"}, 415, "unsupported_media_type"},
		"unknown column": {table(s.key, "", "powr\n1\n"), 422, "validation_failed"},
		"too large":      {table(s.key, "", "panel,power_w\n"+strings.Repeat("x,1\n", 2_700_000)), 413, "payload_too_large"},
		"bad parameter":  {table(s.key, "?decimal=dot", tableOfReadings), 400, "invalid_parameter"},
		"nobody":         {table("", "", tableOfReadings), 401, "unauthenticated"},
	} {
		t.Run(name, func(t *testing.T) {
			if x := s.must(c.status, c.ask); x.json("code") != c.code {
				t.Errorf("answer = %s, want %s", x.text(), c.code)
			}
		})
	}
}

func TestImportTemplate(t *testing.T) {
	t.Parallel()
	s := newScene(t)
	x := s.must(200, ask{do: "GET /v1/imports/template.csv"})
	columns := s.must(200, ask{do: "GET /v1/meta/columns"})
	conforms(t, "Columns", columns.response.Body.Bytes())
	if first := columns.json("columns.0.name").(string); !strings.HasPrefix(x.text(), first+",") {
		t.Errorf("template %q does not begin with the first column %q", x.text(), first)
	}
}
