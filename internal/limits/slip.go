package limits

import (
	"math"
	"strconv"

	"evensun/internal/stc"
)

// A Slip is a reading of a value in another unit.
type Slip struct {
	Unit      string  // what the tester may have meant, as "deg F"
	Converted float64 // the value in our unit
	OfDigits  bool    // a slip of the pen, named by Unit, not a unit
}

// Quantity is a kind of value that testers send in the wrong unit.
type Quantity uint8

// The quantities whose slips are known.
const (
	QuantityWind Quantity = iota
	QuantityTemperature
	QuantityMass
	QuantityArea
	QuantityLength
	QuantityCrossSection
	QuantityIrradiance
	QuantityCoefficient
	QuantityCurrent
	QuantityPower
)

type conversion struct {
	unit           string
	offset, factor float64 // (x + offset) * factor
}

func conversions(q Quantity) []conversion {
	switch q {
	case QuantityWind:
		return windConversions[:]
	case QuantityTemperature:
		return temperatureConversions[:]
	case QuantityMass:
		return massConversions[:]
	case QuantityArea:
		return areaConversions[:]
	case QuantityLength:
		return lengthConversions[:]
	case QuantityIrradiance:
		return irradianceConversions[:]
	case QuantityCoefficient:
		return coefficientConversions[:]
	case QuantityCurrent:
		return currentConversions[:]
	case QuantityPower:
		return powerConversions[:]
	}
	return nil
}

// Exact factors: international yard and pound (1959), nautical mile, degree
// Fahrenheit.
var (
	windConversions        = [...]conversion{{"mph", 0, 0.44704}, {"km/h", 0, 1 / 3.6}, {"knot", 0, 1852.0 / 3600}, {"ft/s", 0, 0.3048}}
	temperatureConversions = [...]conversion{{"F", -32, 1 / 1.8}, {"K", -kelvin0C, 1}}
	massConversions        = [...]conversion{{"lb", 0, 0.45359237}, {"oz", 0, 0.028349523125}, {"g", 0, 0.001}}
	areaConversions        = [...]conversion{{"mm2", 0, 1e-6}, {"cm2", 0, 1e-4}, {"in2", 0, 0.00064516}, {"ft2", 0, 0.09290304}}
	lengthConversions      = [...]conversion{{"mm", 0, 0.001}, {"cm", 0, 0.01}, {"in", 0, 0.0254}, {"ft", 0, 0.3048}}
	irradianceConversions  = [...]conversion{{"mW/cm2", 0, 10}, {"kW/m2", 0, 1000}}
	coefficientConversions = [...]conversion{{"percent", 0, 0.01}}
	currentConversions     = [...]conversion{{"mA", 0, 0.001}}
	powerConversions       = [...]conversion{{"mW", 0, 0.001}, {"kW", 0, 1000}}
)

// UnitSlips returns what value could have meant: nothing when it lies inside its
// plausible range from low to high, else every conversion of the quantity that
// lies inside. A wind of 12 may have been mph: that cannot be seen, and is not
// doubted.
func UnitSlips(q Quantity, value, low, high float64) []Slip {
	if !outside(value, low, high) {
		return nil
	}
	var slips []Slip
	if q == QuantityCrossSection {
		if mm2 := stc.AWGToMM2(value); value == math.Round(value) && value >= 6 && value <= 20 && !outside(mm2, low, high) {
			slips = append(slips, Slip{"AWG", mm2, false})
		}
		return slips
	}
	for _, c := range conversions(q) {
		if x := (value + c.offset) * c.factor; x >= low && x <= high {
			slips = append(slips, Slip{c.unit, x, false})
		}
	}
	return slips
}

// CoefficientSlips is UnitSlips for a temperature coefficient in 1/K, which may
// have been sent in percent per K or, where perUnit is the Voc or Isc it belongs
// to (NaN: none), in V/K or A/K; unit names that. What lands below 0.0001 is no
// coefficient of a panel and not suggested.
func CoefficientSlips(value, low, high, perUnit float64, unit string) []Slip {
	if !outside(value, low, high) {
		return nil
	}
	all := append(UnitSlips(QuantityCoefficient, value, low, high), Slip{unit, value / perUnit, false})
	kept := all[:0]
	for _, s := range all {
		if s.Converted >= low && s.Converted <= high && math.Abs(s.Converted) >= 1e-4 {
			kept = append(kept, s)
		}
	}
	return kept
}

func outside(x, low, high float64) bool { return x < low || x > high }

// DigitSlips returns the values near x that a slip of the pen makes of it (point
// moved by one, two neighbouring digits swapped) and that come within 2 % of
// target.
func DigitSlips(x, target float64) []Slip {
	var slips []Slip
	add := func(what string, y float64) {
		if y != x && math.Abs(y-target) <= 0.02*math.Abs(target) {
			slips = append(slips, Slip{what, y, true})
		}
	}
	add("the decimal point moved", x/10)
	add("the decimal point moved", x*10)
	digits := []byte(strconv.FormatFloat(x, 'f', -1, 64))
	for i := 0; i+1 < len(digits); i++ {
		j := i + 1
		if digits[j] == '.' {
			j++
		}
		if digits[i] == '.' || j >= len(digits) {
			continue
		}
		digits[i], digits[j] = digits[j], digits[i]
		if y, err := strconv.ParseFloat(string(digits), 64); err == nil {
			add("two digits swapped", y)
		}
		digits[i], digits[j] = digits[j], digits[i]
	}
	return slips
}
