package web_test

import (
	"context"
	"net/http"
	"net/http/httptest"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"evensun/internal/fieldtest"
	"evensun/internal/web"
)

var anID = uuid.MustParse("01970000-0000-7000-8000-000000000001")

func (o one) Compare(_ context.Context, measure string, slugs []string) (fieldtest.Comparison, error) {
	switch {
	case slugs[0] == "nobody" || slugs[1] == "nobody":
		return fieldtest.Comparison{}, fieldtest.Missing("panel model", "nobody")
	case measure == fieldtest.PowerPerMass:
		return fieldtest.Comparison{}, &fieldtest.Refusal{Kind: fieldtest.InvalidParameter, Faults: []fieldtest.Fault{{Reason: "quill-leaf-60 needs a mass."}}}
	}
	p := fieldtest.Pair{A: slugs[0], B: slugs[1], Ratio: 1.05, RatioLo: 1.02, RatioHi: 1.08, ProbabilityABetter: 0.997, ToldApart: true, Basis: "same_session"}
	if measure == fieldtest.FlatRetention {
		p = fieldtest.Pair{Ratio: 0.99, RatioLo: 0.95, RatioHi: 1.03, ProbabilityABetter: 0.3, Basis: "absolute_scale"}
	}
	return fieldtest.Comparison{Measure: measure, Pairs: []fieldtest.Pair{p}}, nil
}

func (one) Tester(context.Context, uuid.UUID) (fieldtest.Tester, error) {
	return fieldtest.Tester{DisplayName: "Field <Hand>"}, nil
}

func aReading() (fieldtest.Reading, fieldtest.JudgedReading) {
	raw := fieldtest.Reading{Label: "A1", VoltageV: pointer(18.1), CurrentA: pointer(8.42), PowerW: pointer(152.0), Irradiance: fieldtest.Irradiance{POAWM2: pointer(912.0)}}
	judged := fieldtest.JudgedReading{
		ID: pointer(anID), Label: "A1", PanelModel: pointer("tarn-fold-200"), Arrangement: fieldtest.Tilted, State: fieldtest.Counted, TakenAt: time.Date(2026, 6, 14, 17, 22, 0, 0, time.UTC),
		Result: &fieldtest.Result{StcPowerW: 188.5, StcPowerLoW: 173.7, StcPowerHiW: 203.4, EffectiveWM2: 912, CellC: 50.2, Parts: fieldtest.UncertaintyParts{Reading: 0.0162, Session: 0.0049, Rig: 0.0322, Model: 0.0084, Common: 0.0052}},
	}
	return raw, judged
}

func (one) Session(_ context.Context, id uuid.UUID) (fieldtest.StoredSession, error) {
	if id != anID {
		return fieldtest.StoredSession{}, fieldtest.Missing("session", id.String())
	}
	raw, judged := aReading()
	held, dark := judged, fieldtest.JudgedReading{Label: "A3", State: fieldtest.Counted, ResultReason: pointer("irradiance_too_low")}
	held.Label, held.State, held.Findings = "A2", fieldtest.Held, []fieldtest.Finding{{Severity: fieldtest.Hold, Reason: "More light than this sky sends."}, {Severity: fieldtest.Note, Reason: "A note."}}
	return fieldtest.StoredSession{
		ID: anID, State: fieldtest.SessionAccepted, Readings: []fieldtest.JudgedReading{judged, held, dark},
		Session: fieldtest.Session{StartedAt: judged.TakenAt, Site: fieldtest.Site{LatitudeDeg: -38.5, LongitudeDeg: -106}, Sky: fieldtest.Sky{Condition: fieldtest.ThinHaze}, Note: "north lawn", Readings: []fieldtest.Reading{raw, raw, {Label: "A3"}}},
	}, nil
}

func (one) Reading(_ context.Context, id uuid.UUID) (web.Reading, error) {
	raw, judged := aReading()
	step := func(name string, outputs map[string]any) fieldtest.Step {
		return fieldtest.Step{Step: name, Source: "Source of " + name, Inputs: map[string]any{}, Outputs: outputs}
	}
	return web.Reading{SessionID: id, Raw: raw, Judged: judged, Steps: []fieldtest.Step{
		step("wiring", map[string]any{"measured_power_w": 152.0, "terminal_power_w": 154.1, "resistance_ohm": 0.03}),
		step("low_light", map[string]any{"relative_efficiency": 1.0005}),
		step("stc_power", map[string]any{"power_before_tracker_w": 187.6, "power_w": 188.5}),
	}}, nil
}

func lacks(t *testing.T, body string, wants ...string) {
	t.Helper()
	for _, want := range wants {
		if !strings.Contains(body, want) {
			t.Errorf("the page lacks %q", want)
		}
	}
}

func TestComparePage(t *testing.T) {
	t.Parallel()
	body := panelPage(t, leaf(), web.Options{}, "/compare?models=quill-leaf-60&models=tarn-fold-200&models=quill-leaf-60").Body.String()
	lacks(t, body, "Quill Leaf 60 against Tarn Fold 200", "&#43;5.0 %", "&#43;2.0 % to &#43;8.0 %", "more than 99 in 100 that Quill Leaf 60 is better", "read in one session",
		"7 in 10 that Tarn Fold 200 is better: too close to call", "no common test yet: read both in one session",
		"Watts per kilogram: Quill Leaf 60 needs a mass.", `value="quill-leaf-60" checked`, "/v1/comparisons?models=quill-leaf-60,tarn-fold-200", ">0</text>", "<svg")
	if three := panelPage(t, leaf(), web.Options{}, "/compare?models=a1,b1,c1").Body.String(); strings.Count(three, "<svg") != 3 {
		t.Errorf("three panels make %d plots of pairs", strings.Count(three, "<svg"))
	}
	if none := panelPage(t, leaf(), web.Options{}, "/compare"); none.Code != http.StatusOK || strings.Contains(none.Body.String(), "<svg") {
		t.Errorf("without panels: %d", none.Code)
	}
	for _, bad := range []string{"/compare?models=a1,b1,c1,d1", "/compare?models=quill-leaf-60,nobody"} {
		if rec := panelPage(t, leaf(), web.Options{}, bad); rec.Code == http.StatusOK {
			t.Errorf("%s = %d", bad, rec.Code)
		}
	}
}

func TestSessionPage(t *testing.T) {
	t.Parallel()
	body := panelPage(t, leaf(), web.Options{}, "/sessions/"+anID.String()).Body.String()
	lacks(t, body, "Session of 14 Jun 2026", "Field &lt;Hand&gt;", "38.5° south, 106.0° west", "thin haze", "Note: north lawn", "/readings/"+anID.String(),
		`<a href="/panels/tarn-fold-200">Tarn Fold 200</a>`, "18.1 V, 8.42 A, 152 W", "912 W/m²", "188.5 (173.7 to 203.4) W", "held: More light than this sky sends.", "counted: ")
	for _, bad := range []string{"/sessions/xyz", "/sessions/01970000-0000-7000-8000-000000000009", "/readings/xyz"} {
		if rec := panelPage(t, leaf(), web.Options{}, bad); rec.Code == http.StatusOK {
			t.Errorf("%s = %d", bad, rec.Code)
		}
	}
}

// The steps of the fall multiply to the result, from the meter's watts to standard light.
func TestReadingPage(t *testing.T) {
	t.Parallel()
	lacks(t, panelPage(t, leaf(), web.Options{}, "/readings/"+anID.String()).Body.String(),
		"<h1>Reading A1</h1>", "152.0 W", "× 1.014", "154.1 W", "912 W/m² to 1000 W/m²", "169.0 W", "50.2 °C to 25 °C", "187.6 W", "188.5 W (173.7 to 203.4 W)",
		"the rig", "3.22 %", `width="100.0%"`, `width="50.3%"`, "Source of wiring", "/v1/readings/"+anID.String()+"/derivation")
}

func TestMethodPage(t *testing.T) {
	t.Parallel()
	rules := []web.Rule{
		{ID: "sun_below_horizon", Group: "sun", Severities: "reject", Doubts: "A reading at night.", Source: "astronomy", FalseAlarm: pointer(0.0), Power: pointer(0.9812)},
		{ID: "new_rule", Group: "sun", Severities: "note", Doubts: "Something new."},
	}
	lacks(t, panelPage(t, leaf(), web.Options{Rules: rules}, "/method").Body.String(), "sun below horizon", "A reading at night.", "0.00 %", "98.12 %", "not stated", "In short")
}

// What went wrong stands in the frame, with its status and a way back.
func TestProblemPage(t *testing.T) {
	t.Parallel()
	site, err := web.New(one{}, web.Options{Demo: true})
	if err != nil {
		t.Fatal(err)
	}
	w := httptest.NewRecorder()
	c := echo.New().NewContext(httptest.NewRequest(http.MethodGet, "/nothing", nil), w)
	if err := site.Problem(c, http.StatusNotFound, "There is no such thing", `There is no page "<x>".`, "Check the address."); err != nil {
		t.Fatal(err)
	}
	if w.Code != http.StatusNotFound {
		t.Errorf("status %d", w.Code)
	}
	lacks(t, w.Body.String(), "There is no page &#34;&lt;x&gt;&#34;.", `href="/"`, "Demonstration:")
}

// A plot by address holds the numbers of its page, names its ranking, and brings its own
// colours.
func TestPlotsByAddress(t *testing.T) {
	t.Parallel()
	r := ranking()
	r.SHA256 = strings.Repeat("ab", 32)
	site, err := web.New(one{list: r, panel: leaf()}, web.Options{Demo: true})
	if err != nil {
		t.Fatal(err)
	}
	e := echo.New()
	site.Mount(e)
	get := func(path string) *httptest.ResponseRecorder {
		w := httptest.NewRecorder()
		e.ServeHTTP(w, httptest.NewRequest(http.MethodGet, path, nil))
		return w
	}
	page := get("/rankings/share-of-rating").Body.String()
	for path, wants := range map[string][]string{
		"/plots/share-of-rating.svg":            {"Share of rating, in %", "Tarn Fold 200", "Ranking abababababab, through entry 41."},
		"/plots/shade-retention.svg?cover=0.50": {"Part shade, half covered"},
		"/plots/panels/quill-leaf-60.svg":       {"Quill Leaf 60: Power at standard test conditions by session, in W", "all together"},
	} {
		w := get(path)
		body := w.Body.String()
		if w.Code != http.StatusOK || w.Header().Get("Content-Type") != "image/svg+xml" || !strings.HasPrefix(body, "<svg xmlns=") {
			t.Errorf("%s = %d %s", path, w.Code, w.Header().Get("Content-Type"))
		}
		lacks(t, body, append(wants, "Demonstration: invented data.", "<style>", "<title id=", "<desc id=")...)
		if strings.Contains(body, "<script") || path == "/plots/share-of-rating.svg" && barsOf(body) != barsOf(page) {
			t.Errorf("%s differs from its page", path)
		}
	}
	for _, bad := range []string{"/plots/share-of-rating", "/plots/nothing.svg", "/plots/panels/nobody.svg", "/plots/shade-retention.svg?cover=0.9"} {
		if w := get(bad); w.Code == http.StatusOK {
			t.Errorf("%s = %d", bad, w.Code)
		}
	}
}

var bar = regexp.MustCompile(`<line x1="[^"]*" x2="[^"]*" y1="[^"]*" y2="[^"]*" class="bar"/>`)

// barsOf are the intervals that a plot draws.
func barsOf(body string) string { return strings.Join(bar.FindAllString(body, -1), "") }
