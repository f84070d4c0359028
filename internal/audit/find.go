package audit

import (
	"context"

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
		for i := range some {
			some[i].basis["dataset"] = f.Name
		}
		all = append(all, some...)
	}
	all = append(all, digits(counted(in, raw))...)
	return strongestFirst(all), ctx.Err()
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
	}
	all = append(all, v.dependent()...)
	return append(all, v.inconsistent()...), ctx.Err()
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
