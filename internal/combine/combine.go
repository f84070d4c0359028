package combine

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math"

	"evensun/internal/compare"
	"evensun/internal/robust"
)

const (
	// exactWork bounds the readings passed over for degrees of freedom, above it
	// sampledDofs contrasts stand for all (common practice, no source).
	exactWork   = 6e7
	sampledDofs = 11

	// likelihoodUpTo is the number of panels up to which the log-likelihood is
	// worth its memory, 16 bytes times its square.
	likelihoodUpTo = 6000
)

// Run reads a table, combines it and writes the result as indented JSON. Nothing
// is written where it fails: with a *TableError for what is wrong in the table, an
// *OptionError for an option that does not fit it, compare.ErrModel for a model
// that these readings cannot carry.
func Run(ctx context.Context, r io.Reader, opt Options, w io.Writer) error {
	result, err := Combine(ctx, r, opt)
	if err != nil {
		return err
	}
	text, err := json.MarshalIndent(result, "", "  ")
	if err != nil {
		return fmt.Errorf("encode the result: %w", err)
	}
	if _, err := w.Write(append(text, '\n')); err != nil {
		return fmt.Errorf("write the result: %w", err)
	}
	return nil
}

// Combine reads a table and returns what it says; errors as for Run.
func Combine(ctx context.Context, r io.Reader, opt Options) (*Result, error) {
	t, err := readTable(ctx, r)
	if err != nil {
		return nil, err
	}
	m, err := newModel(t, opt)
	if err != nil {
		return nil, err
	}
	f, err := m.fit(ctx)
	if err != nil {
		return nil, err
	}
	out := &Result{Variances: m.variances(f), Converged: f.Converged, Iterations: f.Iterations}
	out.LogLikelihood = m.logLikelihood(f, opt)
	m.warnOfFit(f, out.Variances)
	if err := m.scatter(ctx, out); err != nil {
		return nil, err
	}
	if err := m.panelsOf(ctx, f, out); err != nil {
		return nil, err
	}
	out.Notes = append(m.notes, f.Notes...)
	return out, nil
}

// variances returns the estimates in the order of the terms.
func (m *model) variances(f *compare.Fit) Variances {
	var out Variances
	groupings := f.Groupings
	for _, o := range m.terms {
		if native, ok := m.data.native(o); ok {
			out = append(out, Variance{o.name, Number(m.variance(f.Theta[native]))})
			continue
		}
		out = append(out, Variance{o.name, Number(m.variance(groupings[0]))})
		groupings = groupings[1:]
	}
	return out
}

func (m *model) logLikelihood(f *compare.Fit, opt Options) Number {
	if !math.IsNaN(f.LogLikelihood) {
		return m.likelihood(f.LogLikelihood)
	}
	if opt.SkipLikelihood || m.panels() > likelihoodUpTo {
		m.notes = append(m.notes, "the log-likelihood of so many panels is not computed")
		return Number(math.NaN())
	}
	return m.likelihood(f.ExactLogLikelihood())
}

// scatter fills Q and I^2, which compare the scatter with the known variances.
func (m *model) scatter(ctx context.Context, out *Result) error {
	out.Q, out.I2 = Number(math.NaN()), Number(math.NaN())
	if m.data.uncertainty == nil {
		return nil
	}
	h, err := compare.Scatter(ctx, m.columns, m.options.SessionFixed)
	if err != nil {
		return fmt.Errorf("compare the scatter with the uncertainties: %w", err)
	}
	sum := 0.0
	for _, v := range out.Variances {
		sum += float64(v.Value)
	}
	out.Q, out.QDof, out.I2 = Number(h.Q), &h.Dof, Number(h.I2(sum/m.unit/m.unit))
	return nil
}

// panelsOf fills what there is to say of each panel.
func (m *model) panelsOf(ctx context.Context, f *compare.Fit, out *Result) error {
	errors, err := f.StandardErrors(ctx)
	if err != nil {
		return fmt.Errorf("standard errors of %d panels: %w", m.panels(), err)
	}
	contrasts, err := m.contrasts(ctx, f, errors)
	if err != nil {
		return err
	}
	out.Contrasts = m.describe(contrasts)
	estimates := m.estimates(f)
	for i, name := range m.data.factors["panel"].names {
		e := Estimate{Panel: name, Estimate: m.length(estimates[i]), StandardError: m.length(errors[i])}
		if m.options.SessionFixed {
			e.Estimate, e.StandardError = m.length(contrasts[i].Estimate), m.length(contrasts[i].SE)
		}
		out.Fixed = append(out.Fixed, e)
	}
	if m.options.SessionFixed {
		m.notes = append(m.notes, "with fixed sessions the estimates are differences to the reference")
	}
	out.Rank, err = m.ranks(f, errors, contrasts)
	return err
}

// contrasts returns each panel's difference to the reference, 0 for itself. In
// large tables the degrees of freedom are the median of some, and above the size
// at which the covariance is held, covariances, never negative, count as 0.
func (m *model) contrasts(ctx context.Context, f *compare.Fit, errors []float64) ([]compare.Contrast, error) {
	all := f.Dense() && m.panels()*len(m.data.value) <= exactWork
	dof, err := m.sampledDof(ctx, f, all)
	if err != nil {
		return nil, err
	}
	if all {
		return m.exactContrasts(f)
	}
	mu := m.estimates(f)
	out := make([]compare.Contrast, m.panels())
	for i := range out {
		out[i] = compare.Contrast{Estimate: mu[i] - mu[m.reference], SE: m.differenceError(f, errors, i), Dof: dof}
	}
	return out, ctx.Err()
}

// differenceError returns the standard error of a panel's difference to the
// reference.
func (m *model) differenceError(f *compare.Fit, errors []float64, i int) float64 {
	if i == m.reference {
		return 0
	}
	v := errors[i]*errors[i] + errors[m.reference]*errors[m.reference]
	if f.Dense() {
		v -= 2 * f.Cov(i, m.reference)
	}
	return math.Sqrt(max(0, v))
}

// sampledDof returns the median degrees of freedom of evenly spread contrasts.
func (m *model) sampledDof(ctx context.Context, f *compare.Fit, all bool) (float64, error) {
	if all {
		return 0, nil
	}
	m.notes = append(m.notes, fmt.Sprintf("degrees of freedom are the median of %d contrasts", sampledDofs))
	if !f.Dense() {
		m.notes = append(m.notes, "standard errors of differences leave out covariances, which are not negative")
	}
	var dofs []float64
	for k := range sampledDofs {
		i := k * m.panels() / sampledDofs
		if i == m.reference || ctx.Err() != nil {
			continue
		}
		c, err := f.Contrast(i, m.reference)
		if err != nil {
			return 0, fmt.Errorf("contrast of panel %d: %w", i, err)
		}
		dofs = append(dofs, c.Dof)
	}
	return robust.Median(dofs), ctx.Err()
}

// describe returns the contrasts of all panels but the reference, with p-values.
func (m *model) describe(contrasts []compare.Contrast) []Contrast {
	names := m.data.factors["panel"].names
	out := []Contrast{}
	var p []float64
	for i, c := range contrasts {
		if i == m.reference {
			continue
		}
		p = append(p, c.P())
		out = append(out, Contrast{
			Panel: names[i], Reference: names[m.reference], Estimate: m.length(c.Estimate), StandardError: m.length(c.SE),
			PValue: Number(c.P()), Dof: Number(c.Dof),
		})
	}
	for i, adjusted := range compare.Holm(p) {
		out[i].PValueHolm = Number(adjusted)
	}
	return out
}
