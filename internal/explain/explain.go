package explain

import (
	"fmt"
	"math"
	"sort"
	"strings"

	"evensun/internal/fieldtest"
)

// Paragraphs returns one paragraph of plain text for each step of a derivation, in
// its order. A step of an unknown name is told by its numbers.
func Paragraphs(steps []fieldtest.Step) []string {
	out := make([]string, 0, len(steps))
	for i := range steps {
		out = append(out, Paragraph(&steps[i]))
	}
	return out
}

// Paragraph returns plain text about one step.
func Paragraph(step *fieldtest.Step) string {
	n := numbers{step.Inputs, step.Outputs}
	tell, known := tellers[step.Step]
	if !known {
		return unknown(step)
	}
	return tell(n)
}

var tellers = map[string]func(numbers) string{
	"sun_position": sunPosition, "extraterrestrial": extraterrestrial, "air_mass": airMass, "clear_sky": clearSky,
	"decomposition": decomposition, "incidence": incidence, "transposition": transposition,
	"incidence_modifier": modifier, "effective_irradiance": effective, "cell_temperature": cellTemperature,
	"limits": limitsStep, "wiring": wiring, "sweep_points": sweepPoints, "low_light": lowLight, "curve_translation": curve,
	"stc_power": stcPower, "shading": shading, "flat": flat, "uncertainty": uncertainty,
}

// numbers are the members of a step.
type numbers struct{ in, out map[string]any }

// has tells whether every one of the names is a number of the outputs or inputs.
func (n numbers) has(name string) bool {
	_, ok := n.find(name)
	return ok
}

func (n numbers) find(name string) (float64, bool) {
	for _, m := range []map[string]any{n.out, n.in} {
		if x, ok := m[name].(float64); ok {
			return x, true
		}
	}
	return math.NaN(), false
}

// show writes a member with some decimals, or "unknown" where the step lacks it.
func (n numbers) show(name string, decimals int) string {
	x, ok := n.find(name)
	return shown(x, ok, decimals)
}

// percent writes a share in percent.
func (n numbers) percent(name string, decimals int) string {
	x, ok := n.find(name)
	return shown(100*x, ok, decimals)
}

func (n numbers) text(name string) string {
	for _, m := range []map[string]any{n.out, n.in} {
		if s, ok := m[name].(string); ok {
			return strings.ReplaceAll(s, "_", " ")
		}
	}
	return "unknown"
}

func shown(x float64, ok bool, decimals int) string {
	if !ok || math.IsNaN(x) || math.IsInf(x, 0) {
		return "an unknown number of"
	}
	s := fmt.Sprintf("%.*f", decimals, x)
	if strings.Trim(s, "-0.") == "" {
		return strings.TrimPrefix(s, "-")
	}
	return s
}

// unknown tells a step by its name and numbers, in the order of their names.
func unknown(step *fieldtest.Step) string {
	names := make([]string, 0, len(step.Outputs))
	for name := range step.Outputs {
		names = append(names, name)
	}
	sort.Strings(names)
	var told []string
	for _, name := range names {
		told = append(told, fmt.Sprintf("%s %v", strings.ReplaceAll(name, "_", " "), step.Outputs[name]))
	}
	return "Step " + strings.ReplaceAll(step.Step, "_", " ") + ": " + strings.Join(told, ", ") + "."
}

var winds = [...]string{"north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west"}

// direction names the point of the compass nearest to an azimuth in degrees.
func direction(azimuthDeg float64) string {
	if math.IsNaN(azimuthDeg) || math.IsInf(azimuthDeg, 0) {
		return "sky"
	}
	i := int(math.Mod(math.Round(azimuthDeg/45), 8))
	return winds[(i+8)%8]
}
