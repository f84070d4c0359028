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
const Version = "1"

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
	anchored  []bool // per tester
	OneTester bool
}

// counts are what a panel's estimate rests on.
type counts struct {
	readings, sessions, testers int
	checked                     int     // testers whose data others can check
	topShare                    float64 // largest share of one tester
	disputed                    float64 // share of opinions with weight below one half
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
	spread := f.flatten(slopes)
	again, err := fitOnce(ctx, in, d, &f.Fit.Theta, f.Fit.Memory())
	if err != nil {
		return nil, err
	}
	again.Slopes = slopes
	again.shared(spread)
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
	if q, err := compare.Scatter(ctx, f.Table, false); err == nil && q.Dof > 0 {
		f.Scatter = &q
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
	out := &Fitted{Dataset: d, Fit: f, Component: d.components(), ByTester: d.testerComponents(), OneTester: len(d.Testers) == 1}
	out.shared(nil)
	out.count(in)
	return out, nil
}

// options are those of the service's model, with the terms that these data can tell
// apart.
func (d *Dataset) options(in *Inputs, start *compare.Theta) compare.Options {
	cut := compare.DefaultCutoffs()
	opts := compare.Options{
		Random: random(), Robust: &cut, Floor: compare.ServiceFloor(), Keep: d.keeps(in),
		CapSessions: in.Rules.CapSessions, MaxShare: in.Rules.ShareBound, Seed: d.Seed, Start: start,
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
	return opts.Few(len(d.Testers))
}

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

// shared averages the parts that do not average out over sessions, weighted by the
// information of each reading. spread, where given, is the variance that each reading
// keeps of its panel's slopes, in place of the budget's parts for them.
func (f *Fitted) shared(spread []float64) {
	n := len(f.Panels)
	f.ModelVar, f.CommonVar = make([]float64, n), make([]float64, n)
	weight := make([]float64, n)
	for k := range f.Rows {
		r := &f.Rows[k]
		res := r.Observation.Result
		if res.Retention != nil { // a ratio of one panel with itself: shared parts cancel
			continue
		}
		w := 1 / (r.U*r.U + 1e-6)
		model := res.Parts.Model * res.Parts.Model
		if spread != nil {
			model = max(0, model-res.GammaRelative*res.GammaRelative-res.LowLightRelative*res.LowLightRelative) + spread[k]
		}
		f.ModelVar[r.Panel] += w * model
		f.CommonVar[r.Panel] += w * res.Parts.Common * res.Parts.Common
		weight[r.Panel] += w
	}
	for p := range weight {
		if weight[p] > 0 {
			f.ModelVar[p] /= weight[p]
			f.CommonVar[p] /= weight[p]
		}
	}
}

// count gathers what each panel's estimate rests on.
func (f *Fitted) count(in *Inputs) {
	n := len(f.Panels)
	f.counts = make([]counts, n)
	sessions, testers := make([]map[int32]bool, n), make([]map[int32]bool, n)
	for p := range n {
		sessions[p], testers[p] = map[int32]bool{}, map[int32]bool{}
	}
	f.anchored = f.anchoredTesters(in)
	for i := range f.Rows {
		r := &f.Rows[i]
		f.counts[r.Panel].readings++
		sessions[r.Panel][r.Session] = true
		if !testers[r.Panel][r.Tester] && f.anchored[r.Tester] {
			f.counts[r.Panel].checked++
		}
		testers[r.Panel][r.Tester] = true
	}
	for p := range n {
		f.counts[p].sessions, f.counts[p].testers = len(sessions[p]), len(testers[p])
	}
	for _, s := range f.Fit.Shares() {
		c := &f.counts[s.Panel]
		c.topShare = max(c.topShare, s.Share)
	}
	f.dispute()
}

// anchoredTesters are those whose data others can check: enough sessions with panels
// that at least two other testers read. In a service of few testers everybody counts.
func (f *Fitted) anchoredTesters(in *Inputs) []bool {
	readers := make([]map[int32]bool, len(f.Panels))
	for i := range f.Rows {
		r := &f.Rows[i]
		if readers[r.Panel] == nil {
			readers[r.Panel] = map[int32]bool{}
		}
		readers[r.Panel][r.Tester] = true
	}
	shared := make([]map[int32]bool, len(f.Testers))
	for i := range f.Rows {
		r := &f.Rows[i]
		if len(readers[r.Panel]) >= 3 {
			if shared[r.Tester] == nil {
				shared[r.Tester] = map[int32]bool{}
			}
			shared[r.Tester][r.Session] = true
		}
	}
	anchored := make([]bool, len(f.Testers))
	for t := range anchored {
		anchored[t] = len(f.Testers) < fewTesters || len(shared[t]) >= in.Rules.AnchoredAfter
	}
	return anchored
}

// fewTesters is the number of testers below which nobody can be checked by two others
// often enough, and all count.
const fewTesters = 5

// dispute finds panels whose testers fall into two camps.
func (f *Fitted) dispute() {
	level := f.Fit.Level(compare.TesterPanel)
	low, all := make([]float64, len(f.Panels)), make([]float64, len(f.Panels))
	for i := range level.Len() {
		all[level.Panel[i]]++
		if level.Weight(i) < 0.5 {
			low[level.Panel[i]]++
		}
	}
	for p := range all {
		if all[p] > 0 {
			f.counts[p].disputed = low[p] / all[p]
		}
	}
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
	dof := f.medianDof(members)
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

// medianDof is the median of the degrees of freedom of neighbouring contrasts; all
// pairs would cost as much as the fit.
func (f *Fitted) medianDof(members []int) float64 {
	var dofs []float64
	step := max(1, len(members)/64)
	for k := 0; k+step < len(members); k += step {
		if c, err := f.Fit.Contrast(members[k], members[k+step]); err == nil {
			dofs = append(dofs, c.Dof)
		}
	}
	if len(dofs) == 0 {
		return math.Inf(1)
	}
	sort.Float64s(dofs)
	return max(1, dofs[len(dofs)/2])
}

func (f *Fitted) stream(purpose uint64) *seedrand.Stream { return seedrand.New(f.Seed ^ purpose) }
