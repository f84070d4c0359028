package stc

import (
	"fmt"
	"strings"

	"evensun/internal/fieldtest"
)

// A Method is a way to standard test conditions, by its API name.
type Method string

// The methods, and MethodNone for data that no method serves.
const (
	MethodNone       Method = ""
	MethodSimple     Method = "simple_power"
	MethodProcedure1 Method = "procedure_1"
	MethodProcedure2 Method = "procedure_2"
	MethodProcedure3 Method = "procedure_3"
	MethodProcedure4 Method = "procedure_4"
)

// A Need is one thing that a method needs.
type Need uint16

// What methods need.
const (
	NeedPower       Need = 1 << iota // a steady power at the maximum, read or from V and I or a sweep
	NeedPoint                        // voltage and current at the maximum, or a sweep
	NeedSweep                        // a current-voltage sweep
	NeedTwoSweeps                    // two sweeps under different light or temperature
	NeedTarget                       // the two sweeps enclose the target (Fraction agrees)
	NeedShortEnd                     // the sweep reaches zero voltage
	NeedOpenEnd                      // the sweep reaches zero current
	NeedSeries                       // series resistance, determined for the panel type or on this sweep
	NeedKappa                        // its temperature coefficient, determined for the panel type
	NeedVoc                          // open-circuit voltage at standard conditions
	NeedAlpha                        // temperature coefficient of the short-circuit current
	NeedBeta                         // temperature coefficient of the open-circuit voltage
	NeedCells                        // cells in series, checked
	NeedCrystalline                  // a crystalline silicon technology
	needEnd
)

const bothEnds = NeedSweep | NeedShortEnd | NeedOpenEnd

// A Rule is one row of the table that says which method serves which data.
type Rule struct {
	Method Method
	Needs  Need
	Why    string
}

// rules is the table, best method first:
//
//	method       | needs                                                | why in this place
//	-------------|------------------------------------------------------|------------------------------------------
//	procedure_3  | two sweeps that reach both axes and enclose the      | interpolates between measurements, needs
//	             | target                                               | no coefficient
//	procedure_4  | a sweep that reaches both axes, series resistance,   | needs no coefficient of the voltage
//	             | alpha, checked cell count, crystalline silicon       |
//	procedure_2  | a point or a sweep, Voc, alpha, beta, series         | relative coefficients; without kappa worse
//	             | resistance and kappa of the panel type               | than simple scaling, so never without
//	procedure_1  | a sweep that reaches both axes, alpha, beta, series  | no logarithm of light: for small steps of
//	             | resistance and kappa of the panel type               | light only
//	simple_power | a steady power                                       | the default; gamma of nameplate or class
//
// On exact curves of a known panel procedures 1 and 2 without kappa err by 0.7
// to 1.6 %, simple scaling by 0.03 to 0.23 %: hence kappa is a need. No panel model
// states it yet, so that the two are named only to be refused with what they lack.
var rules = [...]Rule{
	{MethodProcedure3, bothEnds | NeedTwoSweeps | NeedTarget, "interpolates between two measured sweeps"},
	{MethodProcedure4, bothEnds | NeedSeries | NeedAlpha | NeedCells | NeedCrystalline, "one sweep, no voltage coefficient needed"},
	{MethodProcedure2, NeedPoint | NeedSeries | NeedKappa | NeedVoc | NeedAlpha | NeedBeta, "relative coefficients of the panel type"},
	{MethodProcedure1, bothEnds | NeedSeries | NeedKappa | NeedAlpha | NeedBeta, "absolute coefficients, small steps of light"},
	{MethodSimple, NeedPower, "one steady power"},
}

// Data says what is known of a reading and its panel.
type Data struct {
	Power         bool // a steady power at the maximum
	Point         bool // voltage and current there
	Sweeps        int  // sweeps of the panel under different light or temperature
	EnclosesSTC   bool // two of them enclose the target: Fraction returns no error
	ShortEnd      bool // every sweep used reaches zero voltage
	OpenEnd       bool // every sweep used reaches zero current
	Series, Kappa bool // series resistance and its coefficient, of this panel type
	Voc           bool // open-circuit voltage at standard conditions
	Alpha, Beta   bool // temperature coefficients
	CellsInSeries int  // 0 unknown; a nameplate's count is often that of half cells
	Technology    fieldtest.Technology
}

// Has returns what the data provide, as a set of needs.
func (d Data) Has() Need {
	sweep := d.Sweeps > 0
	var has Need
	for _, h := range [...]struct {
		need Need
		met  bool
	}{
		{NeedPower, d.Power || d.Point || sweep}, {NeedPoint, d.Point || sweep}, {NeedSweep, sweep},
		{NeedTwoSweeps, d.Sweeps > 1}, {NeedTarget, d.EnclosesSTC}, {NeedShortEnd, d.ShortEnd}, {NeedOpenEnd, d.OpenEnd},
		{NeedSeries, d.Series}, {NeedKappa, d.Kappa}, {NeedVoc, d.Voc}, {NeedAlpha, d.Alpha}, {NeedBeta, d.Beta},
		{NeedCells, d.CellsInSeries > 0}, {NeedCrystalline, d.Technology.Crystalline()},
	} {
		if h.met {
			has |= h.need
		}
	}
	return has
}

// Choose returns the first method of the table whose needs the data meet, or
// MethodNone.
func Choose(d Data) Method {
	has := d.Has()
	for _, r := range rules {
		if r.Needs&^has == 0 {
			return r.Method
		}
	}
	return MethodNone
}

// Check returns nil if the data meet the needs of a method asked for by name,
// else a *Refusal that lists all that is missing.
func Check(m Method, d Data) error {
	for _, r := range rules {
		if r.Method != m {
			continue
		}
		missing := r.Needs &^ d.Has()
		switch missing {
		case 0:
			return nil
		case NeedCrystalline:
			return refuse(m, ReasonTechnology, fmt.Sprintf("knows crystalline silicon only, not technology %q", d.Technology))
		}
		return refuse(m, ReasonMissing, fmt.Sprintf("needs %s", missing))
	}
	return refuse(MethodNone, ReasonMethod, fmt.Sprintf("no method %q; there are simple_power and procedure_1 to procedure_4", string(m)))
}

// String lists the needs in words.
func (n Need) String() string {
	var words []string
	for bit, i := Need(1), 0; bit < needEnd; bit, i = bit<<1, i+1 {
		if n&bit != 0 {
			words = append(words, needWords[i])
		}
	}
	return strings.Join(words, ", ")
}

var needWords = [...]string{
	"a steady power at the maximum power point",
	"voltage and current at the maximum power point",
	"a current-voltage sweep",
	"a second sweep under different light or temperature",
	"two sweeps that enclose the target",
	"a sweep down to zero voltage",
	"a sweep down to zero current",
	"the series resistance",
	"kappa, the temperature coefficient of the series resistance",
	"the open-circuit voltage at standard conditions",
	"the temperature coefficient of the current",
	"the temperature coefficient of the voltage",
	"the number of cells in series",
	"a crystalline silicon technology",
}
