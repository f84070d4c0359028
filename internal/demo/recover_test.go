package demo_test

import (
	"encoding/binary"
	"slices"
	"testing"
	"time"

	"github.com/google/uuid"

	"evensun/internal/audit"
	"evensun/internal/demo"
	"evensun/internal/fieldtest"
	"evensun/internal/ranking"
)

// numbered returns an id for tests that holds a kind and a number.
func numbered(kind byte, n int) uuid.UUID {
	var id uuid.UUID
	id[0] = kind
	binary.BigEndian.PutUint64(id[8:], uint64(n)+1)
	return id
}

// observed returns the readings of the sessions that are asked for, normalised, and what
// their meters showed. Readings with a hold are held.
func observed(t *testing.T, w *demo.Weekend, now time.Time, want func(*demo.Submission) bool) ([]ranking.Observation, []audit.Raw) {
	t.Helper()
	var out []ranking.Observation
	var shown []audit.Raw
	for i := range w.Sessions {
		s := &w.Sessions[i]
		if !want(s) {
			continue
		}
		judged, x := judge(t, w, s, now)
		for j, r := range judged.Readings {
			raw := &x.Readings[j]
			state := fieldtest.Counted
			if holds(judged.Session) || holds(r.Findings) {
				state = fieldtest.Held
			}
			o := ranking.Observation{
				ReadingID: numbered('r', len(out)), SessionID: numbered('s', i), Revision: 1, TesterID: numbered('t', s.Tester),
				RigID: numbered('g', s.Rig), RigRevision: 1, RigKind: x.Rig.Kind, Panel: raw.Panel.Model, Specimen: raw.Panel.Specimen, Label: raw.Label,
				TakenAt: *raw.TakenAt, LatitudeDeg: x.Site.LatitudeDeg, LongitudeDeg: x.Site.LongitudeDeg, Arrangement: raw.Arrangement,
				State: state, Result: r.Result,
			}
			out = append(out, o)
			shown = append(shown, audit.Raw{
				ReadingID: o.ReadingID, SessionID: o.SessionID, TesterID: o.TesterID, Label: o.Label, TakenAt: o.TakenAt,
				VoltageV: raw.VoltageV, CurrentA: raw.CurrentA, PowerW: raw.PowerW, Resolution: x.Rig.Resolution,
			})
		}
	}
	return out, shown
}

func holds(findings []fieldtest.Finding) bool {
	return slices.ContainsFunc(findings, func(f fieldtest.Finding) bool { return f.Severity == fieldtest.Hold })
}

func honest(s *demo.Submission) bool { return s.Mistake == "" }

func all(*demo.Submission) bool { return true }

func inputs(t *testing.T, w *demo.Weekend, now time.Time, want func(*demo.Submission) bool) (ranking.Inputs, []audit.Raw) {
	t.Helper()
	observations, shown := observed(t, w, now, want)
	in := ranking.Inputs{Observations: observations, At: now, Rules: ranking.DefaultRules()}
	for i := range w.PanelModels {
		m := &w.PanelModels[i]
		in.Panels = append(in.Panels, ranking.Panel{
			Slug: m.Slug, Revision: 1, PmaxW: m.Nameplate.PmaxW, MassKg: m.Size.MassKg, CellAreaM2: m.Size.CellAreaM2,
			PanelAreaM2: m.Size.PanelAreaM2, FoldedVolumeL: m.Size.FoldedVolumeL,
			GammaPerK: m.Nameplate.GammaPmaxPerK, Technology: m.Construction.Technology, Prices: w.Prices[m.Slug],
		})
	}
	return in, shown
}

// TestTruthIsFound ranks the honest sessions of several weekends and counts how many
// stated intervals hold the true share.
func TestTruthIsFound(t *testing.T) {
	t.Parallel()
	within, ranked, worst := 0, 0, 0.0
	last := dates()[1]
	for seed := range uint64(5) {
		w := demo.NewWeekend(seed, last)
		in, _ := inputs(t, &w, last, honest)
		list, err := ranking.ComputeOne(t.Context(), in, ranking.List{Measure: fieldtest.ShareOfRating})
		if err != nil {
			t.Fatal(err)
		}
		if n := len(list.Ranking.Entries); n != len(w.PanelModels) {
			t.Errorf("seed %d: %d of %d panels ranked, not %v", seed, n, len(w.PanelModels), list.Ranking.Unranked)
		}
		for _, e := range list.Ranking.Entries {
			truth := w.Truth[e.PanelModel]
			ranked++
			worst = max(worst, e.Estimate/truth-1, 1-e.Estimate/truth)
			if e.EstimateLo <= truth && truth <= e.EstimateHi {
				within++
			}
		}
	}
	t.Logf("%d of %d intervals hold the truth; largest difference %.2f %%", within, ranked, 100*worst)
	if float64(within) < 0.9*float64(ranked) || ranked == 0 {
		t.Errorf("%d of %d intervals hold the truth, want 90 %%", within, ranked)
	}
	if worst > 0.03 {
		t.Errorf("largest difference from the truth %.3f, want 0.03 at most", worst)
	}
}

// TestEveryMeasureHasRanks ranks the honest sessions by all measures but weak light, of which
// a weekend in full sun tells nothing.
func TestEveryMeasureHasRanks(t *testing.T) {
	t.Parallel()
	last := dates()[3]
	w := demo.NewWeekend(1, last)
	in, _ := inputs(t, &w, last, honest)
	out, err := ranking.Compute(t.Context(), in, nil)
	if err != nil || len(out.Failed) > 0 {
		t.Fatalf("compute: %v, failed %v", err, out.Failed)
	}
	entries := map[string]int{}
	for i := range out.Lists {
		entries[out.Lists[i].Measure] += len(out.Lists[i].Ranking.Entries)
	}
	for _, m := range fieldtest.Measures() {
		if entries[m.Name] == 0 && m.Name != fieldtest.WeakLight {
			t.Errorf("measure %s: nobody is ranked", m.Name)
		}
	}
	t.Log(entries)
}
