package ranking

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/stat/distuv"

	"evensun/internal/fieldtest"
	"evensun/internal/ranks"
)

// A Wish is what somebody wants of a panel: uses with weights above 0, which count as
// shares of their sum, and of which panels (none: all).
type Wish struct {
	Uses     []string
	Weights  []float64
	Currency string // empty: the one of most panels
	Cover    string // class of covered share; empty: the default
	Models   []string
}

// bestIn is the probability with which the candidates together hold the best one, and
// with which one is named alone (common practice, no source).
const bestIn = 0.95

// Verdicts of a recommendation.
const (
	VerdictOne     = "one"     // one panel is best with 95 %
	VerdictSeveral = "several" // some may be, others are not
	VerdictNone    = "none"    // the data cannot leave anybody out, or nobody is compared
)

// Recommend returns the panels that may be best for a wish. What counts is the product of
// the figures, each to the power of its weight: a panel twice as good by half of what
// counts is the root of two better. Probabilities are the shares of draws in which a panel
// is first, by the covariance, the seed and the number of draws that give the list its
// ranks.
//
// Figures of different datasets (tilted, covered, flat) count as independent; ratios within
// a session share next to nothing with watts.
//
// Errors: a *fieldtest.Refusal for a use that does not exist or has no list.
//
// Source: package ranks; M. Mogstad et al. 2024 for what a set of best ones is.
func (out *Output) Recommend(in *Inputs, w Wish) (*fieldtest.Recommendation, error) {
	b := &ballot{in: in, out: out, panels: in.bySlug()}
	r := &fieldtest.Recommendation{
		ComputedThrough: in.Through, Uses: []fieldtest.WeightedUse{}, Candidates: []fieldtest.Candidate{}, Separates: []fieldtest.Separation{},
		LeftOut: []fieldtest.LeftOut{}, Cautions: []fieldtest.Caution{},
	}
	for i, name := range w.Uses {
		part, err := b.part(name, w.Weights[i]/total(w.Weights), w)
		if err != nil {
			return nil, err
		}
		b.parts = append(b.parts, part)
		r.Uses = append(r.Uses, part.use)
	}
	b.elect(w.Models, r)
	if len(b.members) > 0 {
		if err := b.count(r); err != nil {
			return nil, err
		}
	}
	b.conclude(r)
	return r, nil
}

func total(weights []float64) float64 {
	sum := 0.0
	for _, w := range weights {
		sum += w
	}
	return sum
}

// A ballot is one recommendation in the making.
type ballot struct {
	in      *Inputs
	out     *Output
	panels  map[string]*Panel
	parts   []part
	members []string
	family  *ranks.Family
}

// A part is one use with the list and the fit behind it.
type part struct {
	use    fieldtest.WeightedUse
	list   *List
	fit    *Fitted // nil without readings
	merits []merit
}

// part finds the default component's list of a use.
func (b *ballot) part(name string, weight float64, w Wish) (part, error) {
	use, ok := fieldtest.UseNamed(name)
	if !ok {
		return part{}, fieldtest.Missing("use", name)
	}
	p := part{use: fieldtest.WeightedUse{Use: use, Weight: fieldtest.Significant(weight)}}
	for i := range b.out.Lists {
		l := &b.out.Lists[i]
		if l.Measure != use.Measure || l.Component > 1 || !b.wanted(l, w) {
			continue
		}
		p.list = l
		break
	}
	if p.list == nil {
		return p, &fieldtest.Refusal{Kind: fieldtest.InvalidParameter, Detail: "There is no list for what was asked.",
			Faults: []fieldtest.Fault{{Parameter: "currency", Code: "no_list", Value: w.Currency, Reason: "No panel with a price in that currency is ranked."}}}
	}
	p.use.Unit, p.use.Currency, p.use.Cover = p.list.Ranking.Unit, p.list.Currency, coverOf(p.list.Cover)
	p.fit = b.out.Fit(datasetOf(use.Measure, p.list.Cover))
	if p.fit != nil {
		p.merits = p.fit.merits(b.in, *p.list, b.panels)
	}
	return p, nil
}

// wanted tells whether a list has the currency or the cover asked for.
func (b *ballot) wanted(l *List, w Wish) bool {
	switch {
	case l.Measure == fieldtest.PowerPerPrice && w.Currency != "":
		return l.Currency == w.Currency
	case l.Measure == fieldtest.ShadeRetention && w.Cover != "":
		return l.Cover == w.Cover
	}
	return b.out.isDefault(l)
}

func (p *part) entry(slug string) *fieldtest.Entry {
	for i := range p.list.Ranking.Entries {
		if e := &p.list.Ranking.Entries[i]; e.PanelModel == slug {
			return e
		}
	}
	return nil
}

// elect finds who has a figure for every use, and says of the others what they lack.
func (b *ballot) elect(models []string, r *fieldtest.Recommendation) {
	slugs := models
	if len(slugs) == 0 {
		for i := range b.in.Panels {
			slugs = append(slugs, b.in.Panels[i].Slug)
		}
	}
	for _, slug := range slugs {
		if lacking := b.lacks(slug); lacking != nil {
			r.LeftOut = append(r.LeftOut, *lacking)
			continue
		}
		b.members = append(b.members, slug)
	}
	slices.Sort(b.members)
	if len(b.members) > ranks.SimulatedUpTo {
		slices.SortStableFunc(b.members, func(x, y string) int { return cmp.Compare(b.score(y), b.score(x)) })
		b.members = b.members[:ranks.SimulatedUpTo] // the others are far behind
		slices.Sort(b.members)
	}
	r.Compared = len(b.members)
}

func (b *ballot) lacks(slug string) *fieldtest.LeftOut {
	for i := range b.parts {
		p := &b.parts[i]
		if p.entry(slug) != nil {
			continue
		}
		out := &fieldtest.LeftOut{PanelModel: slug, Use: p.use.Name, Reason: "not_read", Needs: "readings of it beside panels of the list"}
		for _, u := range p.list.Ranking.Unranked {
			if u.PanelModel == slug {
				out.Reason, out.Needs = u.Reason, u.Needs
			}
		}
		return out
	}
	return nil
}

// score is the logarithm of what counts for a member.
func (b *ballot) score(slug string) float64 {
	sum := 0.0
	for i := range b.parts {
		sum += b.parts[i].scoreOf(slug)
	}
	return sum
}

func (p *part) scoreOf(slug string) float64 {
	k, ok := p.fit.index(slug)
	if !ok {
		return math.Inf(-1)
	}
	return p.use.Weight * p.fit.figure(k, p.merits[k])
}

// covariance of what counts for two members. Figures of one fit have mu in common; what
// they divide by is each use's own.
func (b *ballot) covariance(x, y string) float64 {
	sum := 0.0
	common := map[*Fitted]float64{} // weight of mu
	for i := range b.parts {
		p := &b.parts[i]
		k, _ := p.fit.index(x)
		if x == y {
			sum += p.use.Weight * p.use.Weight * p.merits[k].variance
		}
		if !p.merits[k].alone {
			common[p.fit] += p.use.Weight
		}
	}
	for i := range b.parts {
		f := b.parts[i].fit
		weight, counted := common[f]
		if !counted {
			continue
		}
		delete(common, f)
		kx, _ := f.index(x)
		ky, _ := f.index(y)
		sum += weight * weight * f.covariance(kx, ky)
	}
	return sum
}

// dof are the fewest of the fits'.
func (b *ballot) dof() float64 {
	fewest := math.Inf(1)
	for i := range b.parts {
		f := b.parts[i].fit
		var members []int
		for _, slug := range b.members {
			k, _ := f.index(slug)
			members = append(members, k)
		}
		fewest = min(fewest, f.Fit.FamilyDof(members))
	}
	return fewest
}

// count draws who is best.
func (b *ballot) count(r *fieldtest.Recommendation) error {
	estimates := make([]float64, len(b.members))
	for k, slug := range b.members {
		estimates[k] = b.score(slug)
	}
	var err error
	b.family, err = ranks.New(estimates, symmetric{n: len(b.members), at: func(i, j int) float64 { return b.covariance(b.members[i], b.members[j]) }}, b.dof())
	if err != nil {
		return fmt.Errorf("recommend: %w", err)
	}
	first := b.family.BestProbabilities(ranks.Draws, b.parts[0].fit.stream(streamBest))
	if first == nil {
		first = make([]float64, len(b.members))
	}
	order := make([]int, len(b.members))
	for k := range order {
		order[k] = k
	}
	slices.SortStableFunc(order, func(i, j int) int {
		return cmp.Or(cmp.Compare(first[j], first[i]), cmp.Compare(estimates[j], estimates[i]))
	})
	held := 0.0
	for _, k := range order {
		r.Candidates = append(r.Candidates, b.candidate(k, first[k]))
		if len(r.Candidates) > 1 {
			r.Separates = append(r.Separates, b.separation(order[0], k))
		}
		if held += first[k]; held >= bestIn-1e-9 {
			break
		}
	}
	return nil
}

func (b *ballot) candidate(k int, probability float64) fieldtest.Candidate {
	c := fieldtest.Candidate{PanelModel: b.members[k], Probability: fieldtest.Significant(probability)}
	var why []string
	for i := range b.parts {
		p := &b.parts[i]
		e := p.entry(c.PanelModel)
		c.Figures = append(c.Figures, fieldtest.UseFigure{Use: p.use.Name, Value: e.Estimate, ValueLo: e.EstimateLo, ValueHi: e.EstimateHi, Rank: e.Rank, RankLo: e.RankLo, RankHi: e.RankHi})
		why = append(why, fmt.Sprintf("%s: %s (%s), %s of %d", p.use.Title, shown(e.Estimate, p.use.Unit), between(e, p.use.Unit), rankOf(e), len(p.list.Ranking.Entries)))
	}
	c.Why = fmt.Sprintf("Best with a probability of %.0f %%. ", 100*probability) + strings.ToUpper(why[0][:1]) + strings.Join(why, "; ")[1:] + "."
	return c
}

func shown(x float64, unit string) string {
	if unit == "1" {
		return fmt.Sprintf("%.1f %%", 100*x)
	}
	return fmt.Sprintf("%.3g %s", x, unit)
}

func between(e *fieldtest.Entry, unit string) string {
	return shown(e.EstimateLo, unit) + " to " + shown(e.EstimateHi, unit)
}

func rankOf(e *fieldtest.Entry) string {
	if e.RankLo == e.RankHi {
		return fmt.Sprintf("rank %d", e.Rank)
	}
	return fmt.Sprintf("rank %d (%d to %d)", e.Rank, e.RankLo, e.RankHi)
}

// separation is what tells the first from another.
func (b *ballot) separation(first, other int) fieldtest.Separation {
	x, y := b.members[first], b.members[other]
	ln, se := b.score(x)-b.score(y), b.family.DifferenceError(first, other)
	student := distuv.StudentsT{Sigma: 1, Nu: min(b.dof(), 1e6)}
	t := student.Quantile(1 - (1-b.in.Rules.ConfidenceOfInterval)/2)
	s := fieldtest.Separation{
		A: x, B: y, Ratio: fieldtest.Significant(math.Exp(ln)), RatioLo: fieldtest.Significant(math.Exp(ln - t*se)), RatioHi: fieldtest.Significant(math.Exp(ln + t*se)),
		Coverage: b.in.Rules.ConfidenceOfInterval, ProbabilityABetter: fieldtest.Significant(student.CDF(ln / se)),
	}
	most := 0.0
	for i := range b.parts {
		if d := b.parts[i].scoreOf(x) - b.parts[i].scoreOf(y); i == 0 || d*ln > most {
			most, s.Most = d*ln, b.parts[i].use.Name
		}
	}
	s.Sentence = b.separates(&s)
	return s
}

func (b *ballot) separates(s *fieldtest.Separation) string {
	text := fmt.Sprintf("%s is %.1f %% ahead of %s (%.1f to %.1f %%)", s.A, 100*(s.Ratio-1), s.B, 100*(s.RatioLo-1), 100*(s.RatioHi-1))
	if s.Ratio < 1 {
		text = fmt.Sprintf("%s is %.1f %% behind %s (%.1f to %.1f %% ahead), but surer", s.A, 100*(1-s.Ratio), s.B, 100*(s.RatioLo-1), 100*(s.RatioHi-1))
	}
	if len(b.parts) > 1 {
		use, _ := fieldtest.UseNamed(s.Most)
		text += ", most of it by " + use.Title
	}
	if s.RatioLo <= 1 && 1 <= s.RatioHi {
		return text + ": too close to call."
	}
	return text + "."
}

// conclude names one, several or nobody, and says what would tell more.
func (b *ballot) conclude(r *fieldtest.Recommendation) {
	n, compared := len(r.Candidates), len(b.members)
	switch {
	case n == 0:
		r.Verdict, r.Headline = VerdictNone, "No panel has a figure for everything that was asked, so none can be named."
		r.MeasureNext = b.next(nil)
		return
	case n == 1 && compared > 1:
		r.Verdict, r.Headline = VerdictOne, fmt.Sprintf("%s is the best of %d for this, with a probability of %.0f %%.", r.Candidates[0].PanelModel, compared, 100*min(0.99, r.Candidates[0].Probability))
		return
	case n == compared:
		r.Verdict, r.Headline = VerdictNone, fmt.Sprintf("The data cannot say which of %s is best for this.", amount(compared))
	default:
		r.Verdict, r.Headline = VerdictSeveral, fmt.Sprintf("One of %d is the best of %d for this: %s; the data cannot say which.", n, compared, named(r.Candidates))
	}
	r.MeasureNext = b.next(r.Candidates)
}

func amount(n int) string {
	if n == 1 {
		return "one panel alone"
	}
	return fmt.Sprintf("%d panels", n)
}

func named(list []fieldtest.Candidate) string {
	var names []string
	for i := range list[:min(len(list), 4)] {
		names = append(names, list[i].PanelModel)
	}
	text := strings.Join(names, ", ")
	if rest := len(list) - len(names); rest > 0 {
		text += fmt.Sprintf(" or %d others", rest)
	}
	return text
}

// next says what to measure.
func (b *ballot) next(candidates []fieldtest.Candidate) string {
	with := "two panels or more"
	if len(candidates) > 1 {
		with = named(candidates[:min(len(candidates), 3)])
	}
	var hows []string
	for i := range b.parts {
		if how := howToMeasure(b.parts[i].use); how != "" && !slices.Contains(hows, how) {
			hows = append(hows, how)
		}
	}
	return fmt.Sprintf("Read %s side by side in one session: %s.", with, strings.Join(hows, "; "))
}

func howToMeasure(use fieldtest.WeightedUse) string {
	switch use.Measure {
	case fieldtest.ShadeRetention:
		return fmt.Sprintf("each with %.0f %% of its sections covered, beside a reading without a cover", 100**use.Cover)
	case fieldtest.FlatRetention:
		return "each flat on the ground, beside a tilted reading"
	case fieldtest.WeakLight:
		return "each in light of 400 to 600 W/m2 and in full sun"
	case fieldtest.Hot:
		return "each tilted, cool in the morning and hot at noon, with the temperature of its back"
	}
	return "each tilted to the sun, twice"
}
