package combine

import (
	"context"
	"fmt"
	"slices"

	"evensun/internal/compare"
)

// A model is a table with its terms, in the words of package compare.
type model struct {
	data      *table
	terms     []term
	columns   compare.Table
	options   compare.Options
	reference int       // panel of the contrasts
	middles   []float64 // of each panel, taken from the values
	unit      float64   // by which they are divided, a power of two
	defaults  bool      // terms by default, none named
	notes     []string
}

// newModel checks the options against the table.
func newModel(t *table, opt Options) (*model, error) {
	if opt.IgnoreUncertainty {
		t.uncertainty = nil
	}
	if !slices.Contains([]string{"", "reml", "ml"}, opt.Estimator) {
		return nil, &OptionError{"--estimator", opt.Estimator, "reml or ml"}
	}
	terms, err := t.terms(opt)
	if err != nil {
		return nil, err
	}
	m := &model{data: t, terms: terms, defaults: opt.Random == nil}
	if opt.Random == nil {
		m.leaveOut()
	}
	for _, name := range t.unused {
		m.notes = append(m.notes, fmt.Sprintf("the column %q is not used", name))
	}
	if m.reference, err = t.reference(opt.Reference); err != nil {
		return nil, err
	}
	m.options = compare.Options{ML: opt.Estimator == "ml", SessionFixed: opt.SessionFixed}
	m.warn()
	if err := m.standardise(); err != nil {
		return nil, err
	}
	m.fillTerms()
	if opt.UsualPriors {
		m.usualPriors()
	}
	if err := m.fillPriors(opt.Priors); err != nil {
		return nil, err
	}
	m.fillColumns()
	if opt.SessionFixed {
		return m, m.checkFixedSessions()
	}
	return m, nil
}

func (m *model) leaveOut() {
	kept, left := m.data.fitting(m.terms)
	m.terms = kept
	for _, name := range left {
		m.notes = append(m.notes, fmt.Sprintf("the random term %s is left out: with it the table is too large", name))
	}
}

func (t *table) reference(name string) (int, error) {
	if name == "" {
		return 0, nil
	}
	i, ok := slices.BinarySearch(t.factors["panel"].names, name)
	if !ok {
		return 0, &OptionError{"--reference", name, "no panel of the table has this name"}
	}
	return i, nil
}

// fillTerms sorts the terms into those that package compare knows and others.
func (m *model) fillTerms() {
	for _, o := range m.terms {
		if native, ok := m.data.native(o); ok {
			m.options.Random = append(m.options.Random, native)
			continue
		}
		m.options.Groupings = append(m.options.Groupings, compare.Grouping{Name: o.name, Codes: o.codes})
	}
}

// usualPriors takes the practice values for the terms of the model.
func (m *model) usualPriors() {
	usual := compare.PracticePriors()
	for _, l := range m.options.Random {
		m.options.Priors[l] = usual[l] / m.unit
	}
}

// fillPriors takes the priors of terms that package compare knows, in its unit.
func (m *model) fillPriors(priors []Prior) error {
	for _, p := range priors {
		given := fmt.Sprintf("%s=%g", p.Term, p.SD)
		one, err := m.data.termNamed(p.Term)
		if err != nil {
			return &OptionError{"--prior", given, "no such random term"}
		}
		if !slices.ContainsFunc(m.terms, func(o term) bool { return slices.Equal(o.factors, one.factors) }) {
			return &OptionError{"--prior", given, "the term is not in the model"}
		}
		native, ok := m.data.native(one)
		if !ok {
			return &OptionError{"--prior", given, "only tester, session, tester:panel, session:panel, specimens of one tester and residual take one"}
		}
		m.options.Priors[native] = p.SD / m.unit
	}
	return nil
}

// fillColumns fills the columns that the terms ask for and no others: a column
// that is only present must not change how the model is solved.
func (m *model) fillColumns() {
	panel := m.data.factors["panel"]
	m.columns = compare.Table{Value: m.data.value, Panel: panel.codes}
	if u := m.data.uncertainty; u != nil {
		m.columns.Variance = make([]float64, len(u))
		for k, x := range u {
			m.columns.Variance[k] = x * x
		}
	}
	has := func(terms ...compare.Term) bool {
		return slices.ContainsFunc(m.options.Random, func(t compare.Term) bool { return slices.Contains(terms, t) })
	}
	if has(compare.Specimen) {
		m.columns.Specimen = m.data.factors["specimen"].codes
	}
	if has(compare.Tester, compare.TesterPanel, compare.Specimen) {
		m.columns.Tester = m.data.factors["tester"].codes
	}
	session, ok := m.data.factors["session"]
	switch {
	case ok && (m.options.SessionFixed || has(compare.Session, compare.SessionPanel)):
		m.columns.Session = session.codes
	case m.columns.Tester != nil:
		m.columns.Session, _ = pairs(m.columns.Tester, panel)
	default:
		m.columns.Session = panel.codes
	}
}

// checkFixedSessions returns an error where sessions are not recorded or do not
// join all panels to the reference: then there is nothing to compare them by.
func (m *model) checkFixedSessions() error {
	if _, ok := m.data.factors["session"]; !ok {
		return &OptionError{"--session-fixed", "true", "the table has no column session"}
	}
	for _, o := range m.terms {
		if slices.Equal(o.factors, []string{"tester"}) {
			return &OptionError{"--random", o.name, "fixed sessions leave nothing to estimate it from"}
		}
	}
	joined := joinedBy(m.columns.Panel, m.columns.Session)
	for i, name := range m.data.factors["panel"].names {
		if joined(i) != joined(m.reference) {
			return &OptionError{"--session-fixed", "true", fmt.Sprintf("no chain of sessions joins panel %q to %q", name, m.data.factors["panel"].names[m.reference])}
		}
	}
	return nil
}

// joinedBy returns a function that gives panels in one chain of shared levels, of any
// of the groupings, the same number.
func joinedBy(panels []int32, groupings ...[]int32) func(panel int) int {
	type node struct{ grouping, code int } // panels are grouping -1
	parent := map[node]node{}
	find := func(x node) node {
		for {
			p, ok := parent[x]
			if !ok {
				return x
			}
			if up, ok := parent[p]; ok {
				parent[x] = up
			}
			x = p
		}
	}
	for g, codes := range groupings {
		for k, i := range panels {
			a, b := find(node{-1, int(i)}), find(node{g, int(codes[k])})
			if a != b {
				parent[b] = a
			}
		}
	}
	return func(panel int) int { return find(node{-1, panel}).code }
}

// fit returns the fitted model.
func (m *model) fit(ctx context.Context) (*compare.Fit, error) {
	f, err := compare.Estimate(ctx, m.columns, m.options)
	if err != nil {
		return nil, fmt.Errorf("fit %d readings of %d panels: %w", len(m.data.value), m.panels(), err)
	}
	return f, nil
}

func (m *model) panels() int { return len(m.data.factors["panel"].names) }
