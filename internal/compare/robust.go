package compare

import (
	"context"
	"fmt"
	"math"
)

// Cutoffs are the corners of Hampel's three-part weight.
type Cutoffs struct{ A, B, C float64 }

const leastWeight = 1e-4

// Weight returns the weight of a standardised residual r:
//
//	1 for |r| <= A;  A/|r| up to B;  A (C-|r|)/((C-B)|r|) up to C;  beyond, and at least, 1e-4
//
// Source: F. Hampel et al., Robust Statistics, 1986, in the form of MASS psi.hampel.
func (c Cutoffs) Weight(r float64) float64 {
	r = math.Abs(r)
	switch {
	case math.IsNaN(r) || r <= c.A:
		return 1
	case r <= c.B:
		return c.A / r
	case r < c.C:
		return max(leastWeight, c.A*(c.C-r)/((c.C-c.B)*r))
	}
	return leastWeight
}

// An Effect names one effect whose weight a verdict has fixed at 1.
type Effect struct {
	Term                   Term  // TesterPanel, SessionPanel or Session
	Tester, Panel, Session int32 // codes; those the term does not use are ignored
}

const (
	robustPasses    = 40
	dampFrom        = 3
	slowestPace     = 0.05
	settledWeight   = 1e-3
	calmShift       = 1e-3
	weighedReadings = 3 // readings of a cell from which each is judged by the others
)

// weights are the robust weights of one pass, by sorted index.
type weights struct{ group, cell, session, reading []float64 }

func newWeights(d *design) *weights {
	w := &weights{make([]float64, d.groups()), make([]float64, d.cells()), make([]float64, d.sessions()), make([]float64, d.n)}
	for _, x := range w.all() {
		for i := range x {
			x[i] = 1
		}
	}
	return w
}

func (w *weights) all() [][]float64 { return [][]float64{w.group, w.cell, w.session, w.reading} }

// A robustRun alternates weights and variances of one engine.
type robustRun struct {
	e             *engine
	cut           Cutoffs
	w, last, pace *weights // weights, their last changes and the shares of a change that they make
	kept          map[Effect]bool
	passes        int
	settled       bool
}

func newRobustRun(e *engine) *robustRun {
	r := &robustRun{e: e, cut: *e.opt.Robust, w: newWeights(e.d), last: newWeights(e.d), pace: newWeights(e.d), kept: map[Effect]bool{}}
	for _, k := range e.opt.Keep {
		r.kept[k.plain()] = true
	}
	return r
}

// plain clears the codes that the term does not use.
func (e Effect) plain() Effect {
	switch e.Term {
	case TesterPanel:
		e.Session = 0
	case SessionPanel:
		e.Tester = 0
	case Session:
		e.Tester, e.Panel = 0, 0
	}
	return e
}

// run alternates until no weight moves by more than 0.001 or, twice in a row, no
// estimate by more than a thousandth of its standard error: among a million weights some
// move for ever. Between passes variances are followed to a hundredth of their standard
// errors, in the end to a thousandth.
func (r *robustRun) run(ctx context.Context, start vec) (*progress, error) {
	search := r.e.search()
	search.slack = looseSlack
	pr, err := search.run(ctx, start)
	var before []float64
	for calm := 0; err == nil; {
		r.passes++
		moved := r.reweigh()
		calm++
		if r.shift(before) > calmShift {
			calm = 0
		}
		before = append(before[:0], r.e.mu...)
		quiet := moved < settledWeight || calm >= 2
		r.settled = quiet && pr.decrement <= tightSlack
		if r.settled || r.passes >= robustPasses {
			return pr, nil
		}
		search.slack = looseSlack
		if quiet {
			search.slack = tightSlack
		}
		pr, err = search.run(ctx, pr.theta)
	}
	return nil, fmt.Errorf("robust pass %d: %w", r.passes, err)
}

// looseSlack and tightSlack are Newton decrements, in squared standard errors of the
// variances.
const (
	looseSlack = 1e-4
	tightSlack = 1e-6
)

// shift returns the largest change of an estimate, in standard errors; infinite where
// there was none before. Without C it takes 1/sqrt(H_ii), which is at most that error.
func (r *robustRun) shift(before []float64) float64 {
	if before == nil {
		return math.Inf(1)
	}
	n, largest := r.e.nrm, 0.0
	for i, mu := range r.e.mu {
		precision := 0.0
		switch {
		case n.anchor[i]:
		case !n.dense():
			precision = n.diag[i]
		case n.c != nil && n.c.At(i, i) > 0:
			precision = 1 / n.c.At(i, i)
		}
		largest = max(largest, math.Abs(mu-before[i])*math.Sqrt(precision))
	}
	return largest
}

// reweigh sets weights and additions from the statistics of the last fit and
// returns the largest change of a weight.
func (r *robustRun) reweigh() float64 {
	e, d := r.e, r.e.d
	keepGroup, keepCell, keepSession := r.keepers()
	moved := r.level(r.w.group, r.last.group, r.pace.group, e.ls.s[TesterPanel], e.ls.v[TesterPanel], e.add.group, keepGroup)
	moved = max(moved, r.level(r.w.cell, r.last.cell, r.pace.cell, e.ls.s[SessionPanel], e.ls.v[SessionPanel], e.add.cell, keepCell))
	if !e.opt.SessionFixed {
		moved = max(moved, r.level(r.w.session, r.last.session, r.pace.session, e.ls.s[Session], e.ls.v[Session], e.add.session, keepSession))
	}
	for j := range d.sessions() {
		for c := d.sessStart[j]; c < d.sessStart[j+1]; c++ {
			moved = max(moved, r.readings(int(c), j))
		}
	}
	return moved
}

func (r *robustRun) keepers() (group, cell, session func(i int) bool) {
	none := func(int) bool { return false }
	if len(r.kept) == 0 {
		return none, none, none
	}
	d := r.e.d
	testers, panels := d.pairs(d.groupStart)
	sessions, cellPanels := d.cellLabels()
	return func(i int) bool { return r.kept[Effect{Term: TesterPanel, Tester: testers[i], Panel: panels[i]}] },
		func(i int) bool {
			return r.kept[Effect{Term: SessionPanel, Session: sessions[i], Panel: cellPanels[i]}]
		},
		func(i int) bool { return r.kept[Effect{Term: Session, Session: d.sessCode[i]}] }
}

func (r *robustRun) level(w, last, pace, s, v, add []float64, keep func(i int) bool) float64 {
	moved := 0.0
	for i := range w {
		if !(v[i] > 0) || keep(i) {
			continue
		}
		own := 1/v[i] - add[i]
		if !(own > 0) {
			continue
		}
		moved = max(moved, r.set(&w[i], &last[i], &pace[i], &add[i], s[i]/v[i]/math.Sqrt(own), own))
	}
	return moved
}

// set moves one weight towards that of t, on the log scale: all the way in the first
// passes, then by its own pace, which is halved where it turns back and grows by a
// quarter where it does not.
func (r *robustRun) set(w, last, pace, add *float64, t, own float64) float64 {
	target := r.cut.Weight(t)
	if r.passes >= dampFrom {
		*pace = min(1, 1.25**pace)
		if (target-*w)**last < 0 {
			*pace = max(slowestPace, *pace/2)
		}
	}
	next := target
	if *pace < 1 {
		next = *w * math.Pow(target / *w, *pace)
	}
	if next > 1-1e-12 {
		next = 1
	}
	moved := math.Abs(target-*w) * max(0.5, *pace)
	*last = next - *w
	*w, *add = next, own*(1/next-1)
	return moved
}

// readings weighs the readings of a cell: each by the others where there are
// three or more, both alike by their difference where there are two.
func (r *robustRun) readings(c, j int) float64 {
	e, d := r.e, r.e.d
	lo, hi := int(d.cellStart[c]), int(d.cellStart[c+1])
	if hi-lo < 2 {
		return 0
	}
	moved := 0.0
	for k := lo; k < hi; k++ {
		var t, own float64
		if hi-lo >= weighedReadings {
			v := e.st.readingInformation(k, c, j, e.ls)
			own = 1/v - e.add.reading[k]
			t = e.st.readingScore(k, c, j, e.ls) / v / math.Sqrt(own)
		} else {
			own = d.u2[k] + e.st.theta[Residual]
			t = (d.y[lo] - d.y[lo+1]) / math.Sqrt(d.u2[lo]+d.u2[lo+1]+2*e.st.theta[Residual])
		}
		if own > 0 {
			moved = max(moved, r.set(&r.w.reading[k], &r.last.reading[k], &r.pace.reading[k], &e.add.reading[k], t, own))
		}
	}
	return moved
}

// estimateRobust fits with bounded influence, variances from capped data.
func estimateRobust(ctx context.Context, t Table, opt Options) (*Fit, error) {
	whole, last := opt.memories()
	capped, smaller := t.capped(opt.CapSessions)
	if !smaller || last == nil {
		last = whole
	}
	run, pr, err := alternate(ctx, capped, opt, last)
	if err != nil {
		return nil, err
	}
	var part *memory
	if smaller {
		part = run.memory()
		if run, err = holdRobust(ctx, t, opt, part, pr); err != nil {
			return nil, err
		}
	}
	left := run.memory()
	// Estimates and statistics are to rest on the additions of the last pass.
	if err := run.e.settle(pr.theta); err != nil {
		return nil, err
	}
	f, err := run.e.capped(pr)
	if err != nil {
		return nil, err
	}
	f.Passes, f.Converged = run.passes, pr.converged && run.settled
	f.whole, f.part = left, part
	return f, nil
}

// alternate estimates weights and variances of a table, beginning with those of a
// memory where there is one.
func alternate(ctx context.Context, t Table, opt Options, last *memory) (*robustRun, *progress, error) {
	e, err := newEngine(t, opt)
	if err != nil {
		return nil, nil, err
	}
	run := newRobustRun(e)
	var theta vec
	if last != nil {
		run.inherit(last)
		theta = opt.After.Theta.vec()
	} else {
		theta = run.polish()
	}
	if opt.Start != nil {
		theta = opt.Start.vec()
	}
	pr, err := run.run(ctx, theta)
	return run, pr, err
}

// holdRobust weighs all the data at the variances of a part of them, beginning with the
// weights of the last fit or else of the part.
func holdRobust(ctx context.Context, t Table, opt Options, part *memory, pr *progress) (*robustRun, error) {
	e, err := newEngine(t, opt)
	if err != nil {
		return nil, err
	}
	active := e.active
	e.active, e.opt.Hold = [slots]bool{}, true
	run := newRobustRun(e)
	if whole, _ := opt.memories(); whole != nil {
		run.inherit(whole)
	} else {
		run.polish()
		run.inherit(part)
	}
	_, err = run.run(ctx, pr.theta)
	e.active, e.opt.Hold = active, opt.Hold
	return run, err
}
