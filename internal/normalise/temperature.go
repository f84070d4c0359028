package normalise

import (
	"math"

	"evensun/internal/budget"
	"evensun/internal/celltemp"
	"evensun/internal/fieldtest"
)

// nameplateVocU is the relative standard uncertainty of using a nameplate's
// open-circuit voltage for the unit at hand when its voltage serves as thermometer
// (common practice, no source: real units scatter by 1 to 2 %).
const nameplateVocU = 0.015

// findTemperature chooses the best evidence for the cells' temperature: a sensor on
// the back, else a thermal model fed with the air; without air temperature the panel's
// own open-circuit voltage, else air of 20 C.
func (s *setup) findTemperature(r *reading) {
	p := &r.point
	p.flat, p.fixedC, p.offsetK = r.arrangement == fieldtest.Flat, missing, 0
	p.airC, p.windMS = r.airC, r.windMS
	if !isGiven(p.windMS) {
		p.windMS = celltemp.AssumedWindMS
	}
	source := "air"
	switch {
	case isGiven(r.backC):
		r.tempMethod, source = string(celltemp.ByBack), string(r.backSensor)
		p.fixedC = r.backC
	case isGiven(r.airC):
		r.tempMethod = thermalModel(p.flat)
	case isGiven(r.openV) && isGiven(r.rated.vocV) && isGiven(r.rated.betaPerK) && p.poaWM2 > 0:
		r.tempMethod, source = string(celltemp.ByVoc), "open_circuit_voltage"
		p.fixedC = celltemp.FromVoc(r.openV, p.poaWM2, thermometerOf(r.rated))
	default:
		r.tempMethod, source = thermalModel(p.flat), ""
		p.airC = celltemp.AssumedAirC
	}
	r.tempRow = budget.TemperatureOf(source, p.flat)
	p.backStepK = r.tempRow.BackToCellK
	if !isGiven(p.fixedC) { // the model's own step, also on the ground, where half of it counts
		p.backStepK = celltemp.OpenRackPolymer().DeltaK
	}
	if source == "open_circuit_voltage" {
		p.backStepK = 0
		r.tempRow.ModelK = math.Hypot(r.tempRow.ModelK, nameplateVocU/math.Abs(r.rated.betaPerK))
	}
	r.flatSpreadK = 0
	if p.flat && !isGiven(p.fixedC) {
		bounds := celltemp.FlatBounds(p.poaWM2, p.airC, p.windMS)
		r.flatSpreadK = bounds.UK()
	}
	r.cellU = s.cellUncertainty(r)
}

func thermalModel(flat bool) string {
	if flat {
		return string(celltemp.ByKingFlat)
	}
	return string(celltemp.ByKing)
}

// thermometerOf makes a thermometer of a nameplate. Its rise with light is that of
// a usual crystalline panel.
func thermometerOf(n *rated) celltemp.Thermometer {
	return celltemp.Thermometer{VocSTCV: n.vocV, BetaPerK: n.betaPerK, D: usualLightPerFold}
}

// usualLightPerFold is d of Voc against light: 0.03 to 0.07 (physics of the diode with
// ideality 1 to 1.5).
const usualLightPerFold = 0.045

// cellUncertainty is the standard uncertainty of the cell temperature in K, with the
// air's and the wind's part; the budget takes the parts apart.
func (s *setup) cellUncertainty(r *reading) float64 {
	row, step := &r.tempRow, r.point.poaWM2/1000
	sum := square(row.RigK) + square(row.SessionK) + square(row.ReadingK) + square(row.ModelK) + square(row.CommonK) +
		square(row.BackToCellHalfK/math.Sqrt(3)*step) + square(row.BackToCellNormalK*step) +
		square(transientK(r.warmUpMin)) + square(r.flatSpreadK)
	if !isGiven(r.point.fixedC) {
		sum += square(budget.AirK) + square(s.windU(r)*r.point.poaWM2*0.075*r.point.rise())
	}
	return math.Sqrt(sum)
}

// windU is the standard uncertainty of the wind, m/s.
func (s *setup) windU(r *reading) float64 {
	if isGiven(r.windMS) {
		return budget.WindMeasuredMS
	}
	return budget.WindAssumedMS / math.Sqrt(3)
}

// transientK is what a warm-up too short, or not stated, adds in K.
func transientK(warmUpMin float64) float64 {
	switch {
	case !isGiven(warmUpMin):
		return budget.TransientUnstatedK
	case warmUpMin < celltemp.WarmUpEnough.Minutes():
		return budget.TransientK
	}
	return 0
}

func square(x float64) float64 { return x * x }
