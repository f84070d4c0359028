package celltemp

import "math"

// An Arrangement is how a panel lies.
type Arrangement string

// The arrangements: air behind, or none.
const (
	Tilted Arrangement = "tilted"
	Flat   Arrangement = "flat"
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

// Standard uncertainties, K where nothing else stands (common practice, no source).
const (
	thermocoupleUK = 1.0 // its own
	placeUK        = 1.0 // where on the back it sits
	voltageReadUK  = 1.0 // of one open-circuit voltage
	voltageModelUK = 1.7 // of the method: voltmeter, coefficient, rise with light
	kingUK         = 4.0 // of the model on a kickstand:
	kingOwnUK      = 2.0 // the panel model's part of it
	kingCommonUK   = 3.5 // and everybody's
	unknownAirUK   = 12.0
	airUK          = 1.0
	windUMS        = 1.0 // m/s, of a measured wind
)

// clearlyBetter is how much smaller the uncertainty of a method must be to be taken
// before one that stands higher in the order of preference: these uncertainties are
// known to a quarter at best, and less than a tenth between two is a tie (common
// practice, no source).
const clearlyBetter = 0.9

// Measured is what a tester knows of a panel's heat; nil is not measured.
type Measured struct {
	Arrangement Arrangement
	POAWM2      float64
	BackC       *float64
	BackUK      float64      // standard uncertainty of sensor and place, K; 0: of a thermocouple
	Step        Step         // from the sensor to the cells; zero: BackStep
	OpenV       *float64     // open-circuit voltage just before or after
	OpenPOAWM2  float64      // irradiance when that was read; 0: POAWM2
	Thermometer *Thermometer // of the panel, for OpenV
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

// BackStep returns the step of a folding panel: 3 +- 2 K with air behind, 1 +- 1 K
// flat, rectangular (common practice: fabric and foam insulate more than the thin
// sheet of King's modules, 3 K; the ground takes the rear's heat less).
func BackStep(a Arrangement) Step {
	if a == Flat {
		return Step{DeltaK: 1, HalfWidthK: 1}
	}
	return Step{DeltaK: 3, HalfWidthK: 2}
}

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
		best.orSurer(&next)
	}
	if best.UK*clearlyBetter <= leastModelUK && m.Arrangement != Flat {
		return best // whatever the air, it cannot be surer
	}
	next := byAir(&m)
	best.orSurer(&next)
	return best
}

// leastModelUK is what the model on a kickstand is worth in a gale: its own and the air's.
const leastModelUK = 4.15

// orSurer puts the next estimate in the order of preference in the place of e where e is
// missing or the next clearly better.
func (e *Estimate) orSurer(next *Estimate) {
	if math.IsNaN(e.UK) || next.UK < clearlyBetter*e.UK {
		*e = *next
	}
}

// Candidates returns what every kind of evidence says, in the order of preference:
// sensor, voltage, air. UK is NaN where that evidence is missing; the last never is.
func Candidates(m Measured) [3]Estimate {
	return [3]Estimate{byBack(&m), byVoltage(&m), byAir(&m)}
}

func byBack(m *Measured) Estimate {
	if m.BackC == nil {
		return absent(ByBack)
	}
	step := m.Step
	if step == (Step{}) {
		step = BackStep(m.Arrangement)
	}
	sensorUK := m.BackUK
	if sensorUK == 0 {
		sensorUK = math.Hypot(thermocoupleUK, placeUK)
	}
	stepUK := step.HalfWidthK / math.Sqrt(3) * m.POAWM2 / 1000
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
	e.CellC, e.ModelUK = FromVoc(*m.OpenV, light, *m.Thermometer), voltageModelUK
	ref := m.Thermometer.UK
	e.UK = math.Sqrt(voltageReadUK*voltageReadUK + voltageModelUK*voltageModelUK + ref*ref)
	return e
}

func byAir(m *Measured) Estimate {
	e := Estimate{AirC: AssumedAirC, WindMS: AssumedWindMS, AirAssumed: m.AirC == nil, WindAssumed: m.WindMS == nil}
	windU := AssumedWindMS / math.Sqrt(3)
	if !e.AirAssumed {
		e.AirC = *m.AirC
	}
	if !e.WindAssumed {
		e.WindMS, windU = *m.WindMS, windUMS
	}
	perMS, modelUK := 0.0, math.Hypot(kingOwnUK, kingCommonUK) // K for 1 m/s; K
	if mounting := OpenRackPolymer(); m.Arrangement == Flat {
		bounds := FlatBounds(m.POAWM2, e.AirC, e.WindMS)
		e.Method, e.CellC, e.ModuleC, e.ModelUK = ByKingFlat, bounds.MiddleC(), math.NaN(), bounds.UK()
		hot := InsulatedPolymer()
		cool := bounds.CoolC - e.AirC - mounting.DeltaK*m.POAWM2/1000
		perMS, modelUK = (mounting.BPerMS*cool+hot.BPerMS*(bounds.HotC-e.AirC))/2, e.ModelUK
	} else {
		t := King(m.POAWM2, e.AirC, e.WindMS, mounting)
		e.Method, e.CellC, e.ModuleC, e.ModelUK, e.DeltaK = ByKing, t.CellC, t.ModuleC, kingUK, mounting.DeltaK
		perMS = mounting.BPerMS * (t.ModuleC - e.AirC)
	}
	if e.AirAssumed {
		if m.Arrangement != Flat {
			e.ModelUK = 0 // the 12 K hold the model's own
		}
		e.ModelUK = math.Hypot(e.ModelUK, unknownAirUK)
		e.UK = e.ModelUK
		return e
	}
	e.UK = math.Sqrt(modelUK*modelUK + airUK*airUK + perMS*perMS*windU*windU)
	return e
}
