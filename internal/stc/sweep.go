package stc

import (
	"fmt"
	"math"
)

// A Sweep is a measured current-voltage curve and what the panel saw meanwhile.
type Sweep struct {
	VoltageV []float64 // ascending
	CurrentA []float64 // same length
	At       Conditions
}

// fewestPoints is what a sweep needs to show a maximum and both ends.
const fewestPoints = 8

// checkShape refuses slices of different or too short length, values that are
// not numbers and voltages that go back.
func (s Sweep) checkShape(m Method) error {
	if len(s.VoltageV) != len(s.CurrentA) {
		return refuse(m, ReasonSweepBroken, fmt.Sprintf("%d voltages and %d currents", len(s.VoltageV), len(s.CurrentA)))
	}
	if len(s.VoltageV) < fewestPoints {
		return refuse(m, ReasonSweepBroken, fmt.Sprintf("%d points, at least %d are needed", len(s.VoltageV), fewestPoints))
	}
	for i, v := range s.VoltageV {
		if !finite(v, s.CurrentA[i]) {
			return refuse(m, ReasonSweepBroken, fmt.Sprintf("point %d is not a number", i))
		}
		if i > 0 && v < s.VoltageV[i-1] {
			return refuse(m, ReasonSweepBroken, fmt.Sprintf("voltage falls at point %d; sort the points by voltage", i))
		}
	}
	return checkConditions(m, s.At)
}

// ReachesShort tells whether the sweep comes within 5 % of its highest voltage
// of zero voltage, so that its short-circuit current is known.
func (s Sweep) ReachesShort() bool {
	n := len(s.VoltageV)
	return n > 0 && s.VoltageV[0] <= 0.05*s.VoltageV[n-1]
}

// ReachesOpen tells whether the current reaches zero, so that the open-circuit
// voltage and the slope there are known.
func (s Sweep) ReachesOpen() bool {
	n := len(s.CurrentA)
	return n > 0 && s.CurrentA[n-1] <= 0
}

// TranslateSweep returns the sweep under other conditions, point by point.
//
// It refuses what the procedure's Check refuses, a sweep that does not reach zero
// voltage and one that does not reach zero current though the light is to rise:
// every current is lifted then, and the translated curve would lack its end.
// Even a sweep that does reach it has no open-circuit voltage after a large
// rise; its maximum is what counts.
//
// Currents are in A, voltages in V, within the ranges that Check holds.
//
// Error and source: those of Procedure.
func TranslateSweep(s Sweep, to Conditions, by Procedure) (Sweep, error) {
	m := by.Method()
	if err := by.Check(); err != nil {
		return Sweep{}, err
	}
	if err := s.checkShape(m); err != nil {
		return Sweep{}, err
	}
	if err := checkConditions(m, to); err != nil {
		return Sweep{}, err
	}
	if !s.ReachesShort() {
		return Sweep{}, refuse(m, ReasonSweepShort, fmt.Sprintf("the sweep starts at %v V and does not reach zero voltage", s.VoltageV[0]))
	}
	if to.PoaWM2 > s.At.PoaWM2 && !s.ReachesOpen() {
		return Sweep{}, refuse(m, ReasonSweepShort, fmt.Sprintf("the sweep ends at %v A and does not reach zero current", s.CurrentA[len(s.CurrentA)-1]))
	}
	moved := Sweep{VoltageV: make([]float64, len(s.VoltageV)), CurrentA: make([]float64, len(s.VoltageV)), At: to}
	for i := range s.VoltageV {
		p := by.Translate(Point{s.VoltageV[i], s.CurrentA[i]}, s.At, to)
		moved.VoltageV[i], moved.CurrentA[i] = p.VoltageV, p.CurrentA
	}
	return moved, nil
}

// Maximum returns the point of the highest power, by a parabola through the
// highest sample and its neighbours in power over voltage. It refuses a sweep
// whose highest sample is its first or last: the maximum lies outside. Samples
// that are not numbers are never the highest.
//
// Error: below 0.02 % for points 1 % of Vmp apart on an exact curve; noise of
// single points passes through.
//
// Source: the parabola is common practice; IEC 60904-1 leaves the fit open.
func (s Sweep) Maximum() (Point, error) {
	n := min(len(s.VoltageV), len(s.CurrentA))
	best := 0
	for i := range n {
		if s.VoltageV[i]*s.CurrentA[i] > s.VoltageV[best]*s.CurrentA[best] {
			best = i
		}
	}
	if n < 3 || best == 0 || best == n-1 {
		return Point{}, refuse(MethodNone, ReasonNoMaximum, "the highest power of the sweep lies at its end")
	}
	top := s.vertex(best)
	if !finite(top.VoltageV, top.CurrentA) {
		return Point{}, refuse(MethodNone, ReasonSweepBroken, "the highest power of the sweep is not a number")
	}
	return top, nil
}

// vertex is the top of the parabola in power over voltage through the sample at
// i and its neighbours, or that sample where they do not bend down.
func (s Sweep) vertex(i int) Point {
	at := Point{s.VoltageV[i], s.CurrentA[i]}
	left, right := s.VoltageV[i-1]-at.VoltageV, s.VoltageV[i+1]-at.VoltageV
	if left == 0 || right == 0 || left == right {
		return at
	}
	top := at.PowerW()
	slopeL := (s.VoltageV[i-1]*s.CurrentA[i-1] - top) / left
	slopeR := (s.VoltageV[i+1]*s.CurrentA[i+1] - top) / right
	bend := (slopeR - slopeL) / (right - left)
	if !(bend < 0) {
		return at
	}
	slope := slopeL - bend*left
	step := -slope / (2 * bend)
	if !(step >= left && step <= right) {
		return at
	}
	power := top + slope*step + bend*step*step
	voltage := at.VoltageV + step
	return Point{VoltageV: voltage, CurrentA: power / voltage}
}

// Limits of procedure 3: beyond them interpolation has become extrapolation,
// which distorts the curve (Xu et al. 2023).
const (
	lowestFraction  = -0.3
	highestFraction = 1.3
)

// What the target of procedure 3 may lie beside the line between two sweeps
// (common practice, no source): either alone costs half a percent of power.
const (
	besideWM2 = 5.0
	besideK   = 1.0
)

// Fraction returns how far from first to second the target of procedure 3 lies,
// 0 at first and 1 at second: the nearest point of the line between them in
// light and temperature. It refuses a target that lies more than 5 W/m2 or 1 K
// beside the line (light and temperature do not agree), conditions that hardly
// differ and a fraction outside -0.3..1.3.
//
// Error: rounding; what lies beside the line is bounded above.
//
// Source: IEC 60891, procedure 3; the bounds after Xu et al. (2023).
func Fraction(first, second, target Conditions) (float64, error) {
	const m = MethodProcedure3
	if err := checkConditions(m, first, second, target); err != nil {
		return 0, err
	}
	light, heat := (second.PoaWM2-first.PoaWM2)/besideWM2, (second.CellC-first.CellC)/besideK
	length := light*light + heat*heat
	if length < 1 {
		return 0, refuse(m, ReasonInput, "the two sweeps were taken under the same conditions")
	}
	a := (light*(target.PoaWM2-first.PoaWM2)/besideWM2 + heat*(target.CellC-first.CellC)/besideK) / length
	met := mix(first, second, a)
	if math.Abs(met.PoaWM2-target.PoaWM2) > besideWM2 || math.Abs(met.CellC-target.CellC) > besideK {
		return 0, refuse(m, ReasonOffLine, fmt.Sprintf("light and temperature do not agree: nearest are %.0f W/m2 and %.1f C for a target of %.0f W/m2 and %.1f C",
			met.PoaWM2, met.CellC, target.PoaWM2, target.CellC))
	}
	if a < lowestFraction || a > highestFraction {
		return 0, refuse(m, ReasonExtrapolation, fmt.Sprintf("the target lies at %.2f between the sweeps, outside %v..%v", a, lowestFraction, highestFraction))
	}
	return a, nil
}

func mix(first, second Conditions, a float64) Conditions {
	return Conditions{
		PoaWM2: first.PoaWM2 + a*(second.PoaWM2-first.PoaWM2),
		CellC:  first.CellC + a*(second.CellC-first.CellC),
	}
}

// MixPoints returns the point a fraction a of the way from p to q; q must be the
// point of the second curve at the current of p plus the difference of the
// short-circuit currents:
//
//	V3 = V1 + a (V2-V1);  I3 = I1 + a (I2-I1)
//
// a is between -0.3 and 1.3, as Fraction returns it.
//
// Error: that of the two points.
//
// Source: IEC 60891, procedure 3.
func MixPoints(p, q Point, a float64) Point {
	return Point{
		VoltageV: p.VoltageV + a*(q.VoltageV-p.VoltageV),
		CurrentA: p.CurrentA + a*(q.CurrentA-p.CurrentA),
	}
}

// Between returns the curve of procedure 3 at the target between two sweeps with
// the short-circuit currents firstIscA and secondIscA. Its conditions are those
// actually met, up to 5 W/m2 and 1 K beside the target. Points of first without
// a partner on second are left out.
//
// It refuses what Fraction refuses, sweeps that do not reach both axes and pairs
// with too few common points.
//
// Error: as Fraction bounds it. Source: IEC 60891, procedure 3.
func Between(first, second Sweep, firstIscA, secondIscA float64, target Conditions) (Sweep, error) {
	const m = MethodProcedure3
	for _, s := range []Sweep{first, second} {
		if err := s.checkShape(m); err != nil {
			return Sweep{}, err
		}
		if !s.ReachesShort() || !s.ReachesOpen() {
			return Sweep{}, refuse(m, ReasonSweepShort, "a sweep does not reach both axes")
		}
	}
	if !(firstIscA > 0) || !(secondIscA > 0) || !finite(firstIscA, secondIscA) {
		return Sweep{}, refuse(m, ReasonMissing, "needs the short-circuit currents of both sweeps")
	}
	a, err := Fraction(first.At, second.At, target)
	if err != nil {
		return Sweep{}, err
	}
	mixed := Sweep{At: mix(first.At, second.At, a)}
	for i, v := range first.VoltageV {
		current := first.CurrentA[i] + secondIscA - firstIscA
		partner, found := second.voltageAt(current)
		if !found {
			continue
		}
		p := MixPoints(Point{v, first.CurrentA[i]}, Point{partner, current}, a)
		mixed.VoltageV, mixed.CurrentA = append(mixed.VoltageV, p.VoltageV), append(mixed.CurrentA, p.CurrentA)
	}
	if len(mixed.VoltageV) < fewestPoints {
		return Sweep{}, refuse(m, ReasonSweepBroken, fmt.Sprintf("only %d points of the sweeps pair up", len(mixed.VoltageV)))
	}
	return mixed, nil
}

// voltageAt returns the voltage at a current, linear between samples, searched
// from the open end, where the curve is steep.
func (s Sweep) voltageAt(currentA float64) (float64, bool) {
	for j := len(s.CurrentA) - 2; j >= 0; j-- {
		high, low := s.CurrentA[j], s.CurrentA[j+1]
		if currentA <= high && currentA >= low && high > low {
			share := (high - currentA) / (high - low)
			return s.VoltageV[j] + share*(s.VoltageV[j+1]-s.VoltageV[j]), true
		}
	}
	return 0, false
}
