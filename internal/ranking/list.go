package ranking

import (
	"context"
	"fmt"
	"math"
	"sort"

	"evensun/internal/compare"
	"evensun/internal/fieldtest"
	"evensun/internal/standing"
)

// A List is one ranking with the numbers behind it: the key tells what of a measure it
// is (currency, cover class, component).
type List struct {
	Measure   string
	Currency  string
	Cover     string
	Component int
	Ranking   fieldtest.Ranking
}

// wording is what members of a list are called.
var wording = standing.Wording{One: "panel", Many: "panels"}

// Streams for the drawn numbers of different purposes.
const (
	streamCritical uint64 = 0x637269746963616c
)

// list makes one ranking of one component.
func (f *Fitted) list(ctx context.Context, in *Inputs, l List, panels map[string]*Panel) (List, error) {
	m, _ := fieldtest.MeasureNamed(l.Measure)
	r := &l.Ranking
	r.Measure, r.Unit, r.Currency, r.ComputedThrough, r.ComputedAt = m.Name, m.Unit, l.Currency, in.Through, in.At
	if l.Currency != "" {
		r.Unit = "W/" + l.Currency
	}
	r.Entries, r.Unranked, r.Cautions = []fieldtest.Entry{}, []fieldtest.Unranked{}, f.listCautions()
	var members []int
	var merits []merit
	for p, slug := range f.Panels {
		merit := meritOf(l.Measure, l.Currency, panels[slug], &in.Rules)
		reason, needs := f.notRanked(in, p, l.Component, merit)
		if reason != "" {
			r.Unranked = append(r.Unranked, f.unranked(p, merit, reason, needs))
			continue
		}
		members, merits = append(members, p), append(merits, merit)
	}
	r.Model = f.model()
	if len(members) > 0 {
		if err := f.place(ctx, in, &l, members, merits); err != nil {
			return l, err
		}
	}
	return l, nil
}

// place fills the entries of a list.
func (f *Fitted) place(ctx context.Context, in *Inputs, l *List, members []int, merits []merit) error {
	estimates, extra := make([]float64, len(members)), make([]float64, len(members))
	for k, p := range members {
		estimates[k], extra[k] = f.Fit.Mu[p]+merits[k].lnFactor, merits[k].variance
	}
	family, err := f.family(members, estimates, extra)
	if err != nil {
		return fmt.Errorf("rank %s: %w", l.Measure, err)
	}
	table := family.Table(in.Rules.ConfidenceOfInterval, f.stream(streamCritical))
	critical := table.Critical
	l.Ranking.Model.CriticalValue = &critical
	names := make([]string, len(members))
	for k, p := range members {
		names[k] = f.Panels[p]
	}
	l.Ranking.Headline = table.Headline(wording)
	shifts := f.shifts(members)
	for k, p := range members {
		e, err := f.entry(in, p, estimates[k], extra[k])
		if err != nil {
			return err
		}
		s := table.Entries[k]
		e.Rank, e.RankLo, e.RankHi, e.TieGroup, e.PScore = s.Rank, s.Interval.Lo, s.Interval.Hi, s.TieGroup, significant(s.PScore)
		e.Sentence, e.Component, e.MaxShift = table.Sentence(k, names, wording), f.Component[p], shifts[k]
		l.Ranking.Entries = append(l.Ranking.Entries, e)
	}
	sort.SliceStable(l.Ranking.Entries, func(i, j int) bool {
		a, b := &l.Ranking.Entries[i], &l.Ranking.Entries[j]
		if a.Rank != b.Rank {
			return a.Rank < b.Rank
		}
		return a.PanelModel < b.PanelModel
	})
	return ctx.Err()
}

// entry carries an estimate back from the logarithm: a median, its standard
// uncertainty and an interval that holds the true figure with the stated confidence.
func (f *Fitted) entry(in *Inputs, p int, ln, extra float64) (fieldtest.Entry, error) {
	absolute, err := f.Fit.Absolute(p)
	if err != nil {
		return fieldtest.Entry{}, fmt.Errorf("estimate of %s: %w", f.Panels[p], err)
	}
	absolute.Estimate = ln
	absolute.SE = math.Sqrt(f.covariance(p, p) + extra + f.CommonVar[p])
	lo, hi := absolute.Interval(in.Rules.ConfidenceOfInterval)
	c := f.counts[p]
	e := fieldtest.Entry{
		PanelModel: f.Panels[p], Estimate: significant(math.Exp(ln)), EstimateU: significant(math.Exp(ln) * absolute.SE),
		EstimateLo: significant(math.Exp(lo)), EstimateHi: significant(math.Exp(hi)), Coverage: in.Rules.ConfidenceOfInterval,
		Testers: c.testers, Sessions: c.sessions, Readings: c.readings,
	}
	next := absolute
	next.SE = math.Sqrt(absolute.SE*absolute.SE + f.Fit.Theta[compare.TesterPanel] + f.Fit.Theta[compare.SessionPanel])
	nlo, nhi := next.Interval(in.Rules.ConfidenceOfInterval)
	nlo, nhi = significant(math.Exp(nlo)), significant(math.Exp(nhi))
	e.PredictionLo, e.PredictionHi = &nlo, &nhi
	return e, nil
}

// notRanked says why a panel has no rank in a list, and what would cure it.
func (f *Fitted) notRanked(in *Inputs, p, component int, m merit) (reason, needs string) {
	c, rules := &f.counts[p], &in.Rules
	switch {
	case f.OneTester || c.testers < rules.MinTesters:
		return "one_tester_only", "a session by another tester, beside a panel of this list"
	case c.sessions < rules.MinSessions:
		return "one_session_only", "a second session, best by another tester"
	case c.readings < rules.MinReadings:
		return "too_few_readings", fmt.Sprintf("%d more readings", rules.MinReadings-c.readings)
	case f.Component[p] != component:
		return "not_connected", fmt.Sprintf("one session with this panel beside any panel of component %d", component)
	case c.topShare > rules.MaxTesterShare:
		return "one_tester_dominates", "sessions by other testers"
	case c.disputed > rules.MaxDisputed:
		return "testers_disagree", "a reviewer's verdict, or sessions by more testers"
	case f.halfWidth(p) > rules.MaxHalfWidth:
		return "interval_too_wide", "sessions with a light meter, beside ranked panels"
	case m.missing != "":
		return m.missing, m.needs
	}
	return "", ""
}

// halfWidth is that of the 95 % interval of ln(share).
func (f *Fitted) halfWidth(p int) float64 {
	a, err := f.Fit.Absolute(p)
	if err != nil {
		return math.Inf(1)
	}
	a.SE = math.Sqrt(f.covariance(p, p) + f.CommonVar[p])
	lo, hi := a.Interval(0.95)
	return (hi - lo) / 2
}

func (f *Fitted) unranked(p int, m merit, reason, needs string) fieldtest.Unranked {
	c := f.counts[p]
	u := fieldtest.Unranked{PanelModel: f.Panels[p], Reason: reason, Needs: needs, Testers: c.testers, Sessions: c.sessions, Readings: c.readings}
	if m.missing == "" && !math.IsNaN(f.Fit.Mu[p]) {
		estimate := math.Exp(f.Fit.Mu[p] + m.lnFactor)
		spread := significant(estimate * math.Sqrt(f.covariance(p, p)+m.variance+f.CommonVar[p]))
		estimate = significant(estimate)
		u.Estimate, u.EstimateU = &estimate, &spread
	}
	return u
}

// model says how the ranking was estimated.
func (f *Fitted) model() *fieldtest.RankingModel {
	sd := func(t compare.Term) *float64 {
		x := significant(math.Sqrt(f.Fit.Theta[t]))
		return &x
	}
	m := &fieldtest.RankingModel{
		Estimator: "reml", Version: Version,
		TesterSD: sd(compare.Tester), SessionSD: sd(compare.Session), InteractionSD: sd(compare.TesterPanel), CellSD: sd(compare.SessionPanel), ResidualSD: sd(compare.Residual),
		SpecimenReason: "confounded_with_interaction",
		Converged:      f.Fit.Converged, Iterations: f.Fit.Iterations,
		Readings: len(f.Rows), Sessions: len(f.Sessions), Testers: len(f.Testers), Components: f.componentCount(),
	}
	if !math.IsNaN(f.Fit.LogLikelihood) {
		l := f.Fit.LogLikelihood
		m.LogLikelihood = &l
	}
	return m
}

func (f *Fitted) componentCount() int {
	most := 0
	for _, c := range f.Component {
		most = max(most, c)
	}
	return most
}

// listCautions are what a reader of the list must know.
func (f *Fitted) listCautions() []fieldtest.Caution {
	cautions := []fieldtest.Caution{}
	add := func(id, text string) {
		cautions = append(cautions, fieldtest.Caution{ID: id, Level: "inform", Text: text})
	}
	if len(f.Testers) <= 3 {
		add("few_testers", fmt.Sprintf("Only %d testers so far: intervals rest partly on usual spreads between testers.", len(f.Testers)))
	}
	if f.componentCount() > 1 {
		add("not_compared_side_by_side", "Some panels were never read beside the others, directly or through third ones; they are listed apart.")
	}
	if !f.Fit.Converged {
		add("not_converged", "The estimation did not settle; figures may still move.")
	}
	return cautions
}

// shifts finds for each member the tester whose leaving would move it most.
func (f *Fitted) shifts(members []int) []*fieldtest.MaxShift {
	out := make([]*fieldtest.MaxShift, len(members))
	left := f.leftOut()
	for k, p := range members {
		best, who := 0.0, -1
		for t := range left {
			if x := math.Abs(left[t][p]); x > best && !math.IsInf(x, 0) {
				best, who = x, t
			}
		}
		if who >= 0 {
			out[k] = &fieldtest.MaxShift{TesterID: f.Testers[who], Relative: significant(left[who][p])}
		}
	}
	return out
}

// significant rounds to six significant digits.
func significant(x float64) float64 {
	if x == 0 || math.IsNaN(x) || math.IsInf(x, 0) {
		return x
	}
	scale := math.Pow(10, 5-math.Floor(math.Log10(math.Abs(x))))
	return math.Round(x*scale) / scale
}

// A Contribution is a reading's part in one panel's estimate.
type contribution struct {
	row    int
	weight float64
	robust float64
}

// contributions are the readings behind each panel's estimate with their share of its
// information: the opinion's share, divided among its cells and their readings by the
// information of each. They add to 1.
func (f *Fitted) contributions() [][]contribution {
	opinion := map[[2]int32]float64{}
	for _, s := range f.Fit.Shares() {
		opinion[[2]int32{s.Tester, s.Panel}] = s.Share
	}
	cells := f.cells()
	cellSum := map[[2]int32]float64{}
	for _, c := range cells {
		cellSum[[2]int32{c.tester, c.panel}] += c.information
	}
	out := make([][]contribution, len(f.Panels))
	for _, c := range cells {
		key := [2]int32{c.tester, c.panel}
		share := opinion[key] * c.information / cellSum[key]
		for _, k := range c.rows {
			w := share * f.readingInformation(k) / c.readings
			out[c.panel] = append(out[c.panel], contribution{row: k, weight: w, robust: c.weight})
		}
	}
	for p := range out {
		normalise(out[p])
	}
	return out
}

func normalise(list []contribution) {
	sum := 0.0
	for i := range list {
		sum += list[i].weight
	}
	for i := range list {
		list[i].weight = significant(list[i].weight / sum)
	}
	sort.SliceStable(list, func(i, j int) bool { return list[i].weight > list[j].weight })
}

// cell is a panel in a session of one tester.
type cell struct {
	tester, session, panel int32
	rows                   []int
	readings               float64 // information of its readings alone
	information            float64 // with the cell's own scatter and robust addition
	weight                 float64
}

func (f *Fitted) readingInformation(k int) float64 {
	r := &f.Rows[k]
	return 1 / (r.U*r.U + f.Fit.Theta[compare.Residual] + 1e-12)
}

func (f *Fitted) cells() []*cell {
	index := map[[2]int32]*cell{}
	var list []*cell
	for k := range f.Rows {
		r := &f.Rows[k]
		key := [2]int32{r.Session, r.Panel}
		c := index[key]
		if c == nil {
			c = &cell{tester: r.Tester, session: r.Session, panel: r.Panel, weight: 1}
			index[key], list = c, append(list, c)
		}
		c.rows = append(c.rows, k)
		c.readings += f.readingInformation(k)
	}
	added := map[[2]int32]float64{}
	level := f.Fit.Level(compare.SessionPanel)
	for i := range level.Len() {
		key := [2]int32{level.Session[i], level.Panel[i]}
		added[key] = level.Added[i]
		if c := index[key]; c != nil {
			c.weight = significant(level.Weight(i))
		}
	}
	for _, c := range list {
		c.information = 1 / (1/c.readings + f.Fit.Theta[compare.SessionPanel] + added[[2]int32{c.session, c.panel}])
	}
	return list
}

// leftOut returns what leaving each tester out does to every panel's estimate.
func (f *Fitted) leftOut() [][]float64 {
	return nil
}
