package ranking

import (
	"context"
	"fmt"
	"maps"
	"math"
	"slices"
	"sort"
	"strings"

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

	MinTesters int // that a rank needs, where more are asked for than the rules do
	Ranking    fieldtest.Ranking
}

// wording is what members of a list are called.
var wording = ranks.Wording{One: "panel", Many: "panels"}

// Streams for the drawn numbers of different purposes.
const (
	streamCritical uint64 = 0x637269746963616c
	streamBest     uint64 = 0x6265737470616e65
)

// list makes one ranking of one component.
func (f *Fitted) list(ctx context.Context, in *Inputs, l List, panels map[string]*Panel) (List, error) {
	l.Ranking = newRanking(in, &l)
	r := &l.Ranking
	r.Cautions = f.listCautions(l.Measure)
	var members []int
	var merits []merit
	all := f.merits(in, l, panels)
	for p, merit := range all {
		if reason, needs := f.notRanked(in, &l, p, merit); reason != "" {
			r.Unranked = append(r.Unranked, f.unranked(p, merit, reason, needs))
			continue
		}
		members, merits = append(members, p), append(merits, merit)
	}
	table := f.contrastTable(members, merits)
	wide := table.tooWide(&in.Rules)
	for _, p := range slices.Sorted(maps.Keys(wide)) {
		r.Unranked = append(r.Unranked, f.unranked(p, all[p], "contrast_too_wide", contrastNeeds(wide[p], in.Rules.MaxHalfWidth)))
	}
	r.Unranked = append(r.Unranked, f.unreadPanels(in)...)
	slices.SortFunc(r.Unranked, func(a, b fieldtest.Unranked) int { return strings.Compare(a.PanelModel, b.PanelModel) })
	r.Model = f.model()
	if len(table.members) > 0 {
		if err := f.place(ctx, in, &l, table); err != nil {
			return l, err
		}
	}
	return l, nil
}

// newRanking is a list without entries.
func newRanking(in *Inputs, l *List) fieldtest.Ranking {
	m, _ := fieldtest.MeasureNamed(l.Measure)
	r := fieldtest.Ranking{
		Measure: m.Name, Unit: m.Unit, Currency: l.Currency, Cover: coverOf(l.Cover), ComputedThrough: in.Through, ComputedAt: &in.At,
		Entries: []fieldtest.Entry{}, Unranked: []fieldtest.Unranked{}, Cautions: []fieldtest.Caution{},
	}
	if l.Currency != "" {
		r.Unit = "W/" + l.Currency
	}
	return r
}

// place fills the entries of a list.
func (f *Fitted) place(ctx context.Context, in *Inputs, l *List, t *contrastTable) error {
	family, err := f.family(t.members, t.merits)
	if err != nil {
		return fmt.Errorf("rank %s: %w", l.Measure, err)
	}
	table := family.Table(in.Rules.ConfidenceOfInterval, f.stream(streamCritical))
	critical := table.Critical
	l.Ranking.Model.CriticalValue = &critical
	names := make([]string, len(t.members))
	for k, p := range t.members {
		names[k] = f.Panels[p]
	}
	l.Ranking.Headline = table.Headline(names, wording)
	best := family.BestProbabilities(ranks.Draws, f.stream(streamBest))
	for k, p := range t.members {
		e, err := f.entry(in, p, t.merits[k])
		if err != nil {
			return err
		}
		s := table.Entries[k]
		e.Rank, e.RankLo, e.RankHi, e.TieGroup, e.PScore = s.Rank, s.Interval.Lo, s.Interval.Hi, s.TieGroup, fieldtest.Significant(s.PScore)
		e.Sentence, e.Component, e.MaxShift = table.Sentence(k, names, wording), f.Component[p], f.shift(p, t.merits[k])
		if best != nil {
			e.Best = significant(best[k])
		}
		t.within(&e, k, in.Rules.ConfidenceOfInterval)
		l.Ranking.Entries = append(l.Ranking.Entries, e)
	}
	if err := f.neighbours(in, l, t, family, critical); err != nil {
		return err
	}
	f.tellBasis(in, l, t)
	sortEntries(l.Ranking.Entries)
	return ctx.Err()
}

func sortEntries(entries []fieldtest.Entry) {
	sort.SliceStable(entries, func(i, j int) bool {
		a, b := &entries[i], &entries[j]
		if a.Rank != b.Rank {
			return a.Rank < b.Rank
		}
		return a.PanelModel < b.PanelModel
	})
}

// within fills in the interval of an entry against the mean of the list, which holds none
// of what all entries share.
func (t *contrastTable) within(e *fieldtest.Entry, k int, confidence float64) {
	ln, half := t.f.figure(t.members[k], t.merits[k]), t.halfWidth(k, confidence)
	e.ContrastU = fieldtest.Significant(math.Sqrt(t.variance(k)))
	e.ContrastLo, e.ContrastHi = fieldtest.Significant(math.Exp(ln-half)), fieldtest.Significant(math.Exp(ln+half))
}

// tellBasis says on whom the list rests, and how sure its level is.
func (f *Fitted) tellBasis(in *Inputs, l *List, t *contrastTable) {
	var common, widths []float64
	for k, p := range t.members {
		widths = append(widths, math.Sqrt(t.variance(k)))
		if !t.merits[k].alone {
			common = append(common, f.CommonVar[p])
		}
	}
	level := t.level()
	for _, v := range common {
		level += v / float64(len(common))
	}
	r := &l.Ranking
	r.LevelU = significant(math.Sqrt(level))
	basis, testers, checked := f.basisOf(in, l.Component)
	r.Basis, r.BasisSentence = basis, f.basisSentence(basis, testers, checked, medianOf(widths))
}

func significant(x float64) *float64 {
	x = fieldtest.Significant(x)
	return &x
}

// neighbours says of each entry whether it is told apart from the one below, looked at
// alone and as one pair of the list.
func (f *Fitted) neighbours(in *Inputs, l *List, t *contrastTable, family *ranks.Family, critical float64) error {
	order := make([]int, len(t.members))
	for k := range order {
		order[k] = k
	}
	entries := l.Ranking.Entries // still in the order of the members
	sort.SliceStable(order, func(a, b int) bool {
		x, y := &entries[order[a]], &entries[order[b]]
		return x.Rank < y.Rank || x.Rank == y.Rank && x.PanelModel < y.PanelModel
	})
	pairs := make([][2]int, 0, len(order))
	for k := 1; k < len(order); k++ {
		pairs = append(pairs, [2]int{t.members[order[k-1]], t.members[order[k]]})
	}
	found, err := f.Fit.Contrasts(pairs)
	if err != nil {
		return fmt.Errorf("neighbours in %s: %w", l.Measure, err)
	}
	for k := range found {
		a, b := order[k], order[k+1]
		z := family.Studentised(a, b)
		alone, listed := math.Abs(z) > studentQuantile((1+in.Rules.ConfidenceOfInterval)/2, found[k].Dof), math.Abs(z) > critical
		entries[a].NextPair, entries[a].NextFamily = &alone, &listed
	}
	return nil
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

func (f *Fitted) unranked(p int, m merit, reason, needs string) fieldtest.Unranked {
	c := f.counts[p]
	u := fieldtest.Unranked{PanelModel: f.Panels[p], Reason: reason, Needs: needs, Testers: c.testers, Sessions: c.sessions, Readings: c.readings}
	if b := f.backlog[u.PanelModel]; b != nil && b.held > 0 {
		u.Held, u.Needs = b.held, needs+", or "+waiting(b.held)
	}
	if m.missing == "" && !math.IsNaN(f.Fit.Mu[p]) {
		estimate := math.Exp(f.figure(p, m))
		spread := fieldtest.Significant(estimate * math.Sqrt(f.figureVariance(p, m)))
		estimate = fieldtest.Significant(estimate)
		u.Estimate, u.EstimateU = &estimate, &spread
	}
	return u
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
