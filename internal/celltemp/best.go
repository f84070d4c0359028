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

// Measured is what a tester knows of a panel's heat; nil is not measured.
type Measured struct {
	Arrangement Arrangement
	POAWM2      float64
	BackC       *float64
	OpenV       *float64     // open-circuit voltage just before or after
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
	ModelUK     float64 // standard uncertainty of the method alone, without its inputs
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

// Best returns the cell temperature by the best evidence there is: a sensor on the
// back, the panel's open-circuit voltage, King's model with the air (flat panels: the
// middle of its bounds), the same with air of 20 C.
//
// Error: ModelUK holds 0.6 to 1.2 K times G/1000 for a sensor (the step from back to
// cell), 1.7 K for the voltage, 4 K for King, the bounds' for a flat panel, and 12 K
// where the air is not known (common practice). Warm-up: TransientUK.
//
// Source: as the functions it calls.
func Best(m Measured) Estimate {
	switch {
	case m.BackC != nil:
		return byBack(m)
	case m.OpenV != nil && m.Thermometer != nil && m.POAWM2 > 0:
		cell := FromVoc(*m.OpenV, m.POAWM2, *m.Thermometer)
		return Estimate{Method: ByVoc, CellC: cell, ModuleC: math.NaN(), ModelUK: 1.7, AirC: math.NaN(), WindMS: math.NaN()}
	}
	return byAir(m)
}

func byBack(m Measured) Estimate {
	step := BackStep(m.Arrangement)
	return Estimate{
		Method: ByBack, ModuleC: *m.BackC, CellC: FromBack(*m.BackC, m.POAWM2, step.DeltaK),
		ModelUK: step.HalfWidthK / math.Sqrt(3) * m.POAWM2 / 1000, DeltaK: step.DeltaK,
		AirC: math.NaN(), WindMS: math.NaN(),
	}
}

func byAir(m Measured) Estimate {
	e := Estimate{AirC: AssumedAirC, WindMS: AssumedWindMS, AirAssumed: m.AirC == nil, WindAssumed: m.WindMS == nil}
	if !e.AirAssumed {
		e.AirC = *m.AirC
	}
	if !e.WindAssumed {
		e.WindMS = *m.WindMS
	}
	if m.Arrangement == Flat {
		bounds := FlatBounds(m.POAWM2, e.AirC, e.WindMS)
		e.Method, e.CellC, e.ModuleC, e.ModelUK = ByKingFlat, bounds.MiddleC(), math.NaN(), bounds.UK()
	} else {
		mounting := OpenRackPolymer()
		t := King(m.POAWM2, e.AirC, e.WindMS, mounting)
		e.Method, e.CellC, e.ModuleC, e.ModelUK, e.DeltaK = ByKing, t.CellC, t.ModuleC, 4, mounting.DeltaK
	}
	if e.AirAssumed {
		e.ModelUK = 12
	}
	return e
}
