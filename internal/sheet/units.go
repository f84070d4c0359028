package sheet

import (
	"math"
	"strconv"
	"strings"
)

// A conversion takes a number from the unit of a heading to that of the interface:
// number*factor + offset.
type conversion struct {
	from, to       string
	factor, offset float64
}

// same is the conversion of a heading in the interface's own unit.
func (c conversion) same() bool { return c.factor == 1 && c.offset == 0 }

// apply converts the text of a decimal number. One in the right unit stays as it was
// written: its last digit shows the step of the meter.
func (c conversion) apply(text string) string {
	x, err := strconv.ParseFloat(text, 64)
	if c.same() || err != nil {
		return text
	}
	return strconv.FormatFloat(roundedLike(x*c.factor+c.offset), 'g', -1, 64)
}

// roundedLike takes off the noise of binary arithmetic.
func roundedLike(x float64) float64 {
	y, err := strconv.ParseFloat(strconv.FormatFloat(x, 'g', 12, 64), 64)
	if err != nil || math.IsInf(x, 0) {
		return x
	}
	return y
}

// conversions lists, for each unit of the interface, how headings write it and which
// other units can stand for it.
var conversions = map[string][]conversion{
	"V":    {{"v", "V", 1, 0}, {"volt", "V", 1, 0}, {"volts", "V", 1, 0}, {"mv", "V", 1e-3, 0}, {"kv", "V", 1e3, 0}},
	"A":    {{"a", "A", 1, 0}, {"amp", "A", 1, 0}, {"amps", "A", 1, 0}, {"ampere", "A", 1, 0}, {"ma", "A", 1e-3, 0}},
	"W":    {{"w", "W", 1, 0}, {"watt", "W", 1, 0}, {"watts", "W", 1, 0}, {"wp", "W", 1, 0}, {"mw", "W", 1e-3, 0}, {"kw", "W", 1e3, 0}},
	"W/m2": {{"w/m2", "W/m2", 1, 0}, {"w/m^2", "W/m2", 1, 0}, {"kw/m2", "W/m2", 1e3, 0}, {"suns", "W/m2", 1e3, 0}},
	"Cel":  {{"c", "C", 1, 0}, {"cel", "C", 1, 0}, {"degc", "C", 1, 0}, {"celsius", "C", 1, 0}, {"f", "C", 1 / 1.8, -32 / 1.8}, {"degf", "C", 1 / 1.8, -32 / 1.8}, {"fahrenheit", "C", 1 / 1.8, -32 / 1.8}, {"k", "C", 1, -273.15}},
	"m/s":  {{"m/s", "m/s", 1, 0}, {"ms-1", "m/s", 1, 0}, {"km/h", "m/s", 1 / 3.6, 0}, {"kmh", "m/s", 1 / 3.6, 0}, {"kph", "m/s", 1 / 3.6, 0}, {"mph", "m/s", 1609.344 / 3600, 0}, {"kn", "m/s", 1852.0 / 3600, 0}, {"knots", "m/s", 1852.0 / 3600, 0}},
	"m":    {{"m", "m", 1, 0}, {"metres", "m", 1, 0}, {"meters", "m", 1, 0}, {"ft", "m", 0.3048, 0}, {"feet", "m", 0.3048, 0}},
	"kg":   {{"kg", "kg", 1, 0}, {"g", "kg", 1e-3, 0}, {"lb", "kg", 0.45359237, 0}, {"lbs", "kg", 0.45359237, 0}},
	"m2":   {{"m2", "m2", 1, 0}, {"m^2", "m2", 1, 0}, {"cm2", "m2", 1e-4, 0}, {"ft2", "m2", 0.09290304, 0}, {"sqft", "m2", 0.09290304, 0}},
	"mm2":  {{"mm2", "mm2", 1, 0}, {"mm^2", "mm2", 1, 0}},
	"L":    {{"l", "L", 1, 0}, {"litres", "L", 1, 0}, {"liters", "L", 1, 0}},
	"deg":  {{"deg", "deg", 1, 0}, {"degrees", "deg", 1, 0}, {"", "deg", 1, 0}},
	"%":    {{"%", "%", 1, 0}, {"percent", "%", 1, 0}},
	"%/K":  {{"%/k", "%/K", 1, 0}, {"%/c", "%/K", 1, 0}},
	"min":  {{"min", "min", 1, 0}, {"minutes", "min", 1, 0}, {"h", "min", 60, 0}, {"s", "min", 1.0 / 60, 0}},
	"1":    {{"1", "1", 1, 0}, {"%", "1", 1e-2, 0}},
}

// conversionOf returns how to come from the unit of a heading to that of the interface.
func conversionOf(heading, unit string) (conversion, bool) {
	folded := strings.NewReplacer(" ", "", "°", "", "º", "", "²", "2", "·", "", "⁻¹", "-1").Replace(strings.ToLower(heading))
	for _, c := range conversions[unit] {
		if c.from == folded {
			return c, true
		}
	}
	return conversion{}, false
}

// unitsFor names the units that a heading may have, for a message.
func unitsFor(unit string) string {
	var all []string
	for _, c := range conversions[unit] {
		if c.from != "" {
			all = append(all, c.from)
		}
	}
	return strings.Join(all, ", ")
}
