package limits

import (
	"math"
	"strconv"
	"strings"
)

// compared writes two different numbers with as few digits as keep their order,
// so that a text never contradicts the comparison behind it.
func compared(value, limit float64) (v, l string) {
	for digits := 3; digits < 17; digits++ {
		v, l = number(value, digits), number(limit, digits)
		shownV, errV := strconv.ParseFloat(v, 64)
		shownL, errL := strconv.ParseFloat(l, 64)
		if errV == nil && errL == nil && (shownV > shownL) == (value > limit) && (shownV < shownL) == (value < limit) {
			return v, l
		}
	}
	return number(value, -1), number(limit, -1)
}

// number writes x with so many significant digits, without an exponent where it
// reads well without; digits -1 writes all.
func number(x float64, digits int) string {
	if x == 0 {
		return "0"
	}
	if digits > 0 {
		rounded, err := strconv.ParseFloat(strconv.FormatFloat(x, 'g', digits, 64), 64)
		if err == nil {
			x = rounded
		}
	}
	if a := math.Abs(x); a >= 1e7 || a < 1e-5 {
		return strconv.FormatFloat(x, 'g', -1, 64)
	}
	return strconv.FormatFloat(x, 'f', -1, 64)
}

// unitWord turns a UCUM unit into what follows a number in a sentence.
func unitWord(ucum string) string {
	switch ucum {
	case "1":
		return ""
	case "Cel":
		return " C"
	case "1/K":
		return " per K"
	}
	return " " + ucum
}

// sentence says that a value breaks a limit, what the limit is and what to do:
// "11.3 A is above 10.97 A, ... ." followed by the cure.
func sentence(d *Doubt, limitIs, cure string) string {
	v, l := compared(d.Value, d.Limit)
	side := " is above "
	if d.Value < d.Limit {
		side = " is below "
	}
	if d.Value == d.Limit {
		side = " stands against "
	}
	unit := unitWord(d.Unit)
	return strings.TrimSpace(v + unit + side + l + unit + ", " + limitIs + ". " + cure)
}

// either joins what a value could have meant: "25 C if it is in F".
func either(slips []Slip, unit string) string {
	parts := make([]string, len(slips))
	for i, s := range slips {
		joint := " if it is in "
		if s.OfDigits {
			joint = " with "
		}
		parts[i] = number(s.Converted, 4) + unitWord(unit) + joint + slipWord(s.Unit)
	}
	return strings.Join(parts, ", or ")
}

func slipWord(unit string) string {
	switch unit {
	case "F":
		return "degrees Fahrenheit"
	case "K":
		return "kelvin"
	case "percent":
		return "percent per K"
	case "AWG":
		return "AWG gauge"
	}
	return unit
}
