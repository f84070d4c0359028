package refresh

import (
	"context"
	"errors"
	"fmt"
	"time"

	"evensun/internal/audit"
	"evensun/internal/ranking"
	"evensun/internal/store"
)

const (
	longestPause = time.Minute // after a failure
	sweepEvery   = time.Hour
	sweepAtOnce  = 1000 // idempotency records deleted by one statement
)

// Run recomputes rankings whenever writes make them stale, until ctx ends. It returns
// nil then; failures are logged and tried again.
func (w *Worker) Run(ctx context.Context) error {
	watching, stop := context.WithCancel(ctx)
	events := w.store.Watch(watching, w.o.Poll)
	defer func() {
		stop()
		for range events { // until the watcher has ended
		}
	}()
	w.first(ctx)
	w.warm(ctx)
	for ctx.Err() == nil {
		w.sweep(ctx)
		worked, err := w.work(ctx)
		switch {
		case ctx.Err() != nil:
			return nil
		case err != nil:
			w.failed(ctx, err)
		case worked:
			w.failures = 0 // look again: writes may have come in between
		case !w.wait(ctx, events):
			return nil
		}
	}
	return nil
}

// first publishes the rankings of an empty or restored database, so that every measure
// is served from the start.
func (w *Worker) first(ctx context.Context) {
	rows, err := w.store.Rankings(ctx)
	if err == nil && len(rows) == 0 {
		err = w.Once(ctx)
	}
	if err != nil && ctx.Err() == nil {
		w.failed(ctx, err)
	}
}

// warm computes what is published already, so that comparisons and filters find it after a
// restart without a write: computed within a request it would end with that.
func (w *Worker) warm(ctx context.Context) {
	if _, err := w.current(ctx); err != nil && ctx.Err() == nil {
		w.failed(ctx, err)
	}
}

// wait returns when there may be something to do; false if the watcher has ended.
func (w *Worker) wait(ctx context.Context, events <-chan store.Event) bool {
	e, ok := <-events
	if ok && !e.Published && e.Sequence > 0 {
		pause(ctx, w.o.Settle) // a burst of writes is one recomputation
	}
	return ok
}

func (w *Worker) failed(ctx context.Context, err error) {
	rest := min(longestPause, w.o.Pause<<min(w.failures, 7))
	w.failures++
	w.o.Log.ErrorContext(ctx, "rankings were not refreshed", "error", err, "failures", w.failures, "again_in", rest)
	pause(ctx, rest)
}

func pause(ctx context.Context, d time.Duration) {
	if d <= 0 {
		return
	}
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-ctx.Done():
	case <-timer.C:
	}
}

// sweep deletes expired idempotency records once an hour.
func (w *Worker) sweep(ctx context.Context) {
	now := w.o.Now()
	if now.Sub(w.swept) < sweepEvery {
		return
	}
	w.swept = now
	for {
		n, err := w.store.ExpireKeys(ctx, sweepAtOnce)
		if err != nil && ctx.Err() == nil {
			w.o.Log.WarnContext(ctx, "idempotency records were not expired", "error", err)
		}
		if err != nil || n < sweepAtOnce {
			return
		}
	}
}

// Once recomputes and publishes everything now, whether or not something is stale.
func (w *Worker) Once(ctx context.Context) error {
	free, err := take(ctx, w.turn)
	if err != nil {
		return err
	}
	defer free()
	marks, err := w.lease(ctx)
	if err != nil {
		return err
	}
	return w.refresh(ctx, marks)
}

// work recomputes if something is stale that no other replica works on.
func (w *Worker) work(ctx context.Context) (bool, error) {
	free, err := take(ctx, w.turn)
	if err != nil {
		return false, err
	}
	defer free()
	marks, err := w.lease(ctx)
	if err != nil {
		return false, err
	}
	if len(marks) == 0 {
		return false, nil
	}
	return true, w.refresh(ctx, marks)
}

// lease takes all free marks. A lease outlives a recomputation fourfold, so that only
// a worker that died loses it.
func (w *Worker) lease(ctx context.Context) ([]store.Mark, error) {
	length := max(w.o.Lease, 4*time.Duration(w.took.Load()))
	var marks []store.Mark
	for {
		m, err := w.store.LeaseMark(ctx, length)
		if err != nil {
			return nil, errors.Join(fmt.Errorf("take marks: %w", err), w.giveBack(ctx, marks))
		}
		if m == nil {
			return marks, nil
		}
		marks = append(marks, *m)
	}
}

// refresh does the work for some marks and lets go of them.
func (w *Worker) refresh(ctx context.Context, marks []store.Mark) error {
	begun := time.Now()
	c, err := w.compute(ctx)
	if err == nil {
		err = w.publish(ctx, c)
	}
	if err == nil {
		err = w.audit(ctx, c)
	}
	if err != nil {
		return errors.Join(err, w.giveBack(ctx, marks))
	}
	w.took.Store(int64(time.Since(begun)))
	for _, m := range marks {
		if err := w.store.FinishMark(ctx, m); err != nil {
			return errors.Join(err, w.giveBack(ctx, marks))
		}
	}
	w.o.Log.InfoContext(ctx, "rankings refreshed", "through", c.in.Through, "readings", len(c.in.Observations), "took", time.Since(begun))
	return nil
}

// giveBack frees marks at once, also where the context has ended. No write has
// sequence 0, so that finishing that one only frees.
func (w *Worker) giveBack(ctx context.Context, marks []store.Mark) error {
	freeing, cancel := context.WithTimeout(context.WithoutCancel(ctx), 5*time.Second)
	defer cancel()
	var all error
	for _, m := range marks {
		m.Gen = 0
		all = errors.Join(all, w.store.FinishMark(freeing, m))
	}
	return all
}

// compute reads the inputs and ranks them, beginning from the last variances.
func (w *Worker) compute(ctx context.Context) (*computation, error) {
	in, err := w.load(ctx)
	if err != nil {
		return nil, err
	}
	var start ranking.Start
	if last := w.last.Load(); last != nil {
		start = last.out.Thetas()
	}
	out, err := ranking.Compute(ctx, *in, start)
	if err != nil {
		return nil, fmt.Errorf("rank: %w", err)
	}
	for _, f := range out.Failed {
		w.o.Log.ErrorContext(ctx, "a dataset could not be ranked", "dataset", f.Dataset, "error", f.Err)
	}
	for _, f := range out.Fits {
		for _, note := range f.Notes() {
			w.o.Log.WarnContext(ctx, "budgets and scatter disagree", "dataset", f.Name, "note", note)
		}
	}
	c := &computation{in: in, out: out}
	w.last.Store(c)
	return c, nil
}

// audit replaces the statistical findings by those of a computation.
func (w *Worker) audit(ctx context.Context, c *computation) error {
	raw, err := w.readDigits(ctx)
	if err != nil {
		return err
	}
	findings, err := audit.Find(ctx, c.in, c.out, raw)
	if err != nil {
		return fmt.Errorf("audit: %w", err)
	}
	return w.store.ReplaceAuditFindings(ctx, c.in.Through, audit.RuleIDs(), findings)
}
