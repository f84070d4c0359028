package normalise

import (
	"errors"
	"math"
	"slices"

	"evensun/internal/budget"
	"evensun/internal/diode"
	"evensun/internal/fieldtest"
	"evensun/internal/limits"
	"evensun/internal/stc"
)

// sweepFacts is what a current-voltage curve says of itself.
type sweepFacts struct {
	given                bool
	raw                  *fieldtest.Sweep
	kept                 stc.Sweep // raw without points that do not belong to the curve
	leftOut              int       // how many they are
	vocV, iscA           float64
	vmpV, impA, pmpW     float64
	uPmpW                float64
	seriesOhm            float64
	reachesShort, atOpen bool
	translated           stc.Point // maximum of the curve at standard test conditions
	pair                 sweepPair
}

// readSweep extracts what a sweep says of itself; one that cannot be read keeps its raw
// points for the rules and has no result.
func (s *setup) readSweep(r *reading, raw *fieldtest.Reading) {
	r.sweep = sweepFacts{}
	if r.kind != fieldtest.IVSweep || raw.Sweep == nil {
		return
	}
	r.sweep.raw = raw.Sweep
	points := make([]diode.Point, min(len(raw.Sweep.VoltageV), len(raw.Sweep.CurrentA)))
	for i := range points {
		points[i] = diode.Point{VoltageV: raw.Sweep.VoltageV[i], CurrentA: raw.Sweep.CurrentA[i]}
	}
	read, err := diode.ReadSweep(points)
	if err != nil {
		return
	}
	f := &r.sweep
	f.given = true
	f.vocV, f.iscA = read.OpenCircuitV.Value, read.ShortCircuitA.Value
	f.pmpW, f.uPmpW, f.vmpV = read.MaximumW.Value, read.MaximumW.U, read.MaximumV.Value
	f.impA = f.pmpW / f.vmpV
	f.leftOut = len(read.LeftOut)
	for i, p := range points {
		if _, out := slices.BinarySearch(read.LeftOut, i); !out {
			f.kept.VoltageV, f.kept.CurrentA = append(f.kept.VoltageV, p.VoltageV), append(f.kept.CurrentA, p.CurrentA)
		}
	}
	f.reachesShort, f.atOpen = f.kept.ReachesShort(), f.kept.ReachesOpen()
	if isGiven(r.rated.cells) {
		f.seriesOhm = read.SeriesOhm(r.rated.cells * diodeVoltPerCell).Value
	}
}

// diodeVoltPerCell is n k T/q of a cell at 45 C with ideality 1.1, V.
const diodeVoltPerCell = 1.1 * 0.02742

// powerOfSweep takes the maximum of a sweep as the power.
func (s *setup) powerOfSweep(r *reading) {
	if !r.sweep.given {
		r.without(sweepUnusable)
		return
	}
	r.point.indicatedW, r.product = r.sweep.pmpW, true
	r.power = s.rig.meter.OfProduct(r.sweep.vmpV, r.sweep.impA)
	r.power.Step = math.Hypot(r.power.Step, r.sweep.uPmpW/r.sweep.pmpW)
}

// whatTheSweepSays gives the rules the extremes of a sweep.
func (s *setup) whatTheSweepSays(r *reading, in *limits.ReadingInput) {
	if r.sweep.raw == nil {
		return
	}
	m := &s.rig.meter
	v, a, w := extremes(r.sweep.raw)
	in.VoltageV, in.CurrentA, in.PowerW = v, a, w
	in.UVoltageV, in.UCurrentA = meterU(v, m.RigVoltage, m.ReadingVoltage, m.StepV), meterU(a, m.RigCurrent, m.ReadingCurrent, m.StepA)
	in.UPowerW = w * math.Hypot(m.RigVoltage, m.RigCurrent)
	in.SweepCurrentA, in.USweepCurrentA = r.sweep.raw.CurrentA, a*m.ReadingCurrent
	if r.sweep.given {
		in.SweepVocV, in.SweepIscA = r.sweep.vocV, r.sweep.iscA
		in.UFillFactorOfSweep = 0.01
	}
}

func extremes(s *fieldtest.Sweep) (volts, amps, watts float64) {
	for i := range min(len(s.VoltageV), len(s.CurrentA)) {
		volts, amps = max(volts, s.VoltageV[i]), max(amps, s.CurrentA[i])
		watts = max(watts, s.VoltageV[i]*s.CurrentA[i])
	}
	return volts, amps, watts
}

// dataOf says what is known of a reading, for the table of methods.
func (s *setup) dataOf(r *reading) stc.Data {
	d := stc.Data{
		Power: r.point.indicatedW > 0, Point: isGiven(r.voltageV) && isGiven(r.currentA) || r.sweep.given,
		ShortEnd: r.sweep.reachesShort, OpenEnd: r.sweep.atOpen, Series: r.sweep.seriesOhm > 0,
		Voc: isGiven(r.rated.vocV), Alpha: isGiven(r.rated.alphaPerK), Beta: isGiven(r.rated.betaPerK),
		Technology: r.rated.technology,
	}
	if r.sweep.given {
		d.Sweeps, d.EnclosesSTC = 1+r.sweep.pair.others, r.sweep.pair.partner != nil
	}
	if isGiven(r.rated.cells) {
		d.CellsInSeries = int(limits.EffectiveCells(&s.limits, limits.Technology(r.rated.technology), r.rated.vocV, r.rated.cells))
	}
	return d
}

// chooseMethod applies the method that serves the data, or the one asked for by name.
// A method by name that the data do not allow is the caller's fault where the reading
// could have one at all.
func (s *setup) chooseMethod(r *reading, asked stc.Method) error {
	if r.reason != "" {
		return nil
	}
	data := s.dataOf(r)
	method := stc.Choose(data)
	if asked != stc.MethodNone {
		if err := stc.Check(asked, data); err != nil {
			return r.refused(asked, err)
		}
		method = asked
	}
	r.method = string(method)
	if method == stc.MethodSimple || method == stc.MethodNone {
		r.method = string(stc.MethodSimple)
		return nil
	}
	err := s.translateSweep(r, method, data)
	if err == nil {
		return nil
	}
	var refusal *stc.Refusal
	if asked != stc.MethodNone && errors.As(err, &refusal) {
		return err
	}
	r.method = string(stc.MethodSimple)
	return nil
}

// translateSweep carries the whole curve to standard test conditions and takes its
// maximum; the point's translation then stands for the curve's.
func (s *setup) translateSweep(r *reading, method stc.Method, data stc.Data) error {
	moved, err := s.movedSweep(r, method, data)
	if err != nil {
		return err
	}
	top, err := moved.Maximum()
	if err != nil {
		return err
	}
	r.sweep.translated = top
	if method == stc.MethodProcedure3 {
		r.shareNoise()
	}
	simple := r.point.stcW()
	atTerminals := top.PowerW() * r.point.terminalW() / r.point.indicatedW
	r.point.method = atTerminals/simple - 1
	r.value = r.point.stcW()
	return nil
}

// movedSweep is the curve at standard test conditions.
func (s *setup) movedSweep(r *reading, method stc.Method, data stc.Data) (stc.Sweep, error) {
	if method == stc.MethodProcedure3 {
		return r.betweenSweeps()
	}
	procedure, err := s.procedureOf(r, method, data)
	if err != nil {
		return stc.Sweep{}, err
	}
	return stc.TranslateSweep(r.curve(), stc.Standard(), procedure)
}

// procedureShare is the relative standard uncertainty of a curve procedure with the
// sweep's own series resistance: the spread of procedure 4 on measured sweeps and on a
// measured matrix is 0.6 and 0.7 %.
const procedureShare = 0.007

func (s *setup) procedureOf(r *reading, method stc.Method, data stc.Data) (stc.Procedure, error) {
	if method == stc.MethodProcedure4 {
		return stc.Procedure4{
			IscA: r.sweep.iscA, AlphaAPerK: r.rated.alphaPerK * r.rated.iscA, SeriesOhm: r.sweep.seriesOhm,
			CellsInSeries: data.CellsInSeries, Technology: data.Technology,
		}, nil
	}
	return nil, stc.Check(method, data)
}

// methodPart is the translation's own uncertainty.
func (r *reading) methodPart() float64 {
	switch stc.Method(r.method) {
	case stc.MethodSimple:
		return budget.MethodShare
	case stc.MethodProcedure3:
		return betweenShare
	}
	return procedureShare
}
