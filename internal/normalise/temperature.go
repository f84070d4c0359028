package normalise

import (
	"math"

	"evensun/internal/budget"
	"evensun/internal/celltemp"
	"evensun/internal/fieldtest"
)

// findTemperature takes the surest evidence for the cells' temperature (celltemp.Best)
// and gives the budget the row of its class.
func (s *setup) findTemperature(r *reading) {
	p := &r.point
	row := r.backRow()
	best := celltemp.Best(r.heat(row))
	p.flat, p.fixedC, p.offsetK, r.flatSpreadK = r.arrangement == fieldtest.Flat, missing, 0, 0
	p.airC, p.windMS = r.airC, r.windMS
	if !isGiven(p.windMS) {
		p.windMS = celltemp.AssumedWindMS
	}
	r.tempMethod = string(best.Method)
	switch best.Method {
	case celltemp.ByBack:
		r.tempRow = row
		p.fixedC, p.backStepK = r.backC, best.DeltaK
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
	p, source := &r.point, "air"
	if best.AirAssumed {
		source, p.airC = "", best.AirC
	}
	r.tempRow = budget.TemperatureOf(source, p.flat)
	p.backStepK = celltemp.OpenRackPolymer().DeltaK // the model's own step, also on the ground, where half of it counts
	switch {
	case p.flat && best.AirAssumed:
		r.flatSpreadK = celltemp.FlatBounds(p.poaWM2, p.airC, p.windMS).UK()
	case p.flat:
		r.flatSpreadK = best.ModelUK
	}
}

// heat is what is known of the heat of a reading's panel; row is the class of the sensor
// on it.
func (r *reading) heat(row budget.Temperature) celltemp.Measured {
	m := celltemp.Measured{Arrangement: celltemp.Tilted, POAWM2: r.point.poaWM2}
	if r.arrangement == fieldtest.Flat {
		m.Arrangement = celltemp.Flat
	}
	if isGiven(r.backC) {
		m.BackC, m.BackUK = &r.backC, math.Sqrt(square(row.RigK)+square(row.SessionK)+square(row.ReadingK))
		m.Step = celltemp.Step{DeltaK: row.BackToCellK, HalfWidthK: max(row.BackToCellHalfK, sqrt3*row.BackToCellNormalK)}
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

// backRow is the class of the sensor on the panel, if there is one.
func (r *reading) backRow() budget.Temperature {
	if !isGiven(r.backC) {
		return budget.Temperature{}
	}
	return budget.TemperatureOf(string(r.backSensor), r.arrangement == fieldtest.Flat)
}

// voltageRow is the class of an open-circuit voltage: the nameplate's error belongs to
// the panel model, that of a calibration in the session to the session.
func voltageRow(th *celltemp.Thermometer, nameplate bool) budget.Temperature {
	row := budget.TemperatureOf("open_circuit_voltage", false)
	if nameplate {
		row.ModelK = math.Hypot(row.ModelK, th.UK)
	} else {
		row.SessionK = th.UK
	}
	return row
}

// windU is the standard uncertainty of the wind, m/s.
func (s *setup) windU(r *reading) float64 {
	if isGiven(r.windMS) {
		return budget.WindMeasuredMS
	}
	return budget.WindAssumedMS / math.Sqrt(3)
}

// transientK is what a warm-up too short or not stated, or a back that still warms or
// cools, adds in K.
func (r *reading) transientK() float64 {
	switch {
	case r.warmUpMin < celltemp.WarmUpEnough.Minutes(), celltemp.DriftUK(r.backRate) > 0:
		return budget.TransientK
	case !isGiven(r.warmUpMin):
		return budget.TransientUnstatedK
	}
	return 0
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
	row := r.backRow()
	change := r.backC - before.backC
	sure := max(0, math.Abs(change)-2*math.Sqrt2*row.ReadingK)
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
