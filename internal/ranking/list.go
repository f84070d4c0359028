package ranking

import (
	"context"
	"fmt"
	"math"
	"sort"

	"evensun/internal/compare"
	"evensun/internal/fieldtest"
	"evensun/internal/ranks"
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
var wording = ranks.Wording{One: "panel", Many: "panels"}

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
	r.Entries, r.Unranked, r.Cautions = []fieldtest.Entry{}, []fieldtest.Unranked{}, f.listCautions(l.Measure)
	var members []int
	var merits []merit
	for p, merit := range f.merits(in, l, panels) {
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
	family, err := f.family(members, merits)
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
	l.Ranking.Headline = table.Headline(names, wording)
	for k, p := range members {
		e, err := f.entry(in, p, merits[k])
		if err != nil {
			return err
		}
		s := table.Entries[k]
		e.Rank, e.RankLo, e.RankHi, e.TieGroup, e.PScore = s.Rank, s.Interval.Lo, s.Interval.Hi, s.TieGroup, fieldtest.Significant(s.PScore)
		e.Sentence, e.Component, e.MaxShift = table.Sentence(k, names, wording), f.Component[p], f.shift(p, merits[k])
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
func (f *Fitted) entry(in *Inputs, p int, m merit) (fieldtest.Entry, error) {
	absolute, err := f.Fit.Absolute(p)
	if err != nil {
		return fieldtest.Entry{}, fmt.Errorf("estimate of %s: %w", f.Panels[p], err)
	}
	ln := f.figure(p, m)
	absolute.Estimate, absolute.SE = ln, math.Sqrt(f.figureVariance(p, m))
	lo, hi := absolute.Interval(in.Rules.ConfidenceOfInterval)
	c := f.counts[p]
	e := fieldtest.Entry{
		PanelModel: f.Panels[p], Estimate: fieldtest.Significant(math.Exp(ln)), EstimateU: fieldtest.Significant(math.Exp(ln) * absolute.SE),
		EstimateLo: fieldtest.Significant(math.Exp(lo)), EstimateHi: fieldtest.Significant(math.Exp(hi)), Coverage: in.Rules.ConfidenceOfInterval,
		Testers: c.testers, Sessions: c.sessions, Readings: c.readings,
	}
	if m.alone { // what units differ by is known of mu only
		return e, nil
	}
	next := absolute
	next.SE = math.Sqrt(absolute.SE*absolute.SE + f.Fit.NewUnitVariance())
	nlo, nhi := next.Interval(in.Rules.ConfidenceOfInterval)
	nlo, nhi = fieldtest.Significant(math.Exp(nlo)), fieldtest.Significant(math.Exp(nhi))
	e.PredictionLo, e.PredictionHi = &nlo, &nhi
	return e, nil
}

// notRanked says why a panel has no rank in a list, and what would cure it.
func (f *Fitted) notRanked(in *Inputs, p, component int, m merit) (reason, needs string) {
	c, rules := &f.counts[p], &in.Rules
	switch {
	case c.sessions < rules.MinSessions: // before testers: one session has one tester
		return "one_session_only", "a second session by another tester"
	case f.OneTester || c.testers < rules.MinTesters:
		return "one_tester_only", "a session by another tester, beside a panel of this list"
	case c.checked < rules.MinTesters:
		return "testers_not_checked", fmt.Sprintf("%d testers with %d sessions each, beside panels that two others read", rules.MinTesters, rules.AnchoredAfter)
	case c.readings < rules.MinReadings:
		return "too_few_readings", fmt.Sprintf("readings: %d more", rules.MinReadings-c.readings)
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
		estimate := math.Exp(f.figure(p, m))
		spread := fieldtest.Significant(estimate * math.Sqrt(f.figureVariance(p, m)))
		estimate = fieldtest.Significant(estimate)
		u.Estimate, u.EstimateU = &estimate, &spread
	}
	return u
}

// model says how the ranking was estimated.
func (f *Fitted) model() *fieldtest.RankingModel {
	sd := func(t compare.Term) *float64 {
		x := fieldtest.Significant(math.Sqrt(f.Fit.Theta[t]))
		return &x
	}
	m := &fieldtest.RankingModel{
		Estimator: "reml", Version: Version,
		TesterSD: sd(compare.Tester), SessionSD: sd(compare.Session), InteractionSD: sd(compare.TesterPanel), CellSD: sd(compare.SessionPanel), ResidualSD: sd(compare.Residual),
		SpecimenReason: "confounded_with_interaction",
		Converged:      f.Fit.Converged, Iterations: f.Fit.Iterations,
		Readings: len(f.Rows), Sessions: len(f.Sessions), Testers: len(f.Testers), Components: f.componentCount(),
	}
	if f.Table.Specimen != nil {
		m.SpecimenSD, m.SpecimenReason = sd(compare.Specimen), ""
	}
	if !math.IsNaN(f.Fit.LogLikelihood) {
		l := f.Fit.LogLikelihood
		m.LogLikelihood = &l
	}
	if f.Scatter != nil {
		m.Q, m.QDof, m.I2 = f.heterogeneity()
	}
	return m
}

// heterogeneity is Q with its degrees of freedom, and the share I2 of the scatter that
// the known variances do not explain.
func (f *Fitted) heterogeneity() (q, dof, i2 *float64) {
	tau2 := 0.0
	for _, v := range f.Fit.Theta {
		tau2 += v
	}
	a, b, c := fieldtest.Significant(f.Scatter.Q), float64(f.Scatter.Dof), fieldtest.Significant(f.Scatter.I2(tau2))
	return &a, &b, &c
}

func (f *Fitted) componentCount() int {
	most := 0
	for _, c := range f.Component {
		most = max(most, c)
	}
	return most
}

// listCautions are what a reader of the list must know.
func (f *Fitted) listCautions(measure string) []fieldtest.Caution {
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
	if measure == fieldtest.PowerPerPrice {
		add("prices_are_told", "Prices are what testers told, not measured: ranks and intervals take them as exact.")
	}
	if !f.Fit.Converged {
		add("not_converged", "The estimation did not settle; figures may still move.")
	}
	return cautions
}

// shift is what leaving out the tester on whom a panel depends most does to its figure;
// nil where nobody can be left out.
func (f *Fitted) shift(p int, m merit) *fieldtest.MaxShift {
	s := f.Shifts[p]
	if m.alone || s.Tester < 0 || math.IsNaN(s.Change) || math.IsInf(s.Change, 0) {
		return nil
	}
	return &fieldtest.MaxShift{TesterID: f.Testers[s.Tester], Relative: fieldtest.Significant(math.Expm1(s.Change))}
}
