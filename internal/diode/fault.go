package diode

import (
	"fmt"
	"math"
)

// A RangeError says which input lies outside the range that its function takes.
type RangeError struct {
	Name  string  // as the field or argument is called
	Value float64 // what was given
	Want  string  // the range, in words
}

// Error names the input, its value and the range.
func (e *RangeError) Error() string {
	return fmt.Sprintf("%s is %v, want %s", e.Name, e.Value, e.Want)
}

// A Fault is an input that cannot be worked with as a whole; each kind is a constant.
type Fault string

// Error returns the sentence of the fault.
func (f Fault) Error() string { return string(f) }

func firstFault(faults ...*RangeError) error {
	for _, f := range faults {
		if f != nil {
			return f
		}
	}
	return nil
}

func above(name string, value, low float64) *RangeError {
	if value > low && !math.IsInf(value, 1) {
		return nil
	}
	return &RangeError{name, value, fmt.Sprintf("a number above %v", low)}
}

func aboveOrInfinite(name string, value, low float64) *RangeError {
	if value > low {
		return nil
	}
	return &RangeError{name, value, fmt.Sprintf("above %v, or +Inf", low)}
}

func atLeast(name string, value, low float64) *RangeError {
	if value >= low && !math.IsInf(value, 1) {
		return nil
	}
	return &RangeError{name, value, fmt.Sprintf("a number, %v or more", low)}
}

func within(name string, value, low, high float64) *RangeError {
	if value >= low && value <= high {
		return nil
	}
	return &RangeError{name, value, fmt.Sprintf("%v to %v", low, high)}
}
