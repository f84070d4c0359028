package refresh

import (
	"context"
	"encoding/json"
	"fmt"

	"evensun/internal/conclusion"
	"evensun/internal/fieldtest"
	"evensun/internal/ranking"
)

// A detail is what is stored of a panel model: its results and its conclusions.
type detail struct {
	fieldtest.PanelResults
	Conclusions *fieldtest.Conclusions `json:"conclusions,omitempty"`
}

// Conclusions returns what all testers' readings of a panel model mean, as published with
// the rankings; before the first, what follows from none.
func (w *Worker) Conclusions(ctx context.Context, m *fieldtest.PanelModel) (fieldtest.Conclusions, error) {
	rows, err := w.store.PanelDetail(ctx, m.Slug)
	if err != nil {
		return fieldtest.Conclusions{}, err
	}
	for _, row := range rows {
		var d detail
		if row.Measure != detailMeasure || row.Key != "" {
			continue
		}
		if err := json.Unmarshal(row.Body, &d); err != nil {
			return fieldtest.Conclusions{}, fmt.Errorf("published conclusions of %s: %w", m.Slug, err)
		}
		if d.Conclusions != nil {
			conclusion.Claim(d.Conclusions, m)
			return *d.Conclusions, nil
		}
	}
	return conclusion.OfNone(m), nil
}

// conclude draws the conclusions about all panel models of a computation.
func (w *Worker) conclude(c *computation, results map[string]*fieldtest.PanelResults) map[string]*fieldtest.Conclusions {
	panels := map[string]*conclusion.Panel{}
	rated := map[string]float64{}
	for i := range c.in.Panels {
		p := &c.in.Panels[i]
		panels[p.Slug] = &conclusion.Panel{Slug: p.Slug, GammaPerK: p.GammaPerK, Technology: p.Technology}
		if r := results[p.Slug]; r != nil {
			panels[p.Slug].Coefficients = r.Coefficients
		}
		if p.PmaxW != nil {
			rated[p.Slug] = *p.PmaxW
		}
	}
	orders := conclusion.Orders(gather(c.in, panels, rated))
	out := make(map[string]*fieldtest.Conclusions, len(panels))
	for slug, p := range panels {
		p.FlatPlace, p.Orders = c.place(slug, fieldtest.FlatRetention, ""), orders[slug]
		for i, class := range ranking.CoverClasses() {
			p.Shade[i] = c.place(slug, fieldtest.ShadeRetention, class)
		}
		concluded := conclusion.Of(w.library, p, c.in.Through)
		out[slug] = &concluded
	}
	return out
}

// gather hands covered and flat readings that count to their panels and returns the
// tilted ones.
func gather(in *ranking.Inputs, panels map[string]*conclusion.Panel, rated map[string]float64) []conclusion.Tilted {
	var tilted []conclusion.Tilted
	for i := range in.Observations {
		o := &in.Observations[i]
		p := panels[o.Panel]
		if p == nil || o.State != fieldtest.Counted {
			continue
		}
		switch {
		case o.Arrangement == fieldtest.Covered:
			p.Covered = append(p.Covered, conclusion.Covered{TesterID: in.CountsAs(o.TesterID), Specimen: o.Specimen, Swept: o.Kind == fieldtest.IVSweep, Retention: o.Result.Retention})
		case o.Arrangement == fieldtest.Flat:
			p.Flat = append(p.Flat, o.Result.Retention)
		case o.Result.Rankable && rated[o.Panel] > 0:
			tilted = append(tilted, conclusion.Tilted{SessionID: o.SessionID, TesterID: o.TesterID, Panel: o.Panel, TakenAt: o.TakenAt,
				ShareOfRating: o.Result.StcPowerW / rated[o.Panel], U: o.Result.Parts.Reading, ModelU: o.Result.Parts.Model})
		}
	}
	return tilted
}

// place is a panel's place in the lists of a measure, of whichever component; nil: it has
// none.
func (c *computation) place(slug, measure, class string) *fieldtest.MeasureEntry {
	var found *fieldtest.MeasureEntry
	for i := range c.out.Lists {
		l := &c.out.Lists[i]
		if l.Measure != measure || l.Cover != class {
			continue
		}
		for k := range l.Ranking.Entries {
			if e := &l.Ranking.Entries[k]; e.PanelModel == slug {
				return &fieldtest.MeasureEntry{Measure: measure, Unit: l.Ranking.Unit, Entry: e}
			}
		}
		for k := range l.Ranking.Unranked {
			if u := &l.Ranking.Unranked[k]; u.PanelModel == slug && found == nil {
				found = &fieldtest.MeasureEntry{Measure: measure, Unit: l.Ranking.Unit, Unranked: u}
			}
		}
	}
	return found
}
