package stc

import "fmt"

// Reason says in one word why a method does not serve the data.
type Reason string

// The reasons for a refusal.
const (
	ReasonMissing       Reason = "data_missing"         // the method needs what was not submitted
	ReasonTechnology    Reason = "not_crystalline"      // procedure 4 knows crystalline silicon only
	ReasonExtrapolation Reason = "extrapolation"        // procedure 3 outside -0.3..1.3
	ReasonOffLine       Reason = "target_off_line"      // procedure 3: light and temperature do not agree
	ReasonSweepShort    Reason = "sweep_short"          // the sweep does not reach an axis
	ReasonSweepBroken   Reason = "sweep_unusable"       // lengths, order or numbers of the sweep
	ReasonNoMaximum     Reason = "maximum_not_enclosed" // the highest power lies at an end
	ReasonInput         Reason = "input_out_of_range"   // a coefficient or a condition makes no sense
	ReasonMethod        Reason = "method_unknown"
)

// A Refusal is the error of a method that does not serve the data.
type Refusal struct {
	Method Method
	Reason Reason
	Detail string // what is missing or wrong, in words
}

// Error returns method and detail as a sentence without capital.
func (r *Refusal) Error() string {
	if r.Method == MethodNone {
		return r.Detail
	}
	return fmt.Sprintf("%s: %s", r.Method, r.Detail)
}

func refuse(m Method, reason Reason, detail string) error {
	return &Refusal{Method: m, Reason: reason, Detail: detail}
}
