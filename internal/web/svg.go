package web

import (
	"bytes"
	"fmt"
	"strings"

	"github.com/labstack/echo/v4"

	"evensun/internal/fieldtest"
)

// svgView is a plot that stands alone.
type svgView struct {
	Plot *plotView
	Foot string
}

// svgPolicy lets a plot carry its own colours and nothing else.
const svgPolicy = "default-src 'none'; style-src 'unsafe-inline'; frame-ancestors 'none'"

// plot serves the plot of a ranking or, below panels, of a panel model at an address that
// stays.
func (s *Site) plot(c echo.Context) error {
	name, ok := strings.CutSuffix(c.Param("file"), ".svg")
	if !ok {
		return fieldtest.Missing("plot", c.Param("file"))
	}
	m, ok := fieldtest.MeasureNamed(name)
	if !ok {
		return fieldtest.Missing("plot", name)
	}
	class, key, err := classOf(m.Name, c.QueryParam("cover"))
	if err != nil {
		return err
	}
	ctx := c.Request().Context()
	r, err := s.reads.Ranking(ctx, m.Name, key)
	if err != nil {
		return err
	}
	n, err := s.names(ctx)
	if err != nil {
		return err
	}
	v := s.rankingPage(&r, class, n)
	if v.Plot == nil {
		return fieldtest.Missing("plot of a list without panels", name)
	}
	v.Plot.Title = v.Frame.Title + ", in " + v.Unit + ", with 95 % intervals"
	return s.renderSVG(c, v.Plot, fmt.Sprintf("%s. Ranking %.12s, through entry %d.%s", v.Plot.Title, r.SHA256, r.ComputedThrough, s.invented()))
}

func (s *Site) panelPlot(c echo.Context) error {
	slug, ok := strings.CutSuffix(c.Param("file"), ".svg")
	if !ok {
		return fieldtest.Missing("plot", c.Param("file"))
	}
	ctx := c.Request().Context()
	p, err := s.reads.Panel(ctx, slug)
	if err != nil {
		return err
	}
	n, err := s.names(ctx)
	if err != nil {
		return err
	}
	v := s.panelPage(&p, n)
	if v.Plot == nil {
		return fieldtest.Missing("plot of a panel without readings", slug)
	}
	v.Plot.Title = v.Frame.Title + ": " + v.Plot.Title
	return s.renderSVG(c, v.Plot, fmt.Sprintf("%s. Through entry %d.%s", v.Plot.Title, p.Results.ComputedThrough, s.invented()))
}

func (s *Site) invented() string {
	if s.demo {
		return " Demonstration: invented data."
	}
	return ""
}

func (s *Site) renderSVG(c echo.Context, p *plotView, foot string) error {
	p.ID, p.FootY, p.Foot = "plot", p.Height+14, p.Height+24
	var svg bytes.Buffer
	if err := s.pages.ExecuteTemplate(&svg, "svg", svgView{p, foot}); err != nil {
		return fmt.Errorf("render a plot: %w", err)
	}
	c.Response().Header().Set("Content-Security-Policy", svgPolicy)
	return send(c, newContent(svg.Bytes()), "image/svg+xml", "public, max-age=30, stale-while-revalidate=60")
}
