package sheet

import (
	"fmt"
	"slices"
	"strings"

	"evensun/internal/fieldtest"
)

// A heading is a column of the table at hand.
type heading struct {
	Column
	convert conversion
	ignored bool
}

// needsUnit lists the units of the interface that a usual heading does not imply: a
// temperature without a unit may be in either of two.
var needsUnit = map[string]bool{"Cel": true, "m/s": true, "m": true, "kg": true, "m2": true, "L": true}

// readHeader finds what each column of a table means. All faults are told at once.
func readHeader(cells []string, ignore []string) ([]heading, []string, error) {
	var headings []heading
	var notes []string
	var faults []fieldtest.Fault
	seen := map[string]bool{}
	for i, cell := range cells {
		if cell == "" || slices.Contains(ignore, cell) {
			headings = append(headings, heading{ignored: true})
			continue
		}
		h, reason := headingOf(cell)
		switch {
		case reason != "":
			faults = append(faults, headerFault(i, cell, "unknown_column", reason))
		case seen[h.Name]:
			faults = append(faults, headerFault(i, cell, "repeated_column", "Another column means "+h.Name+" too. Leave one out, or name it in ignore."))
		case !h.convert.same():
			notes = append(notes, fmt.Sprintf("Column %q was converted from %s to %s (%s).", cell, h.convert.from, h.convert.to, h.Name))
		}
		seen[h.Name] = true
		headings = append(headings, h)
	}
	if len(faults) == 0 {
		return headings, notes, nil
	}
	return nil, nil, &fieldtest.Refusal{Kind: fieldtest.ValidationFailed, Detail: "The names of the columns have faults. Nothing was stored.",
		Faults: faults, Extra: map[string]any{"allowed": names()}}
}

func headerFault(i int, cell, code, reason string) fieldtest.Fault {
	return fieldtest.Fault{Pointer: fmt.Sprintf("#/header/%d", i), Code: code, Value: clip(cell), Reason: reason}
}

// headingOf returns what a heading means, or why it means nothing.
func headingOf(cell string) (heading, string) {
	name, unit := splitUnit(cell)
	column, known := columnOf(name)
	if !known {
		return heading{}, "There is no column of this name." + meant(name) + " Rename it, leave it out, or name it in the parameter ignore."
	}
	plain := conversion{factor: 1}
	exact := strings.EqualFold(strings.TrimSpace(name), column.Name)
	switch {
	case unit == "" && (exact || !needsUnit[column.Unit]):
		return heading{Column: column, convert: plain}, ""
	case unit == "":
		return heading{}, fmt.Sprintf("This may be in more than one unit. Write the unit behind it, as %s (%s); %s are read.", name, firstUnit(column.Unit), unitsFor(column.Unit))
	case column.Unit == "":
		return heading{}, fmt.Sprintf("The column %s has no unit.", column.Name)
	}
	convert, ok := conversionOf(unit, column.Unit)
	if !ok {
		return heading{}, fmt.Sprintf("The unit %q is not one of %s, in which %s may stand.", clip(unit), unitsFor(column.Unit), column.Name)
	}
	return heading{Column: column, convert: convert}, ""
}

func firstUnit(unit string) string { return conversions[unit][0].to }

// splitUnit parts a heading such as Voltage (V) or Voltage [V].
func splitUnit(cell string) (name, unit string) {
	for _, pair := range []string{"()", "[]"} {
		open := strings.LastIndexByte(cell, pair[0])
		if open > 0 && strings.HasSuffix(cell, pair[1:]) {
			return strings.TrimSpace(cell[:open]), strings.TrimSpace(cell[open+1 : len(cell)-1])
		}
	}
	return cell, ""
}

// meant guesses the column that a name is a slip of.
func meant(name string) string {
	folded := fold(name)
	for _, c := range columns {
		if folded != "" && (strings.HasPrefix(fold(c.Name), folded) || strings.HasPrefix(folded, fold(c.Name))) {
			return fmt.Sprintf(" Is %q meant?", c.Name)
		}
	}
	return ""
}

// clip shortens what is told back to whom sent it.
func clip(text string) string {
	const most = 60
	if r := []rune(text); len(r) > most {
		return string(r[:most]) + "..."
	}
	return text
}
