package normalise

import (
	"context"
	"math"
	"strconv"

	"evensun/internal/diode"
	"evensun/internal/fieldtest"
	"evensun/internal/limits"
	"evensun/internal/stc"
)

// MethodVersion names the rules and models in force. It is stored with every result
// and raised whenever a number that it yields can change.
const MethodVersion = "2026.2"

// An Input is one session with all that it refers to.
type Input struct {
	Session fieldtest.Session
	Rig     fieldtest.Rig
	Panels  []*fieldtest.PanelModel // one a reading, in order
}

// Options say how to run the chain.
type Options struct {
	Derivation bool       // write down every step
	Method     stc.Method // asked for by name; empty: the table of package stc decides
	Limits     limits.Settings
	Covers     *diode.Library // what covers do, kept for all sessions; nil: found anew
}

// Defaults returns the options of an ordinary submission.
func Defaults() Options { return Options{Limits: limits.Default()} }

// An Outcome is what the chain made of a session, readings in their order.
type Outcome struct {
	Readings []Judged
	Session  []fieldtest.Finding // about the session and its rig
	Panels   []PanelDoubts       // about panel models that the session describes
	Cautions []fieldtest.Caution
}

// PanelDoubts are the findings about a panel model that a session describes itself.
type PanelDoubts struct {
	Reading  int                 // the first that names the model
	Findings []fieldtest.Finding // pointers are below the model
}

// Judged is what the chain made of one reading.
type Judged struct {
	Result     *fieldtest.Result
	Reason     string // why there is no result, or why it is not ranked
	Findings   []fieldtest.Finding
	Derivation []fieldtest.Step
}

// Session runs the chain for one session: sun, sky, cell temperature, limits,
// translation and budget for every reading, then the readings that belong together.
// It returns an error only for a method asked for by name that the data do not allow
// (*stc.Refusal), and that of a context that ends before it is done. Times, places and
// numbers must have passed the contract's checks; absurd numbers yield doubts or reasons,
// never NaN in a result.
func Session(ctx context.Context, in *Input, opts Options) (*Outcome, error) {
	return session(ctx, in, opts, func(int) bool { return opts.Derivation })
}

// Derivation returns how one reading of a session was computed, step by step: what
// Session writes down for it with Options.Derivation, without that of the others. What a
// reading's result rests on in the rest of the session is computed too. index counts from
// 0 and must be that of a reading; errors are those of Session.
func Derivation(ctx context.Context, in *Input, opts Options, index int) ([]fieldtest.Step, error) {
	out, err := session(ctx, in, opts, func(i int) bool { return i == index })
	if err != nil {
		return nil, err
	}
	return out.Readings[index].Derivation, nil
}

// session is Session with the derivations that are wanted.
func session(ctx context.Context, in *Input, opts Options, derive func(index int) bool) (*Outcome, error) {
	if opts.Covers == nil {
		opts.Covers = &diode.Library{}
	}
	s := newSetup(in, &opts)
	readings, err := s.readings(ctx, in, opts)
	if err != nil {
		return nil, err
	}
	out := &Outcome{Readings: make([]Judged, len(readings)), Session: s.sessionFindings(in), Panels: s.panelDoubts(in)}
	s.relate(readings)
	if err := s.inferWiring(ctx, readings, opts.Covers, derive); err != nil {
		return nil, err
	}
	for i := range readings {
		out.Readings[i] = s.judged(&readings[i], derive(i))
	}
	out.Cautions = s.cautions(in, readings)
	return out, nil
}

// readings computes every reading up to its budget.
func (s *setup) readings(ctx context.Context, in *Input, opts Options) ([]reading, error) {
	readings := make([]reading, len(in.Session.Readings))
	plates := make(map[*fieldtest.PanelModel]*rated, 4)
	for i := range readings {
		r := &readings[i]
		r.index = i
		r.given = s.readingGiven(&in.Session.Readings[i])
		r.rated = plateOf(in.Panels[i], plates)
		r.specimen = specimenOf(&in.Session.Readings[i].Panel)
	}
	for i := range readings {
		s.readSweep(&readings[i], &in.Session.Readings[i])
		s.see(&readings[i])
	}
	findRates(readings)
	s.lendVoltages(readings)
	for i := range readings {
		s.weigh(&readings[i])
	}
	pairSweeps(readings)
	var input limits.ReadingInput
	for i := range readings {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		if err := s.compute(&readings[i], &input, opts); err != nil {
			return nil, err
		}
	}
	return readings, nil
}

// compute takes a started reading through the rest of the chain.
func (s *setup) compute(r *reading, input *limits.ReadingInput, opts Options) error {
	if err := s.chooseMethod(r, opts.Method); err != nil {
		return err
	}
	s.judge(r, input)
	if slipped(&r.report) {
		if r.reason == irradianceLow {
			r.reason = "" // the light may be what stands in another unit
		}
		r.without(unitSlip)
	}
	r.report.Doubts = append(r.report.Doubts, r.ownWeather...)
	if r.reason != "" {
		return nil
	}
	s.estimateU(r)
	s.judgeResult(r)
	if !(r.total.Relative() < leastKnown) || math.IsInf(r.total.Upper, 0) {
		r.without(tooUncertain)
	}
	return nil
}

// slipped tells whether a value of the reading stands in another unit than it claims:
// what follows from it as it stands would say nothing of the panel.
func slipped(report *limits.Report) bool {
	for i := range report.Doubts {
		if report.Doubts[i].Rule == unitSlip {
			return true
		}
	}
	return false
}

// leastKnown is the relative uncertainty from which a number says nothing of the panel
// (common practice, no source).
const leastKnown = 1

// judgeResult asks whether the area could have yielded the result at all.
func (s *setup) judgeResult(r *reading) {
	if r.arrangement == fieldtest.Covered {
		return
	}
	limits.Result(&s.limits, &limits.ResultInput{PowerW: r.value, UPowerW: r.total.Standard, Panel: r.rated.plate,
		LightKnown: r.origin != fieldtest.OriginClearSky || s.condition == fieldtest.Clear}, &r.report)
}

// plateOf flattens each panel model of a session once: readings of one model share it,
// by which those of one unit are known.
func plateOf(m *fieldtest.PanelModel, plates map[*fieldtest.PanelModel]*rated) *rated {
	if plates[m] == nil {
		plate := panelRated(m)
		plates[m] = &plate
	}
	return plates[m]
}

func specimenOf(p *fieldtest.PanelRef) string {
	if p.Specimen == "" {
		return "unit-1"
	}
	return p.Specimen
}

// sessionFindings judges what readings share: the weather and an inline rig; a stored one
// was judged when it was stored.
func (s *setup) sessionFindings(in *Input) []fieldtest.Finding {
	findings := []fieldtest.Finding{}
	for i := range s.shared.Doubts {
		findings = append(findings, findingOf(&s.shared.Doubts[i], "#/"))
	}
	if in.Session.Rig.ID == nil {
		for _, f := range Rig(&in.Rig) {
			f.Pointer = "#/rig/" + f.Pointer
			findings = append(findings, f)
		}
	}
	return findings
}

// panelDoubts judges inline nameplates, each once; stored ones were judged when they were
// stored.
func (s *setup) panelDoubts(in *Input) []PanelDoubts {
	var doubts []PanelDoubts
	seen := map[*fieldtest.PanelModel]bool{}
	for i, m := range in.Panels {
		if seen[m] || in.Session.Readings[i].Panel.Nameplate == nil {
			continue
		}
		seen[m] = true
		if findings := PanelModel(m, s.limits); len(findings) > 0 {
			doubts = append(doubts, PanelDoubts{Reading: i, Findings: findings})
		}
	}
	return doubts
}

// PanelModel judges a nameplate and the sizes beside it. Pointers are below the model.
func PanelModel(m *fieldtest.PanelModel, set limits.Settings) []fieldtest.Finding {
	var report limits.Report
	p := panelRated(m)
	limits.PanelModel(&set, &p.plate, &report)
	findings := make([]fieldtest.Finding, 0, len(report.Doubts))
	for i := range report.Doubts {
		findings = append(findings, findingOf(&report.Doubts[i], ""))
	}
	return findings
}

// Rig judges what a rig states of itself. Pointers are below the rig.
func Rig(r *fieldtest.Rig) []fieldtest.Finding {
	var report limits.Report
	limits.Rig(&limits.RigInput{CableLengthM: number(r.Cable.LengthM), CableMM2: number(r.Cable.CrossSectionMM2)}, &report)
	findings := make([]fieldtest.Finding, 0, len(report.Doubts))
	for i := range report.Doubts {
		findings = append(findings, findingOf(&report.Doubts[i], ""))
	}
	return findings
}

// judged puts one reading into the words of the answer.
func (s *setup) judged(r *reading, derive bool) Judged {
	j := Judged{Reason: r.reason, Findings: make([]fieldtest.Finding, 0, len(r.report.Doubts))}
	for i := range r.report.Doubts {
		j.Findings = append(j.Findings, findingOf(&r.report.Doubts[i], readingPointer(r.index)))
	}
	if r.reason == "" {
		j.Result = s.result(r)
		j.Reason = j.Result.RankableReason
	}
	if derive {
		j.Derivation = s.derivation(r)
	}
	return j
}

// result writes the result of a reading.
func (s *setup) result(r *reading) *fieldtest.Result {
	t := &r.total
	res := &fieldtest.Result{
		StcPowerW: r.value, StcPowerUW: t.Standard, StcPowerLoW: t.Lower, StcPowerHiW: t.Upper, Coverage: 0.95,
		Method: r.method, IrradianceOrigin: r.origin,
		Parts:        partsOf(t),
		EffectiveWM2: r.point.effectiveWM2(), CellC: r.point.cellC(), CellMethod: r.tempMethod,
		Retention: r.retention, Defaults: s.defaultsOf(r),
		GammaRelative: r.partShare(partGamma), LowLightRelative: r.partShare(partLowLight),
	}
	if share := r.shareOfRating(); isGiven(share) {
		res.ShareOfRating = &share
	}
	res.RankableReason = s.notRanked(r)
	res.Rankable = res.RankableReason == ""
	return res
}

// shareOfRating is the result over the rated power, missing for a covered panel and for a
// rating that nothing can be a share of.
func (r *reading) shareOfRating() float64 {
	share := r.value / r.rated.pmaxW
	if r.arrangement == fieldtest.Covered || math.IsInf(share, 0) {
		return missing
	}
	return share
}

// notRanked says why a result stays out of the rankings of tilted panels.
func (s *setup) notRanked(r *reading) string {
	switch {
	case r.origin == fieldtest.OriginMeasured && r.point.poaWM2 < leastRankableWM2,
		r.origin == fieldtest.OriginFromGHI && r.point.poaWM2 < leastRankableWM2:
		return irradianceLow
	case r.total.Relative() > uncertaintyCeiling:
		return tooUncertain
	}
	return ""
}

// rightedWeather names the values of the weather that look like another unit and were
// reckoned with in the right one.
func (s *setup) rightedWeather(r *reading) []string {
	sent := s.session.Weather.Over(s.session.Readings[r.index].Weather)
	var named []string
	note := func(name string, sent *float64, used float64, unit string) {
		if sent != nil && *sent != used {
			named = append(named, name+" "+short(used)+unit+" for the "+short(*sent)+" sent")
		}
	}
	note("air", sent.AirTemperatureC, r.airC, " C")
	note("wind", sent.WindSpeedMS, r.windMS, " m/s")
	return named
}

func short(x float64) string { return strconv.FormatFloat(x, 'g', 3, 64) }

// defaultsOf names what was taken in place of something not given.
func (s *setup) defaultsOf(r *reading) []string {
	named := append([]string{}, s.defaults...)
	add := func(missing bool, what string) {
		if missing {
			named = append(named, what)
		}
	}
	add(r.timeHalfMin > 0, "time of the reading: middle of the session")
	add(!r.rated.gammaStated, "temperature coefficient of power by technology")
	add(!isGiven(r.point.fixedC) && !isGiven(r.airC), "air 20 C")
	add(!isGiven(r.point.fixedC) && !isGiven(r.windMS), "wind 1.5 m/s")
	named = append(named, s.rightedWeather(r)...)
	add(r.sideOfRead == fieldtest.BatterySide && !s.rig.stated, "converter efficiency 96 %")
	add(s.session.Site.Ground == "" && s.session.Site.GroundAlbedo == nil && r.origin != fieldtest.OriginMeasured, "ground albedo 0.2")
	add(r.origin == fieldtest.OriginFromGHI, "beam and sky of the horizontal light by its clearness: little confidence")
	add(!isGiven(r.warmUpMin), "warm-up not stated")
	add(r.metered() && r.sensor == fieldtest.OtherSensor, "light meter of unknown class")
	add(r.sensor == fieldtest.Phone && (isGiven(r.poaWM2) || isGiven(r.ghiWM2)), "light of a phone not used")
	add(!r.planeKnown(), "plane of the panel unknown")
	add(r.point.rearWM2 > 0 && !r.rearKnown, "rear light by ground albedo")
	add(r.sideOfRead == fieldtest.UnknownSide || r.sideOfRead == "", "side of the power unknown: 0 to 5 % loss")
	add(r.rated.technology == fieldtest.UnknownTechnology, "cells of unknown technology")
	return named
}
