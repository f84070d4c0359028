package limits

import (
	"fmt"
	"math"
)

// Severity says what a doubt does to the thing doubted.
type Severity uint8

// The severities, weakest first.
const (
	OK     Severity = iota // nothing to say
	Note                   // stored and counted, shown
	Hold                   // stored, out of the rankings until a verdict
	Reject                 // the submission is refused
)

// String returns "ok", "note", "hold" or "reject".
func (s Severity) String() string {
	switch s {
	case OK:
		return "ok"
	case Note:
		return "note"
	case Hold:
		return "hold"
	case Reject:
		return "reject"
	}
	return fmt.Sprintf("severity(%d)", uint8(s))
}

// Origin says where an input of a limit came from.
type Origin string

// The origins.
const (
	FromTester Origin = "given"   // stated or measured by the tester, or on the nameplate
	ByDefault  Origin = "default" // missing; the most lenient bound stands in
	FromModel  Origin = "model"   // computed from other inputs
)

// An Input is one number or word that a limit was made of.
type Input struct {
	Name   string  `json:"name"`
	Value  float64 `json:"value"`          // 0 where Text is set
	Text   string  `json:"text,omitempty"` // a word instead of a number
	Origin Origin  `json:"origin"`
}

// A Doubt is one rule's finding about one value. All numbers are finite.
type Doubt struct {
	Rule     string   `json:"rule"`
	Severity Severity `json:"severity"`
	Field    string   `json:"field"` // member path below the reading, panel model, rig or session
	Value    float64  `json:"value"`
	Limit    float64  `json:"limit"`
	Relation string   `json:"relation"` // what should hold: Value Relation Limit
	Unit     string   `json:"unit"`     // UCUM, of Value and Limit
	Reason   string   `json:"reason"`   // for the tester, with the most likely cure
	Basis    []Input  `json:"basis"`
	Source   string   `json:"source"`
}

// Skipped names a rule that could not run and the inputs it lacked.
type Skipped struct {
	Rule    string   `json:"rule"`
	Missing []string `json:"missing"`
}

// A Report collects what the rules found. The zero Report is ready for use.
type Report struct {
	Doubts []Doubt

	ran     [ruleCount]bool
	skipped [ruleCount]missing
}

// Reset empties the report and keeps its memory.
func (r *Report) Reset() { *r = Report{Doubts: r.Doubts[:0]} }

// Checked returns the ids of the rules that ran, in the order of the catalogue.
func (r *Report) Checked() []string {
	ids := []string{}
	for rule, ran := range r.ran {
		if ran {
			ids = append(ids, ruleID(ruleIndex(rule)))
		}
	}
	return ids
}

// Skipped returns the rules that apply but lacked an input, in the order of the
// catalogue. A rule that does not apply (a sweep rule on an operating point) is
// neither checked nor skipped.
func (r *Report) Skipped() []Skipped {
	list := []Skipped{}
	for rule, lacks := range r.skipped {
		if lacks != 0 && !r.ran[rule] {
			list = append(list, Skipped{Rule: ruleID(ruleIndex(rule)), Missing: lacks.names()})
		}
	}
	return list
}

// Given tells whether a number was measured or stated: NaN means it was not.
func Given(x float64) bool { return !math.IsNaN(x) }

// Bounds holds the limits of a rule by severity; NaN where the rule has no such
// severity.
type Bounds struct {
	Note, Hold, Reject float64
}

// Above returns the worst severity whose limit x exceeds, and that limit. NaN is
// never doubted.
func (b Bounds) Above(x float64) (Severity, float64) {
	switch {
	case x > b.Reject:
		return Reject, b.Reject
	case x > b.Hold:
		return Hold, b.Hold
	case x > b.Note:
		return Note, b.Note
	}
	return OK, math.NaN()
}

// Below returns the worst severity whose limit x falls short of, and that limit.
func (b Bounds) Below(x float64) (Severity, float64) {
	switch {
	case x < b.Reject:
		return Reject, b.Reject
	case x < b.Hold:
		return Hold, b.Hold
	case x < b.Note:
		return Note, b.Note
	}
	return OK, math.NaN()
}

// missing is a set of input names, one bit each.
type missing uint32

const (
	lacksIsc missing = 1 << iota
	lacksVoc
	lacksPmax
	lacksArea
	lacksVoltage
	lacksCurrent
	lacksPower
	lacksPOA
	lacksGHI
	lacksSun
	lacksPlane
	lacksClearSky
	lacksReference
	lacksCell
	lacksAir
	lacksWind
	lacksBattery
	lacksControllerLimit
	lacksCable
	lacksResolution
	lacksMaximumPoint
	lacksCoefficients
	lacksCells
	lacksSize
	lacksTechnology
	lacksCover
	lacksRatio
	lacksTime
)

func missingNames() [28]string {
	return [28]string{
		"nameplate/isc_a", "nameplate/voc_v", "nameplate/pmax_w", "size/cell_area_m2",
		"voltage_v", "current_a", "power_w", "irradiance/poa_w_m2", "irradiance/ghi_w_m2",
		"sun_position", "plane", "clear_sky", "nameplate/imp_a", "back_temperature_c",
		"weather/air_temperature_c", "weather/wind_speed_m_s", "battery_voltage_v",
		"max_current_a", "cable", "resolution", "nameplate/vmp_v",
		"nameplate/gamma_pmax_per_k", "nameplate/cells_in_series", "size",
		"construction/technology", "cover", "reference_reading", "taken_at",
	}
}

func (m missing) names() []string {
	var list []string
	for i, name := range missingNames() {
		if m&(1<<i) != 0 {
			list = append(list, name)
		}
	}
	return list
}

// lack returns bit where x is missing, else nothing.
func lack(x float64, bit missing) missing {
	if Given(x) {
		return 0
	}
	return bit
}

func or(x, fallback float64) float64 {
	if Given(x) {
		return x
	}
	return fallback
}
