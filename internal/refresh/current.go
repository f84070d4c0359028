package refresh

import (
	"context"
	"encoding/json"
	"fmt"

	"github.com/google/uuid"

	"evensun/internal/audit"
	"evensun/internal/fieldtest"
	"evensun/internal/store"
)

// current returns the newest computation: the last one of this process unless another
// replica has published a newer one since, then one made anew from the store.
func (w *Worker) current(ctx context.Context) (*computation, error) {
	published, err := w.publishedThrough(ctx)
	if err != nil {
		return nil, err
	}
	if c := w.last.Load(); c != nil && c.in.Through >= published {
		return c, nil
	}
	free, err := take(ctx, w.turn)
	if err != nil {
		return nil, err
	}
	defer free()
	if c := w.last.Load(); c != nil && c.in.Through >= published { // made while this one waited
		return c, nil
	}
	return w.compute(ctx)
}

func (w *Worker) publishedThrough(ctx context.Context) (int64, error) {
	rows, err := w.store.PanelDetail(ctx, "")
	if err != nil || len(rows) == 0 {
		return 0, err
	}
	return rows[0].ComputedThrough, nil
}

// Compare returns the pairs of some panel models on a measure. An empty currency means
// the one that most panel models have a price in. Panels without a counted reading are
// a *fieldtest.Refusal.
func (w *Worker) Compare(ctx context.Context, measure, currency string, slugs []string) (*fieldtest.Comparison, error) {
	if len(slugs) < 2 {
		return nil, &fieldtest.Refusal{Kind: fieldtest.InvalidParameter, Detail: "A comparison needs two panel models or more.",
			Faults: []fieldtest.Fault{{Parameter: "models", Code: "too_few", Reason: "Name two panel models or more."}}}
	}
	c, err := w.current(ctx)
	if err != nil {
		return nil, err
	}
	return c.out.Compare(c.in, measure, currency, slugs)
}

// PanelResults returns a panel model's places in the rankings, the readings that they
// rest on and the newest doubts about it.
func (w *Worker) PanelResults(ctx context.Context, slug string) (fieldtest.PanelResults, error) {
	r := fieldtest.PanelResults{PanelModel: slug, Entries: []fieldtest.MeasureEntry{}, Contributions: []fieldtest.Contribution{}, Cautions: []fieldtest.Caution{}}
	rows, err := w.store.PanelDetail(ctx, slug)
	if err != nil {
		return r, err
	}
	for _, row := range rows {
		if row.Measure != detailMeasure || row.Key != "" {
			continue
		}
		if err := json.Unmarshal(row.Body, &r); err != nil {
			return r, fmt.Errorf("published results of %s: %w", slug, err)
		}
	}
	r.Findings, _, _, err = w.store.Findings(ctx, store.FindingFilter{PanelModel: &slug, ByPriority: true}, store.Page{Size: 200})
	return r, err
}

// Agreement returns how a tester's tilted readings agree with those of all others. For a
// tester without counted readings it has no numbers.
func (w *Worker) Agreement(ctx context.Context, tester uuid.UUID) (audit.Agreement, error) {
	none := audit.Agreement{TesterID: tester, Panels: []audit.PanelAgreement{}}
	c, err := w.current(ctx)
	if err != nil {
		return none, err
	}
	a, ok, err := audit.AgreementOf(ctx, c.in, c.out, tester)
	if err != nil || !ok {
		return none, err
	}
	return a, nil
}
