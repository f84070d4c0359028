package intake

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/google/uuid"

	"evensun/internal/conclusion"
	"evensun/internal/diode"
	"evensun/internal/fieldtest"
	"evensun/internal/limits"
	"evensun/internal/normalise"
	"evensun/internal/stc"
)

// References are what a session refers to: its rig and, for each reading, the panel
// model.
type References struct {
	Rig    fieldtest.Rig
	Panels []*fieldtest.PanelModel
}

// JudgeOptions say how a session is to be judged.
type JudgeOptions struct {
	Derivation bool
	Library    *diode.Library // of what covers do, kept for all sessions; nil: found anew
	Conclude   bool           // draw conclusions from the session
	Method     string         // simple_power, procedure_1 to procedure_4; empty: what the data allow
}

// Judge takes a prepared session through the chain and returns its receipt, nothing
// stored: no ids, no sequence. A rule that refuses and is not contested makes a
// *fieldtest.Refusal with every fault.
func Judge(ctx context.Context, s *fieldtest.Session, refs References, opts JudgeOptions) (*fieldtest.Receipt, error) {
	j, err := judge(ctx, s, refs, opts)
	if err != nil {
		return nil, err
	}
	j.tell(refs, j.panels)
	return j.receipt, nil
}

// input is a session with what it refers to, as the chain takes it.
func (r References) input(s *fieldtest.Session) *normalise.Input {
	return &normalise.Input{Session: *s, Rig: r.Rig, Panels: r.Panels}
}

// chain are the options of the chain.
func (o JudgeOptions) chain() normalise.Options {
	chain := normalise.Defaults()
	chain.Derivation, chain.Method, chain.Covers = o.Derivation, stc.Method(o.Method), o.Library
	return chain
}

// A judgement is what the chain made of a session.
type judgement struct {
	receipt *fieldtest.Receipt
	panels  []normalise.PanelDoubts // about the models that it describes: filed on those, not on the session
}

func judge(ctx context.Context, s *fieldtest.Session, refs References, opts JudgeOptions) (judgement, error) {
	if opts.Library == nil {
		opts.Library = &diode.Library{}
	}
	out, err := normalise.Session(ctx, refs.input(s), opts.chain())
	if err != nil {
		return judgement{}, methodRefused(err)
	}
	contestAll(s, out)
	if faults := refusals(out); len(faults) > 0 {
		return judgement{}, impossible(faults, len(s.Readings))
	}
	r := receipt(s, refs, out)
	if opts.Conclude {
		r.Conclusions = conclusion.SessionWirings(opts.Library, r.Readings)
	}
	return judgement{r, out.Panels}, nil
}

// tell puts doubts about models into the receipt, which hold the readings of those models
// and no others.
func (j *judgement) tell(refs References, doubts []normalise.PanelDoubts) {
	for _, d := range doubts {
		panel := refs.Panels[d.Reading]
		for _, f := range d.Findings {
			for i := range j.receipt.Readings {
				if r := &j.receipt.Readings[i]; refs.Panels[i] == panel {
					r.State = r.State.Under(fieldtest.Effect(f.Severity, f.State))
				}
			}
			f.Pointer = inReading(d.Reading, f.Pointer)
			if panel.Slug != "" {
				f.PanelModel = &panel.Slug
			}
			j.receipt.Findings = append(j.receipt.Findings, f)
		}
	}
}

// inReading points into the panel that a reading describes.
func inReading(reading int, pointer string) string {
	return fmt.Sprintf("#/readings/%d/panel/%s", reading, pointer)
}

// methodRefused tells that a method asked for by name does not serve the data.
func methodRefused(err error) error {
	refusal, ok := errors.AsType[*stc.Refusal](err)
	if !ok {
		return err
	}
	return &fieldtest.Refusal{
		Kind: fieldtest.InvalidParameter, Detail: "The method asked for does not serve these data. Nothing was stored.",
		Faults: []fieldtest.Fault{{Parameter: "method", Code: string(refusal.Reason), Value: string(refusal.Method), Reason: sentence(refusal.Error())}},
	}
}

func sentence(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:] + "."
}

// contestAll turns a refusal that the tester contests into a hold.
func contestAll(s *fieldtest.Session, out *normalise.Outcome) {
	for i := range out.Readings {
		for _, c := range s.Readings[i].Contest {
			contest(out.Readings[i].Findings, c)
		}
	}
}

func contest(findings []fieldtest.Finding, c fieldtest.Contest) {
	for i := range findings {
		f := &findings[i]
		if f.Rule == c.Rule && f.Severity == fieldtest.Reject {
			f.Severity = fieldtest.Hold
			f.Basis["contested_because"] = c.Reason
		}
	}
}

// refusals gathers the faults of a refused submission in document order.
func refusals(out *normalise.Outcome) []fieldtest.Fault {
	faults := faultsOf(out.Session)
	for _, d := range out.Panels {
		for _, fault := range faultsOf(d.Findings) {
			fault.Pointer = inReading(d.Reading, fault.Pointer)
			faults = append(faults, fault)
		}
	}
	for i := range out.Readings {
		faults = append(faults, faultsOf(out.Readings[i].Findings)...)
	}
	return faults
}

func impossible(faults []fieldtest.Fault, readings int) *fieldtest.Refusal {
	detail := fmt.Sprintf("%d values in %d readings cannot be right. Nothing was stored.", len(faults), readings)
	if len(faults) == 1 {
		detail = "One value cannot be right. Nothing was stored."
	} else if readings == 1 {
		detail = fmt.Sprintf("%d values of one reading cannot be right. Nothing was stored.", len(faults))
	}
	return &fieldtest.Refusal{Kind: fieldtest.PhysicallyImpossible, Detail: detail, Faults: faults}
}

// receipt puts an outcome into the words of the answer.
func receipt(s *fieldtest.Session, refs References, out *normalise.Outcome) *fieldtest.Receipt {
	r := &fieldtest.Receipt{
		Revision: 1, State: fieldtest.SessionAccepted, Affects: []string{}, Conclusions: []fieldtest.SessionConclusion{},
		Readings: make([]fieldtest.JudgedReading, len(s.Readings)), Findings: out.Session, Cautions: out.Cautions,
	}
	for i := range s.Readings {
		r.Readings[i] = judgedReading(s, i, refs.Panels[i], &out.Readings[i])
	}
	setStates(r, nil)
	return r
}

func judgedReading(s *fieldtest.Session, i int, panel *fieldtest.PanelModel, j *normalise.Judged) fieldtest.JudgedReading {
	raw := &s.Readings[i]
	out := fieldtest.JudgedReading{
		Label: raw.Label, Specimen: raw.Panel.Specimen, Kind: raw.Kind, Arrangement: raw.Arrangement,
		TakenAt: takenAt(s, raw), Result: j.Result, Findings: j.Findings, Derivation: j.Derivation,
	}
	if panel.Slug != "" {
		out.PanelModel = &panel.Slug
	}
	if j.Reason != "" {
		out.ResultReason = &j.Reason
	}
	roundResult(out.Result)
	return out
}

func takenAt(s *fieldtest.Session, r *fieldtest.Reading) time.Time {
	if r.TakenAt != nil {
		return r.TakenAt.UTC()
	}
	return s.StartedAt.Add(s.EndedAt.Sub(s.StartedAt) / 2).UTC()
}

// roundResult rounds derived numbers once, at the edge.
func roundResult(r *fieldtest.Result) {
	if r == nil {
		return
	}
	for _, x := range []*float64{
		&r.StcPowerW, &r.StcPowerUW, &r.StcPowerLoW, &r.StcPowerHiW, r.ShareOfRating, &r.EffectiveWM2, &r.CellC, &r.GammaRelative, &r.LowLightRelative,
		&r.Parts.Reading, &r.Parts.Session, &r.Parts.Rig, &r.Parts.Model, &r.Parts.Common,
	} {
		if x != nil {
			*x = fieldtest.Significant(*x)
		}
	}
	if k := r.Retention; k != nil {
		for _, x := range []*float64{&k.Value, &k.U, k.SunPart, k.HeatPart, k.Rest, k.VoltageRatio} {
			if x != nil {
				*x = fieldtest.Significant(*x)
			}
		}
	}
}

const ruleNewTester = "new_tester"

// newTester is the doubt about a session of a tester whose first sessions no reviewer
// has kept yet.
func newTester(tester uuid.UUID, kept int) fieldtest.Finding {
	value, limit := float64(kept), float64(sessionsToTrust)
	return fieldtest.Finding{
		Rule: ruleNewTester, Severity: fieldtest.Hold, TesterID: &tester, Pointer: "#", Value: &value, Limit: &limit, Relation: ">=", Unit: "1",
		Reason: fmt.Sprintf("%d of this tester's sessions were kept by a reviewer; readings count once %d were.", kept, sessionsToTrust),
		Basis:  map[string]any{"method": normalise.MethodVersion, "source": "common practice, no source"}, State: fieldtest.FindingOpen,
	}
}

// sessionsToTrust is how many kept sessions make a tester trusted.
const sessionsToTrust = 3

// refusingRules are the rules that can refuse.
func refusingRules() []string {
	var ids []string
	for _, rule := range limits.Rules() {
		for _, severity := range rule.Severities {
			if severity == limits.Reject {
				ids = append(ids, rule.ID)
			}
		}
	}
	return ids
}
