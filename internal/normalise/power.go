package normalise

import (
	"math"

	"evensun/internal/budget"
	"evensun/internal/fieldtest"
	"evensun/internal/stc"
)

// findPower goes from what the meter showed to the power at the panel's terminals.
func (s *setup) findPower(r *reading) {
	p := &r.point
	p.gain, p.flicker, p.rear, p.efficacy, p.method = 0, 0, 0, 0, 0
	p.converter, p.selfW, p.side, p.cableLoss, p.cableOhm, p.currentA = 1, 0, 1, 0, 0, 0
	s.choosePower(r)
	s.chooseSide(r)
	s.chooseTracker(r)
	s.chooseCable(r)
	p.gammaPerK = r.rated.gammaPerK
	if !isGiven(p.gammaPerK) {
		p.gammaPerK = stc.ClassGamma(r.rated.technology)
	}
	if r.method == "" {
		r.method = string(stc.MethodSimple)
	}
}

// choosePower takes the power shown, else V times I. With all three the power counts
// and V I only checks it, unless the display of the power is coarse.
func (s *setup) choosePower(r *reading) {
	p, m := &r.point, &s.rig.meter
	if r.kind == fieldtest.IVSweep {
		s.powerOfSweep(r)
		return
	}
	if r.kind != fieldtest.OperatingPoint {
		r.without(noPower)
		return
	}
	vi := isGiven(r.voltageV) && isGiven(r.currentA)
	coarse := isGiven(r.powerW) && m.StepW/(2*math.Sqrt(3)) > coarseShare*r.powerW
	switch {
	case isGiven(r.powerW) && !(vi && coarse && r.side == fieldtest.PanelSide):
		p.indicatedW, r.product = r.powerW, false
		r.power = s.shownPower(r)
	case vi:
		p.indicatedW, r.product = r.voltageV*r.currentA, true
		r.power = m.OfProduct(r.voltageV, r.currentA)
	default:
		r.without(noPower)
		return
	}
	if p.indicatedW <= 0 {
		r.without(noPower)
	}
}

// shownPower is how sure a power is: shown by the meter, or a product of two values
// that the tester made.
func (s *setup) shownPower(r *reading) budget.PowerShares {
	m := &s.rig.meter
	switch {
	case r.batteryProduct:
		return m.OfProduct(r.batteryV, r.batteryA)
	case m.StepW == 0 && m.RigPower == 0 && isGiven(r.voltageV) && isGiven(r.currentA): // a clamp shows no power of its own
		return m.OfProduct(r.voltageV, r.currentA)
	}
	return m.OfPower(r.powerW)
}

// coarseShare is the relative uncertainty of a display step above which a power is
// taken from V and I instead (rule resolution_coarse).
const coarseShare = 0.01

// chooseSide undoes the converter between the panel and a battery-side meter.
func (s *setup) chooseSide(r *reading) {
	p := &r.point
	r.sideOfRead = r.side
	if r.product { // voltage and current are panel-side
		r.sideOfRead = fieldtest.PanelSide
	}
	switch r.sideOfRead {
	case fieldtest.BatterySide:
		p.converter, p.selfW = s.rig.converter, stc.ConverterSelfW
	case fieldtest.UnknownSide, "":
		p.side = stc.SideUnknownFactor
	}
}

// chooseTracker says which share of the maximum the rig finds, and which rigs find
// no maximum at all.
func (s *setup) chooseTracker(r *reading) {
	r.point.tracker = 1
	tracking := s.tracking(r)
	if !tracking.Maximum {
		r.without(notATracker)
		return
	}
	r.point.tracker = tracking.Factor
}

// tracking is what the rig finds of the maximum; a whole curve shows it.
func (s *setup) tracking(r *reading) stc.Tracking {
	if r.kind == fieldtest.IVSweep {
		return stc.Tracking{Factor: 1, Maximum: true}
	}
	return stc.TrackingOf(s.rig.kind)
}

// chooseCable adds what the cable between panel and meter takes.
func (s *setup) chooseCable(r *reading) {
	p := &r.point
	if !s.rig.cableKnown {
		p.cableLoss = stc.CableUnstated
		return
	}
	p.cableOhm = s.rig.cableOhm
	if p.cableOhm == 0 {
		return
	}
	p.currentA = r.currentA
	if r.kind == fieldtest.IVSweep {
		p.currentA = r.sweep.impA
	}
	if isGiven(p.currentA) {
		return
	}
	vmp := r.rated.vmpV
	if !isGiven(vmp) && isGiven(r.rated.vocV) {
		vmp = stc.VmpFromVoc(r.rated.vocV)
	}
	if !isGiven(vmp) {
		p.currentA, p.cableOhm, p.cableLoss = 0, 0, stc.CableUnstated
		return
	}
	p.currentA = stc.CurrentFromPower(p.panelW(), vmp, p.cellC(), vmpSlope(r.rated))
}

// vmpSlope is the relative temperature coefficient of the voltage at maximum power.
func vmpSlope(n *rated) float64 {
	beta := n.betaPerK
	if !isGiven(beta) {
		beta = usualBetaPerK
	}
	return stc.VmpSlope(beta)
}

// usualBetaPerK is the median of 36139 listed modules (measured set).
const usualBetaPerK = -0.0032
