package caution

import (
	"fmt"
	"math"

	"evensun/internal/stc"
)

const (
	defaultBetaPerK = -0.0036 // the strongest usual rise with cold
	defaultLowestC  = -10.0
)

// ColdVoltage returns the open-circuit voltage in V of panels in series at
// lowestC, before the sun has warmed them:
//
//	N Voc (1 + beta (T - 25))
//
// vocV is that of one panel at 25 C, betaPerK in 1/K (negative).
//
// Source: linear temperature coefficient as in IEC 60891.
func ColdVoltage(panels, vocV, betaPerK, lowestC float64) float64 {
	return panels * vocV * (1 + betaPerK*(lowestC-25))
}

// CodeFactor returns by how much a code table for crystalline silicon raises Voc
// at the lowest air temperature in C, in steps of 5 K: 1 at 25 and above, 1.25 at
// -36 and below.
//
// Source: NEC table 690.7(A), from memory.
func CodeFactor(lowestC float64) float64 {
	for _, step := range codeSteps {
		if lowestC >= step.fromC {
			return step.factor
		}
	}
	return 1.25
}

var codeSteps = [...]struct{ fromC, factor float64 }{
	{25, 1}, {20, 1.02}, {15, 1.04}, {10, 1.06}, {5, 1.08}, {0, 1.10}, {-5, 1.12}, {-10, 1.14},
	{-15, 1.16}, {-20, 1.18}, {-25, 1.20}, {-30, 1.21}, {-35, 1.23},
}

// Ampacity returns the current in A that a copper cable of crossSectionMM2 in mm2
// carries as far as these cautions go: AWG 18 7 A, 16 10 A, 14 15 A, 12 20 A, 10
// 30 A, linear in the gauge between and beyond. Only a threshold for a hint.
//
// Source: NEC 240.4(D) (from memory); AWG 16 and 18 common practice.
func Ampacity(crossSectionMM2 float64) float64 {
	if !(crossSectionMM2 > 0) {
		return math.NaN()
	}
	awg := stc.MM2ToAWG(crossSectionMM2)
	i := len(wires) - 2
	for i > 0 && awg < wires[i].awg {
		i--
	}
	a, b := wires[i], wires[i+1]
	return math.Max(0, a.amps+(awg-a.awg)*(b.amps-a.amps)/(b.awg-a.awg))
}

var wires = [...]struct{ awg, amps float64 }{{10, 30}, {12, 20}, {14, 15}, {16, 10}, {18, 7}}

// coldestVoltage is the larger of ColdVoltage and the code table's value.
func coldestVoltage(p *Panel, r *Rig) float64 {
	n, lowest := or(r.PanelsInSeries, 1), or(r.LowestAirC, defaultLowestC)
	byCells := ColdVoltage(n, p.VocV, or(p.BetaPerK, defaultBetaPerK), lowest)
	return math.Max(byCells, n*p.VocV*CodeFactor(lowest))
}

func (l *list) electrical(s *Session, p *Panel, r *Rig) {
	cold := coldestVoltage(p, r)
	l.seriesVoltage(p, r, cold)
	l.touch(s, cold)
	l.parallel(r)
	l.arc(s, cold)
	l.cable(s, p, r)
	l.battery(s, r)
	if r.Kind == "microinverter" || r.Kind == "power_station" {
		l.add("mains", Warn, "What is tied to the mains belongs in the hands of a licensed person and follows the rules of the grid operator.")
	}
}

func (l *list) seriesVoltage(p *Panel, r *Rig, cold float64) {
	n := or(r.PanelsInSeries, 1)
	lowest := or(r.LowestAirC, defaultLowestC)
	const harm = "Too much voltage destroys a controller and can set it on fire."
	switch {
	case !given(p.VocV) || !given(r.MaxVoltageV):
		l.add("series_voltage_cold", Inform, "Cold panels give more voltage than warm ones, most of all in the first sun of the morning: "+
			"keep the voltage of all panels in series at the lowest temperature below the controller's limit. "+harm)
	case cold > r.MaxVoltageV:
		l.add("series_voltage_cold", Warn, fmt.Sprintf("%s in series can reach %s V at %.0f C in the first sun; this controller takes %.0f V. %s",
			panels(n), up(cold), lowest, r.MaxVoltageV, harm))
	case cold > 0.9*r.MaxVoltageV:
		l.add("series_voltage_cold", Inform, fmt.Sprintf("%s in series can reach %s V at %.0f C in the first sun, close to the %.0f V that this controller takes. %s",
			panels(n), up(cold), lowest, r.MaxVoltageV, harm))
	}
}

func panels(n float64) string {
	if n == 1 {
		return "One panel"
	}
	return fmt.Sprintf("%.0f panels", n)
}

// up rounds a dangerous number upwards to a tenth.
func up(x float64) string { return fmt.Sprintf("%.1f", math.Ceil(10*x-1e-9)/10) }

func (l *list) touch(s *Session, cold float64) {
	const cure = "Cover the panel while you connect or disconnect it."
	wet := s.Rain || s.Ground == "water" || s.Ground == "snow"
	switch {
	case !given(cold):
		l.add("touch_voltage", Inform, "Panels in series can carry a voltage that hurts at bare contacts. "+cure)
	case cold > 60:
		l.add("touch_voltage", Warn, "Bare contacts can stand at "+up(cold)+" V here; direct current above 60 V can injure. "+cure)
	case cold > 48:
		l.add("touch_voltage", Inform, "Bare contacts can stand at "+up(cold)+" V here, not far from the 60 V above which direct current can injure. "+cure)
	case wet && cold > 30:
		l.add("touch_voltage", Inform, "Bare contacts can stand at "+up(cold)+" V here; with wet skin or on wet ground 30 V are enough to hurt. "+cure)
	}
}

func (l *list) parallel(r *Rig) {
	if r.PanelsInParallel >= 3 {
		l.add("parallel_reverse_current", Warn, fmt.Sprintf("With %.0f panels in parallel the others can drive more current into a damaged one than its wires stand: "+
			"put a fuse into the lead of each.", r.PanelsInParallel))
	}
}

func (l *list) arc(s *Session, cold float64) {
	const text = "An arc of direct current keeps burning. Do not pull a plug under load: switch off or cover the panel first, and use plugs of one make that are rated for direct current."
	switch {
	case s.ShortCircuit:
		l.add("dc_arc", Warn, "Opening a short circuit draws an arc. "+text)
	case !given(cold), cold > 30, s.CurrentA > 5 && s.VoltageV > 20:
		l.add("dc_arc", Inform, text)
	}
}

func (l *list) cable(s *Session, p *Panel, r *Rig) {
	amps := 1.25 * p.IscA * or(r.PanelsInParallel, 1)
	carries := Ampacity(r.CableMM2)
	const coiled = "A thin cable gets warm, and hot when it lies coiled."
	switch {
	case amps > carries:
		l.add("cable_current", Warn, fmt.Sprintf("The cable should carry %s A (1.25 times the short-circuit current) and is good for about %.0f A. %s",
			up(amps), math.Floor(carries), coiled))
	case s.CableLossShare > 0.10:
		l.add("cable_current", Inform, "More than a tenth of the power stays in the cable. "+coiled)
	case !given(amps) || !given(carries):
		l.add("cable_current", Inform, "Choose the cable for 1.25 times the short-circuit current of all panels in parallel. "+coiled)
	}
}

func (l *list) battery(s *Session, r *Rig) {
	if !given(r.BatteryVoltageV) {
		if r.Kind == "mppt_controller" || r.Kind == "pwm_controller" {
			l.batteryText()
		}
		return
	}
	l.batteryText()
	switch {
	case s.AirC < 0:
		l.add("battery_cold", Warn, fmt.Sprintf("At %.0f C do not charge a lithium battery unless it protects itself: charging below freezing damages it for good.", math.Floor(s.AirC)))
	case !given(s.AirC):
		l.add("battery_cold", Inform, "Do not charge a lithium battery below freezing unless it protects itself.")
	}
}

func (l *list) batteryText() {
	l.add("battery", Inform, "A battery can push hundreds of amperes through a slip: fuse it at its terminal, keep rings and tools off the poles, "+
		"give lead-acid batteries fresh air because they make hydrogen, and set the controller to the right chemistry.")
}
