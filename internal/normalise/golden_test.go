package normalise_test

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"evensun/internal/fieldtest"
	"evensun/internal/normalise"
	"evensun/internal/reftest"
)

// goldenReading is what a reader of an answer looks at first.
type goldenReading struct {
	Label     string             `json:"label"`
	Result    *goldenResult      `json:"result"`
	Reason    string             `json:"reason,omitempty"`
	Retention map[string]float64 `json:"retention,omitempty"`
	Wiring    any                `json:"wiring,omitempty"`
	Findings  []string           `json:"findings"`
	Defaults  []string           `json:"defaults,omitempty"`
}

type goldenResult struct {
	Power     float64            `json:"stc_power_w"`
	U         float64            `json:"u_w"`
	Low       float64            `json:"lo_w"`
	High      float64            `json:"hi_w"`
	Share     *float64           `json:"share_of_rating"`
	Method    string             `json:"method"`
	Light     string             `json:"light"`
	Effective float64            `json:"effective_w_m2"`
	Heat      string             `json:"heat"`
	CellC     float64            `json:"cell_c"`
	Parts     map[string]float64 `json:"parts"`
}

type golden struct {
	Readings []goldenReading `json:"readings"`
	Session  []string        `json:"session"`
	Cautions []string        `json:"cautions"`
}

// rounded keeps six digits: what a reader compares by eye.
func rounded(x float64) float64 {
	y, err := strconv.ParseFloat(strconv.FormatFloat(x, 'g', 6, 64), 64)
	if err != nil {
		return x
	}
	return y
}

func goldenOf(in *normalise.Input, out *normalise.Outcome) golden {
	shared := out.Session
	for _, d := range out.Panels {
		shared = append(shared, d.Findings...)
	}
	g := golden{Session: findingLines(shared)}
	for i := range out.Readings {
		g.Readings = append(g.Readings, goldenReadingOf(in.Session.Readings[i].Label, &out.Readings[i]))
	}
	for _, c := range out.Cautions {
		g.Cautions = append(g.Cautions, c.Level+" "+c.ID)
	}
	return g
}

func goldenReadingOf(label string, j *normalise.Judged) goldenReading {
	g := goldenReading{Label: label, Reason: j.Reason, Findings: findingLines(j.Findings)}
	for _, step := range j.Derivation {
		if step.Step == "shading" {
			g.Wiring = step.Outputs["conclusion"]
			g.Retention = map[string]float64{"retained": rounded(step.Outputs["retained"].(float64)), "u": rounded(step.Inputs["u_retained"].(float64))}
		}
	}
	if p := j.Result; p != nil {
		g.Defaults = p.Defaults
		g.Result = &goldenResult{
			Power: rounded(p.StcPowerW), U: rounded(p.StcPowerUW), Low: rounded(p.StcPowerLoW), High: rounded(p.StcPowerHiW),
			Method: p.Method, Light: string(p.IrradianceOrigin), Effective: rounded(p.EffectiveWM2), Heat: p.CellMethod, CellC: rounded(p.CellC),
			Parts: map[string]float64{
				"reading": rounded(p.Parts.Reading), "session": rounded(p.Parts.Session), "rig": rounded(p.Parts.Rig),
				"model": rounded(p.Parts.Model), "common": rounded(p.Parts.Common),
			},
		}
		if p.ShareOfRating != nil {
			share := rounded(*p.ShareOfRating)
			g.Result.Share = &share
		}
		if keep := p.Retention; keep != nil && keep.Measure == fieldtest.FlatRetention {
			g.Retention = map[string]float64{"rest": rounded(keep.Value), "u": rounded(keep.U), "sun": rounded(*keep.SunPart), "heat": rounded(*keep.HeatPart)}
		}
	}
	return g
}

func findingLines(findings []fieldtest.Finding) []string {
	lines := []string{}
	for _, f := range findings {
		lines = append(lines, string(f.Severity)+" "+f.Rule+" "+f.Pointer+": "+f.Reason)
	}
	return lines
}

// readSession decodes a stored session; a panel named without nameplate is the one that
// an earlier reading describes.
func readSession(tb testing.TB, path string) *normalise.Input {
	tb.Helper()
	raw, err := os.ReadFile(path)
	if err != nil {
		tb.Fatal(err)
	}
	in := session(tb, raw)
	for i, m := range in.Panels {
		for _, earlier := range in.Panels[:i] {
			if earlier.Slug == m.Slug && in.Session.Readings[i].Panel.Nameplate == nil {
				in.Panels[i] = earlier
				break
			}
		}
	}
	return in
}

func sessionFiles(tb testing.TB) []string {
	tb.Helper()
	all, err := filepath.Glob("testdata/sessions/*.json")
	if err != nil || len(all) == 0 {
		tb.Fatalf("no sessions: %v", err)
	}
	var files []string
	for _, name := range all {
		if !strings.HasSuffix(name, ".golden.json") {
			files = append(files, name)
		}
	}
	return files
}

// TestGolden takes invented sessions, one for each way in which testers measure, and
// compares the outcome with one that was read line by line.
func TestGolden(t *testing.T) {
	t.Parallel()
	for _, name := range sessionFiles(t) {
		t.Run(strings.TrimSuffix(filepath.Base(name), ".json"), func(t *testing.T) {
			in := readSession(t, name)
			got := goldenJSON(t, goldenOf(in, outcome(t, in, true)))
			file := strings.TrimSuffix(name, ".json") + ".golden.json"
			reftest.Golden(t, file, got)
		})
	}
}

func goldenJSON(tb testing.TB, g golden) []byte {
	tb.Helper()
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	if err := e.Encode(g); err != nil {
		tb.Fatal(err)
	}
	return b.Bytes()
}
