package normalise_test

import (
	"encoding/json"
	"testing"

	"evensun/internal/fieldtest"
	"evensun/internal/normalise"
)

// session decodes a session and joins it with its inline rig and panels.
func session(tb testing.TB, raw []byte) *normalise.Input {
	tb.Helper()
	var in normalise.Input
	if err := json.Unmarshal(raw, &in.Session); err != nil {
		tb.Fatal(err)
	}
	in.Rig = in.Session.Rig.Rig
	for i := range in.Session.Readings {
		p := &in.Session.Readings[i].Panel
		m := &fieldtest.PanelModel{Slug: p.Model}
		if p.Nameplate != nil {
			m.Nameplate = *p.Nameplate
		}
		if p.Construction != nil {
			m.Construction = *p.Construction
		}
		if p.Size != nil {
			m.Size = *p.Size
		}
		in.Panels = append(in.Panels, m)
	}
	return &in
}

const design = `{
  "started_at": "2026-06-14T11:05:00-06:00", "ended_at": "2026-06-14T12:10:00-06:00",
  "site": {"latitude_deg": 38.5, "longitude_deg": -106.0, "altitude_m": 2150, "ground": "dry_grass", "place_rounding_deg": 0.1},
  "sky": {"condition": "haze"},
  "rig": {"name": "bench 1", "kind": "mppt_controller", "power_read_at": "panel_side", "instrument": "controller_display",
 "accuracy": {"voltage_percent": 1.0, "current_percent": 1.5, "power_percent": 2.0},
 "resolution": {"voltage_v": 0.1, "current_a": 0.01, "power_w": 1},
 "cable": {"length_m": 5, "cross_section_mm2": 3.31}, "battery_voltage_v": 13.3},
  "weather": {"air_temperature_c": 24.0, "wind_speed_m_s": 1.5, "relative_humidity_percent": 35},
  "plane": {"tilt_deg": 35, "azimuth_deg": 180},
  "readings": [
    {"label": "A1", "panel": {"model": "tarn-fold-200", "specimen": "unit-1", "nameplate": {"pmax_w": 200, "voc_v": 24.2, "isc_a": 10.6, "vmp_v": 20.2, "imp_a": 9.9, "tolerance": [-0.03, 0.05],
   "gamma_pmax_per_k": -0.0035, "beta_voc_per_k": -0.0029, "alpha_isc_per_k": 0.0005, "cells_in_series": 36, "noct_c": 45}, "construction": {"technology": "mono_perc"}, "size": {"mass_kg": 6.4, "panel_area_m2": 1.12, "cell_area_m2": 0.95}},
      "taken_at": "2026-06-14T11:22:00-06:00", "kind": "operating_point", "arrangement": "tilted",
      "voltage_v": 18.1, "current_a": 8.42, "power_w": 152, "irradiance": {"poa_w_m2": 912, "sensor": "reference_cell"}, "back_temperature_c": 47.5, "warm_up_min": 20},
    {"label": "A2", "panel": {"model": "tarn-fold-200", "specimen": "unit-1"}, "taken_at": "2026-06-14T11:26:00-06:00",
      "kind": "operating_point", "arrangement": "covered", "cover": {"sections_covered": 2, "sections_total": 4, "transmission": 0.0, "reference_label": "A1"},
      "voltage_v": 18.0, "current_a": 4.1, "power_w": 73.8}
  ]}`
