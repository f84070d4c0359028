package web_test

import (
	"net/http"
	"net/http/httptest"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"evensun/internal/conclusion"
	"evensun/internal/fieldtest"
	"evensun/internal/web"
)

func pointer[T any](x T) *T { return &x }

// leaf is a panel with two sessions, a held reading, a price and a place.
func leaf() web.Panel {
	day := time.Date(2026, 11, 25, 11, 0, 0, 0, time.UTC)
	m := fieldtest.PanelModel{Slug: "quill-leaf-60", Maker: "Quill", Model: "Leaf 60",
		Nameplate:    fieldtest.Nameplate{PmaxW: pointer(60.0), GammaPmaxPerK: pointer(-0.0029)},
		Construction: fieldtest.Construction{Technology: fieldtest.BackContact, Sections: pointer(3), WiringClaimed: "series_bypass"},
		Size:         fieldtest.Size{MassKg: pointer(1.5), FoldedVolumeL: pointer(3.2)}}
	c := conclusion.OfNone(&m)
	c.Sessions = []fieldtest.SessionOrder{{SessionID: uuid.UUID{0: 2}, Place: 1, Panels: make([]fieldtest.SessionPlace, 3)}}
	reading := func(session byte, label string, hours int, w, weight float64) fieldtest.Contribution {
		return fieldtest.Contribution{SessionID: uuid.UUID{0: session}, Label: label, TakenAt: day.Add(time.Duration(hours) * time.Hour), StcPowerW: w, StcPowerUW: 1, Weight: weight}
	}
	return web.Panel{
		Model: m, Conclusions: c, Ranked: map[string]int{fieldtest.StcPower: 12, fieldtest.ShareOfRating: 12},
		Prices: []fieldtest.StoredPrice{{Price: fieldtest.Price{Amount: "139.00", Currency: "EUR", Date: "2026-10-12", Region: "NL", Condition: "new"}}},
		Results: fieldtest.PanelResults{
			Entries: []fieldtest.MeasureEntry{
				{Measure: fieldtest.StcPower, Unit: "W", Entry: &fieldtest.Entry{Rank: 12, RankLo: 11, RankHi: 12, Estimate: 59.9, EstimateLo: 57.7, EstimateHi: 62.1, Readings: 3, Sessions: 2, Testers: 1}},
				{Measure: fieldtest.ShareOfRating, Unit: "1", Entry: &fieldtest.Entry{Rank: 1, RankLo: 1, RankHi: 3, Estimate: 0.998, EstimateLo: 0.962, EstimateHi: 1.035, Sentence: "Rank 1, could be 1 to 3: the data cannot tell it apart from tarn-fold-200."}},
			},
			Contributions: []fieldtest.Contribution{reading(1, "A1", 0, 60, 0.3), reading(2, "B1", 24, 58, 0.35), reading(2, "B2", 25, 59, 0.35)},
			Findings: []fieldtest.Finding{
				{Severity: fieldtest.Hold, State: fieldtest.FindingOpen, Label: pointer("C1"), Reason: "Less light than <b>this</b> sky sends."},
				{Severity: fieldtest.Note, State: fieldtest.FindingOpen, Label: pointer("C2"), Reason: "A mere note."},
				{Severity: fieldtest.Hold, State: fieldtest.FindingKept, Label: pointer("C3"), Reason: "A reviewer kept it."},
			},
		},
	}
}

func panelPage(t *testing.T, p web.Panel, o web.Options, path string) *httptest.ResponseRecorder {
	t.Helper()
	site, err := web.New(one{list: ranking(), panel: p}, o)
	if err != nil {
		t.Fatal(err)
	}
	e := echo.New()
	site.Mount(e)
	rec := httptest.NewRecorder()
	e.ServeHTTP(rec, httptest.NewRequest(http.MethodGet, path, nil))
	return rec
}

func TestPanelPage(t *testing.T) {
	t.Parallel()
	rec := panelPage(t, leaf(), web.Options{}, "/panels/quill-leaf-60")
	body := rec.Body.String()
	if rec.Code != http.StatusOK {
		t.Fatalf("%d %s", rec.Code, body)
	}
	for _, want := range []string{
		"<h1>Quill Leaf 60</h1>", "60 W by its label, back contact cells, 3 sections, 1.5 kg, 3.2 l packed",
		"Gives 59.9 W (57.7 to 62.1 W)", "99.8 % of its label, by 3 readings of 2 sessions and 1 tester",
		"<strong>Strong:</strong> share of rating", "<strong>Weak:</strong> watts",
		"cannot tell it apart from Tarn Fold 200", "12 of 12 (11 to 12)", "26 Nov 2026", "58.5", "70 %", "1 of 3",
		"With a third covered: not known", "The maker says series bypass.", "Cover 1 of 3 sections", "It loses 0.29 % a kelvin, by its label",
		"Reading C1</a>: Less light than &lt;b&gt;this&lt;/b&gt; sky sends.", "139.00 EUR", "NL", "-0.29 %/K", "/v1/panel-models/quill-leaf-60/conclusions", "<svg",
	} {
		if !strings.Contains(body, want) {
			t.Errorf("the page lacks %q", want)
		}
	}
	for _, never := range []string{"mere note", "kept it", "tarn-fold-200", "style=", "<script", "Demonstration"} {
		if strings.Contains(body, never) {
			t.Errorf("the page has %q", never)
		}
	}
	if first, second := strings.Index(body, "26 Nov 2026"), strings.Index(body, "25 Nov 2026"); first > second {
		t.Error("sessions do not stand newest first")
	}
}

func TestPanelPageOfAPanelThatNobodyRead(t *testing.T) {
	t.Parallel()
	p := leaf()
	p.Results, p.Conclusions, p.Prices = fieldtest.PanelResults{}, conclusion.OfNone(&p.Model), nil
	body := panelPage(t, p, web.Options{}, "/panels/quill-leaf-60").Body.String()
	for _, want := range []string{"It has no rank yet. Nobody has read it in the sun.", "No reading counts yet.", "Nobody has told a price.", "No reading waits for a reviewer."} {
		if !strings.Contains(body, want) {
			t.Errorf("the page lacks %q", want)
		}
	}
	if strings.Contains(body, "<svg") {
		t.Error("nothing is plotted")
	}
	p.Results.Entries = []fieldtest.MeasureEntry{{Measure: fieldtest.StcPower, Unranked: &fieldtest.Unranked{Needs: "a second session", Estimate: pointer(58.0), EstimateU: pointer(1.5)}}}
	if body = panelPage(t, p, web.Options{}, "/panels/quill-leaf-60").Body.String(); !strings.Contains(body, "So far it gave 58.0 W, give or take 3.0 W. It needs a second session.") {
		t.Error("the page does not say what is known so far")
	}
	if rec := panelPage(t, p, web.Options{}, "/panels/nobody"); rec.Code == http.StatusOK {
		t.Errorf("a panel that does not exist = %d", rec.Code)
	}
}

// Every page says that invented data are invented, at its head and at its foot.
func TestDemonstrationIsCalledSo(t *testing.T) {
	t.Parallel()
	for _, path := range []string{"/", "/rankings/hot", "/rankings/shade-retention?cover=0.50", "/panels/quill-leaf-60"} {
		if n := strings.Count(panelPage(t, leaf(), web.Options{Demo: true}, path).Body.String(), "Demonstration:"); n != 2 {
			t.Errorf("%s says so %d times", path, n)
		}
	}
}

var current = regexp.MustCompile(`aria-current="page">([^<]*)<`)

// Each list of the menu leads to a page that marks it, and each class of cover is a list.
func TestMenuLeadsToEveryList(t *testing.T) {
	t.Parallel()
	links := regexp.MustCompile(`<li><a href="(/rankings/[^"]*)">([^<]*)</a></li>`).FindAllStringSubmatch(panelPage(t, leaf(), web.Options{}, "/panels/quill-leaf-60").Body.String(), -1)
	if len(links) != len(fieldtest.Measures())+2 {
		t.Errorf("%d lists, want one a measure and three classes of cover", len(links))
	}
	for _, l := range links {
		rec := panelPage(t, leaf(), web.Options{}, l[1])
		here := current.FindAllStringSubmatch(rec.Body.String(), -1)
		if rec.Code != http.StatusOK || len(here) != 1 || here[0][1] != l[2] {
			t.Errorf("%s (%s) = %d, marks %v", l[1], l[2], rec.Code, here)
		}
	}
	if rec := panelPage(t, leaf(), web.Options{}, "/rankings/shade-retention?cover=0.9"); rec.Code == http.StatusOK {
		t.Error("a class that nobody ranks has a page")
	}
}
