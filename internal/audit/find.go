package audit

import (
	"context"
	"slices"

	"github.com/google/uuid"

	"evensun/internal/fieldtest"
	"evensun/internal/ranking"
)

// Find returns all doubts about a computation and the numbers that it came from, the
// most important first. raw may hold readings that the inputs do not: only counted ones
// are looked at. The same arguments give the same findings, ids included; times are left
// to the store.
//
// Error: only that the context ended, or what ended the engine.
func Find(ctx context.Context, in *ranking.Inputs, out *ranking.Output, raw []Raw) ([]fieldtest.Finding, error) {
	var all []doubt
	for _, f := range out.Fits {
		v, err := newView(ctx, in, out, f)
		if err != nil {
			return nil, err
		}
		some, err := v.doubts(ctx)
		if err != nil {
			return nil, err
		}
		v.place(some)
		all = append(all, some...)
	}
	rawCounted := counted(in, raw)
	all = append(all, digits(rawCounted)...)
	all = append(all, unlessDoubted(all, currents(in, rawCounted))...)
	reach := newReachIndex(in)
	for i := range all {
		reach.tell(&all[i])
	}
	return strongestFirst(all), ctx.Err()
}

// place says which readings and which measure the doubts of a fit are about.
func (v *view) place(doubts []doubt) {
	arrangement, class := v.Arrangement()
	for i := range doubts {
		d := &doubts[i]
		d.arrangement = &arrangement
		if class != "" {
			d.coverClass = &class
		}
		d.basis["dataset"], d.basis["measure"] = v.Name, measureOf(arrangement)
	}
}

// measureOf is the measure that readings in an arrangement are ranked by.
func measureOf(a fieldtest.Arrangement) string {
	switch a {
	case fieldtest.Covered:
		return fieldtest.ShadeRetention
	case fieldtest.Flat:
		return fieldtest.FlatRetention
	}
	return fieldtest.ShareOfRating
}

// doubts runs all checks of one fit.
func (v *view) doubts(ctx context.Context) ([]doubt, error) {
	cells := v.cells()
	all := append(v.readings(), cells...)
	sessions := v.sessions()
	all = append(all, sessions...)
	all = append(all, v.patterns(append(append([]doubt(nil), cells...), sessions...))...)
	all = append(all, v.swaps(cells)...)
	all = append(all, v.opinionsOff()...)
	if ctx.Err() != nil {
		return nil, ctx.Err()
	}
	if v.Name == "tilted" {
		all = append(all, v.rigs()...)
		all = append(all, v.testerDoubts()...)
		all = append(all, v.trends()...)
		all = append(all, v.ageing()...)
		all = append(all, v.cliques()...)
	}
	all = append(all, v.dependent()...)
	return append(all, v.inconsistent()...), ctx.Err()
}

// unlessDoubted drops doubts about a panel in a session that another doubt explains, of
// that session or of its tester: one cause should be one finding.
func unlessDoubted(known, more []doubt) []doubt {
	return slices.DeleteFunc(more, func(d doubt) bool {
		return slices.ContainsFunc(known, func(k doubt) bool { return k.explains(&d) })
	})
}

// explains tells whether a doubt about level covers one about a panel in a session.
func (k *doubt) explains(cell *doubt) bool {
	if k.reading != nil || k.panel != nil && *k.panel != *cell.panel {
		return false
	}
	switch k.rule {
	case panelOff, sessionOff, patternOff, mislabelled, copiedSession:
		return k.session != nil && *k.session == *cell.session
	case opinionOff, testerOffset, testerMean, testerExtreme, rigOffset:
		return k.tester != nil && *k.tester == *cell.tester
	}
	return false
}

// counted are the raw readings that the inputs count.
func counted(in *ranking.Inputs, raw []Raw) []Raw {
	keep := make(map[uuid.UUID]bool, len(in.Observations))
	for i := range in.Observations {
		if o := &in.Observations[i]; o.State == fieldtest.Counted {
			keep[o.ReadingID] = true
		}
	}
	var out []Raw
	for i := range raw {
		if keep[raw[i].ReadingID] {
			out = append(out, raw[i])
		}
	}
	return out
}
