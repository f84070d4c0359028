package limits

import "math"

// RigKind is what loads the panel.
type RigKind string

// The rig kinds.
const (
	MPPTController RigKind = "mppt_controller"
	PWMController  RigKind = "pwm_controller"
	PowerStation   RigKind = "power_station"
	Microinverter  RigKind = "microinverter"
	ElectronicLoad RigKind = "electronic_load"
	ResistorLoad   RigKind = "resistor"
	OtherRig       RigKind = "other"
)

// Tracks tells whether the rig may hold the panel at its maximum power point.
func (k RigKind) Tracks() bool { return k != PWMController && k != ResistorLoad }

// OffMaximumPower returns the terminal voltage over the expected Vmp,
//
//	r = (V + I R)/(Vmp (1 + beta_vmp (Tc - 25)) (1 + 0.05 ln(G/1000)))
//
// voltageV and currentA as read, cableOhm R between there and the panel (missing:
// 0), vmpV of the nameplate, betaVmpPerK in 1/K, cellC in C, lightWM2 the irradiance
// on the cells (100 W/m2 and more). Judge it with OffMaximumLimits.
//
// Source: the diode equation, by which the voltage moves with the logarithm of the
// light; 0.05 stands for 36 cells at an ideality of 1.1 (common practice, no source).
func OffMaximumPower(voltageV, currentA, cableOhm, vmpV, betaVmpPerK, cellC, lightWM2 float64) float64 {
	light := 1 + vmpPerLogLight*math.Log(lightWM2/stcWM2)
	return (voltageV + or(currentA, 0)*or(cableOhm, 0)) / (vmpV * (1 + betaVmpPerK*(cellC-stcC)) * light)
}

// vmpPerLogLight is by how much the voltage at maximum power moves with the natural
// logarithm of the light, relative.
const vmpPerLogLight = 0.05

// OffMaximumLimits returns by how much the ratio may differ from 1: note 0.08 and
// hold 0.12 with a stated Vmp, 0.11 and 0.15 with one guessed from Voc.
//
// Source: honest maximum points reach 0.908 to 0.972 of the voltage that the nameplate
// promises (2868 measured operating points).
func OffMaximumLimits(vmpStated bool) Bounds {
	if vmpStated {
		return Bounds{0.08, 0.12, math.NaN()}
	}
	return Bounds{0.11, 0.15, math.NaN()}
}

// HeadroomConflict returns, in V, the lowest panel voltage of a buck tracker
// (V_batt + 0.3 - 2u) or, for a PWM controller, the largest distance from
// V_batt + 0.3 (1.0 + 2u) and that distance. Other rigs: NaN.
func HeadroomConflict(set *Settings, kind RigKind, voltageV, batteryV, uVoltageV float64) (distanceV float64, b Bounds) {
	none := Bounds{math.NaN(), math.NaN(), math.NaN()}
	switch kind {
	case MPPTController:
		none.Hold = batteryV + set.HeadroomV - 2*uVoltageV
		return math.NaN(), none
	case PWMController:
		none.Hold = set.PWMSpreadV + 2*uVoltageV
		return math.Abs(voltageV - batteryV - set.HeadroomV), none
	}
	return math.NaN(), none
}

// NotATracker returns the power in W to compare with when the rig does not track,
// Isc(G) V, and Hold for such a rig. iscA of the nameplate, effectiveWM2 the
// irradiance, voltageV the panel voltage.
func NotATracker(kind RigKind, iscA, effectiveWM2, voltageV float64) (compareW float64, s Severity) {
	compareW = iscA * effectiveWM2 / stcWM2 * voltageV
	if !kind.Tracks() {
		s = Hold
	}
	return compareW, s
}

// ClippedByController returns how much of the controller's limit the reading uses,
//
//	max(P/Pmax_ctrl, P eta/(V_batt Imax_ctrl))
//
// powerW on the panel side, either limit may be missing, efficiency eta missing:
// 0.96. NaN where no limit is known.
func ClippedByController(set *Settings, powerW, maxPowerW, maxCurrentA, batteryV, efficiency float64) float64 {
	byPower := powerW / maxPowerW
	byCurrent := powerW * or(efficiency, set.ConverterEfficiency) / (batteryV * maxCurrentA)
	if !Given(byPower) {
		return byCurrent
	}
	if !Given(byCurrent) {
		return byPower
	}
	return max(byPower, byCurrent)
}

// ClippedLimits returns the shares of the controller's limit at note and hold.
func ClippedLimits() Bounds { return Bounds{0.93, 0.97, math.NaN()} }

// ThrottledByBattery returns the voltage as a share of Voc at this temperature and
// the power as a share of what Pmax promises in this light; above 0.93 and below
// 0.7 together the load takes less than the panel offers: hold.
func ThrottledByBattery(voltageV, powerW, pmaxW, vocV, betaPerK, gammaPerK, cellC, poaWM2 float64) (ofVoc, ofPower float64, s Severity) {
	ofVoc = voltageV / (vocV * (1 + betaPerK*(cellC-stcC)))
	ofPower = powerW / (pmaxW * poaWM2 / stcWM2 * (1 + gammaPerK*(cellC-stcC)))
	if ofVoc > 0.93 && ofPower < 0.7 {
		s = Hold
	}
	return ofVoc, ofPower, s
}

// OpenCircuitLow returns the open-circuit voltage in V below which a reading is
// noted (L) and held (0.85 L):
//
//	L = 0.97 Voc (1 + beta (T_hot - 25)) (1 + 0.07 min(0, ln(G_low/1000))) - 2 u(V)
//
// with T_hot = Tc + 2u, G_low = G - 2u. betaPerK missing: the lenient side.
func OpenCircuitLow(set *Settings, vocV, betaPerK, poaWM2, uPOAWM2, cellC, uCellK, uVoltageV float64) Bounds {
	hotC := cellC + 2*uCellK
	if !Given(betaPerK) {
		betaPerK = set.BetaColdPerK
		if hotC < stcC {
			betaPerK = set.BetaWarmPerK
		}
	}
	light := 1 + 0.07*min(0, math.Log(max(poaWM2-2*uPOAWM2, 1)/stcWM2))
	l := vocV*(1-set.VoltageToleranceHold)*(1+betaPerK*(hotC-stcC))*light - 2*uVoltageV
	return Bounds{l, 0.85 * l, math.NaN()}
}

// CableLoss returns the loss in W of a cable of resistanceOhm at currentA, and its
// share of the power at the panel when powerW arrives.
func CableLoss(currentA, resistanceOhm, powerW float64) (lossW, share float64) {
	lossW = currentA * currentA * resistanceOhm
	return lossW, lossW / (powerW + lossW)
}

// CableLossLimits returns the shares of power lost in the cable at note, 0.10, and at
// hold, 0.50: the budget carries the loss of a long cable, but where more is lost than
// arrives the result is made of a length that may be mistyped (common practice, no
// source).
func CableLossLimits() Bounds { return Bounds{0.10, 0.50, math.NaN()} }

// ResolutionCoarse returns the smallest value that a display step can show with a
// relative standard uncertainty of 0.05, step/(2 sqrt 3) over that share: a note
// below. The budget carries the step, so it is never held.
//
// Source: JCGM 100:2008, F.2.2.1; the share is common practice.
func ResolutionCoarse(step float64) Bounds {
	return Bounds{step / (2 * math.Sqrt(3)) / 0.05, math.NaN(), math.NaN()}
}

// TypedStep returns the step that a typed value shows: that of its last decimal where
// this is finer than the step of the display, else step. A value of three decimals and
// more is a computed one and says nothing of a step finer than 0.001.
func TypedStep(value, step float64) float64 {
	if !Given(step) || !(step > 0) || math.Abs(math.Round(value/step)*step-value) <= 1e-9*math.Abs(value) {
		return step
	}
	for _, finer := range [...]float64{1, 0.1, 0.01, 0.001} {
		if finer < step && math.Abs(math.Round(value/finer)*finer-value) <= 1e-9*math.Abs(value) {
			return finer
		}
	}
	return step
}
