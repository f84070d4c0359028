package celltemp

import "math"

// A Mounting is a row of King's table: how a module stands and what it is made of.
type Mounting struct {
	Name   string
	A      float64 // logarithm of the heating in still air, K m2/W
	BPerMS float64 // its fall with wind, s/m
	DeltaK float64 // cell above back at 1000 W/m2
}

// OpenRackPolymer is glass, cell and polymer sheet with air behind: the usual stand-in
// for a panel on its kickstand. Step and error are in K.
//
// Source: King et al., SAND2004-3535 (2004), table 1, as that of InsulatedPolymer.
//
// Error: 5 K as the source states it for its model, in still air more.
func OpenRackPolymer() Mounting { return Mounting{"king_open_rack_polymer", -3.56, -0.0750, 3} }

// InsulatedPolymer is glass, cell and polymer sheet with no air behind: the hot bound
// for a panel flat on the ground.
//
// Error: 5 K as the source states it for its model.
//
// Source: King et al., SAND2004-3535 (2004), table 1.
func InsulatedPolymer() Mounting {
	return Mounting{"king_insulated_polymer", -2.81, -0.0455, 0}
}

// RiseKPerWM2 returns how far the back of a module is above the air for each W/m2 of
// plane-of-array irradiance, K m2/W: exp(a + b*W). windMS is W (0 to 20 m/s).
//
// Error: that of King.
//
// Source: King et al., SAND2004-3535 (2004), equation 11.
func (m *Mounting) RiseKPerWM2(windMS float64) float64 { return math.Exp(m.A + m.BPerMS*windMS) }

// A Temperature is that of the back of a module and that of its cells, C.
type Temperature struct{ ModuleC, CellC float64 }

// King returns the temperature of a module in steady sun, C:
//
//	Tm = Ta + G*exp(a + b*W),  Tc = Tm + dT*G/1000
//
// poaWM2 is G (0 to 1500 W/m2), airC Ta (-40 to 60 C), windMS W (0 to 20 m/s; the
// source's wind blows at 10 m, a tester's at the panel, which the uncertainty of the
// wind covers).
//
// Error: 5 K for the rigid modules of the source (from memory); 4 K is counted, one standard
// deviation, on a kickstand and more flat on the ground (common practice). A roof
// system on a clear winter day was 1.7 +- 2.5 K cooler than this (TestKingAgainstMeasuredSystem).
//
// Source: King et al., SAND2004-3535 (2004), equations 11 and 12.
func King(poaWM2, airC, windMS float64, m Mounting) Temperature {
	module := airC + poaWM2*m.RiseKPerWM2(windMS)
	return Temperature{ModuleC: module, CellC: FromBack(module, poaWM2, m.DeltaK)}
}

// FromBack returns the temperature of the cells in C over that of the back:
// Tc = Tm + dT*G/1000.
//
// moduleC is Tm, poaWM2 G (0 to 1500 W/m2), deltaK dT at 1000 W/m2 (0 to 5 K: 3
// with air behind, BackStep).
//
// Error: dT +-2 K with air behind and +-1 K flat, rectangular (common practice:
// fabric and foam insulate more than the thin sheet of the source).
//
// Source: King et al., SAND2004-3535 (2004), equation 12.
func FromBack(moduleC, poaWM2, deltaK float64) float64 {
	return moduleC + deltaK*poaWM2/1000
}

// A FlatRange is what a panel flat on the ground may have: it loses heat upwards like
// any other, downwards less or none.
type FlatRange struct{ HotC, CoolC float64 }

// FlatBounds returns the bounds of the cells' temperature of a panel that lies on the
// ground, C: hot with an insulated back, cool with open air behind.
//
// Arguments in any range that King takes.
//
// Error: the bounds are the statement (see UK).
//
// Source: as King; for fabric panels common practice, no source.
func FlatBounds(poaWM2, airC, windMS float64) FlatRange {
	return FlatRange{
		HotC:  King(poaWM2, airC, windMS, InsulatedPolymer()).CellC,
		CoolC: King(poaWM2, airC, windMS, OpenRackPolymer()).CellC,
	}
}

// MiddleC returns the mean of the bounds, C.
//
// Error: UK. Source: definition.
func (f FlatRange) MiddleC() float64 { return (f.HotC + f.CoolC) / 2 }

// UK returns the standard uncertainty of MiddleC in K were every value between the
// bounds equally likely: |hot - cool|/(2 sqrt 3).
//
// Error: none; it states one. Source: JCGM 100:2008, 4.3.7.
func (f FlatRange) UK() float64 { return math.Abs(f.HotC-f.CoolC) / (2 * math.Sqrt(3)) }
