package combine

import (
	"fmt"
	"slices"

	"evensun/internal/compare"
)

// warn notes what a reader must know before he believes the numbers.
func (m *model) warn() {
	if m.defaults {
		m.warnOfSilentColumns()
	}
	m.warnOfParts()
	if n := m.repeated(); n > 0 {
		m.notes = append(m.notes, fmt.Sprintf("%d rows equal an earlier row in all columns used: a reading entered twice counts twice", n))
	}
}

// warnOfSilentColumns says which groupings of the table give no random term, and why.
func (m *model) warnOfSilentColumns() {
	panel := m.data.factors["panel"].codes
	for _, name := range groupings[1:] {
		f, ok := m.data.factors[name]
		if !ok || slices.ContainsFunc(m.terms, func(o term) bool { return slices.Contains(o.factors, name) }) {
			continue
		}
		switch {
		case name == "session" && m.options.SessionFixed:
		case len(f.names) == 1:
			m.notes = append(m.notes, fmt.Sprintf("the column %s has one level: what another one would change is in no standard error", name))
		case determines(panel, f.codes):
			m.notes = append(m.notes, fmt.Sprintf("each panel has one %s only: differences between panels contain those between %ss, and no standard error does", name, name))
		}
	}
}

// warnOfParts says when panels fall into parts that nothing joins.
func (m *model) warnOfParts() {
	if parts := m.parts(); len(parts) > 1 {
		m.notes = append(m.notes, fmt.Sprintf("the panels fall into %d parts that share neither session nor tester: each part is ranked by itself, and contrasts between parts rest on their levels alone", len(parts)))
	}
}

// repeated returns the number of rows that equal an earlier one.
func (m *model) repeated() int {
	type row struct {
		value, uncertainty float64
		codes              [len(groupings)]int32
	}
	seen := make(map[row]bool, len(m.data.value))
	for k, v := range m.data.value {
		r := row{value: v}
		if m.data.uncertainty != nil {
			r.uncertainty = m.data.uncertainty[k]
		}
		for c, name := range groupings {
			if f, ok := m.data.factors[name]; ok {
				r.codes[c] = f.codes[k]
			}
		}
		seen[r] = true
	}
	return len(m.data.value) - len(seen)
}

// warnOfFit says which numbers of a fit are not to be relied on.
func (m *model) warnOfFit(f *compare.Fit, variances Variances) {
	if !f.Converged {
		m.notes = append(m.notes, "the fit did not converge: do not rely on these numbers; fewer random terms may help")
	}
	total, left := 0.0, -1.0
	for _, v := range variances {
		total += float64(v.Value)
		if v.Term == residual {
			left = float64(v.Value)
		}
	}
	if m.data.uncertainty == nil && left >= 0 && left < 1e-8*total {
		m.notes = append(m.notes, "repeats agree exactly: the residual variance stands at the lower limit of the computation, and the log-likelihood has no largest value")
	}
}
