package refresh

import (
	"context"
	"fmt"

	"github.com/google/uuid"

	"evensun/internal/audit"
	"evensun/internal/compare"
	"evensun/internal/fieldtest"
	"evensun/internal/ranking"
	"evensun/internal/store"
)

// readAttempts is how often the inputs are read anew because a write came in between.
const readAttempts = 3

// load reads all that rankings rest on. If no write came while it read, that is the
// state at one sequence; under steady writes it settles for the oldest sequence seen,
// and the marks of the writes after it lead to the next computation.
func (w *Worker) load(ctx context.Context) (*ranking.Inputs, error) {
	for attempt := 1; ; attempt++ {
		in, newest, err := w.read(ctx)
		if err != nil {
			return nil, err
		}
		if newest == in.Through || attempt == readAttempts {
			return in, nil
		}
	}
}

// read reads the inputs once. Their Through is the first sequence seen, newest the last.
func (w *Worker) read(ctx context.Context) (in *ranking.Inputs, newest int64, err error) {
	in = &ranking.Inputs{At: w.o.Now().UTC(), Rules: *w.o.Rules}
	for i, a := range []fieldtest.Arrangement{fieldtest.Tilted, fieldtest.Flat, fieldtest.Covered} {
		list, through, err := w.store.Observations(ctx, a)
		if err != nil {
			return nil, 0, err
		}
		if i == 0 {
			in.Through = through
		}
		in.Observations = append(in.Observations, observationsOf(list)...)
	}
	if in.Panels, err = w.panels(ctx, countedTesters(in.Observations)); err != nil {
		return nil, 0, err
	}
	if in.Keeps, newest, err = w.keeps(ctx); err != nil {
		return nil, 0, err
	}
	return in, newest, nil
}

func observationsOf(list []store.Observation) []ranking.Observation {
	out := make([]ranking.Observation, len(list))
	for i := range list {
		out[i] = observationOf(&list[i])
	}
	return out
}

func observationOf(o *store.Observation) ranking.Observation {
	return ranking.Observation{
		ReadingID: o.ReadingID, SessionID: o.SessionID, Revision: o.SessionRevision, ContentSHA256: o.SHA256, TesterID: o.TesterID,
		RigID: o.RigID, RigRevision: o.RigRevision, RigKind: o.RigKind, Panel: o.PanelModel, Specimen: o.Specimen, Label: o.Label,
		TakenAt: o.TakenAt, LatitudeDeg: o.LatitudeDeg, LongitudeDeg: o.LongitudeDeg, Arrangement: o.Arrangement, Kind: o.Kind, State: o.State,
		Result: &fieldtest.Result{
			StcPowerW: o.StcPowerW, StcPowerUW: o.StcPowerUW, Parts: o.Parts, IrradianceOrigin: originOf(o), Rankable: o.Rankable,
			EffectiveWM2: o.EffectiveWM2, CellC: o.CellC, GammaRelative: o.GammaRelative, LowLightRelative: o.LowLight,
			Retention: o.Retention,
		},
	}
}

func originOf(o *store.Observation) fieldtest.Origin {
	if o.Metered {
		return fieldtest.OriginMeasured
	}
	return fieldtest.OriginClearSky
}

// countedTesters are those of whom a reading counts.
func countedTesters(list []ranking.Observation) map[uuid.UUID]bool {
	testers := map[uuid.UUID]bool{}
	for i := range list {
		if list[i].State == fieldtest.Counted {
			testers[list[i].TesterID] = true
		}
	}
	return testers
}

// panels reads all panel models with the prices that testers agree on.
func (w *Worker) panels(ctx context.Context, counted map[uuid.UUID]bool) ([]ranking.Panel, error) {
	prices := map[string][]fieldtest.StoredPrice{}
	known := func(tester uuid.UUID) bool { return counted[tester] }
	stored, err := w.store.Prices(ctx, "")
	if err != nil {
		return nil, err
	}
	for _, p := range stored {
		prices[p.PanelModel] = append(prices[p.PanelModel], p)
	}
	var panels []ranking.Panel
	page := store.Page{Size: 1000}
	for {
		list, next, asOf, err := w.store.PanelModels(ctx, store.PanelModelFilter{}, page)
		if err != nil {
			return nil, fmt.Errorf("read panel models: %w", err)
		}
		for _, m := range list {
			panels = append(panels, ranking.Panel{
				Slug: m.Slug, Revision: m.Revision, PmaxW: m.Nameplate.Canonical().PmaxW, MassKg: m.Size.MassKg,
				CellAreaM2: m.Size.CellAreaM2, PanelAreaM2: m.Size.PanelAreaM2, FoldedVolumeL: m.Size.FoldedVolumeL,
				GammaPerK: m.Nameplate.Canonical().GammaPmaxPerK, Technology: m.Construction.Technology, Prices: ranking.AgreedPrices(prices[m.Slug], known),
			})
		}
		if next == nil {
			return panels, nil
		}
		page.After, page.AsOf = next, asOf
	}
}

// keeps reads which effects reviewers found to be right, and the newest sequence.
func (w *Worker) keeps(ctx context.Context) (keeps []ranking.Keep, newest int64, err error) {
	page := store.Page{Size: 1000}
	filter := store.FindingFilter{States: []string{string(fieldtest.FindingKept)}, Rules: audit.RuleIDs()}
	for {
		list, next, asOf, err := w.store.Findings(ctx, filter, page)
		if err != nil {
			return nil, 0, fmt.Errorf("read kept findings: %w", err)
		}
		for i := range list {
			if k, ok := keepOf(&list[i]); ok {
				keeps = append(keeps, k)
			}
		}
		if next == nil {
			return keeps, asOf, nil
		}
		page.After, page.AsOf = next, asOf
	}
}

// keepOf names the effect that a kept finding of the audit is about. Findings about a
// reading, a rig, a tester or a panel model as such fix no weight.
func keepOf(f *fieldtest.Finding) (ranking.Keep, bool) {
	k := ranking.Keep{Dataset: datasetOf(f)}
	switch {
	case f.ReadingID != nil || f.RigID != nil:
		return k, false
	case f.SessionID != nil && f.PanelModel != nil:
		k.Level, k.SessionID, k.Panel = compare.SessionPanel.String(), *f.SessionID, *f.PanelModel
	case f.SessionID != nil:
		k.Level, k.SessionID = compare.Session.String(), *f.SessionID
	case f.TesterID != nil && f.PanelModel != nil:
		k.Level, k.TesterID, k.Panel = compare.TesterPanel.String(), *f.TesterID, *f.PanelModel
	}
	return k, k.Level != ""
}

// datasetOf names the dataset that a finding is about, empty: any.
func datasetOf(f *fieldtest.Finding) string {
	if f.Arrangement == nil {
		return ""
	}
	class := ""
	if f.CoverClass != nil {
		class = *f.CoverClass
	}
	return ranking.DatasetNamed(*f.Arrangement, class)
}
