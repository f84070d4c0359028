package httpapi

import (
	"context"
	"embed"
	"fmt"
	"html/template"
	"io"
	"net/http"
	"slices"
	"strings"
	"time"

	"evensun/api"
	"evensun/internal/contract"
	"evensun/internal/fieldtest"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/labstack/echo/v4"
)

// Documents are made once from the interface's description.
type documents struct {
	yaml, json []byte
	quantities Quantities
	docs       map[string]reply
}

//go:embed docs
var docsFiles embed.FS

func newDocuments(own *contract.Contract) (documents, error) {
	d := documents{yaml: api.Document(), quantities: quantitiesOf(own.Document()), docs: map[string]reply{}}
	var err error
	if d.json, err = own.Document().MarshalJSON(); err != nil {
		return d, err
	}
	for name, media := range map[string]string{"index.html": "text/html", "start.js": "text/javascript", "swagger-ui-bundle.js": "text/javascript", "swagger-ui.css": "text/css"} {
		body, err := docsFiles.ReadFile("docs/" + name)
		if err != nil {
			return d, err
		}
		d.docs[name] = reply{media: media + "; charset=utf-8", cache: "public, max-age=3600", etag: contentTag(body), body: body}
	}
	return d, nil
}

// quantitiesOf lists the numbers that can be sent, by schema and name.
func quantitiesOf(doc *openapi3.T) Quantities {
	all := Quantities{Items: []Quantity{}}
	for schema, ref := range doc.Components.Schemas {
		if closed := ref.Value.AdditionalProperties.Has; closed == nil || *closed {
			continue
		}
		for name, p := range ref.Value.Properties {
			unit, ok := p.Value.Extensions["x-unit-ucum"].(string)
			if !ok {
				continue
			}
			all.Items = append(all.Items, Quantity{Schema: schema, Name: name, Unit: unit, Minimum: p.Value.Min, Maximum: p.Value.Max, Description: p.Value.Description})
		}
	}
	slices.SortFunc(all.Items, func(a, b Quantity) int { return strings.Compare(a.Schema+" "+a.Name, b.Schema+" "+b.Name) })
	return all
}

// ListQuantities answers GET /v1/meta/quantities.
func (s *Server) ListQuantities(c echo.Context) error {
	return s.sendJSON(c, s.documents.quantities, byContent, cachePublic)
}

// ListRules answers GET /v1/meta/rules.
func (s *Server) ListRules(c echo.Context) error {
	return s.sendJSON(c, Rules{Items: orEmpty(s.cfg.Rules)}, byContent, cachePublic)
}

// GetOpenapiYaml answers GET /openapi.yaml.
func (s *Server) GetOpenapiYaml(c echo.Context) error {
	return s.reply(c, reply{media: "application/yaml; charset=utf-8", cache: cachePublic, etag: contentTag(s.documents.yaml), body: s.documents.yaml})
}

// GetOpenapiJSON answers GET /openapi.json.
func (s *Server) GetOpenapiJSON(c echo.Context) error {
	return s.reply(c, reply{media: jsonType, cache: cachePublic, etag: contentTag(s.documents.json), body: s.documents.json})
}

// GetDocs answers GET /docs, the description as a page.
func (s *Server) GetDocs(c echo.Context) error {
	pageHeaders(c)
	return s.reply(c, s.documents.docs["index.html"])
}

// docsFile answers GET /docs/:file.
func (s *Server) docsFile(c echo.Context) error {
	r, ok := s.documents.docs[c.Param("file")]
	if !ok || c.Param("file") == "index.html" {
		return fieldtest.Missing("page", cut(c.Request().URL.Path))
	}
	pageHeaders(c)
	return s.reply(c, r)
}

// GetLivez answers GET /livez: the process runs. It never asks the database.
func (s *Server) GetLivez(c echo.Context) error {
	return s.sendJSON(c, Health{Status: "ok"}, "", "no-store")
}

// GetReadyz answers GET /readyz.
func (s *Server) GetReadyz(c echo.Context, params GetReadyzParams) error {
	h, checks := Health{Status: "ok"}, map[string]string{}
	for name, err := range s.readiness(c.Request().Context()) {
		checks[name] = "ok"
		if err != nil {
			h.Status, checks[name] = "unavailable", "failed"
			s.cfg.Log.WarnContext(c.Request().Context(), "not ready", "check", name, "err", err)
		}
	}
	if params.Verbose != nil && *params.Verbose {
		h.Checks = &checks
	}
	status := http.StatusOK
	if h.Status != "ok" {
		status = http.StatusServiceUnavailable
	}
	body, err := marshal(h)
	if err != nil {
		return err
	}
	return s.reply(c, reply{status: status, media: jsonType, cache: "no-store", body: body})
}

// readiness runs the checks, which must answer in time: a balancer that gets no answer
// learns nothing. Checks that still run are not begun again, so that those of a database
// that hangs do not heap up.
func (s *Server) readiness(ctx context.Context) map[string]error {
	if s.cfg.Ready == nil {
		return nil
	}
	running := s.checks.DoChan("ready", func() (any, error) { return s.cfg.Ready(context.WithoutCancel(ctx)), nil })
	timer := time.NewTimer(s.cfg.ReadyTimeout)
	defer timer.Stop()
	select {
	case r := <-running:
		checks, _ := r.Val.(map[string]error)
		return checks
	case <-timer.C:
		return map[string]error{"in_time": fmt.Errorf("the checks did not end within %s", s.cfg.ReadyTimeout)}
	}
}

// pageHeaders sets what a page for people needs: its own files, nothing else.
func pageHeaders(c echo.Context) {
	c.Response().Header().Set("Content-Security-Policy", pagePolicy)
}

func startHTML(c echo.Context) io.Writer {
	h := c.Response().Header()
	h.Set("Content-Type", "text/html; charset=utf-8")
	h.Set("Cache-Control", "public, max-age=3600")
	c.Response().WriteHeader(http.StatusOK)
	return c.Response()
}

var problemTemplate = template.Must(template.New("problem").Parse(`<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{{.Title}} - evensun</title>
</head>
<body>
<main>
<h1>{{.Title}}</h1>
<p>Code <code>{{.Code}}</code>, HTTP status {{.Status}}.</p>
<h2>What to do</h2>
<p>{{.Cure}}</p>
<p><a href="/docs">The interface</a></p>
</main>
</body>
</html>
`))
