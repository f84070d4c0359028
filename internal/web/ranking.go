package web

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"evensun/internal/fieldtest"
)

// rankingView is a ranking as a page shows it.
type rankingView struct {
	Frame    frameView
	Headline string
	Basis    string

	BasisSentence string
	Level         string // what all entries share; empty: none

	CSV, JSON, SVG string
	Rows           []rowView
	Unranked       []unrankedView
	Cautions       []fieldtest.Caution
	Plot           *plotView
	Unit           string
}

type linkView struct {
	Title, Href string
	Here        bool
}

type rowView struct {
	Rank, Panel, Estimate, Interval, Within, TieGroup, Sentence, Href string
	Testers, Sessions, Readings                                       int
}

type unrankedView struct {
	Panel, Reason, Known, Needs, Href string
}

// rankingPage makes the view of a ranking of one class.
func (s *Site) rankingPage(r *fieldtest.Ranking, class string, n names) rankingView {
	m, _ := fieldtest.MeasureNamed(r.Measure)
	form, query := formOf(r), ""
	if class != "" {
		query = "&cover=" + class
	}
	v := rankingView{
		Frame:    frameView{Title: titleOf(r, class), Definition: m.Definition, Demo: s.demo, Menu: menu(choice{measure: r.Measure, class: class})},
		Headline: n.in(r.Headline), Basis: basisOf(r), BasisSentence: r.BasisSentence, Level: levelOf(r), Cautions: r.Cautions, Unit: form.unit,
		CSV: "/v1/rankings/" + r.Measure + "?format=csv" + query, JSON: "/v1/rankings/" + r.Measure + strings.Replace(query, "&", "?", 1),
		SVG: "/plots/" + r.Measure + ".svg" + strings.Replace(query, "&", "?", 1),
	}
	for i := range r.Entries {
		v.Rows = append(v.Rows, rowOf(&r.Entries[i], form, n))
	}
	for i := range r.Unranked {
		u := &r.Unranked[i]
		v.Unranked = append(v.Unranked, unrankedView{n.of(u.PanelModel), strings.ReplaceAll(u.Reason, "_", " "), knownOf(u, form), u.Needs, panelPath(u.PanelModel)})
	}
	if len(r.Entries) > 0 {
		v.Plot = plotOf(marksOf(r.Entries, n), form)
		v.Plot.Caption = v.Plot.Title + ". Dot: estimate. Bar: 95 % interval. Letters at the right: panels that share one cannot be told apart."
	}
	return v
}

// form says how a measure's figures are written: shares as percent.
type form struct {
	scale  float64
	digits int
	unit   string
	origin bool // a plot shows 0 too
}

func formOf(r *fieldtest.Ranking) form {
	f := form{scale: 1, digits: 1, unit: r.Unit}
	if r.Unit == "1" {
		return form{scale: 100, digits: 1, unit: "%"}
	}
	for i := range r.Entries {
		if r.Entries[i].Estimate < 10 {
			f.digits = 3
		}
	}
	return f
}

func (f form) number(x float64) string { return strconv.FormatFloat(x*f.scale, 'f', f.digits, 64) }

func rowOf(e *fieldtest.Entry, f form, n names) rowView {
	rank := strconv.Itoa(e.Rank)
	if e.RankLo != e.RankHi {
		rank += fmt.Sprintf(" (%d to %d)", e.RankLo, e.RankHi)
	}
	return rowView{
		Rank: rank, Panel: n.of(e.PanelModel), Estimate: f.number(e.Estimate), Interval: f.number(e.EstimateLo) + " to " + f.number(e.EstimateHi),
		Within:   f.number(e.ContrastLo) + " to " + f.number(e.ContrastHi),
		TieGroup: e.TieGroup, Sentence: n.in(e.Sentence), Href: panelPath(e.PanelModel),
		Testers: e.Testers, Sessions: e.Sessions, Readings: e.Readings,
	}
}

// knownOf says what is known so far of a panel without a rank.
func knownOf(u *fieldtest.Unranked, f form) string {
	if u.Estimate == nil || u.EstimateU == nil {
		return ""
	}
	return fmt.Sprintf("So far %s ± %s %s from %d readings, %d sessions and %d testers.", f.number(*u.Estimate), f.number(*u.EstimateU), f.unit, u.Readings, u.Sessions, u.Testers)
}

// levelOf says how sure what all entries share is.
func levelOf(r *fieldtest.Ranking) string {
	if r.LevelU == nil {
		return ""
	}
	return fmt.Sprintf("All figures may be off together by %.1f %%: the 95 %% intervals hold that, the intervals against the list do not.", 200**r.LevelU)
}

func basisOf(r *fieldtest.Ranking) string {
	if r.Model == nil {
		return ""
	}
	text := fmt.Sprintf("%d readings of %d sessions by %d testers, through ledger entry %d", r.Model.Readings, r.Model.Sessions, r.Model.Testers, r.ComputedThrough)
	if r.ComputedAt != nil {
		text += ", computed " + r.ComputedAt.UTC().Format("2006-01-02 15:04 UTC")
	}
	return text + "."
}

// Sizes of the plot. Across, it is measured in percent of the width that there is, so that
// its words have the size of the page's on a phone too; down, in pixels.
const (
	plotLeft   = 4.0 // %
	plotRight  = 96.0
	plotRow    = 40.0 // px: the name above, the bar below
	plotTop    = 24.0
	plotBottom = 30.0
)

// plotView is the plot of estimates with intervals and tie groups.
type plotView struct {
	Height, Bottom, AxisY float64 // px
	Marks                 []markView
	Ticks                 []tickView
	Title, Desc, Caption  string
	ID                    string  // of its title and description, one a plot of a page
	FootY, Foot           float64 // px, of a plot that stands alone
}

type markView struct {
	NameY, Y              float64 // px
	X, Lo, Hi             string  // with their unit, %
	Panel, Short, Letters string
}

type tickView struct{ X, Label string }

// A mark is one row of a plot.
type mark struct {
	name, letters    string
	value, low, high float64
}

func marksOf(entries []fieldtest.Entry, n names) []mark {
	marks := make([]mark, len(entries))
	for i := range entries {
		e := &entries[i]
		marks[i] = mark{n.of(e.PanelModel), e.TieGroup, e.Estimate, e.EstimateLo, e.EstimateHi}
	}
	return marks
}

// plotOf lays the plot out: one row a mark.
func plotOf(marks []mark, f form) *plotView {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, m := range marks {
		lo, hi = min(lo, m.low), max(hi, m.high)
	}
	if f.origin {
		lo, hi = min(lo, 0), max(hi, 0)
	}
	ticks, from, to := axis(lo*f.scale, hi*f.scale)
	x := func(value float64) string {
		return strconv.FormatFloat(plotLeft+(value-from)/(to-from)*(plotRight-plotLeft), 'f', 2, 64) + "%"
	}
	axisY := plotTop + float64(len(marks))*plotRow
	p := &plotView{
		Height: axisY + plotBottom, Bottom: axisY + plotBottom - 8, AxisY: axisY,
		ID: "plot", Title: "Estimates with 95 % intervals, in " + f.unit, Desc: "One line a row of the table below, in its order, with the same numbers.",
	}
	for i, m := range marks {
		top := plotTop + float64(i)*plotRow
		p.Marks = append(p.Marks, markView{
			NameY: top + 17, Y: top + 30, X: x(m.value * f.scale), Lo: x(m.low * f.scale), Hi: x(m.high * f.scale),
			Panel: m.name, Short: shortened(m.name), Letters: m.letters,
		})
	}
	for _, t := range ticks {
		p.Ticks = append(p.Ticks, tickView{x(t), strconv.FormatFloat(t, 'g', 10, 64)})
	}
	return p
}

// shortened keeps a long name inside the plot of a phone of 320 px; the table has it whole.
func shortened(name string) string {
	const most = 32
	letters := []rune(name)
	if len(letters) <= most {
		return name
	}
	return string(letters[:most-1]) + "…"
}

// axis returns round ticks around a range, and the ends of the axis.
func axis(lo, hi float64) (ticks []float64, from, to float64) {
	span := hi - lo
	if !(span > 0) {
		span = math.Max(math.Abs(hi), 1) * 0.1
		lo, hi = lo-span/2, hi+span/2
	}
	step := roundStep(span / 4)
	from, to = math.Floor(lo/step)*step, math.Ceil(hi/step)*step
	for k := 0; ; k++ {
		t := from + float64(k)*step
		if t > to+step/2 {
			return ticks, from, to
		}
		ticks = append(ticks, math.Round(t/step)*step)
	}
}

func roundStep(x float64) float64 {
	power := math.Pow(10, math.Floor(math.Log10(x)))
	for _, m := range []float64{1, 2, 5} {
		if x <= m*power {
			return m * power
		}
	}
	return 10 * power
}
