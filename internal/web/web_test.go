package web_test

import (
	"compress/gzip"
	"context"
	"io"
	"net/http"
	"net/http/httptest"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/labstack/echo/v4"

	"evensun/internal/fieldtest"
	"evensun/internal/web"
)

// one serves the same ranking for every measure, and one panel.
type one struct {
	list  fieldtest.Ranking
	panel web.Panel
}

func (o one) Names(context.Context) (map[string]string, error) {
	return map[string]string{"tarn-fold-200": "Tarn Fold 200", "quill-leaf-60": "Quill Leaf 60"}, nil
}

func (o one) Panel(_ context.Context, slug string) (web.Panel, error) {
	if slug != o.panel.Model.Slug {
		return web.Panel{}, fieldtest.Missing("panel model", slug)
	}
	return o.panel, nil
}

func (o one) Ranking(_ context.Context, measure, _ string) (fieldtest.Ranking, error) {
	r := o.list
	r.Measure = measure
	return r, nil
}

func page(t *testing.T, r fieldtest.Ranking, path string) *httptest.ResponseRecorder {
	t.Helper()
	site, err := web.New(one{list: r}, web.Options{})
	if err != nil {
		t.Fatal(err)
	}
	e := echo.New()
	site.Mount(e)
	rec := httptest.NewRecorder()
	e.ServeHTTP(rec, httptest.NewRequest(http.MethodGet, path, nil))
	if rec.Code != http.StatusOK {
		t.Fatalf("GET %s = %d %s", path, rec.Code, rec.Body)
	}
	return rec
}

func ranking() fieldtest.Ranking {
	return fieldtest.Ranking{
		Unit: "1", ComputedThrough: 41, ComputedAt: new(time.Date(2026, 6, 14, 12, 0, 0, 0, time.UTC)),
		Model: &fieldtest.RankingModel{Readings: 58, Sessions: 22, Testers: 9},
		Entries: []fieldtest.Entry{
			{PanelModel: "tarn-fold-200", Rank: 1, RankLo: 1, RankHi: 2, TieGroup: "a", Estimate: 0.913, EstimateLo: 0.891, EstimateHi: 0.935, Sentence: "Rank 1, could be 1 to 2: so it says."},
			{PanelModel: `<script>"x"</script>`, Rank: 2, RankLo: 1, RankHi: 2, TieGroup: "a", Estimate: 0.9, EstimateLo: 0.88, EstimateHi: 0.92, Sentence: "Rank 2, could be 1 to 2: so it says."},
		},
		Unranked: []fieldtest.Unranked{{PanelModel: "quill-leaf-60", Reason: "one_tester_only", Needs: "a session by another tester"}},
	}
}

func TestRankingPage(t *testing.T) {
	t.Parallel()
	body := page(t, ranking(), "/").Body.String()
	for _, want := range []string{
		"91.3", "89.1 to 93.5", "1 (1 to 2)", "Rank 1, could be 1 to 2", `href="/panels/tarn-fold-200">Tarn Fold 200`, "format=csv", `href="/docs"`,
		"one tester only", "<svg", "9 testers",
	} {
		if !strings.Contains(body, want) {
			t.Errorf("the page lacks %q", want)
		}
	}
	if strings.Contains(body, "<script") {
		t.Error("a slug with markup reached the page as markup")
	}
}

var (
	tickText = regexp.MustCompile(`text-anchor="middle"[^>]*>([^<]*)<`)
	across   = regexp.MustCompile(` (?:x|x1|x2|cx)="([^"]*)"`)
	nameText = regexp.MustCompile(`<text x="0"[^>]*>(?:<title>([^<]*)</title>)?([^<]*)</text>`)
)

// The plot has the width of the screen, and nothing of it lies outside. A name too long
// for a phone is shortened and stands whole in a title.
func TestPlotFitsEveryWidth(t *testing.T) {
	t.Parallel()
	long := strings.Repeat("long-slug-", 7) + "at-its-end"
	for scale, name := range map[float64]string{1: "as measured", 0.001: "small", 1e4: "large"} {
		r := ranking()
		r.Entries[0].PanelModel = long
		for i := range r.Entries {
			e := &r.Entries[i]
			e.Estimate, e.EstimateLo, e.EstimateHi = e.Estimate*scale, e.EstimateLo*scale, e.EstimateHi*scale
		}
		body := page(t, r, "/").Body.String()
		found := across.FindAllStringSubmatch(body, -1)
		if len(found) < 12 {
			t.Fatalf("%s: %d places across the plot", name, len(found))
		}
		for _, m := range found {
			if percent, err := strconv.ParseFloat(strings.TrimSuffix(m[1], "%"), 64); err != nil || percent < 0 || percent > 100 {
				t.Errorf("%s: %s lies outside", name, m[0])
			}
		}
		for _, m := range tickText.FindAllStringSubmatch(body, -1) {
			if len(m[1]) > 7 {
				t.Errorf("%s: a tick reads %s", name, m[1])
			}
		}
		names := nameText.FindAllStringSubmatch(body, -1)
		if len(names) != 2 || names[0][1] != long || len([]rune(names[0][2])) > 32 || names[1][1] != "" {
			t.Errorf("%s: names %q", name, names)
		}
	}
}

// TestNothingFromElsewhere looks for requests that a browser would make by itself.
func TestNothingFromElsewhere(t *testing.T) {
	t.Parallel()
	rec := page(t, ranking(), "/rankings/stc-power")
	loads := regexp.MustCompile(`(?i)(src|<link[^>]+href)="([^"]*)"`)
	for _, m := range loads.FindAllStringSubmatch(rec.Body.String(), -1) {
		if !strings.HasPrefix(m[2], "/assets/") {
			t.Errorf("the page loads %s", m[2])
		}
	}
	if strings.Contains(rec.Body.String(), "style=") {
		t.Error("a style attribute would be blocked by the policy")
	}
	if got := rec.Header().Get("Content-Security-Policy"); !strings.HasPrefix(got, "default-src 'none'") {
		t.Errorf("policy %q", got)
	}
}

// served answers one request on a site with the usual ranking.
func served(t *testing.T, method, target, noneMatch string) *httptest.ResponseRecorder {
	t.Helper()
	r, w := httptest.NewRequest(method, target, nil), httptest.NewRecorder()
	r.Header.Set("If-None-Match", noneMatch)
	usual(t).ServeHTTP(w, r)
	return w
}

// usual is a server of a site with the usual ranking.
func usual(t *testing.T) *echo.Echo {
	t.Helper()
	site, err := web.New(one{list: ranking()}, web.Options{})
	if err != nil {
		t.Fatal(err)
	}
	e := echo.New()
	site.Mount(e)
	return e
}

var styleSheet = regexp.MustCompile(`/assets/evensun\.css\?v=[0-9a-f]+`)

// What the browser has is not sent again, and what it may keep for ever has an address
// that changes with the content.
func TestPagesAndAssetsAreCached(t *testing.T) {
	t.Parallel()
	first := served(t, http.MethodGet, "/", "")
	sheet := styleSheet.FindString(first.Body.String())
	for target, cache := range map[string]string{
		"/": "public, max-age=30, stale-while-revalidate=60", sheet: "public, max-age=31536000, immutable",
		"/assets/evensun.css": "no-cache", "/assets/evensun.css?v=0": "no-cache",
	} {
		w := served(t, http.MethodGet, target, "")
		tag := w.Header().Get("ETag")
		if w.Code != http.StatusOK || w.Header().Get("Cache-Control") != cache || tag == "" {
			t.Errorf("%s: %d, Cache-Control %q, ETag %q; want %q", target, w.Code, w.Header().Get("Cache-Control"), tag, cache)
		}
		if again := served(t, http.MethodGet, target, tag); again.Code != http.StatusNotModified || again.Body.Len() > 0 || again.Header().Get("Cache-Control") != cache {
			t.Errorf("%s again: %d, %d bytes, %v", target, again.Code, again.Body.Len(), again.Header())
		}
	}
}

// Pages go out compressed to whoever wants that, under a tag of their own.
func TestPagesAreCompressed(t *testing.T) {
	t.Parallel()
	e := usual(t)
	plain := served(t, http.MethodGet, "/", "")
	for encoding, want := range map[string]bool{"gzip": true, "br, GZIP;q=0.8": true, "": false, "br": false, "gzip;q=0": false, "gzip; q=0.0, br": false} {
		r, w := httptest.NewRequest(http.MethodGet, "/", nil), httptest.NewRecorder()
		r.Header.Set("Accept-Encoding", encoding)
		e.ServeHTTP(w, r)
		if got := w.Header().Get("Content-Encoding") == "gzip"; got != want || got == (w.Header().Get("ETag") == plain.Header().Get("ETag")) {
			t.Errorf("Accept-Encoding %q: %v, want it compressed: %t", encoding, w.Header(), want)
			continue
		}
		body := w.Body.String()
		if want {
			z, err := gzip.NewReader(w.Body)
			if err != nil {
				t.Fatal(err)
			}
			raw, err := io.ReadAll(z)
			if err != nil {
				t.Fatal(err)
			}
			body = string(raw)
		}
		if body != plain.Body.String() {
			t.Errorf("Accept-Encoding %q gives another page", encoding)
		}
	}
}

func TestOnlyFilesAreAssets(t *testing.T) {
	t.Parallel()
	for _, target := range []string{"/assets/.", "/assets/..", "/assets/nothing.css", "/assets/..%2fweb.go", "/assets/%2e%2e%2fweb.go"} {
		if w := served(t, http.MethodGet, target, ""); w.Code == http.StatusOK {
			t.Errorf("%s = %d %s", target, w.Code, w.Body)
		}
	}
}

func TestEmptyRanking(t *testing.T) {
	t.Parallel()
	body := page(t, fieldtest.Ranking{Unit: "W", Headline: "Nothing has been measured yet."}, "/").Body.String()
	if !strings.Contains(body, "Nothing has been measured yet.") || strings.Contains(body, "<svg") {
		t.Error("an empty ranking must say so and show no plot")
	}
}
