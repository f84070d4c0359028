package contract

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"evensun/internal/fieldtest"

	"github.com/go-playground/validator/v10"
)

// Clocks of testers run a little ahead.
const clockSkew = 5 * time.Minute

// earliest is before any folding panel; an earlier time is a clock that was not set.
var earliest = time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)

// A subject is what rules between members are applied to. Its fields are unexported,
// so that package validator runs the rules given here and none of its own.
type subject struct {
	session *fieldtest.Session
	plate   *fieldtest.Nameplate
	now     time.Time
	prefix  []string
}

// CheckSession returns the faults between members of a session, in the order of its
// readings. now bounds the times; a tester's clock may be 5 min ahead.
func CheckSession(s fieldtest.Session, now time.Time) []fieldtest.Fault {
	return check(subject{session: &s, now: now})
}

// CheckPanelModel returns the faults between members of a panel model.
func CheckPanelModel(m fieldtest.PanelModel) []fieldtest.Fault {
	return check(subject{plate: &m.Nameplate, prefix: []string{"nameplate"}})
}

// rules is built once; validator.Validate is safe for concurrent use after that.
var rules = func() *validator.Validate {
	v := validator.New()
	v.RegisterStructValidation(between, subject{})
	return v
}()

func check(s subject) []fieldtest.Fault {
	err := rules.Struct(s)
	broken, ok := errors.AsType[validator.ValidationErrors](err)
	if !ok {
		return nil
	}
	faults := make([]fieldtest.Fault, len(broken))
	for i, b := range broken {
		faults[i] = fieldtest.Fault{Pointer: b.Field(), Code: b.Tag(), Value: echo(b.Value()), Reason: reason(b.Tag(), b.Param())}
	}
	return faults
}

// echo returns a value as it may stand in a fault.
func echo(v any) any {
	switch v := v.(type) {
	case string:
		if v == "" {
			return nil
		}
		return Cut(v)
	case time.Time:
		return v.Format(time.RFC3339Nano)
	}
	return v
}

// between is what package validator calls for a subject.
func between(sl validator.StructLevel) {
	s := sl.Current().Interface().(subject)
	c := checker{sl: sl}
	if s.session != nil {
		c.session(s.session, s.now)
	}
	if s.plate != nil {
		c.nameplate(s.plate, s.prefix...)
	}
}

// A checker reports broken rules. The tag is the fault's code, the parameter goes
// into its reason.
type checker struct{ sl validator.StructLevel }

func (c checker) report(value any, code, param string, where ...string) {
	p := Pointer(where...)
	c.sl.ReportError(value, p, p, code, param)
}

// reasons says what each broken rule means; %s is what the rule was given.
var reasons = map[string]string{
	"required":                 "%s",
	"end_before_start":         "The session ends before it starts, at %s.",
	"time_in_future":           "This time lies ahead: it is %s now.",
	"time_too_early":           "This is before the year 2000. Was the clock set?",
	"outside_session":          "This reading lies outside its session, %s.",
	"repeated_label":           "This label stands at reading %s already.",
	"rig_twice":                "Name a stored rig by its id or describe one inline, not both.",
	"cover_missing":            "A covered reading needs to say what was covered.",
	"cover_not_expected":       "Only a reading of arrangement covered has a cover.",
	"reference_missing":        "A covered reading needs the label of an uncovered reading of the same panel.",
	"reference_unknown":        "No reading of this session has this label.",
	"reference_is_covered":     "The reference must be uncovered.",
	"reference_of_other_panel": "The reference must be of the same panel and unit.",
	"more_covered_than_total":  "More sections are covered than the panel has: %s.",
	"lengths_differ":           "There are %s.",
	"not_rising":               "The voltages of a sweep must rise; the one before is %s V.",
	"not_expected":             "%s",
	"flat_with_tilt":           "A reading of arrangement flat has tilt 0.",
	"given_twice":              "Give the coefficient once: %s stands there too.",
	"tolerance_reversed":       "The lower tolerance comes first and is not above the upper, %s.",
}

func reason(code, param string) string {
	return strings.Replace(reasons[code], "%s", param, 1)
}

func (c checker) session(s *fieldtest.Session, now time.Time) {
	c.time(s.StartedAt, now, "started_at")
	if s.EndedAt != nil {
		c.time(*s.EndedAt, now, "ended_at")
		if s.EndedAt.Before(s.StartedAt) {
			c.report(*s.EndedAt, "end_before_start", s.StartedAt.Format(time.RFC3339), "ended_at")
		}
	}
	c.rig(&s.Rig)
	labels := map[string]int{}
	for i := range s.Readings {
		label := LabelOf(s.Readings[i], i)
		if first, taken := labels[label]; taken {
			c.report(label, "repeated_label", strconv.Itoa(first), "readings", strconv.Itoa(i), "label")
		} else {
			labels[label] = i
		}
	}
	for i := range s.Readings {
		c.reading(s, i, labels, now)
	}
}

// LabelOf returns the label of the reading at that index: its own, or its number
// from 1.
func LabelOf(r fieldtest.Reading, index int) string {
	if r.Label != "" {
		return r.Label
	}
	return strconv.Itoa(index + 1)
}

func (c checker) time(t, now time.Time, where ...string) {
	switch {
	case t.After(now.Add(clockSkew)):
		c.report(t, "time_in_future", now.UTC().Format(time.RFC3339), where...)
	case t.Before(earliest):
		c.report(t, "time_too_early", "", where...)
	}
}

func (c checker) rig(r *fieldtest.SessionRig) {
	inline := r.Kind != "" || r.PowerReadAt != ""
	switch {
	case r.ID != nil && r.Rig != (fieldtest.Rig{}):
		c.report("", "rig_twice", "", "rig")
	case r.ID != nil:
	case !inline:
		c.report("", "required", "Missing: the id of a stored rig, or kind and power_read_at of one described here.", "rig", "id")
	case r.Kind == "":
		c.report("", "required", "Missing.", "rig", "kind")
	case r.PowerReadAt == "":
		c.report("", "required", "Missing.", "rig", "power_read_at")
	}
}

func (c checker) reading(s *fieldtest.Session, i int, labels map[string]int, now time.Time) {
	r, at := &s.Readings[i], "readings/"+strconv.Itoa(i)
	where := func(rest ...string) []string { return append(strings.Split(at, "/"), rest...) }
	if r.TakenAt != nil {
		c.time(*r.TakenAt, now, where("taken_at")...)
		if r.TakenAt.Before(s.StartedAt) || s.EndedAt != nil && r.TakenAt.After(*s.EndedAt) {
			c.report(*r.TakenAt, "outside_session", span(s), where("taken_at")...)
		}
	}
	c.panel(&r.Panel, where)
	c.measured(r, where)
	c.cover(s, r, labels, where)
	if r.Sweep != nil {
		c.sweep(r, where)
	}
	if r.Arrangement == fieldtest.Flat && r.Plane.TiltDeg != nil && *r.Plane.TiltDeg != 0 {
		c.report(*r.Plane.TiltDeg, "flat_with_tilt", "", where("plane", "tilt_deg")...)
	}
}

func span(s *fieldtest.Session) string {
	if s.EndedAt == nil {
		return "which starts at " + s.StartedAt.Format(time.RFC3339)
	}
	return s.StartedAt.Format(time.RFC3339) + " to " + s.EndedAt.Format(time.RFC3339)
}

func (c checker) panel(p *fieldtest.PanelRef, where func(...string) []string) {
	if p.Nameplate != nil {
		c.nameplate(p.Nameplate, where("panel", "nameplate")...)
		return
	}
	if p.Model == "" {
		c.report("", "required", "Missing: the slug of a panel model, or a nameplate.", where("panel", "model")...)
	}
	const described = "A panel model named by its slug is described already; describe a new one with its nameplate."
	if p.Construction != nil {
		c.report("", "not_expected", described, where("panel", "construction")...)
	}
	if p.Size != nil {
		c.report("", "not_expected", described, where("panel", "size")...)
	}
}

// measured holds a reading to what its kind needs.
func (c checker) measured(r *fieldtest.Reading, where func(...string) []string) {
	switch r.Kind {
	case fieldtest.OpenCircuit:
		c.need(r.VoltageV, "An open circuit needs its voltage.", where("voltage_v"))
	case fieldtest.ShortCircuit:
		c.need(r.CurrentA, "A short circuit needs its current.", where("current_a"))
	case fieldtest.IVSweep:
		if r.Sweep == nil {
			c.report("", "required", "A sweep needs its voltages and currents.", where("sweep")...)
		}
	default:
		c.operatingPoint(r, where)
	}
}

func (c checker) operatingPoint(r *fieldtest.Reading, where func(...string) []string) {
	const needs = "An operating point needs voltage and current, or power."
	battery := r.BatteryVoltageV != nil && r.BatteryCurrentA != nil
	switch {
	case r.PowerW != nil || battery || r.VoltageV != nil && r.CurrentA != nil:
	case r.VoltageV != nil:
		c.report("", "required", needs, where("current_a")...)
	case r.CurrentA != nil:
		c.report("", "required", needs, where("voltage_v")...)
	default:
		c.report("", "required", needs, where("power_w")...)
	}
	if r.Sweep != nil {
		c.report("", "not_expected", "Only a reading of kind iv_sweep has a sweep.", where("sweep")...)
	}
}

func (c checker) need(x *float64, reason string, where []string) {
	if x == nil {
		c.report("", "required", reason, where...)
	}
}

func (c checker) cover(s *fieldtest.Session, r *fieldtest.Reading, labels map[string]int, where func(...string) []string) {
	covered := r.Arrangement == fieldtest.Covered
	switch {
	case covered && r.Cover == nil:
		c.report("", "cover_missing", "", where("cover")...)
	case !covered && r.Cover != nil:
		c.report("", "cover_not_expected", "", where("cover")...)
	case r.Cover != nil:
		if r.Cover.SectionsCovered > r.Cover.SectionsTotal {
			param := fmt.Sprintf("%d of %d", r.Cover.SectionsCovered, r.Cover.SectionsTotal)
			c.report(r.Cover.SectionsCovered, "more_covered_than_total", param, where("cover", "sections_covered")...)
		}
		c.reference(s, r, labels, where("cover", "reference_label"))
	}
}

func (c checker) reference(s *fieldtest.Session, r *fieldtest.Reading, labels map[string]int, where []string) {
	label := r.Cover.ReferenceLabel
	i, known := labels[label]
	switch {
	case label == "":
		c.report("", "reference_missing", "", where...)
	case !known:
		c.report(label, "reference_unknown", "", where...)
	case s.Readings[i].Arrangement == fieldtest.Covered:
		c.report(label, "reference_is_covered", "", where...)
	case !sameUnit(s.Readings[i].Panel, r.Panel):
		c.report(label, "reference_of_other_panel", "", where...)
	}
}

func sameUnit(a, b fieldtest.PanelRef) bool {
	return a.Model == b.Model && unit(a) == unit(b)
}

func unit(p fieldtest.PanelRef) string {
	if p.Specimen == "" {
		return "unit-1"
	}
	return p.Specimen
}

func (c checker) sweep(r *fieldtest.Reading, where func(...string) []string) {
	v, a := r.Sweep.VoltageV, r.Sweep.CurrentA
	if len(v) != len(a) {
		c.report("", "lengths_differ", fmt.Sprintf("%d voltages and %d currents", len(v), len(a)), where("sweep", "current_a")...)
	}
	for j := 1; j < len(v); j++ {
		if v[j] <= v[j-1] {
			c.report(v[j], "not_rising", short(v[j-1]), where("sweep", "voltage_v", strconv.Itoa(j))...)
		}
	}
}

func (c checker) nameplate(n *fieldtest.Nameplate, where ...string) {
	at := func(name string) []string { return append(where[:len(where):len(where)], name) }
	if n.PmaxW == nil && (n.VmpV == nil || n.ImpA == nil) {
		c.report("", "required", "Missing: the rated power, or vmp_v and imp_a.", at("pmax_w")...)
	}
	for _, twice := range []struct {
		perK, percent *float64
		name          string
	}{
		{n.GammaPmaxPerK, n.GammaPmaxPercentPerK, "gamma_pmax"},
		{n.BetaVocPerK, n.BetaVocPercentPerK, "beta_voc"},
		{n.AlphaIscPerK, n.AlphaIscPercentPerK, "alpha_isc"},
	} {
		if twice.perK != nil && twice.percent != nil {
			c.report(*twice.percent, "given_twice", twice.name+"_per_k", at(twice.name+"_percent_per_k")...)
		}
	}
	if n.Tolerance != nil && n.Tolerance[0] > n.Tolerance[1] {
		c.report("", "tolerance_reversed", "as [-0.03, 0.05]", at("tolerance")...)
	}
}
