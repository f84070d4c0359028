package demo

import (
	"math"

	"evensun/internal/fieldtest"
	"evensun/internal/stc"
)

// testers returns the invented testers, one of them a club.
func testers() []string {
	return []string{"Larkmoor Field Club", "Mirelle Ostby", "Tobin Akande", "Sefa Lindarro", "Ravi Thornbeck", "Juno Petrallis", "Anselm Duarvik"}
}

// A Rig is a rig with its owner.
type Rig struct {
	Tester int // index into Weekend.Testers
	fieldtest.Rig
}

// Places of the rigs in the list.
const (
	clubBench = iota
	clubLoad
	mirelleInline
	tobinStation
	sefaBattery
	raviInverter
	junoClamp
	anselmDisplay
	anselmPWM
)

// rigs returns the rigs in the order of the constants.
func rigs() []Rig {
	const panelSide = fieldtest.PanelSide
	percent := func(v, a, w float64) fieldtest.Accuracy {
		return fieldtest.Accuracy{VoltagePercent: new(v), CurrentPercent: new(a), PowerPercent: new(w)}
	}
	step := func(v, a, w float64) fieldtest.Resolution {
		return fieldtest.Resolution{VoltageV: new(v), CurrentA: new(a), PowerW: new(w)}
	}
	cable := func(lengthM, mm2 float64, pairs int) fieldtest.Cable {
		return fieldtest.Cable{LengthM: new(lengthM), CrossSectionMM2: new(mm2), ConnectorPairs: new(pairs)}
	}
	return []Rig{
		{0, fieldtest.Rig{Name: "club table", Kind: fieldtest.MPPTController, PowerReadAt: panelSide, Instrument: fieldtest.InlineMeter, Accuracy: percent(0.5, 1, 1.2), Resolution: step(0.01, 0.01, 0.1), Cable: cable(3, 4, 1), BatteryVoltageV: new(13.3)}},
		{0, fieldtest.Rig{Name: "club curve tracer", Kind: fieldtest.ElectronicLoad, PowerReadAt: panelSide, Instrument: fieldtest.BenchMeter, Accuracy: percent(0.1, 0.3, 0.35), Resolution: step(0.01, 0.001, 0.01), Cable: cable(0, 4, 0)}},
		{1, fieldtest.Rig{Name: "inline on the van", Kind: fieldtest.MPPTController, PowerReadAt: panelSide, Instrument: fieldtest.InlineMeter, Accuracy: percent(0.5, 1, 1.5), Resolution: step(0.01, 0.01, 0.1), Cable: cable(5, 3.31, 1), BatteryVoltageV: new(13.2)}},
		{2, fieldtest.Rig{Name: "grey box", Kind: fieldtest.PowerStation, PowerReadAt: panelSide, Instrument: fieldtest.ControllerDisplay, Accuracy: fieldtest.Accuracy{PowerPercent: new(2.0)}, Resolution: fieldtest.Resolution{PowerW: new(1.0)}, Cable: cable(4, 4, 1)}},
		{3, fieldtest.Rig{Name: "boat bank", Kind: fieldtest.MPPTController, PowerReadAt: fieldtest.BatterySide, Instrument: fieldtest.DataLogger, Accuracy: percent(0.5, 1, 1.2), Resolution: step(0.01, 0.01, 0.1), Cable: cable(4, 6, 1), BatteryVoltageV: new(13.4), ConverterEfficiency: new(0.965)}},
		{4, fieldtest.Rig{Name: "garden inverter", Kind: fieldtest.Microinverter, PowerReadAt: panelSide, Instrument: fieldtest.DataLogger, Accuracy: percent(0.5, 0.8, 1), Resolution: step(0.1, 0.01, 0.1), Cable: cable(2, 4, 2)}},
		{5, fieldtest.Rig{Name: "clamp and probes", Kind: fieldtest.MPPTController, PowerReadAt: panelSide, Instrument: fieldtest.ClampMeter, Accuracy: fieldtest.Accuracy{VoltagePercent: new(0.5), CurrentPercent: new(2.0)}, Resolution: fieldtest.Resolution{VoltageV: new(0.01), CurrentA: new(0.01)}, Cable: cable(3, 4, 1), BatteryVoltageV: new(13.1)}},
		{6, fieldtest.Rig{Name: "shed controller", Kind: fieldtest.MPPTController, PowerReadAt: panelSide, Instrument: fieldtest.ControllerDisplay, Accuracy: percent(1, 1.5, 2), Resolution: step(0.1, 0.01, 1), Cable: cable(5, 5.26, 1), BatteryVoltageV: new(13.3), MaxCurrentA: new(30.0)}},
		{6, fieldtest.Rig{Name: "old PWM", Kind: fieldtest.PWMController, PowerReadAt: panelSide, Instrument: fieldtest.InlineMeter, Accuracy: percent(0.5, 1, 1.2), Resolution: step(0.01, 0.01, 0.1), Cable: cable(3, 4, 1), BatteryVoltageV: new(13.3)}},
	}
}

// cableOhm is the resistance of a rig's cable at 45 C.
func cableOhm(r *fieldtest.Rig) float64 {
	c := &r.Cable
	if c.LengthM == nil || *c.LengthM == 0 {
		return 0
	}
	return stc.Cable{LengthM: *c.LengthM, AreaMM2: *c.CrossSectionMM2, ConductorC: stc.DefaultConductorC, ConnectorPairs: *c.ConnectorPairs}.ResistanceOhm()
}

// shown rounds to what a display of that step shows; without a step all digits stay.
func shown(x float64, step *float64) *float64 {
	if step == nil {
		return nil
	}
	return new(tidy(math.Round(x / *step) * *step))
}

// tidy drops what binary numbers leave behind the fifth decimal.
func tidy(x float64) float64 { return math.Round(x*1e5) / 1e5 }

// place is an invented name on a real latitude.
type place struct {
	name                                string
	latitudeDeg, longitudeDeg, altitude float64
	ground                              fieldtest.Ground
	airC                                float64
}

// Places of the sites in the list. All lie so that the noon sun is high all year.
const (
	larkmoor = iota
	tallowPan
	brackenveld
	mistHill
	ambersend
)

func places() []place {
	return []place{
		{"Larkmoor meadow", 31.4, -8.2, 480, fieldtest.DryGrass, 24},
		{"Tallow Pan", 33.2, -106.4, 1290, fieldtest.Sand, 21},
		{"Brackenveld", -29.3, 26.1, 1390, fieldtest.Grass, 20},
		{"Mist Hill", 18.6, 99.1, 320, fieldtest.Grass, 27},
		{"Ambersend", -23.8, 133.4, 560, fieldtest.Soil, 26},
	}
}
