package web

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"evensun/internal/fieldtest"
)

// panelView is a panel model as a page shows it.
type panelView struct {
	Frame              frameView
	Facts              string
	Gives              string
	Strong, Weak, Ties string
	Places             []placeView
	Sessions           []sessionView
	Plot               *plotView
	Shade              []string
	Wiring, WiringNext string
	Claimed            string
	Flat, Heat, Light  string
	Held               []heldView
	HeldMore           int
	Prices             []priceView
	Nameplate          []pairView
	Cautions           []fieldtest.Caution
	Energy             string
	JSON               []linkView
}

type placeView struct{ Title, Href, Figure, Interval, Rank string }

type sessionView struct {
	Date, Href, Readings, Watts, Interval, Weight, Order string
}

type heldView struct{ What, Reason, Href string }

type priceView struct{ Date, Amount, Region, Condition string }

type pairView struct{ Name, Value string }

// panelPage makes the view of a panel model.
func (s *Site) panelPage(p *Panel, n names) panelView {
	name := n.of(p.Model.Slug)
	v := panelView{
		Frame: frameView{Title: name, Definition: "What all testers found of " + name + ".", Demo: s.demo, Menu: menu(choice{})},
		Facts: factsOf(&p.Model), Gives: givesOf(&p.Results), Cautions: p.Results.Cautions,
		Wiring: p.Conclusions.Wiring.Sentence, Claimed: claimed(p.Conclusions.WiringClaimed),
		Flat: p.Conclusions.Flat.Sentence, Heat: p.Conclusions.Heat.Sentence, Light: p.Conclusions.WeakLight.Sentence,
		Prices: pricesOf(p.Prices), Nameplate: nameplateOf(&p.Model),
		Energy: "/v1/panel-models/" + p.Model.Slug + "/energy?latitude_deg=47&longitude_deg=9&date=" + lastDay(p).Format(time.DateOnly),
	}
	if d := p.Conclusions.Wiring.Decides; d != nil {
		v.WiringNext = d.Sentence
	}
	v.places(p, n)
	v.sessions(p)
	v.held(p.Results.Findings)
	for _, c := range p.Conclusions.Shade {
		v.Shade = append(v.Shade, shadeOf(&c))
	}
	for _, l := range []struct{ title, path string }{{"Results", "results"}, {"Conclusions", "conclusions"}, {"Prices", "prices"}} {
		v.JSON = append(v.JSON, linkView{Title: l.title, Href: "/v1/panel-models/" + p.Model.Slug + "/" + l.path})
	}
	return v
}

// lastDay is the day of the newest reading, or a midsummer where there is none.
func lastDay(p *Panel) time.Time {
	last := time.Date(2026, 6, 21, 0, 0, 0, 0, time.UTC)
	for i, c := range p.Results.Contributions {
		if i == 0 || c.TakenAt.After(last) {
			last = c.TakenAt
		}
	}
	return last
}

// factsOf is what the maker says, in a line.
func factsOf(m *fieldtest.PanelModel) string {
	var facts []string
	add := func(format string, x *float64) {
		if x != nil {
			facts = append(facts, fmt.Sprintf(format, strconv.FormatFloat(*x, 'g', 4, 64)))
		}
	}
	add("%s W by its label", m.Nameplate.Canonical().PmaxW)
	if t := m.Construction.Technology; t != "" && t != fieldtest.UnknownTechnology {
		facts = append(facts, strings.ReplaceAll(string(t), "_", " ")+" cells")
	}
	if k := m.Construction.Sections; k != nil {
		facts = append(facts, fmt.Sprintf("%d sections", *k))
	}
	add("%s kg", m.Size.MassKg)
	add("%s l packed", m.Size.FoldedVolumeL)
	return strings.Join(facts, ", ")
}

// givesOf is the power at standard test conditions in a sentence.
func givesOf(r *fieldtest.PanelResults) string {
	power, share := entryOf(r, fieldtest.StcPower), entryOf(r, fieldtest.ShareOfRating)
	if power == nil {
		return "It has no rank yet. " + needsOf(r)
	}
	text := fmt.Sprintf("Gives %.1f W (%.1f to %.1f W) at standard test conditions: 1000 W/m², cells at 25 °C", power.Estimate, power.EstimateLo, power.EstimateHi)
	if share != nil {
		text += fmt.Sprintf(". That is %.1f %% of its label", 100*share.Estimate)
	}
	return text + fmt.Sprintf(", by %s of %s and %s.", plural(power.Readings, "reading"), plural(power.Sessions, "session"), plural(power.Testers, "tester"))
}

func needsOf(r *fieldtest.PanelResults) string {
	for _, e := range r.Entries {
		if e.Measure == fieldtest.StcPower && e.Unranked != nil {
			text := "It needs " + e.Unranked.Needs + "."
			if e.Unranked.Estimate != nil && e.Unranked.EstimateU != nil {
				text = fmt.Sprintf("So far it gave %.1f W, give or take %.1f W. ", *e.Unranked.Estimate, 2**e.Unranked.EstimateU) + text
			}
			return text
		}
	}
	return "Nobody has read it in the sun."
}

func plural(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return strconv.Itoa(n) + " " + what + "s"
}

func entryOf(r *fieldtest.PanelResults, measure string) *fieldtest.Entry {
	for i := range r.Entries {
		if r.Entries[i].Measure == measure {
			return r.Entries[i].Entry
		}
	}
	return nil
}

// places fills the ranks, and what is strong and weak: a rank in the best or in the last
// third for certain.
func (v *panelView) places(p *Panel, n names) {
	var strong, weak []string
	for _, group := range choices() {
		for _, c := range group.lists {
			if c.class != "" && c.class != "0.25" {
				continue // those of one class are told with the shade
			}
			e := entryOf(&p.Results, c.measure)
			if e == nil {
				continue
			}
			f, size := placeForm(unitOf(&p.Results, c.measure)), p.Ranked[c.measure]
			v.Places = append(v.Places, placeView{Title: group.title + ": " + c.title, Href: c.path(),
				Figure: f.number(e.Estimate) + " " + f.unit, Interval: f.number(e.EstimateLo) + " to " + f.number(e.EstimateHi), Rank: rankText(e, size)})
			switch {
			case size >= 3 && 3*e.RankHi <= size:
				strong = append(strong, c.title)
			case size >= 3 && 3*(e.RankLo-1) >= 2*size:
				weak = append(weak, c.title)
			}
		}
	}
	v.Strong, v.Weak = strings.Join(strong, ", "), strings.Join(weak, ", ")
	if e := entryOf(&p.Results, fieldtest.ShareOfRating); e != nil {
		v.Ties = n.in(e.Sentence)
	}
}

func unitOf(r *fieldtest.PanelResults, measure string) string {
	for _, e := range r.Entries {
		if e.Measure == measure {
			return e.Unit
		}
	}
	return ""
}

func placeForm(unit string) form {
	if unit == "1" {
		return form{scale: 100, digits: 1, unit: "%"}
	}
	return form{scale: 1, digits: 2, unit: unit}
}

func rankText(e *fieldtest.Entry, size int) string {
	text := strconv.Itoa(e.Rank)
	if size > 0 {
		text += " of " + strconv.Itoa(size)
	}
	if e.RankLo != e.RankHi {
		text += fmt.Sprintf(" (%d to %d)", e.RankLo, e.RankHi)
	}
	return text
}

// sessions fills the readings that count, session by session, newest first.
func (v *panelView) sessions(p *Panel) {
	groups := map[uuid.UUID][]fieldtest.Contribution{}
	var order []uuid.UUID
	for _, c := range p.Results.Contributions {
		if groups[c.SessionID] == nil {
			order = append(order, c.SessionID)
		}
		groups[c.SessionID] = append(groups[c.SessionID], c)
	}
	slices.SortFunc(order, func(a, b uuid.UUID) int { return groups[b][0].TakenAt.Compare(groups[a][0].TakenAt) })
	orders := map[uuid.UUID]fieldtest.SessionOrder{}
	for _, o := range p.Conclusions.Sessions {
		orders[o.SessionID] = o
	}
	var marks []mark
	for _, id := range order {
		row, m := sessionRow(id, groups[id], orders[id])
		v.Sessions, marks = append(v.Sessions, row), append(marks, m)
	}
	if e := entryOf(&p.Results, fieldtest.StcPower); e != nil {
		marks = append(marks, mark{name: "all together", value: e.Estimate, low: e.EstimateLo, high: e.EstimateHi})
	}
	if len(marks) > 0 {
		v.Plot = plotOf(marks, form{scale: 1, digits: 1, unit: "W"})
		v.Plot.Title = "Power at standard test conditions by session, in W"
		v.Plot.Caption = "Every session, newest first, and all together, in W at standard test conditions. Dot: mean. Bar: 95 % interval of one session alone, of all together at the foot."
	}
}

// sessionRow is one session with the mean of its readings; what they err by is mostly
// common to them, so the mean is as sure as one.
func sessionRow(id uuid.UUID, list []fieldtest.Contribution, order fieldtest.SessionOrder) (sessionView, mark) {
	var watts, u, weight float64
	var labels []string
	for _, c := range list {
		watts, u, weight = watts+c.StcPowerW/float64(len(list)), max(u, c.StcPowerUW), weight+c.Weight
		labels = append(labels, c.Label)
	}
	slices.Sort(labels)
	date := list[0].TakenAt.UTC().Format("2 Jan 2006")
	lo, hi := max(0, watts-2*u), watts+2*u
	row := sessionView{Date: date, Href: "/sessions/" + id.String(), Readings: strings.Join(labels, ", "), Watts: fmt.Sprintf("%.1f", watts),
		Interval: fmt.Sprintf("%.1f to %.1f", lo, hi), Weight: fmt.Sprintf("%.0f %%", 100*weight)}
	if order.Place > 0 {
		row.Order = fmt.Sprintf("%d of %d", order.Place, len(order.Panels))
	}
	return row, mark{name: date + ", " + row.Readings, letters: row.Weight, value: watts, low: lo, high: hi}
}

const mostHeld = 20

// held fills the readings that wait for a reviewer, with why.
func (v *panelView) held(findings []fieldtest.Finding) {
	for i := range findings {
		f := &findings[i]
		if f.Severity != fieldtest.Hold || f.State != fieldtest.FindingOpen && f.State != fieldtest.FindingAsked && f.State != fieldtest.FindingExcluded {
			continue
		}
		if len(v.Held) == mostHeld {
			v.HeldMore++
			continue
		}
		what := "A session"
		if f.Label != nil {
			what = "Reading " + *f.Label
		}
		v.Held = append(v.Held, heldView{What: what, Reason: f.Reason, Href: "/v1/findings/" + f.ID.String()})
	}
}

// shadeOf is what is kept in one class of shade.
func shadeOf(s *fieldtest.ShadeConclusion) string {
	part := map[bool]string{true: "a third"}[math.Abs(s.Cover-1.0/3) < 0.01]
	switch s.Cover {
	case 0.25:
		part = "a quarter"
	case 0.5:
		part = "half"
	}
	text := "With " + part + " covered: "
	if s.Kept == nil {
		return text + "not known. It needs " + s.Needs + "."
	}
	text += fmt.Sprintf("keeps %.0f %% (%.1f to %.1f %%) of its power, by %s of %s.", 100**s.Kept, 100**s.KeptLo, 100**s.KeptHi, plural(s.Readings, "reading"), plural(s.Testers, "tester"))
	if !s.Ranked {
		text += " It has no rank yet: it needs " + s.Needs + "."
	}
	return text
}

func claimed(wiring string) string {
	if wiring == "" || wiring == "unknown" {
		return "The maker does not say."
	}
	return "The maker says " + strings.ReplaceAll(wiring, "_", " ") + "."
}

func pricesOf(prices []fieldtest.StoredPrice) []priceView {
	out := make([]priceView, 0, len(prices))
	for _, p := range prices {
		out = append(out, priceView{p.Date, p.Amount + " " + p.Currency, p.Region, p.Condition})
	}
	slices.SortStableFunc(out, func(a, b priceView) int { return strings.Compare(b.Date, a.Date) })
	return out
}

// nameplateOf is what the maker states, by name and unit.
func nameplateOf(m *fieldtest.PanelModel) []pairView {
	n := m.Nameplate.Canonical()
	var out []pairView
	add := func(name string, x *float64, scale float64, unit string) {
		if x != nil {
			out = append(out, pairView{name, strconv.FormatFloat(*x*scale, 'g', 5, 64) + " " + unit})
		}
	}
	add("Rated power", n.PmaxW, 1, "W")
	add("Open-circuit voltage", n.VocV, 1, "V")
	add("Short-circuit current", n.IscA, 1, "A")
	add("Voltage at the maximum", n.VmpV, 1, "V")
	add("Current at the maximum", n.ImpA, 1, "A")
	add("Power by temperature", n.GammaPmaxPerK, 100, "%/K")
	add("Voltage by temperature", n.BetaVocPerK, 100, "%/K")
	add("Current by temperature", n.AlphaIscPerK, 100, "%/K")
	add("Panel area", m.Size.PanelAreaM2, 1, "m²")
	add("Cell area", m.Size.CellAreaM2, 1, "m²")
	return out
}
