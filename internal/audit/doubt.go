package audit

import (
	"fmt"
	"math"
	"sort"

	"github.com/google/uuid"
	"gonum.org/v1/gonum/stat/distuv"

	"evensun/internal/compare"
	"evensun/internal/fieldtest"
)

// Thresholds of the audit (common practice, no source).
const (
	falseDiscovery = 0.05
	leastT         = 3.5
)

// A doubt is a finding in the making. Numbers that are NaN do not apply.
type doubt struct {
	rule    string
	at      int // place in what was tested
	tester  *uuid.UUID
	rig     *uuid.UUID
	session *uuid.UUID
	reading *uuid.UUID
	panel   *string
	label   *string

	arrangement *fieldtest.Arrangement // of the readings that it is about; nil: any
	coverClass  *string

	value, limit float64
	relation     string // of value to limit where nothing is doubted
	unit         string

	delta, se, t, p, q float64
	weight             float64 // robust weight of the effect
	strength           float64 // place in the queue where there is neither t nor p, as a |t|
	impact             impact
	fine               bool // about a tester whose scores are all fine
	reason             string
	basis              map[string]any
}

// An impact is what the rankings would change without an effect.
type impact struct {
	panel    string
	inSE     float64 // change of the estimate over its standard error
	from, to float64 // figures with and without the effect
	topped   bool    // a panel that readers see first is touched
}

func newDoubt(rule string) doubt {
	nan := math.NaN()
	return doubt{rule: rule, value: nan, limit: nan, delta: nan, se: nan, t: nan, p: nan, q: nan, weight: nan, basis: map[string]any{}}
}

// note puts a number into the evidence, unless it has no value.
func (d *doubt) note(name string, x float64) {
	if !math.IsNaN(x) && !math.IsInf(x, 0) {
		d.basis[name] = fieldtest.Significant(x)
	}
}

// finding completes the doubt.
func (d *doubt) finding() fieldtest.Finding {
	rule := ruleNamed(d.rule)
	d.basis["level"], d.basis["source"], d.basis["statement"] = rule.Level, rule.Source, rule.Sentence
	d.note("se", d.se)
	d.note("t", d.t)
	d.note("p", d.p)
	d.note("q", d.q)
	d.note("weight", d.weight)
	if !math.IsNaN(d.delta) {
		d.note("delta_percent", 100*math.Expm1(d.delta))
	}
	if d.impact.panel != "" {
		d.basis["impact"] = map[string]any{"panel_model": d.impact.panel, "standard_errors": fieldtest.Significant(d.impact.inSE), "from": fieldtest.Significant(d.impact.from), "to": fieldtest.Significant(d.impact.to)}
	}
	f := fieldtest.Finding{
		Rule: d.rule, Severity: fieldtest.Note, State: fieldtest.FindingOpen, TesterID: d.tester, RigID: d.rig, SessionID: d.session,
		ReadingID: d.reading, PanelModel: d.panel, Label: d.label, Arrangement: d.arrangement, CoverClass: d.coverClass, Relation: d.relation, Unit: d.unit, Reason: d.reason, Basis: d.basis,
		Value: finite(d.value), Limit: finite(d.limit), Priority: fieldtest.Significant(d.priority()), Band: bandOf(d.priority()),
	}
	f.ID = uuid.NewSHA1(uuid.NameSpaceOID, []byte("evensun audit "+subjectOf(&f)))
	return f
}

func finite(x float64) *float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return nil
	}
	x = fieldtest.Significant(x)
	return &x
}

// subjectOf names a finding by rule and what it is about: one about covered readings is
// not one about tilted ones.
func subjectOf(f *fieldtest.Finding) string {
	text := fmt.Sprint(f.Rule, " ", textOf(f.ReadingID), textOf(f.SessionID), textOf(f.RigID), textOf(f.TesterID))
	for _, word := range []*string{f.PanelModel, (*string)(f.Arrangement), f.CoverClass} {
		if word == nil {
			text += "- "
			continue
		}
		text += *word + " "
	}
	return text
}

func textOf(id *uuid.UUID) string {
	if id == nil {
		return "- "
	}
	return id.String() + " "
}

// size is |t|, or for a test without one the normal quantile of its p.
func (d *doubt) size() float64 {
	if !math.IsNaN(d.t) {
		return math.Abs(d.t)
	}
	if math.IsNaN(d.p) {
		return d.strength
	}
	return -distuv.UnitNormal.Quantile(max(d.p, 1e-300) / 2)
}

// Numbers of the queue (common practice, no source).
const (
	changeSteps   = 10   // of what a verdict would change, each worth as much priority
	surest        = 16.0 // |t| from which more makes no difference
	unknownChange = 0.5  // standard errors, of a doubt whose effect on ranks is not computed
	highPriority  = 70.0
	somePriority  = 30.0
)

// priority orders the queue, 0 to 100: by what a verdict would change, in tenths of a
// standard error of the estimate that it moves most, halved where few readers see that;
// among those alike by improbability.
func (d *doubt) priority() float64 {
	step := math.Floor((changeSteps - 1) * d.change())
	return 100 / changeSteps * (step + 0.99*min(1, d.size()/surest))
}

// change is what a verdict would change, 0 to 1. Nothing speaks for leaving out a tester
// whose scores are all fine.
func (d *doubt) change() float64 {
	if d.fine {
		return 0
	}
	change := d.impact.inSE
	if d.impact.panel == "" && d.strength > 0 {
		change = unknownChange
	}
	if !d.impact.topped {
		change /= 2
	}
	return min(1, change)
}

func bandOf(priority float64) string {
	switch {
	case priority >= highPriority:
		return "high"
	case priority >= somePriority:
		return "medium"
	}
	return "low"
}

// normalP is the two-sided probability of a larger |t| by chance.
func normalP(t float64) float64 { return math.Erfc(math.Abs(t) / math.Sqrt2) }

// discovered fills in q over the tests of one rule and returns those that stand out.
// A doubt whose p is NaN was not tested.
func discovered(tests []doubt, least float64) []doubt {
	p := make([]float64, len(tests))
	for i := range tests {
		p[i] = tests[i].p
	}
	var out []doubt
	for i, q := range compare.BenjaminiHochberg(p) {
		tests[i].q = q
		if q < falseDiscovery && (math.IsNaN(tests[i].t) || math.Abs(tests[i].t) > least) {
			out = append(out, tests[i])
		}
	}
	return out
}

// strongestFirst drops doubts about the same subject by the same rule but the strongest,
// and sorts.
func strongestFirst(doubts []doubt) []fieldtest.Finding {
	best := map[string]fieldtest.Finding{}
	for i := range doubts {
		f := doubts[i].finding()
		key := subjectOf(&f)
		if old, ok := best[key]; !ok || f.Priority > old.Priority {
			best[key] = f
		}
	}
	out := make([]fieldtest.Finding, 0, len(best))
	for _, f := range best {
		out = append(out, f)
	}
	sort.Slice(out, func(i, j int) bool {
		if out[i].Priority != out[j].Priority {
			return out[i].Priority > out[j].Priority
		}
		return out[i].ID.String() < out[j].ID.String()
	})
	return out
}
