package web

import (
	"bytes"
	"context"
	"crypto/sha256"
	"embed"
	"errors"
	"fmt"
	"html/template"
	"io/fs"
	"net/http"

	"github.com/labstack/echo/v4"

	"evensun/internal/fieldtest"
)

//go:embed pages/*.html
var pageFiles embed.FS

//go:embed assets
var assetFiles embed.FS

// Rankings are read by the pages.
type Rankings interface {
	// Ranking returns a published ranking; key "" is the default list.
	Ranking(ctx context.Context, measure, key string) (fieldtest.Ranking, error)
}

// A Site serves the pages.
type Site struct {
	rankings Rankings
	pages    *template.Template
	assets   fs.FS
}

// New returns the pages over a source of rankings.
func New(rankings Rankings) (*Site, error) {
	assets, err := fs.Sub(assetFiles, "assets")
	if err != nil {
		return nil, fmt.Errorf("read the assets: %w", err)
	}
	functions := template.FuncMap{"asset": func(name string) (string, error) { return versioned(assets, name) }}
	pages, err := template.New("").Funcs(functions).ParseFS(pageFiles, "pages/*.html")
	if err != nil {
		return nil, fmt.Errorf("read the pages: %w", err)
	}
	return &Site{rankings, pages, assets}, nil
}

// versioned is the path of an asset with a mark of its content, so that browsers may keep
// it for ever and still see a new one.
func versioned(assets fs.FS, name string) (string, error) {
	raw, err := fs.ReadFile(assets, name)
	if err != nil {
		return "", err
	}
	return fmt.Sprintf("/assets/%s?v=%x", name, sha256.Sum256(raw))[:len("/assets/?v=")+len(name)+12], nil
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
	e.GET("/assets/:file", s.asset)
}

// policy allows nothing but what the page brings itself.
const policy = "default-src 'none'; style-src 'self'; img-src 'self' data:; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

// ranking serves one measure's ranking as a page.
func (s *Site) ranking(measure string) echo.HandlerFunc {
	return func(c echo.Context) error {
		r, err := s.rankings.Ranking(c.Request().Context(), measure, "")
		if err != nil {
			return err
		}
		return s.render(c, "ranking.html", rankingPage(&r))
	}
}

// render fills a page whole before a byte is sent, so that a fault in a template is an
// error and not half a page.
func (s *Site) render(c echo.Context, name string, data any) error {
	var page bytes.Buffer
	if err := s.pages.ExecuteTemplate(&page, name, data); err != nil {
		return fmt.Errorf("render %s: %w", name, err)
	}
	h := c.Response().Header()
	h.Set("Content-Security-Policy", policy)
	h.Set("Cache-Control", "public, max-age=30, stale-while-revalidate=60")
	return c.HTMLBlob(http.StatusOK, page.Bytes())
}

// asset serves one embedded file.
func (s *Site) asset(c echo.Context) error {
	file, err := s.assets.Open(c.Param("file"))
	if errors.Is(err, fs.ErrNotExist) || errors.Is(err, fs.ErrInvalid) {
		return fieldtest.Missing("file", c.Param("file"))
	}
	if err != nil {
		return err
	}
	defer file.Close()
	c.Response().Header().Set("Cache-Control", "public, max-age=31536000, immutable")
	return c.Stream(http.StatusOK, "text/css; charset=utf-8", file)
}
