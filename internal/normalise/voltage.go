package normalise

import (
	"math"

	"evensun/internal/celltemp"
	"evensun/internal/fieldtest"
)

// voltageMinutes is how far apart an open-circuit reading may serve as thermometer.
const voltageMinutes = 10

// usualLightPerFold is d of Voc against light: 0.03 to 0.07 (physics of the diode with
// ideality 1 to 1.5).
const usualLightPerFold = 0.045

// vocOfNameplate says that a thermometer stands on the nameplate; one that a reading of
// the session calibrated has that reading's label.
const vocOfNameplate = "nameplate"

// lendVoltages makes every panel its own thermometer where the session allows it: an
// operating point gets the nearest open-circuit voltage of the same unit, read within
// minutes as it lay, a sweep its own. What the voltage is compared with is the same
// unit's voltage at a temperature that a sensor read, else the nameplate's. The light of
// all readings must be known.
func (s *setup) lendVoltages(readings []reading) {
	var open []*reading
	for i := range readings {
		if r := &readings[i]; isGiven(r.ownOpenV()) {
			open = append(open, r)
		}
	}
	for i := range readings {
		r := &readings[i]
		r.openV, r.openWM2 = missing, 0
		wants := r.kind == fieldtest.OperatingPoint || r.kind == fieldtest.IVSweep
		if len(open) > 0 && wants && isGiven(r.rated.betaPerK) {
			s.lendVoltage(r, open)
		}
	}
}

func (s *setup) lendVoltage(r *reading, open []*reading) {
	lender := r.nearest(open)
	if lender == nil {
		return
	}
	r.thermometer, r.vocFrom = s.thermometerOf(r, open)
	circular := lender == r && r.vocFrom == vocOfNameplate // no voltage too high would show: it would pass for cold cells
	if r.vocFrom == "" || circular {
		return
	}
	r.openV, r.openWM2 = lender.ownOpenV(), lender.point.poaWM2
}

// ownOpenV is the open-circuit voltage that a reading is, or reaches; a covered panel
// tells its shade, not its heat.
func (r *reading) ownOpenV() float64 {
	switch {
	case r.arrangement == fieldtest.Covered:
	case r.kind == fieldtest.OpenCircuit:
		return r.voltageV
	case r.kind == fieldtest.IVSweep && r.sweep.given && r.sweep.atOpen:
		return r.sweep.vocV
	}
	return missing
}

// nearest is the open-circuit voltage of the same unit that was read nearest in time.
func (r *reading) nearest(open []*reading) *reading {
	var nearest *reading
	least := float64(voltageMinutes)
	for _, o := range open {
		if !r.sameUnit(o) || o.arrangement != r.arrangement {
			continue
		}
		if apart := math.Abs(o.takenAt.Sub(r.takenAt).Minutes()); apart < least || apart == least && nearest == nil {
			nearest, least = o, apart
		}
	}
	return nearest
}

func (r *reading) sameUnit(o *reading) bool { return r.rated == o.rated && r.specimen == o.specimen }

// thermometerOf is the surest thermometer of a reading's unit and what it stands on,
// empty where there is none.
func (s *setup) thermometerOf(r *reading, open []*reading) (celltemp.Thermometer, string) {
	best, from := celltemp.Thermometer{}, ""
	if isGiven(r.rated.vocV) {
		best, from = celltemp.Nameplate(r.rated.vocV, r.rated.betaPerK, usualLightPerFold), vocOfNameplate
	}
	for _, o := range open {
		if o == r || !r.sameUnit(o) || !isGiven(o.backC) || !(o.point.poaWM2 > 0) {
			continue // a sweep's own sensor stands for itself already
		}
		th := o.asThermometer()
		if from == "" || th.UK < best.UK {
			best, from = th, "reading "+labelOf(&s.session.Readings[o.index], o.index)
		}
	}
	return best, from
}

// asThermometer is the thermometer that an open-circuit voltage with a sensor on the back
// makes of its panel.
func (o *reading) asThermometer() celltemp.Thermometer {
	heat := o.heat()
	heat.OpenV, heat.AirC = nil, nil
	at := celltemp.Best(heat)
	u := math.Hypot(at.UK, o.transientK())
	return celltemp.Calibrated(o.ownOpenV(), o.point.poaWM2, at.CellC, u, o.rated.betaPerK, usualLightPerFold)
}
