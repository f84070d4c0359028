package web

import (
	"bytes"
	"context"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"fmt"
	"html/template"
	"net/http"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"evensun/internal/coding"
	"evensun/internal/fieldtest"
)

//go:embed pages/*.html
var pageFiles embed.FS

//go:embed assets
var assetFiles embed.FS

// Reads are what the pages show.
type Reads interface {
	// Ranking returns a published ranking; key "" is the default list.
	Ranking(ctx context.Context, measure, key string) (fieldtest.Ranking, error)
	// Names returns what panel models are called, by slug.
	Names(ctx context.Context) (map[string]string, error)
	// Panel returns all that is known of a panel model.
	Panel(ctx context.Context, slug string) (Panel, error)
	// Compare returns the pairs of some panel models on a measure.
	Compare(ctx context.Context, measure string, slugs []string) (fieldtest.Comparison, error)
	// Session returns the current revision of a session.
	Session(ctx context.Context, id uuid.UUID) (fieldtest.StoredSession, error)
	// Tester returns a tester.
	Tester(ctx context.Context, id uuid.UUID) (fieldtest.Tester, error)
	// Reading returns a reading with the way to its result.
	Reading(ctx context.Context, id uuid.UUID) (Reading, error)
}

// A Reading is one reading, as sent and as judged, with the way to its result.
type Reading struct {
	SessionID uuid.UUID
	Raw       fieldtest.Reading
	Judged    fieldtest.JudgedReading
	Steps     []fieldtest.Step
}

// A Panel is all that is known of a panel model.
type Panel struct {
	Model       fieldtest.PanelModel
	Results     fieldtest.PanelResults
	Conclusions fieldtest.Conclusions
	Prices      []fieldtest.StoredPrice
	Ranked      map[string]int // how many have a rank, by measure
}

// Options say what the pages are of.
type Options struct {
	Demo  bool   // the data are invented, and every page says so
	Rules []Rule // shown on the method page
}

// A Site serves the pages.
type Site struct {
	reads  Reads
	demo   bool
	rules  []Rule
	pages  *template.Template
	assets map[string]content // by file name
}

// content is bytes to send and the mark of them.
type content struct {
	body []byte
	mark string
}

func newContent(body []byte) content {
	sum := sha256.Sum256(body)
	return content{body, hex.EncodeToString(sum[:6])}
}

// New returns the pages over what they read.
func New(reads Reads, o Options) (*Site, error) {
	assets, err := embedded()
	if err != nil {
		return nil, fmt.Errorf("read the assets: %w", err)
	}
	functions := template.FuncMap{"asset": func(name string) (string, error) { return versioned(assets, name) }}
	pages, err := template.New("").Funcs(functions).ParseFS(pageFiles, "pages/*.html")
	if err != nil {
		return nil, fmt.Errorf("read the pages: %w", err)
	}
	return &Site{reads, o.Demo, o.Rules, pages, assets}, nil
}

func embedded() (map[string]content, error) {
	files, err := assetFiles.ReadDir("assets")
	if err != nil {
		return nil, err
	}
	all := map[string]content{}
	for _, f := range files {
		body, err := assetFiles.ReadFile("assets/" + f.Name())
		if err != nil {
			return nil, err
		}
		all[f.Name()] = newContent(body)
	}
	return all, nil
}

// versioned is the path of an asset with a mark of its content, so that browsers may keep
// it for ever and still see a new one.
func versioned(assets map[string]content, name string) (string, error) {
	a, ok := assets[name]
	if !ok {
		return "", fmt.Errorf("no asset %s", name)
	}
	return "/assets/" + name + "?v=" + a.mark, nil
}

// Mount adds the pages to a server.
func (s *Site) Mount(e *echo.Echo) {
	front := s.ranking(fieldtest.ShareOfRating)
	e.GET("/", front)
	e.HEAD("/", front)
	for _, m := range fieldtest.Measures() {
		page := s.ranking(m.Name)
		e.GET("/rankings/"+m.Name, page)
		e.HEAD("/rankings/"+m.Name, page)
	}
	e.GET("/panels/:slug", s.panel)
	e.GET("/compare", s.compare)
	e.GET("/sessions/:id", s.session)
	e.GET("/readings/:id", s.reading)
	e.GET("/method", s.method)
	e.GET("/plots/:file", s.plot)
	e.GET("/plots/panels/:file", s.panelPlot)
	e.GET("/assets/:file", s.asset)
}

// policy allows nothing but what the page brings itself.
const policy = "default-src 'none'; style-src 'self'; img-src 'self' data:; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

// ranking serves one measure's ranking as a page.
func (s *Site) ranking(measure string) echo.HandlerFunc {
	return func(c echo.Context) error {
		class, key, err := classOf(measure, c.QueryParam("cover"))
		if err != nil {
			return err
		}
		ctx := c.Request().Context()
		r, err := s.reads.Ranking(ctx, measure, key)
		if err != nil {
			return err
		}
		n, err := s.names(ctx)
		if err != nil {
			return err
		}
		return s.render(c, "ranking.html", s.rankingPage(&r, class, n))
	}
}

// classOf returns the class of cover that is shown and the name of its list.
func classOf(measure, asked string) (class, key string, err error) {
	if measure != fieldtest.ShadeRetention {
		return "", "", nil
	}
	switch asked {
	case "":
		return "0.25", "", nil
	case "0.25", "0.33", "0.50":
		return asked, asked, nil
	}
	return "", "", fieldtest.Missing("covered share", asked)
}

// panel serves one panel model as a page.
func (s *Site) panel(c echo.Context) error {
	ctx := c.Request().Context()
	p, err := s.reads.Panel(ctx, c.Param("slug"))
	if err != nil {
		return err
	}
	n, err := s.names(ctx)
	if err != nil {
		return err
	}
	return s.render(c, "panel.html", s.panelPage(&p, n))
}

// render fills a page whole before a byte is sent, so that a fault in a template is an
// error and not half a page.
func (s *Site) render(c echo.Context, name string, data any) error {
	return s.renderAs(c, http.StatusOK, name, data)
}

// renderAs is render with a status; what is no success is not kept.
func (s *Site) renderAs(c echo.Context, status int, name string, data any) error {
	var page bytes.Buffer
	if err := s.pages.ExecuteTemplate(&page, name, data); err != nil {
		return fmt.Errorf("render %s: %w", name, err)
	}
	c.Response().Header().Set("Content-Security-Policy", policy)
	if status != http.StatusOK {
		return c.HTMLBlob(status, page.Bytes())
	}
	return send(c, newContent(page.Bytes()), "text/html; charset=utf-8", "public, max-age=30, stale-while-revalidate=60")
}

// asset serves one embedded file. Only under the mark of its content may it be kept for
// ever: without one the next version has the same address.
func (s *Site) asset(c echo.Context) error {
	file, ok := s.assets[c.Param("file")]
	if !ok {
		return fieldtest.Missing("file", c.Param("file"))
	}
	cache := "no-cache"
	if c.QueryParam("v") == file.mark {
		cache = "public, max-age=31536000, immutable"
	}
	return send(c, file, "text/css; charset=utf-8", cache)
}

// send answers with content, or with 304 if the browser has it.
func send(c echo.Context, what content, media, cache string) error {
	h := c.Response().Header()
	if len(what.body) >= coding.WorthFrom && coding.Accepts(c.Request().Header.Get("Accept-Encoding"), "gzip") {
		small, err := coding.Gzip(what.body)
		if err != nil {
			return fmt.Errorf("compress a page: %w", err)
		}
		what = content{small, what.mark + "-gzip"} // two encodings may not share a strong ETag (RFC 9110 8.8.3.3)
		h.Set("Content-Encoding", "gzip")
	}
	h.Set("Content-Type", media)
	h.Set("Cache-Control", cache)
	h.Set("ETag", `"`+what.mark+`"`)
	http.ServeContent(c.Response(), c.Request(), "", time.Time{}, bytes.NewReader(what.body))
	return nil
}
