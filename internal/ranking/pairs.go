package ranking

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"evensun/internal/compare"
	"evensun/internal/fieldtest"
	"evensun/internal/ranks"
)

// Compare returns the pairs of some panel models on one measure: how much better one
// is, how sure that is, and on what it rests. Panels without a usable reading, and those
// that no list of the measure ranks because what it divides by is missing or out of line,
// are a *fieldtest.Refusal.
//
// Each pair is told apart or not as looked at alone, and as one of a family: all pairs of
// the default list where that ranks both, as its letters have it, else those asked for.
func (out *Output) Compare(in *Inputs, measure, currency string, slugs []string) (*fieldtest.Comparison, error) {
	f := out.Fit(datasetOf(measure, ""))
	if f == nil || len(slugs) == 0 {
		return nil, unread(strings.Join(slugs, ", "))
	}
	c := &fieldtest.Comparison{Measure: measure, ComputedThrough: in.Through, Pairs: []fieldtest.Pair{}, Cautions: []fieldtest.Caution{}}
	panels := in.bySlug()
	if currencies := Currencies(in.Panels); currency == "" && len(currencies) > 0 {
		currency = currencies[0]
	}
	merits := f.merits(in, List{Measure: measure, Currency: currency}, panels)
	for i := range slugs {
		for j := i + 1; j < len(slugs); j++ {
			p, err := f.pair(in, merits, slugs[i], slugs[j])
			if err != nil {
				return nil, err
			}
			c.Pairs = append(c.Pairs, p)
		}
	}
	if err := out.tellFamilies(f, in, c, merits, currency, slugs); err != nil {
		return nil, err
	}
	c.Cautions = pairCautions(c.Pairs)
	return c, nil
}

// tellFamilies says of each pair whether its family tells it apart.
func (out *Output) tellFamilies(f *Fitted, in *Inputs, c *fieldtest.Comparison, merits []merit, currency string, slugs []string) error {
	members, asked := []int{}, []merit{}
	place := map[string]int{}
	for _, slug := range slugs {
		p, _ := f.index(slug) // each was found by its pairs
		if _, ok := place[slug]; !ok {
			place[slug] = len(members)
			members, asked = append(members, p), append(asked, merits[p])
		}
	}
	family, err := f.family(members, asked)
	if err != nil {
		return fmt.Errorf("compare by %s: %w", c.Measure, err)
	}
	critical := family.CriticalValue(in.Rules.ConfidenceOfInterval, ranks.Draws, f.stream(streamCritical))
	for i := range c.Pairs {
		p := &c.Pairs[i]
		limit := critical
		if listed, ok := out.criticalOf(c.Measure, currency, p.A, p.B); ok {
			limit = listed
		}
		p.ToldApartFamily = math.Abs(family.Studentised(place[p.A], place[p.B])) > limit
		p.ToldApart = p.ToldApartPair
		if len(members) > 2 {
			p.ToldApart = p.ToldApartFamily
		}
	}
	return nil
}

// criticalOf is the critical value of the list of a measure that ranks two panels.
func (out *Output) criticalOf(measure, currency, a, b string) (float64, bool) {
	for i := range out.Lists {
		l := &out.Lists[i]
		if l.Measure != measure || l.Measure == fieldtest.PowerPerPrice && l.Currency != currency || !out.isDefault(l) && l.Measure == fieldtest.ShadeRetention {
			continue
		}
		if l.ranks(a) && l.ranks(b) {
			return *l.Ranking.Model.CriticalValue, true
		}
	}
	return 0, false
}

func (l *List) ranks(slug string) bool {
	return slices.ContainsFunc(l.Ranking.Entries, func(e fieldtest.Entry) bool { return e.PanelModel == slug })
}

func datasetOf(measure, cover string) string {
	switch measure {
	case fieldtest.ShadeRetention:
		if cover == "" {
			cover = CoverClasses()[0]
		}
		return DatasetNamed(fieldtest.Covered, cover)
	case fieldtest.FlatRetention:
		return DatasetNamed(fieldtest.Flat, "")
	}
	return DatasetNamed(fieldtest.Tilted, "")
}

func unread(slug string) error {
	return &fieldtest.Refusal{Kind: fieldtest.InvalidParameter, Detail: "A panel model has no counted reading for this measure.",
		Faults: []fieldtest.Fault{{Parameter: "models", Code: "no_readings", Value: slug, Reason: fmt.Sprintf("%s has no counted reading for this measure.", slug)}}}
}

// pair compares two panels on the logarithmic scale.
func (f *Fitted) pair(in *Inputs, merits []merit, a, b string) (fieldtest.Pair, error) {
	i, ok := f.index(a)
	if !ok {
		return fieldtest.Pair{}, unread(a)
	}
	j, ok := f.index(b)
	if !ok {
		return fieldtest.Pair{}, unread(b)
	}
	ma, mb := merits[i], merits[j]
	for k, m := range []merit{ma, mb} {
		if m.missing != "" {
			slug := []string{a, b}[k]
			return fieldtest.Pair{}, &fieldtest.Refusal{Kind: fieldtest.InvalidParameter, Detail: "A figure cannot be made.",
				Faults: []fieldtest.Fault{{Parameter: "models", Code: m.missing, Value: slug, Reason: "Needs " + m.needs + "."}}}
		}
	}
	contrast, err := f.Fit.Contrast(i, j)
	if err != nil {
		return fieldtest.Pair{}, fmt.Errorf("compare %s and %s: %w", a, b, err)
	}
	contrast.Estimate = f.figure(i, ma) - f.figure(j, mb)
	if ma.alone {
		contrast.SE = math.Sqrt(ma.variance + mb.variance)
	} else {
		contrast.SE = math.Sqrt(contrast.SE*contrast.SE + f.ModelVar[i] + f.ModelVar[j] + ma.variance + mb.variance)
	}
	lo, hi := contrast.Interval(in.Rules.ConfidenceOfInterval)
	p := fieldtest.Pair{
		A: a, B: b, Ratio: fieldtest.Significant(math.Exp(contrast.Estimate)), RatioLo: fieldtest.Significant(math.Exp(lo)), RatioHi: fieldtest.Significant(math.Exp(hi)),
		Coverage: in.Rules.ConfidenceOfInterval, ProbabilityABetter: fieldtest.Significant(contrast.ProbabilityAbove()), ToldApartPair: lo > 0 || hi < 0,
	}
	f.basis(&p, i, j)
	if ln, ok := f.direct(i, j); ok && !ma.alone {
		ratio := fieldtest.Significant(math.Exp(ln + ma.lnFactor - mb.lnFactor))
		p.DirectRatio = &ratio
	}
	return p, nil
}

// basis says on what a comparison rests.
func (f *Fitted) basis(p *fieldtest.Pair, i, j int) {
	switch {
	case f.Component[i] == f.Component[j]:
		path := f.path(i, j)
		p.PathSessions = &path
		p.Basis = "through_other_panels"
		if path == 1 {
			p.Basis = "same_session"
		}
	case f.ByTester[i] == f.ByTester[j]:
		p.Basis = "same_tester"
	default:
		p.Basis = "absolute_scale"
	}
}

// direct is the mean difference of two panels within the sessions that hold both, each
// weighted by the information of its two cells; false without such a session.
func (f *Fitted) direct(i, j int) (float64, bool) {
	type cells struct {
		sum, variance, n [2]float64
	}
	sessions := map[int32]*cells{}
	var order []int32
	for k := range f.Rows {
		r := &f.Rows[k]
		side := 0
		switch int(r.Panel) {
		case i:
		case j:
			side = 1
		default:
			continue
		}
		c := sessions[r.Session]
		if c == nil {
			c = &cells{}
			sessions[r.Session], order = c, append(order, r.Session)
		}
		c.sum[side] += f.Table.Value[k]
		c.variance[side] += f.Table.Variance[k] + f.Fit.Theta[compare.Residual]
		c.n[side]++
	}
	var sum, weight float64
	for _, s := range order {
		c := sessions[s]
		if c.n[0] == 0 || c.n[1] == 0 {
			continue
		}
		v := 2*f.Fit.Theta[compare.SessionPanel] + c.variance[0]/(c.n[0]*c.n[0]) + c.variance[1]/(c.n[1]*c.n[1])
		w := 1 / max(v, 1e-12)
		sum += w * (c.sum[0]/c.n[0] - c.sum[1]/c.n[1])
		weight += w
	}
	return sum / weight, weight > 0
}

// path is the smallest number of sessions that lead from one panel to another.
func (f *Fitted) path(from, to int) int {
	panelsOf, sessionsOf := make([][]int32, len(f.Sessions)), make([][]int32, len(f.Panels))
	for i := range f.Rows {
		r := &f.Rows[i]
		panelsOf[r.Session] = append(panelsOf[r.Session], r.Panel)
		sessionsOf[r.Panel] = append(sessionsOf[r.Panel], r.Session)
	}
	distance := map[int32]int{int32(from): 0}
	queue := []int32{int32(from)}
	for len(queue) > 0 {
		p := queue[0]
		queue = queue[1:]
		for _, s := range sessionsOf[p] {
			for _, q := range panelsOf[s] {
				if _, seen := distance[q]; seen {
					continue
				}
				distance[q] = distance[p] + 1
				if int(q) == to {
					return distance[q]
				}
				queue = append(queue, q)
			}
			panelsOf[s] = nil
		}
	}
	return 0
}

func pairCautions(pairs []fieldtest.Pair) []fieldtest.Caution {
	cautions := []fieldtest.Caution{}
	seen := map[string]bool{}
	add := func(id, text string) {
		if !seen[id] {
			seen[id] = true
			cautions = append(cautions, fieldtest.Caution{ID: id, Level: "inform", Text: text})
		}
	}
	for _, p := range pairs {
		switch p.Basis {
		case "same_tester":
			add("compared_across_sessions", "Some pairs were read by one tester but never in one session: their interval is wider for it.")
		case "absolute_scale":
			add("not_compared_side_by_side", "Some pairs have no session and no tester in common: the comparison rests on absolute figures, with all errors of rigs and testers in its interval.")
		}
	}
	return cautions
}
