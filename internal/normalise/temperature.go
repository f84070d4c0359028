package normalise

import (
	"math"

	"evensun/internal/celltemp"
	"evensun/internal/fieldtest"
)

// findTemperature takes the surest evidence for the cells' temperature (celltemp.Best)
// and gives the budget what its kind is worth.
func (s *setup) findTemperature(r *reading) {
	p := &r.point
	best := celltemp.Best(r.heat())
	p.flat, p.fixedC, p.offsetK, r.flatSpreadK, r.stepU = r.arrangement == fieldtest.Flat, missing, 0, 0, 0
	p.airC, p.windMS = r.airC, r.windMS
	if !isGiven(p.windMS) {
		p.windMS = celltemp.AssumedWindMS
	}
	r.tempMethod = string(best.Method)
	switch best.Method {
	case celltemp.ByBack:
		r.tempRow = celltemp.OfSensor(r.backSensor)
		p.fixedC, p.backStepK = r.backC, best.DeltaK
		r.stepU = celltemp.StepOf(r.backSensor, r.arrangement).HalfWidthK / sqrt3
	case celltemp.ByVoc:
		r.tempRow = voltageRow(&r.thermometer, r.vocFrom == vocOfNameplate)
		p.fixedC, p.backStepK = best.CellC, 0
	default:
		r.rowOfAir(&best)
	}
	r.cellU = math.Sqrt(square(best.UK) + square(r.transientK()))
}

// rowOfAir takes the temperature from the thermal model.
func (r *reading) rowOfAir(best *celltemp.Estimate) {
	p := &r.point
	r.tempRow = celltemp.OfKing(r.arrangement)
	if best.AirAssumed {
		r.tempRow, p.airC = celltemp.OfAssumedAir(), best.AirC
	}
	p.backStepK = celltemp.OpenRackPolymer().DeltaK // the model's own step, also on the ground, where half of it counts
	switch {
	case p.flat && best.AirAssumed:
		r.flatSpreadK = celltemp.FlatBounds(p.poaWM2, p.airC, p.windMS).UK()
	case p.flat:
		r.flatSpreadK = best.ModelUK
	}
}

// heat is what is known of the heat of a reading's panel.
func (r *reading) heat() celltemp.Measured {
	m := celltemp.Measured{Arrangement: r.arrangement, Sensor: r.backSensor, POAWM2: r.point.poaWM2}
	if isGiven(r.backC) {
		m.BackC = &r.backC
	}
	if isGiven(r.openV) {
		m.OpenV, m.OpenPOAWM2, m.Thermometer = &r.openV, r.openWM2, &r.thermometer
	}
	if isGiven(r.airC) {
		m.AirC = &r.airC
	}
	if isGiven(r.windMS) {
		m.WindMS = &r.windMS
	}
	return m
}

// voltageRow is what an open-circuit voltage is worth: the nameplate's error belongs to
// the panel model, that of a calibration in the session to the session.
func voltageRow(th *celltemp.Thermometer, nameplate bool) celltemp.Shares {
	row := celltemp.OfOpenCircuit()
	if nameplate {
		row.ModelK = math.Hypot(row.ModelK, th.UK)
	} else {
		row.SessionK = th.UK
	}
	return row
}

// transientK is what a warm-up too short or not stated, or a back that still warms or
// cools, adds in K.
func (r *reading) transientK() float64 {
	return celltemp.TransientUK(pointerTo(&r.warmUpMin), pointerTo(&r.backRate))
}

// pointerTo is nil for a number that is missing.
func pointerTo(x *float64) *float64 {
	if isGiven(*x) {
		return x
	}
	return nil
}

// rateMinutes is how far apart two temperatures of a back may tell its rate.
const rateMinutes = 10

// findRates asks of every two successive temperatures of the back of a unit how fast it
// surely changed, K/min: what two readings differ by chance, at two standard deviations,
// is taken off.
func findRates(readings []reading) {
	for i := range readings {
		r := &readings[i]
		r.backRate = missing
		for j := i - 1; isGiven(r.backC) && j >= 0; j-- {
			before := &readings[j]
			alike := before.arrangement == r.arrangement && before.backSensor == r.backSensor
			if !isGiven(before.backC) || !alike || !r.sameUnit(before) {
				continue
			}
			if rate := rateBetween(before, r); isGiven(rate) {
				r.backRate = rate
				before.backRate = fasterOf(before.backRate, rate)
			}
			break
		}
	}
}

// rateBetween is the sure part of the change from one reading to the next, K/min.
func rateBetween(before, r *reading) float64 {
	apart := r.takenAt.Sub(before.takenAt).Minutes()
	if !(apart > 0) || apart > rateMinutes {
		return missing
	}
	change := r.backC - before.backC
	sure := max(0, math.Abs(change)-2*math.Sqrt2*celltemp.OfSensor(r.backSensor).ReadingK)
	return math.Copysign(sure/apart, change)
}

// fasterOf is the rate of the larger size; one may be missing.
func fasterOf(a, b float64) float64 {
	if math.Abs(a) > math.Abs(b) {
		return a
	}
	return b
}

func square(x float64) float64 { return x * x }
