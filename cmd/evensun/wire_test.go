package main

import (
	"slices"
	"testing"

	"evensun/internal/caution"
)

// Whatever a caution's id and level, the catalogue has them.
func TestCatalogueHasEveryCaution(t *testing.T) {
	t.Parallel()
	known := map[string][]string{}
	for _, c := range cautionCatalogue {
		known[c.id] = c.levels
	}
	seen := map[string]bool{}
	for _, c := range everyCaution() {
		seen[c.ID] = true
		if !slices.Contains(known[c.ID], string(c.Level)) {
			t.Errorf("caution %s of level %s is not in the catalogue: %v", c.ID, c.Level, known[c.ID])
		}
	}
	for id := range known {
		if !seen[id] {
			t.Errorf("no condition tried here raises %s", id)
		}
	}
}

// everyCaution gathers the cautions of nothing known and of all that is dangerous.
func everyCaution() []caution.Caution {
	var all []caution.Caution
	for _, air := range []float64{-12, 42} {
		for _, kind := range []string{"mppt_controller", "power_station", "microinverter"} {
			s, p, r := caution.NewSession(), caution.NewPanel(), caution.NewRig()
			r.Kind = kind
			all = append(all, caution.Of(&s, &p, &r)...)
			s.ShortCircuit, s.CurrentA, s.VoltageV, s.HottestC, s.AirC, s.HumidityPercent, s.WindMS = true, 30, 60, 90, air, 70, 18
			s.ElevationDeg, s.POAWM2, s.Ground, s.Sky, s.Rain, s.CableLossShare = 60, 1100, "snow", "broken_cloud", true, 0.2
			p.VocV, p.IscA, p.BetaPerK, p.MassKg, p.PanelAreaM2 = 45, 11, -0.003, 30, 3
			r.PanelsInSeries, r.PanelsInParallel, r.LowestAirC, r.MaxVoltageV, r.CableMM2, r.BatteryVoltageV = 4, 4, -25, 100, 1.5, 13
			all = append(all, caution.Of(&s, &p, &r)...)
		}
	}
	return all
}
