package web

import (
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"github.com/labstack/echo/v4"

	"evensun/internal/fieldtest"
)

// compareView is a page about two or three panels.
type compareView struct {
	Frame frameView
	Pairs []pairSection
	Pick  []pickView // all panels, to choose from
	JSON  string
}

// pairSection is one pair of panels by every measure.
type pairSection struct {
	Title string
	Rows  []compareRow
	Plot  *plotView
	Lacks []string
}

type compareRow struct{ Title, Difference, Interval, Chance, Basis string }

type pickView struct {
	Slug, Name string
	Picked     bool
}

// mostCompared are as many panels as a page holds side by side.
const mostCompared = 3

// compare serves the comparison of the panels that a form or an address names.
func (s *Site) compare(c echo.Context) error {
	ctx := c.Request().Context()
	n, err := s.names(ctx)
	if err != nil {
		return err
	}
	slugs := named(c.QueryParams()["models"])
	if len(slugs) > mostCompared {
		return &fieldtest.Refusal{Kind: fieldtest.InvalidParameter, Detail: fmt.Sprintf("This page compares two or three panels; %d were named.", len(slugs))}
	}
	v := compareView{Frame: frameView{Title: "Compare", Definition: "Two or three panels, measure by measure.", Demo: s.demo, Menu: menu(choice{})}, Pick: picks(n, slugs)}
	if len(slugs) >= 2 {
		v.JSON = "/v1/comparisons?models=" + strings.Join(slugs, ",")
	}
	for i, a := range slugs {
		for _, b := range slugs[i+1:] {
			section, err := s.pair(c, n, a, b)
			if err != nil {
				return err
			}
			v.Pairs = append(v.Pairs, section)
		}
	}
	return s.render(c, "compare.html", v)
}

// named splits lists and leaves out what stands there twice.
func named(lists []string) []string {
	var slugs []string
	for _, list := range lists {
		for slug := range strings.SplitSeq(list, ",") {
			if slug != "" && !slices.Contains(slugs, slug) {
				slugs = append(slugs, slug)
			}
		}
	}
	return slugs
}

func picks(n names, picked []string) []pickView {
	all := make([]pickView, 0, len(n))
	for _, slug := range slices.Sorted(maps.Keys(n)) {
		all = append(all, pickView{slug, n[slug], slices.Contains(picked, slug)})
	}
	return all
}

// pair compares two panels by every measure. A measure by which one has no figure has a
// sentence in place of a line.
func (s *Site) pair(c echo.Context, n names, a, b string) (pairSection, error) {
	section := pairSection{Title: n.of(a) + " against " + n.of(b)}
	var marks []mark
	for _, m := range fieldtest.Measures() {
		title := titleOf(&fieldtest.Ranking{Measure: m.Name}, "0.25")
		compared, err := s.reads.Compare(c.Request().Context(), m.Name, []string{a, b})
		if refusal, ok := errors.AsType[*fieldtest.Refusal](err); ok && refusal.Kind == fieldtest.InvalidParameter {
			section.Lacks = append(section.Lacks, title+": "+n.in(lacking(refusal)))
			continue
		}
		if err != nil {
			return section, err
		}
		p := &compared.Pairs[0]
		section.Rows = append(section.Rows, compareRow{Title: title, Difference: percent(p.Ratio), Interval: percent(p.RatioLo) + " to " + percent(p.RatioHi),
			Chance: chance(p.ProbabilityABetter, n.of(a), n.of(b), p.ToldApart), Basis: basisWords(p.Basis)})
		marks = append(marks, mark{name: title, value: 100 * (p.Ratio - 1), low: 100 * (p.RatioLo - 1), high: 100 * (p.RatioHi - 1)})
	}
	if len(marks) > 0 {
		section.Plot = plotOf(marks, form{scale: 1, digits: 1, unit: "%", origin: true})
		section.Plot.ID = "plot-" + a + "-" + b
		section.Plot.Title = "By how much " + n.of(a) + " is ahead of " + n.of(b) + ", in %"
		section.Plot.Caption = section.Plot.Title + ". Dot: estimate. Bar: 95 % interval. Right of 0 the first is ahead, left of it the second."
	}
	return section, nil
}

func lacking(r *fieldtest.Refusal) string {
	if len(r.Faults) > 0 {
		return r.Faults[0].Reason
	}
	return r.Detail
}

func percent(ratio float64) string { return fmt.Sprintf("%+.1f %%", 100*(ratio-1)) }

// chance says how sure it is who is better, as people say it.
func chance(probability float64, a, b string, apart bool) string {
	better, p := a, probability
	if p < 0.5 {
		better, p = b, 1-p
	}
	text := fmt.Sprintf("%d in 10 that %s is better", int(math.Floor(10*p)), better)
	if p >= 0.99 {
		text = "more than 99 in 100 that " + better + " is better"
	}
	if !apart {
		text += ": too close to call"
	}
	return text
}

// basisWords say on what a comparison rests.
func basisWords(basis string) string {
	switch basis {
	case "same_session":
		return "read in one session"
	case "through_other_panels":
		return "through panels that were read beside both"
	case "same_tester":
		return "read by one tester, never in one session"
	}
	return "no common test yet: read both in one session"
}
