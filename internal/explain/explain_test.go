package explain_test

import (
	"encoding/json"
	"os"
	"strings"
	"testing"

	"evensun/internal/explain"
	"evensun/internal/fieldtest"
	"evensun/internal/reftest"
)

// TestGolden tells a tilted and a covered reading of the contract's example.
func TestGolden(t *testing.T) {
	t.Parallel()
	raw, err := os.ReadFile("testdata/derivations.json")
	if err != nil {
		t.Fatal(err)
	}
	var derivations [][]fieldtest.Step
	if err := json.Unmarshal(raw, &derivations); err != nil {
		t.Fatal(err)
	}
	var told []string
	for _, steps := range derivations {
		told = append(told, strings.Join(explain.Paragraphs(steps), "\n"))
	}
	got := strings.Join(told, "\n\n") + "\n"
	reftest.Golden(t, "testdata/derivations.txt", []byte(got))
}

// TestSparse holds every step without numbers, and one nobody knows, to a sentence.
func TestSparse(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"sun_position", "extraterrestrial", "air_mass", "clear_sky", "decomposition", "incidence", "transposition",
		"incidence_modifier", "effective_irradiance", "cell_temperature", "limits", "wiring", "sweep_points", "low_light", "curve_translation", "stc_power", "shading", "flat", "uncertainty"} {
		got := explain.Paragraph(&fieldtest.Step{Step: name})
		if !strings.HasSuffix(got, ".") || strings.Contains(got, "NaN") || strings.Contains(got, "Step ") {
			t.Errorf("Paragraph(%s without numbers) = %q, want a sentence of its own", name, got)
		}
	}
	odd := fieldtest.Step{Step: "new_step", Outputs: map[string]any{"b_w": 2.0, "a_w": 1.0}}
	if got, want := explain.Paragraph(&odd), "Step new step: a w 1, b w 2."; got != want {
		t.Errorf("Paragraph(unknown step) = %q, want %q", got, want)
	}
}

// TestSentences tells single steps whose words could mislead.
func TestSentences(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		step fieldtest.Step
		want string
	}{
		{fieldtest.Step{Step: "effective_irradiance", Inputs: map[string]any{"origin": "measured", "poa_w_m2": 930.0, "incidence_weight": 1.0, "bifaciality": 0.75},
			Outputs: map[string]any{"effective_w_m2": 1010.2, "rear_w_m2": 107.0}},
			"The light meter showed 930 W/m2 in the plane of the panel. The cells made current of 1010 W/m2, with 107 W/m2 on the rear counted at 75 %."},
		{fieldtest.Step{Step: "effective_irradiance", Inputs: map[string]any{"origin": "measured", "poa_w_m2": 570.0, "incidence_weight": 0.96}, Outputs: map[string]any{"effective_w_m2": 547.2}},
			"The light meter showed 570 W/m2 in the plane of the panel. Of that 96.0 % pass the front sheet at this slant. The cells made current of 547 W/m2."},
		{fieldtest.Step{Step: "effective_irradiance", Inputs: map[string]any{"origin": "clear_sky", "assumes": "a sky without clouds"}, Outputs: map[string]any{"effective_w_m2": 1042.0}},
			"With a sky without clouds the cells would have made current of 1042 W/m2."},
		{fieldtest.Step{Step: "incidence_modifier", Outputs: map[string]any{"beam": 0.999, "sky": 0.951}},
			"The front sheet lets 99.9 % of the beam through, 95.1 % of the sky's light, compared with light from straight ahead."},
		{fieldtest.Step{Step: "stc_power", Inputs: map[string]any{"arrangement": "covered", "tracker_factor": 1.0}, Outputs: map[string]any{"power_w": 133.9}},
			"At standard test conditions (1000 W/m2, cells at 25 C) the panel, covered as it was, would give 133.9 W."},
		{fieldtest.Step{Step: "wiring", Inputs: map[string]any{"current_a": 7.53, "converter_efficiency": 0.96, "self_consumption_w": 1.0, "side_factor": 1.0, "cable_loss_share": 0.0},
			Outputs: map[string]any{"measured_power_w": 135.34, "resistance_ohm": 0.2273, "terminal_power_w": 154.87}},
			"The meter showed 135.3 W; at the terminals of the panel that was 154.9 W, with a converter of 96 % that takes 1 W for itself and 12.9 W lost by 7.53 A in 0.227 ohm of cable."},
		{fieldtest.Step{Step: "wiring", Inputs: map[string]any{"current_a": 0.1, "cable_loss_share": 0.0}, Outputs: map[string]any{"measured_power_w": 1.6, "resistance_ohm": 0.057, "terminal_power_w": 1.6006}},
			"The meter showed 1.6 W; at the terminals of the panel that was 1.6 W."},
		{fieldtest.Step{Step: "cell_temperature", Inputs: map[string]any{"open_circuit_voltage_v": 21.2, "voc_stc_v": 24.2, "voc_stc_of": "the nameplate"}, Outputs: map[string]any{"method": "from_voc", "cell_c": 68.4, "u_cell_k": 5.5}},
			"The cells were at 68.4 C, give or take 5.5 K, by the panel's open-circuit voltage of 21.20 V (24.20 V at standard conditions, by the nameplate)."},
		{fieldtest.Step{Step: "uncertainty", Inputs: map[string]any{"value_w": 188.6}, Outputs: map[string]any{"standard_w": 4.4, "parts": []map[string]any{
			{"name": "temperature_common", "standard_relative": 0.014}, {"name": "meter", "standard_relative": 0.012}}}},
			"The standard uncertainty is 4.4 W (2.3 %). Its largest part is that of the thermal model of the cells, the same for all panels (1.4 %)."},
		{fieldtest.Step{Step: "cell_temperature", Outputs: map[string]any{"method": "back_temperature", "module_c": 45.0, "cell_c": 47.8, "u_cell_k": 1.8, "not_used": []any{
			map[string]any{"method": "from_voc", "reason": "no open-circuit voltage of this unit"},
			map[string]any{"method": "king_open_rack_polymer", "cell_c": 43.6, "u_cell_k": 4.5, "reason": "less certain"}}}},
			"The cells were at 47.8 C, give or take 1.8 K, by a sensor on the panel at 45.0 C. No open-circuit voltage of this unit. The thermal model would say 43.6 C, give or take 4.5 K: less certain."},
	} {
		if got := explain.Paragraph(&c.step); got != c.want {
			t.Errorf("Paragraph(%s) = %q, want %q", c.step.Step, got, c.want)
		}
	}
}

// TestCodesAreWorded holds every code of a reading without rank to words of its own.
func TestCodesAreWorded(t *testing.T) {
	t.Parallel()
	for _, code := range []string{"no_power", "not_a_tracker", "sky_not_clear", "sun_too_low", "plane_unknown", "irradiance_too_low", "uncertainty_too_large", "sweep_not_usable", "unit_slip", "not_finite"} {
		if explain.Reason(code, false) == code {
			t.Errorf("Reason(%q) has no words", code)
		}
	}
	for _, origin := range []fieldtest.Origin{fieldtest.OriginMeasured, fieldtest.OriginFromGHI, fieldtest.OriginClearSky} {
		if got := explain.Light(string(origin)); strings.Contains(got, "_") {
			t.Errorf("Light(%q) = %q, want words", origin, got)
		}
	}
	if explain.Reason("irradiance_too_low", true) == explain.Reason("irradiance_too_low", false) {
		t.Error("a dim result and a reading too dim for one are told alike")
	}
}
