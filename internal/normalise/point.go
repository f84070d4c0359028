package normalise

import (
	"evensun/internal/celltemp"
	"evensun/internal/sky"
	"evensun/internal/stc"
)

// point is everything that a reading's power at standard test conditions is a
// function of, one number an input. The budget moves one number at a time and
// evaluates again, so the function is written to be cheap: no sun, no sky.
//
// Relative errors stand beside the values they belong to and are 0 in the estimate.
type point struct {
	// Power, from the meter to the panel's terminals.
	indicatedW float64 // what the meter showed
	gain       float64 // relative error of the meter, shared by its readings
	flicker    float64 // relative error of this reading
	converter  float64 // efficiency between panel and meter, 1 on the panel side
	selfW      float64 // the converter's own use, W
	side       float64 // factor for an unknown side, 1 otherwise
	cableLoss  float64 // share of the power lost in a cable that is not described
	currentA   float64 // through the cable
	cableOhm   float64 // of a described cable
	tracker    float64 // share of the maximum that a tracker finds

	// Light.
	poaWM2      float64 // plane of array, for heating
	frontWM2    float64 // effective on the front
	rearWM2     float64 // on the rear
	bifaciality float64 // rear over front short-circuit current
	light       float64 // relative error of both
	optics      float64 // relative error of the effective irradiance alone
	rear        float64 // relative error of the rear part

	// Cell temperature: base + poa * (rise by wind + step/1000).
	fixedC    float64 // back sensor or voltage; NaN: the thermal model below
	airC      float64
	windMS    float64
	flat      bool
	backStepK float64 // cell above back at 1000 W/m2
	offsetK   float64 // error of the temperature

	// Translation.
	gammaPerK float64
	efficacy  float64 // error of the low-light efficiency
	method    float64 // relative error of the translation

	// Last values of the costly functions: most errors leave both where they are.
	logLight, openRise, insulatedRise memo
}

// A memo is the last value of a function of one number.
type memo struct {
	at, value float64
	known     bool
}

// of returns f(x), which must be the same f each time.
func (m *memo) of(x float64, f func(float64) float64) float64 {
	if !m.known || m.at != x {
		m.at, m.value, m.known = x, f(x), true
	}
	return m.value
}

// panelW is the power at the panel's end of the converter.
func (p *point) panelW() float64 {
	return stc.FromBattery(p.indicatedW*(1+p.gain)*(1+p.flicker), p.converter, p.selfW) * p.side
}

// terminalW is the power at the panel's terminals.
func (p *point) terminalW() float64 {
	return stc.AtTerminals(p.panelW()*(1+p.cableLoss), p.currentA, p.cableOhm)
}

// litWM2 is the plane-of-array irradiance with its error.
func (p *point) litWM2() float64 { return p.poaWM2 * (1 + p.light) }

// effectiveWM2 is what the cells make current of.
func (p *point) effectiveWM2() float64 {
	return sky.EquivalentIrradiance(p.frontWM2*(1+p.light)*(1+p.optics), p.rearWM2, p.bifaciality*(1+p.rear))
}

// moduleC is the temperature of the back.
func (p *point) moduleC() float64 {
	if isGiven(p.fixedC) {
		return p.fixedC
	}
	return p.airC + p.litWM2()*p.rise()
}

// rise is kelvin of the back above the air for one W/m2.
func (p *point) rise() float64 {
	open := p.openRise.of(p.windMS, riseOpen)
	if !p.flat {
		return open
	}
	return (open + p.insulatedRise.of(p.windMS, riseInsulated)) / 2
}

func riseOpen(windMS float64) float64 {
	m := celltemp.OpenRackPolymer()
	return m.RiseKPerWM2(windMS)
}

func riseInsulated(windMS float64) float64 {
	m := celltemp.InsulatedPolymer()
	return m.RiseKPerWM2(windMS)
}

// cellC is the temperature of the cells. On the ground the step from back to cell is
// the mean of the two bounds', of which the insulated one has none.
func (p *point) cellC() float64 {
	step := p.backStepK
	if p.flat && !isGiven(p.fixedC) {
		step /= 2
	}
	return celltemp.FromBack(p.moduleC(), p.litWM2(), step) + p.offsetK
}

// relativeEfficiency is e(G) with its error.
func (p *point) relativeEfficiency() float64 {
	l := p.logLight.of(p.effectiveWM2(), stc.LogSuns)
	return stc.DefaultLowLight().AtLogarithm(l) + p.efficacy
}

// beforeTrackerW is the power at standard test conditions of what was read.
func (p *point) beforeTrackerW() float64 {
	at := stc.Conditions{PoaWM2: p.effectiveWM2(), CellC: p.cellC()}
	return stc.SimplePower(p.terminalW(), at, p.gammaPerK, p.relativeEfficiency()) * (1 + p.method)
}

// stcW is the power at standard test conditions:
//
//	P_stc = P_term/m * 1000/G_eff / ((1 + gamma (Tc - 25)) e(G_eff))
//
// with the term for the tracker m.
func (p *point) stcW() float64 { return p.beforeTrackerW() / p.tracker }
