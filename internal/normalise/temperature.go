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
	heat := s.heatOf(r)
	best := celltemp.Best(heat)
	p.flat, p.fixedC, p.offsetK, r.flatSpreadK = r.arrangement == fieldtest.Flat, missing, 0, 0
	p.airC, p.windMS = r.airC, r.windMS
	if !isGiven(p.windMS) {
		p.windMS = celltemp.AssumedWindMS
	}
	r.tempMethod = string(best.Method)
	switch best.Method {
	case celltemp.ByBack:
		r.tempRow = r.backRow()
		p.fixedC, p.backStepK = r.backC, best.DeltaK
	case celltemp.ByVoc:
		r.tempRow = voltageRow(&r.thermometer, r.vocFrom == vocOfNameplate)
		p.fixedC, p.backStepK = best.CellC, 0
	default:
		s.rowOfAir(r, &best)
	}
	r.cellU = math.Sqrt(square(best.UK) + square(transientK(r.warmUpMin)))
}

// rowOfAir takes the temperature from the thermal model.
func (s *setup) rowOfAir(r *reading, best *celltemp.Estimate) {
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

// heatOf is what is known of the heat of a reading's panel.
func (s *setup) heatOf(r *reading) celltemp.Measured {
	m := celltemp.Measured{Arrangement: celltemp.Tilted, POAWM2: r.point.poaWM2}
	if r.arrangement == fieldtest.Flat {
		m.Arrangement = celltemp.Flat
	}
	if isGiven(r.backC) {
		row := r.backRow()
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

// backRow is the class of the sensor on the panel.
func (r *reading) backRow() budget.Temperature {
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
