package celltemp

import (
	"math"

	"evensun/internal/fieldtest"
)

// A Method names the evidence behind a cell temperature.
type Method string

// The methods, best first.
const (
	ByBack     Method = "back_temperature"
	ByVoc      Method = "from_voc"
	ByKing     Method = "king_open_rack_polymer"
	ByKingFlat Method = "king_mean_flat"
)

// Values taken where nothing was measured (common practice).
const (
	AssumedAirC   = 20.0
	AssumedWindMS = 1.5
)

// clearlyBetter is how much smaller the uncertainty of a method must be to be taken
// before one that stands higher in the order of preference: these uncertainties are
// known to a quarter at best, and less than a tenth between two is a tie (common
// practice, no source).
const clearlyBetter = 0.9

// Measured is what a tester knows of a panel's heat; nil is not measured.
type Measured struct {
	Arrangement fieldtest.Arrangement // flat: no air behind; all else tilted
	POAWM2      float64
	BackC       *float64
	Sensor      fieldtest.BackSensor // of BackC; empty: a thermocouple
	OpenV       *float64             // open-circuit voltage just before or after
	OpenPOAWM2  float64              // irradiance when that was read; 0: POAWM2
	Thermometer *Thermometer         // of the panel, for OpenV
	AirC        *float64
	WindMS      *float64
}

// An Estimate is a cell temperature with how it was come by. ModuleC is NaN where a
// method has none. AirC and WindMS are what was used, NaN where they were not.
type Estimate struct {
	Method      Method
	CellC       float64
	ModuleC     float64
	UK          float64 // standard uncertainty with that of its inputs, steady panel; NaN: no such evidence
	ModelUK     float64 // of the method alone, without its inputs
	DeltaK      float64 // cell above back at 1000 W/m2 that was used, 0 where none was
	AirC        float64
	WindMS      float64
	AirAssumed  bool
	WindAssumed bool
}

// A Step is how far cells are above the back at 1000 W/m2, and the half width of that.
type Step struct{ DeltaK, HalfWidthK float64 }

// StepOf returns the step from a sensor on a folding panel to its cells, K: from the back
// 3 +- 2 K with air behind, 1 +- 1 K flat, rectangular; a sensor that sees the front has
// a standard deviation of 1 K, +- 1.7 K.
//
// Error: the half-width is the statement.
//
// Source: common practice, no source: fabric and foam
// insulate more than the thin sheet of King's modules, 3 K; the ground takes the rear's
// heat less.
func StepOf(sensor fieldtest.BackSensor, a fieldtest.Arrangement) Step {
	step := Step{DeltaK: 3, HalfWidthK: 2}
	if a == fieldtest.Flat {
		step = Step{DeltaK: 1, HalfWidthK: 1}
	}
	if sensor == fieldtest.InfraredFront {
		step.HalfWidthK = math.Sqrt(3)
	}
	return step
}

// UK returns the standard uncertainty of the step in K at an irradiance of poaWM2
// (0 to 1500 W/m2).
//
// Error: exact. Source: JCGM 100:2008, 4.3.7.
func (s Step) UK(poaWM2 float64) float64 { return s.HalfWidthK / math.Sqrt(3) * poaWM2 / 1000 }

// Best returns the cell temperature by the evidence with the smallest standard
// uncertainty: a sensor on the back, the panel's open-circuit voltage, or King's model
// with the air (flat panels: the middle of its bounds; no air: 20 C). That is also the
// order of preference, which decides where two differ by less than a tenth.
//
// Error: UK of the estimate, for a panel that is steady (else TransientUK on top). It
// is about 2 K for a thermocouple, 2 K for the voltage of a panel whose Voc is known,
// 5 to 6 K where that stands on a nameplate, 4.5 K for the model on a kickstand, 9 K
// flat in full sun, and 12 K where the air is not known (common practice).
//
// Source: as the functions it calls.
func Best(m Measured) Estimate {
	best := byBack(&m)
	if m.OpenV != nil {
		next := byVoltage(&m)
		best.replaceIfSurer(&next)
	}
	if best.UK*clearlyBetter <= leastModelUK && m.Arrangement != fieldtest.Flat {
		return best // whatever the air, it cannot be surer
	}
	next := byAir(&m)
	best.replaceIfSurer(&next)
	return best
}

// leastModelUK is what the model on a kickstand is worth in a gale: its own and the air's.
const leastModelUK = 4.15

// replaceIfSurer puts the next estimate in the order of preference in the place of e where e is
// missing or the next clearly better.
func (e *Estimate) replaceIfSurer(next *Estimate) {
	if math.IsNaN(e.UK) || next.UK < clearlyBetter*e.UK {
		*e = *next
	}
}

// Candidates returns what every kind of evidence says, in the order of preference:
// sensor, voltage, air. UK is NaN where that evidence is missing; the last never is.
//
// Temperatures are in C, uncertainties in K.
//
// Error: UK of each. Source: as FromVoc, King and StepOf.
func Candidates(m Measured) [3]Estimate {
	return [3]Estimate{byBack(&m), byVoltage(&m), byAir(&m)}
}

func byBack(m *Measured) Estimate {
	if m.BackC == nil {
		return absent(ByBack)
	}
	step, sensorUK := StepOf(m.Sensor, m.Arrangement), OfSensor(m.Sensor).UK()
	stepUK := step.UK(m.POAWM2)
	return Estimate{
		Method: ByBack, ModuleC: *m.BackC, CellC: FromBack(*m.BackC, m.POAWM2, step.DeltaK), DeltaK: step.DeltaK,
		ModelUK: stepUK, UK: math.Sqrt(sensorUK*sensorUK + stepUK*stepUK), AirC: math.NaN(), WindMS: math.NaN(),
	}
}

// absent is a method without evidence.
func absent(by Method) Estimate {
	nan := math.NaN()
	return Estimate{Method: by, CellC: nan, ModuleC: nan, UK: nan, ModelUK: nan, AirC: nan, WindMS: nan}
}

func byVoltage(m *Measured) Estimate {
	e := absent(ByVoc)
	light := m.OpenPOAWM2
	if light == 0 {
		light = m.POAWM2
	}
	if m.OpenV == nil || m.Thermometer == nil || !(light > 0) {
		return e
	}
	e.CellC, e.ModelUK = FromVoc(*m.OpenV, light, *m.Thermometer), OfOpenCircuit().ModelK
	e.UK = math.Hypot(OfOpenCircuit().UK(), m.Thermometer.UK)
	return e
}

func byAir(m *Measured) Estimate {
	e := Estimate{AirC: AssumedAirC, WindMS: AssumedWindMS, AirAssumed: m.AirC == nil, WindAssumed: m.WindMS == nil}
	if !e.AirAssumed {
		e.AirC = *m.AirC
	}
	if !e.WindAssumed {
		e.WindMS = *m.WindMS
	}
	var perMS float64
	if m.Arrangement == fieldtest.Flat {
		perMS = e.lie(m.POAWM2)
	} else {
		perMS = e.stand(m.POAWM2)
	}
	if e.AirAssumed {
		if m.Arrangement != fieldtest.Flat {
			e.ModelUK = 0 // what an unknown air is worth holds the model's own
		}
		e.ModelUK = math.Hypot(e.ModelUK, OfAssumedAir().UK())
		e.UK = e.ModelUK
		return e
	}
	windU := WindU(!e.WindAssumed)
	e.UK = math.Sqrt(e.ModelUK*e.ModelUK + AirUK*AirUK + perMS*perMS*windU*windU)
	return e
}

// stand fills an estimate for a panel with air behind it and returns what 1 m/s more of
// wind does, K.
func (e *Estimate) stand(poaWM2 float64) float64 {
	mounting := OpenRackPolymer()
	t := King(poaWM2, e.AirC, e.WindMS, mounting)
	e.Method, e.CellC, e.ModuleC, e.DeltaK = ByKing, t.CellC, t.ModuleC, mounting.DeltaK
	e.ModelUK = OfKing(fieldtest.Tilted).UK()
	return mounting.BPerMS * (t.ModuleC - e.AirC)
}

// lie is stand for a panel on the ground.
func (e *Estimate) lie(poaWM2 float64) float64 {
	open, hot, bounds := OpenRackPolymer(), InsulatedPolymer(), FlatBounds(poaWM2, e.AirC, e.WindMS)
	e.Method, e.CellC, e.ModuleC, e.DeltaK, e.ModelUK = ByKingFlat, bounds.MiddleC(), math.NaN(), 0, bounds.UK()
	cool := bounds.CoolC - e.AirC - open.DeltaK*poaWM2/1000
	return (open.BPerMS*cool + hot.BPerMS*(bounds.HotC-e.AirC)) / 2
}
