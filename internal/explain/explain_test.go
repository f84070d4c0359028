package explain_test

import (
	"encoding/json"
	"flag"
	"os"
	"strings"
	"testing"

	"evensun/internal/explain"
	"evensun/internal/fieldtest"
)

var update = flag.Bool("update", false, "write the golden files anew")

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
	if *update {
		if err := os.WriteFile("testdata/derivations.txt", []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile("testdata/derivations.txt")
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("told\n%s\nwant\n%s", got, want)
	}
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
