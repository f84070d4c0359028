package ranking

import (
	"context"
	"fmt"
	"math"
	"sort"

	"evensun/internal/compare"
	"evensun/internal/ranks"
	"evensun/internal/seedrand"
)

// Version names the model of the ranking; it is raised when a ranking of the same
// inputs can change.
const Version = "2"

// A Fitted is a dataset with its fit and what is counted per panel.
type Fitted struct {
	*Dataset
	Fit       *compare.Fit
	ModelVar  []float64 // per panel: u_model^2, added once after the fit
	CommonVar []float64 // per panel: u_common^2, for absolute figures only
	Component []int
	ByTester  []int                  // component by shared testers
	Slopes    []Slope                // per panel, of the power measures; nil: none
	Shifts    []compare.Shift        // per panel: the tester on whom it depends most
	Scatter   *compare.Heterogeneity // against the known variances; nil where they say nothing
	counts    []counts
	backlog   map[string]*backlog // by slug: what is stored without counting
	contrasts []float64           // per panel: degrees of freedom against the mean of its component
}

// random are the random terms of the service's model.
func random() []compare.Term {
	return []compare.Term{compare.Tester, compare.Session, compare.TesterPanel, compare.SessionPanel, compare.Residual}
}

// fit runs the mixed model on a dataset: once, and for the power measures once more
// with the panels' own slopes taken out of the responses.
func fit(ctx context.Context, in *Inputs, d *Dataset, start *compare.Theta) (*Fitted, error) {
	f, err := fitOnce(ctx, in, d, start, nil)
	if err != nil {
		return nil, err
	}
	if d.Name != "tilted" || len(d.Testers) == 1 {
		return f, f.describe(ctx)
	}
	slopes := f.slopes(in)
	f.flatten(slopes)
	again, err := fitOnce(ctx, in, d, &f.Fit.Theta, f.Fit.Memory())
	if err != nil {
		return nil, err
	}
	again.Slopes = slopes
	again.shared(slopes)
	return again, again.describe(ctx)
}

// describe adds what a reader needs to know about the fit: on whom estimates depend,
// and how the scatter compares with the known variances.
func (f *Fitted) describe(ctx context.Context) error {
	shifts, err := f.Fit.MaxShifts(ctx)
	if err != nil {
		return fmt.Errorf("leave testers out of %s: %w", f.Name, err)
	}
	f.Shifts = shifts
	if q, err := compare.Scatter(ctx, f.Table, false); err == nil {
		if q.Dof -= f.freed; q.Dof > 0 { // a freed session is as good as fixed
			f.Scatter = &q
		}
	}
	if err := f.contrastDofs(); err != nil {
		return fmt.Errorf("degrees of freedom of %s: %w", f.Name, err)
	}
	return ctx.Err()
}

// fitOnce fits a dataset, beginning with the given variances and with the weights of an
// earlier fit where there is one.
func fitOnce(ctx context.Context, in *Inputs, d *Dataset, start *compare.Theta, after *compare.Fit) (*Fitted, error) {
	opts := d.options(in, start)
	opts.After = after
	f, err := compare.Estimate(ctx, d.Table, opts)
	if err != nil {
		return nil, fmt.Errorf("fit %s: %w", d.Name, err)
	}
	out := &Fitted{Dataset: d, Fit: f, Component: d.components(), ByTester: d.testerComponents()}
	out.shared(nil)
	out.count()
	return out, nil
}

// options are those of the service's model, with the terms that these data can tell
// apart.
func (d *Dataset) options(in *Inputs, start *compare.Theta) compare.Options {
	cut := compare.DefaultCutoffs()
	opts := compare.Options{
		Random: random(), Robust: &cut, Floor: compare.ServiceFloor(), Keep: d.keeps(in),
		CapSessions: in.Rules.CapSessions, MaxShare: in.Rules.ShareBound, Seed: d.Seed, Start: start,
		Unchecked: unchecked(d.checkedTesters(in), in.Rules.CheckedTesters),
	}
	if !repeats(d) { // nothing tells a reading's own scatter from its cell's
		opts.Random = opts.Random[:4]
	}
	units, pairs := d.specimens()
	if pairs >= specimenPairs {
		d.Table.Specimen = units
		opts.Random = append(opts.Random, compare.Specimen)
	}
	times, repeating := d.minutes()
	if repeating > 0 {
		d.Table.Minutes = times
		opts.Random = append(opts.Random, compare.Drift)
	}
	if repeating > 0 && repeating < driftSessions { // too few to estimate its variance
		theta := blindStart()
		if start != nil {
			theta = *start
		}
		theta[compare.Drift] = driftDefaultSD * driftDefaultSD
		opts.Start, opts.Fixed = &theta, []compare.Term{compare.Drift}
	}
	if len(d.Testers) < priorTesters {
		opts.Priors = compare.PracticePriors()
	}
	return opts
}

// priorTesters is the number of testers below which the fit expects usual spreads (common
// practice, no source): from there on readings say more of them than the prior does.
const priorTesters = 10

// blindStart is where the search for variances begins without data to go by (common
// practice, no source).
func blindStart() compare.Theta {
	return compare.Theta{compare.Tester: 4e-4, compare.Session: 4e-4, compare.TesterPanel: 4e-4, compare.SessionPanel: 1e-4, compare.Residual: 1e-4}
}

// repeats tells whether some cell has more than one reading.
func repeats(d *Dataset) bool {
	type cell struct{ session, panel int32 }
	seen := map[cell]bool{}
	for i := range d.Rows {
		c := cell{d.Rows[i].Session, d.Rows[i].Panel}
		if seen[c] {
			return true
		}
		seen[c] = true
	}
	return false
}

// keeps are the effects whose weight a reviewer fixed at 1.
func (d *Dataset) keeps(in *Inputs) []compare.Effect {
	find := func(list []string, s string) int32 {
		i := sort.SearchStrings(list, s)
		if i < len(list) && list[i] == s {
			return int32(i)
		}
		return -1
	}
	var out []compare.Effect
	for _, k := range in.Keeps {
		term, ok := compare.TermNamed(k.Level)
		if !ok || k.Dataset != "" && k.Dataset != d.Name {
			continue
		}
		e := compare.Effect{Term: term, Panel: find(d.Panels, k.Panel), Tester: -1, Session: -1}
		for i, id := range d.Testers {
			if id == in.CountsAs(k.TesterID) {
				e.Tester = int32(i)
			}
		}
		for i, id := range d.Sessions {
			if id == k.SessionID {
				e.Session = int32(i)
			}
		}
		out = append(out, e)
	}
	return out
}

// covariance of two panels' logarithmic estimates, with the panel models' own parts.
func (f *Fitted) covariance(i, j int) float64 {
	c := f.Fit.Cov(i, j)
	if i == j {
		c += f.ModelVar[i]
	}
	return c
}

// figure is the logarithm of a panel's figure on a measure.
func (f *Fitted) figure(p int, m merit) float64 {
	if m.alone {
		return m.lnFactor
	}
	return f.Fit.Mu[p] + m.lnFactor
}

// figureCovariance is that of two panels' figures on one measure, without what all panels
// share.
func (f *Fitted) figureCovariance(i, j int, mi, mj merit) float64 {
	c := 0.0
	if !mi.alone && !mj.alone {
		c = f.covariance(i, j)
	}
	if i == j {
		c += mi.variance
	}
	return c
}

// figureVariance is that of one panel's figure, with what all panels share.
func (f *Fitted) figureVariance(p int, m merit) float64 {
	v := f.figureCovariance(p, p, m, m)
	if !m.alone {
		v += f.CommonVar[p]
	}
	return v
}

// family makes the list of some panels, each with its merit.
func (f *Fitted) family(members []int, merits []merit) (*ranks.Family, error) {
	dof := f.Fit.FamilyDof(members)
	estimates := make([]float64, len(members))
	for k, p := range members {
		estimates[k] = f.figure(p, merits[k])
	}
	if !f.Fit.Dense() {
		se := make([]float64, len(members))
		for k, p := range members {
			se[k] = math.Sqrt(f.figureCovariance(p, p, merits[k], merits[k]))
		}
		return ranks.NewSeparate(estimates, se, dof)
	}
	return ranks.New(estimates, symmetric{n: len(members), at: func(a, b int) float64 {
		return f.figureCovariance(members[a], members[b], merits[a], merits[b])
	}}, dof)
}

func (f *Fitted) stream(purpose uint64) *seedrand.Stream { return seedrand.New(f.Seed ^ purpose) }
