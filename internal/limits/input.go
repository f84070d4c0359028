package limits

import "math"

// Kind is what a reading measured.
type Kind string

// The kinds of reading.
const (
	OperatingPoint Kind = "operating_point"
	OpenCircuit    Kind = "open_circuit"
	ShortCircuit   Kind = "short_circuit"
	IVSweep        Kind = "iv_sweep"
)

// Arrangement is how the panel lay.
type Arrangement string

// The arrangements.
const (
	Tilted       Arrangement = "tilted"
	FlatPanel    Arrangement = "flat"
	CoveredPanel Arrangement = "covered"
)

// Side is where the power was read.
type Side string

// The sides.
const (
	PanelSide   Side = "panel_side"
	BatterySide Side = "battery_side"
	UnknownSide Side = "unknown"
)

// A NameplateInput is what a maker states about a panel model at standard test
// conditions, and its size. NaN: not stated.
type NameplateInput struct {
	PmaxW         float64 // rated power, W; where only Vmp and Imp are stated, their product
	VocV          float64 // open-circuit voltage, V
	IscA          float64 // short-circuit current, A
	VmpV          float64 // voltage at maximum power, V
	ImpA          float64 // current at maximum power, A
	ToleranceHigh float64 // upper power tolerance as a fraction (0.05)
	GammaPerK     float64 // of power, 1/K, as stated (never a class default)
	BetaPerK      float64 // of voltage, 1/K, as stated
	AlphaPerK     float64 // of current, 1/K, as stated
	CellsInSeries float64 // as stated; the rules correct double counting themselves
	Technology    Technology
	Bifaciality   float64 // rear over front current, 0 to 1
	CellAreaM2    float64
	PanelAreaM2   float64
	MassKg        float64
	// Printed steps of Pmax (W), voltages (V) and currents (A); NaN: taken from
	// the digits shown, at most 1 W, 0.1 V and 0.1 A.
	StepW, StepV, StepA float64
}

// NewNameplate returns a nameplate on which nothing is stated.
func NewNameplate() NameplateInput {
	nan := math.NaN()
	return NameplateInput{
		PmaxW: nan, VocV: nan, IscA: nan, VmpV: nan, ImpA: nan, ToleranceHigh: nan,
		GammaPerK: nan, BetaPerK: nan, AlphaPerK: nan, CellsInSeries: nan, Technology: UnknownCells,
		Bifaciality: nan, CellAreaM2: nan, PanelAreaM2: nan, MassKg: nan, StepW: nan, StepV: nan, StepA: nan,
	}
}

// area returns the cell area, else the panel area, in m2.
func (n *NameplateInput) area() float64 { return or(n.CellAreaM2, n.PanelAreaM2) }

// A ReadingInput is everything that groups A to D and G look at for one reading.
// Every number is NaN where it was not measured, not stated or not computed.
type ReadingInput struct {
	Kind        Kind
	Arrangement Arrangement
	Panel       NameplateInput

	// The meters. Voltage and current are panel-side; of a sweep: the largest
	// voltage, the largest current and the largest product. u are standard
	// uncertainties with rig and reading part, in the unit of the value; Step are
	// display steps.
	VoltageV, UVoltageV, StepV float64
	CurrentA, UCurrentA, StepA float64
	// Power as shown by the meter, wherever it reads.
	PowerW, UPowerW, StepW float64
	// Power on the panel side of the controller with its standard uncertainty,
	// from a battery-side reading by efficiency and own consumption. NaN: PowerW
	// where that is read on the panel side, converted with the settings where it
	// is not, else V I.
	PanelPowerW, UPanelPowerW float64
	// The same display shows voltage, current and power.
	OneDisplay bool
	// Reads power where.
	PowerReadAt Side

	Rig                  RigKind
	BatteryVoltageV      float64 // of this reading, else of the rig
	ConverterEfficiency  float64 // stated
	MaxPowerW            float64 // of the controller
	MaxCurrentA          float64 // of the controller's battery side
	CableOhm             float64 // both ways, between the point of reading and the panel (CableOhm)
	SweepVocV, SweepIscA float64 // intercepts of a sweep
	SweepCurrentA        []float64
	USweepCurrentA       float64 // reading part only: noise from point to point
	UFillFactorOfSweep   float64 // absolute
	ConverterSelfW       float64 // own consumption of the controller, W
	RateKPerMin          float64 // of the back, K/min, from neighbouring readings

	// Irradiance. POAWM2 is the measured plane-of-array irradiance of a usable
	// meter (a phone is none: NaN), or the one computed from a measured GHI, then
	// POAFromGHI is true and UPOAWM2 includes the model.
	POAWM2, UPOAWM2 float64
	POAFromGHI      bool
	GHIWM2          float64 // measured
	RearWM2         float64 // measured or estimated for a bifacial panel
	URearWM2        float64
	RearMeasured    bool

	// Sky and sun at the time of the reading.
	Sky                 Sky
	ApparentZenithDeg   float64 // with refraction
	ExtraterrestrialWM2 float64 // normal to the sun, at this date
	TiltDeg             float64
	IncidenceDeg        float64 // between sun and the normal of the panel, 0 to 180
	UPlaneDeg           float64 // of tilt and azimuth together; NaN: Settings.UPlaneDeg
	GroundAlbedo        float64 // as stated or of the ground; NaN: 0.3
	// Angles of incidence had the azimuth been meant the other way round (+180),
	// or read from a magnetic compass. Only for the wording of a cure.
	IncidenceTurnedDeg   float64
	IncidenceMagneticDeg float64
	// Clear-sky plane-of-array irradiance (Hay-Davies) in W/m2: at Linke turbidity
	// 2 (normal incidence where the plane is not known); the most generous one of
	// UnmeteredBound; at the upper turbidity usual under a clear sky; at the middle
	// of the range of the stated sky. ClearGHIWM2 is the horizontal at that middle.
	ClearPOATL2WM2, ClearPOALimitWM2, ClearPOAHighTLWM2, ClearPOAWM2 float64
	ClearGHIWM2                                                      float64

	// Temperatures. CellC is the best estimate with its standard uncertainty;
	// CellMeasured is true when it comes from a back sensor or from Voc.
	CellC, UCellK float64
	CellMeasured  bool
	BackC         float64 // as measured
	AirC, WindMS  float64 // of the reading, else of the session
	WarmUpMin     float64
	// The weather is the session's and Weather has looked at it: its own rules are
	// not repeated for every reading; AirC and WindMS are those it returned.
	WeatherChecked bool
}

// NewReading returns an operating point of a tilted panel on an unknown rig under
// an unknown sky, with nothing measured.
func NewReading() ReadingInput {
	nan := math.NaN()
	return ReadingInput{
		Kind: OperatingPoint, Arrangement: Tilted, Panel: NewNameplate(), PowerReadAt: PanelSide, Rig: OtherRig, Sky: UnknownSky,
		VoltageV: nan, UVoltageV: nan, StepV: nan, CurrentA: nan, UCurrentA: nan, StepA: nan,
		PowerW: nan, UPowerW: nan, StepW: nan, PanelPowerW: nan, UPanelPowerW: nan,
		BatteryVoltageV: nan, ConverterEfficiency: nan, MaxPowerW: nan, MaxCurrentA: nan, CableOhm: nan,
		SweepVocV: nan, SweepIscA: nan, USweepCurrentA: nan, UFillFactorOfSweep: nan,
		ConverterSelfW: nan, RateKPerMin: nan,
		POAWM2: nan, UPOAWM2: nan, GHIWM2: nan, RearWM2: nan, URearWM2: nan,
		ApparentZenithDeg: nan, ExtraterrestrialWM2: nan, TiltDeg: nan, IncidenceDeg: nan, UPlaneDeg: nan, GroundAlbedo: nan,
		IncidenceTurnedDeg: nan, IncidenceMagneticDeg: nan,
		ClearPOATL2WM2: nan, ClearPOALimitWM2: nan, ClearPOAHighTLWM2: nan, ClearPOAWM2: nan, ClearGHIWM2: nan,
		CellC: nan, UCellK: nan, BackC: nan, AirC: nan, WindMS: nan, WarmUpMin: nan,
	}
}
