package compare

import (
	"context"
	"fmt"
	"math"
	"slices"
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

// How weights and variances alternate.
const (
	robustPasses  = 40   // over all data, at most
	heldPasses    = 12   // of these at the variances of the polish, at most
	heldWeight    = 0.05 // change of a weight that will do there
	settledWeight = 1e-3 // change of a weight that will do
	calmShift     = 1e-3 // change of an estimate that will do, in standard errors

	dampFrom    = 3 // pass from which a weight goes at its own pace
	slowestPace = 0.05

	// Blocks settle by themselves from the third pass on. Where opinions contradict each
	// other several sets of weights can be at rest; the first passes, over all data and
	// undamped, choose among them.
	localFrom   = 3
	localRounds = 20
	localWeight = 1e-4

	weighedReadings = 3 // readings of a cell from which each is judged by the others
)

// A weight is that of one effect and how it got there. Two effects that contradict each
// other can begin so alike that the last digits of their weights decide which is believed.
type weight struct {
	w          float64
	last, pace float32 // its last change, and the share of a change that it makes
}

// weights are those of one pass, by sorted index.
type weights struct{ group, cell, session, reading []weight }

func newWeights(d *design) *weights {
	w := &weights{make([]weight, d.groups()), make([]weight, d.cells()), make([]weight, d.sessions()), make([]weight, d.n)}
	for _, x := range [][]weight{w.group, w.cell, w.session, w.reading} {
		for i := range x {
			x[i] = weight{w: 1, pace: 1}
		}
	}
	return w
}

// A robustRun alternates weights and variances of one engine.
type robustRun struct {
	e       *engine
	cut     Cutoffs
	w       *weights
	kept    map[Effect]bool
	keep    keepers
	passes  int
	settled bool
}

func newRobustRun(e *engine) *robustRun {
	r := &robustRun{e: e, cut: *e.opt.Robust, w: newWeights(e.d), kept: map[Effect]bool{}}
	for _, k := range e.opt.Keep {
		r.kept[k.plain()] = true
	}
	r.keep = r.keepers()
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
// move for ever. One pass over the data serves weights and variances: near the maximum
// each pass leaves a step of the variances to the next, and the last step ends within a
// thousandth of their standard errors.
func (r *robustRun) run(ctx context.Context, theta vec) (*progress, error) {
	search := r.e.search()
	leave, last := r.e.slack()
	search.slack = leave
	var before []float64
	for calm := 0; ; {
		pr, err := search.run(ctx, theta)
		if err != nil {
			return nil, fmt.Errorf("robust pass %d: %w", r.passes+1, err)
		}
		r.passes++
		moved := r.reweigh()
		calm++
		if r.shift(before) > calmShift {
			calm = 0
		}
		before = append(before[:0], r.e.mu...)
		theta = pr.onward()
		r.settled = (moved < settledWeight || calm >= 2) && pr.decrement <= last
		if r.settled || r.passes >= robustPasses {
			pr.theta = theta
			return pr, nil
		}
	}
}

// settleWeights alternates weights and estimates at the variances of the polish: freed while
// some of many gross errors still have their weight, variances take these in, and no
// weight finds them any more.
func (r *robustRun) settleWeights(ctx context.Context, theta vec) error {
	for range heldPasses {
		if err := ctx.Err(); err != nil {
			return fmt.Errorf("settle weights, pass %d: %w", r.passes+1, err)
		}
		if err := r.e.evaluate(theta); err != nil {
			return err
		}
		if err := r.e.measure(); err != nil {
			return err
		}
		r.passes++
		if r.reweigh() < heldWeight {
			break
		}
	}
	return nil
}

// slack returns two Newton decrements, in squared standard errors of the variances: at
// which a step is left to the next pass, and at which it may be the last. With many
// readings the average information is within some per cent of the observed one and a step
// ends within a tenth of its length; with few it can be far off.
func (e *engine) slack() (leave, last float64) {
	if e.d.n <= manyReadings {
		return 1e-4, 1e-6
	}
	return 0.1, 1e-5
}

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

// reweigh sets weights and additions from the statistics of the last fit and returns the
// largest change of a weight that these ask for. Blocks where weights move then settle by
// themselves: nearly all that a weight depends on is in its block, and after some passes
// few blocks move, where a pass over all data costs the same as ever.
func (r *robustRun) reweigh() float64 {
	e := r.e
	parts := make([]float64, shards(e.d.blocks()))
	cov := e.blockCov()
	e.d.inBlocks(e.st.work, func(shard, lo, hi int, sc *scratch) {
		for t := lo; t < hi; t++ {
			parts[shard] = max(parts[shard], r.settleBlock(t, cov, sc))
		}
	})
	return slices.Max(parts)
}

// settleBlock alternates weights and statistics of one block and returns the largest
// change of a weight in the first round, which rests on the statistics of all data.
func (r *robustRun) settleBlock(t int, cov blockCov, sc *scratch) float64 {
	e := r.e
	first := r.weighBlock(t)
	if first <= settledWeight || r.passes < localFrom {
		return first
	}
	local := e.localBlock(t, cov, sc)
	for range localRounds {
		local.renew()
		if r.weighBlock(t) <= localWeight {
			break
		}
	}
	return first
}

// weighBlock sets the weights of one block.
func (r *robustRun) weighBlock(t int) float64 {
	e, d := r.e, r.e.d
	moved := r.level(TesterPanel, d.groupsOf(t), r.w.group, e.add.group, r.keep.group)
	hours := span{d.testStart[t], d.testStart[t+1]}
	cells := span{d.sessStart[hours.lo], d.sessStart[hours.hi]}
	moved = max(moved, r.level(SessionPanel, cells, r.w.cell, e.add.cell, r.keep.cell))
	if !e.opt.SessionFixed {
		moved = max(moved, r.level(Session, hours, r.w.session, e.add.session, r.keep.session))
	}
	for j := hours.lo; j < hours.hi; j++ {
		for c := d.sessStart[j]; c < d.sessStart[j+1]; c++ {
			moved = max(moved, r.readings(int(c), int(j)))
		}
	}
	return moved
}

// keepers tell whether the weight of an effect is fixed at 1.
type keepers struct{ group, cell, session func(i int) bool }

func (r *robustRun) keepers() keepers {
	none := func(int) bool { return false }
	if len(r.kept) == 0 {
		return keepers{none, none, none}
	}
	d := r.e.d
	testers, panels := d.pairs(d.groupStart)
	sessions, cellPanels := d.cellLabels()
	return keepers{
		func(i int) bool { return r.kept[Effect{Term: TesterPanel, Tester: testers[i], Panel: panels[i]}] },
		func(i int) bool {
			return r.kept[Effect{Term: SessionPanel, Session: sessions[i], Panel: cellPanels[i]}]
		},
		func(i int) bool { return r.kept[Effect{Term: Session, Session: d.sessCode[i]}] },
	}
}

func (r *robustRun) level(l Term, in span, w []weight, add []float64, keep func(i int) bool) float64 {
	s, v, moved := r.e.ls.s[l], r.e.ls.v[l], 0.0
	for i := int(in.lo); i < int(in.hi); i++ {
		if !(v[i] > 0) || keep(i) {
			continue
		}
		own := 1/v[i] - add[i]
		if !(own > 0) {
			continue
		}
		moved = max(moved, r.set(&w[i], &add[i], s[i]/v[i]/math.Sqrt(own), own))
	}
	return moved
}

// set moves one weight towards that of t, on the log scale: all the way in the first
// passes, then by its own pace, which is halved where it turns back and grows by a
// quarter where it does not.
func (r *robustRun) set(x *weight, add *float64, t, own float64) float64 {
	target, w := r.cut.Weight(t), x.w
	if r.passes >= dampFrom {
		x.pace = min(1, 1.25*x.pace)
		if (target-w)*float64(x.last) < 0 {
			x.pace = max(slowestPace, x.pace/2)
		}
	}
	next, pace := target, float64(x.pace)
	if pace < 1 {
		next = w * math.Pow(target/w, pace)
	}
	if next > 1-1e-12 {
		next = 1
	}
	x.w, x.last = next, float32(next-w)
	*add = own * (1/next - 1)
	return math.Abs(target-w) * max(0.5, pace)
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
			moved = max(moved, r.set(&r.w.reading[k], &e.add.reading[k], t, own))
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
	f := run.e.fit(pr)
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
		if err := run.settleWeights(ctx, theta); err != nil {
			return nil, nil, err
		}
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
