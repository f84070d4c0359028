package stc

import (
	"math"

	"evensun/internal/fieldtest"
)

// AWGToMM2 returns the copper cross-section in mm2 of a solid wire by American gauge
// (-3 for 4/0, 0 for 1/0, to 36): pi/4 (0.127 92^((36-n)/39))^2; 12 gives 3.309 mm2.
//
// Error: exact for a solid wire; strands of the same gauge differ by some percent.
//
// Source: ASTM B258, the law of the gauge.
func AWGToMM2(gauge float64) float64 {
	d := 0.127 * math.Pow(92, (36-gauge)/39)
	return math.Pi / 4 * d * d
}

// MM2ToAWG returns the American gauge of a copper cross-section in mm2 (above 0): the
// inverse of AWGToMM2, 3.309 gives 12; thicker is smaller.
//
// Error and source: those of AWGToMM2.
func MM2ToAWG(mm2 float64) float64 {
	d := math.Sqrt(4 * mm2 / math.Pi)
	return 36 - 39*math.Log(d/0.127)/math.Log(92)
}

// CopperOhmM returns the resistivity of annealed copper in ohm m at a
// temperature in C (-40 to 100): 1.724e-8 (1 + 0.00393 (T-20)).
//
// Error: no figure sourced; see ResistanceOhm for a cable.
//
// Source: IEC 60028, the standard resistivity and its coefficient; clause not checked.
func CopperOhmM(conductorC float64) float64 {
	return 1.724e-8 * (1 + 0.00393*(conductorC-20))
}

// ConnectorOhm is the resistance of one pair of plugs, ohm (common practice, no
// source).
const ConnectorOhm = 0.0005

// DefaultConductorC is the temperature in C of a cable in the sun that states
// none (common practice, no source).
const DefaultConductorC = 45

// A Cable connects the panel with the meter, two conductors side by side.
type Cable struct {
	LengthM        float64 // one way
	AreaMM2        float64 // copper of one conductor
	ConductorC     float64 // DefaultConductorC where unknown
	ConnectorPairs int
}

// ResistanceOhm returns the resistance in ohm there and back:
// 2 L rho(T)/A plus 0.5 mohm a connector pair. A cable of length 0 has only its
// connectors; an area of 0 with a length gives +Inf.
//
// Error: half-width 25 % from stated length, plugs and temperature (package
// budget).
//
// Source: Ohm's law with IEC 60028 (CopperOhmM); checked in testdata/reference/physics/wiring_loss.json.
func (c Cable) ResistanceOhm() float64 {
	plugs := ConnectorOhm * float64(c.ConnectorPairs)
	if c.LengthM == 0 {
		return plugs
	}
	return 2*c.LengthM*CopperOhmM(c.ConductorC)/(c.AreaMM2*1e-6) + plugs
}

// AtTerminals returns the power in W at the panel's terminals of a panel whose
// controller reads controllerW at currentA behind a cable: P + I^2 R.
//
// All are at least 0.
//
// Error: that of the resistance. Source: Ohm's law.
func AtTerminals(controllerW, currentA, resistanceOhm float64) float64 {
	return controllerW + currentA*currentA*resistanceOhm
}

// CableUnstated is the loss, as a share of the power read, of a cable of which
// nothing is known (common practice, no source).
const CableUnstated = 0.02

// Defaults of a charge controller that is read on its battery side (common
// practice, no source; a published efficiency curve replaces them).
const (
	ConverterEfficiency = 0.96
	ConverterSelfW      = 1
)

// FromBattery returns the power in W on the panel's side of a controller that
// delivers batteryW: P/efficiency + self consumption.
//
// efficiency is above 0 and at most 1, selfW at least 0.
//
// Error: that of the efficiency. Source: definition.
func FromBattery(batteryW, efficiency, selfW float64) float64 {
	return batteryW/efficiency + selfW
}

// SideUnknownFactor takes a power whose side of the controller nobody recorded
// to the panel's side: the middle of 1.00 (panel) and 1.05 (battery).
const SideUnknownFactor = 1.025

// CurrentFromPower returns the current in A of a panel known only by its power,
// for the cable's loss: P/(Vmp (1 + beta_vmp (Tc-25))).
//
// powerW and vmpSTCV are above 0, cellC is -20 to 110, vmpSlopePerK negative.
//
// Error: no figure sourced; it serves the loss of the cable alone.
// Source: the linear law of the voltage, common practice.
func CurrentFromPower(powerW, vmpSTCV, cellC, vmpSlopePerK float64) float64 {
	return powerW / (vmpSTCV * (1 + vmpSlopePerK*(cellC-25)))
}

// VmpFromVoc returns the maximum power voltage of a nameplate that states only
// the open-circuit voltage (above 0), in V: 0.835 Voc (common practice; the median of 36139
// listed modules is 0.817).
//
// Error: no figure sourced; the median above lies 2 % lower. Source: common practice, no source.
func VmpFromVoc(vocV float64) float64 { return 0.835 * vocV }

// A Tracking says what the power of a kind of rig is to the maximum power.
type Tracking struct {
	Factor  float64 // power read over maximum power
	Maximum bool    // false: the rig does not look for the maximum, no result
}

// TrackingOf returns the tracking of a kind of rig. An electronic load
// finds the maximum, as a sweep does (factor 1); a PWM controller and a resistor
// hold the panel somewhere else; all others track with a static efficiency of
// 0.995.
//
// Error: half-width 0.005 of the factor of a tracker (package budget). Source:
// common practice; EN 50530 finds 0.990 to 0.999 on good trackers.
func TrackingOf(rigKind fieldtest.RigKind) Tracking {
	switch rigKind {
	case fieldtest.ElectronicLoad:
		return Tracking{Factor: 1, Maximum: true}
	case fieldtest.PWMController, fieldtest.Resistor:
		return Tracking{Factor: math.NaN()}
	}
	return Tracking{Factor: 0.995, Maximum: true}
}
