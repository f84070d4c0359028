package compare

import (
	"errors"
	"fmt"
	"math"
)

// Errors that callers tell apart with errors.Is.
var (
	// ErrEmpty: a table without readings.
	ErrEmpty = errors.New("no readings")
	// ErrColumn: columns of unequal length, a code below 0, a missing grouping.
	ErrColumn = errors.New("column does not fit")
	// ErrValue: a value or variance that is not finite, or a negative variance.
	ErrValue = errors.New("value is not usable")
	// ErrModel: terms that these data or this combination of options cannot carry, as a
	// residual to be estimated from values that do not vary within any panel.
	ErrModel = errors.New("model cannot be fitted")
)

// A Table holds readings by column. Codes count from 0; names of codes are kept
// by the caller. Rows should come in one fixed order (that of their ids): the sum
// of one cell is taken in row order.
type Table struct {
	Value    []float64 // response, for ratios on the log scale
	Variance []float64 // known variance u^2 of each reading; nil: none known

	Panel    []int32 // what is compared: one fixed effect each
	Session  []int32 // readings that share an hour
	Tester   []int32 // who took them; nil: not recorded
	Rig      []int32 // with what; nil: one rig a tester
	Specimen []int32 // which unit of the panel; nil: one unit a tester and panel

	Minutes []float64 // time of the reading, for the drift term; nil: unknown order

	SessionVariance []float64 // known variance shared by a session, by code; nil: 0
	RigVariance     []float64 // known variance shared by a rig, by code; nil: 0

	SessionKey []uint64 // order in which a tester's sessions are kept by CapSessions; nil: by code
}

// Len returns the number of readings.
func (t Table) Len() int { return len(t.Value) }

// Panels returns the number of panel codes, used or not.
func (t Table) Panels() int { return levels(t.Panel) }

// Testers returns the number of tester codes, used or not.
func (t Table) Testers() int { return levels(t.Tester) }

// Sessions returns the number of session codes, used or not.
func (t Table) Sessions() int { return levels(t.Session) }

func levels(codes []int32) int {
	top := int32(-1)
	for _, c := range codes {
		top = max(top, c)
	}
	return int(top) + 1
}

func (t Table) check() error {
	n := t.Len()
	if n == 0 {
		return ErrEmpty
	}
	required := map[string][]int32{"panel": t.Panel, "session": t.Session}
	for name, codes := range required {
		if len(codes) != n {
			return fmt.Errorf("%w: %s has %d rows, value %d", ErrColumn, name, len(codes), n)
		}
	}
	for name, codes := range t.codes() {
		if err := checkCodes(name, codes, n); err != nil {
			return err
		}
	}
	return t.checkNumbers()
}

func (t Table) codes() map[string][]int32 {
	return map[string][]int32{"panel": t.Panel, "session": t.Session, "tester": t.Tester, "rig": t.Rig, "specimen": t.Specimen}
}

func checkCodes(name string, codes []int32, n int) error {
	if codes != nil && len(codes) != n {
		return fmt.Errorf("%w: %s has %d rows, value %d", ErrColumn, name, len(codes), n)
	}
	for i, c := range codes {
		if c < 0 {
			return fmt.Errorf("%w: %s of row %d is %d", ErrColumn, name, i, c)
		}
	}
	return nil
}

func (t Table) checkNumbers() error {
	for name, x := range map[string][]float64{"value": t.Value, "variance": t.Variance, "minutes": t.Minutes} {
		if x != nil && len(x) != t.Len() {
			return fmt.Errorf("%w: %s has %d rows, value %d", ErrColumn, name, len(x), t.Len())
		}
		if err := checkFinite(name, x, name == "variance"); err != nil {
			return err
		}
	}
	if t.SessionVariance != nil && len(t.SessionVariance) < t.Sessions() {
		return fmt.Errorf("%w: %d session variances for %d sessions", ErrColumn, len(t.SessionVariance), t.Sessions())
	}
	if t.RigVariance != nil && len(t.RigVariance) < levels(t.Rig) {
		return fmt.Errorf("%w: %d rig variances for %d rigs", ErrColumn, len(t.RigVariance), levels(t.Rig))
	}
	if t.SessionKey != nil && len(t.SessionKey) < t.Sessions() {
		return fmt.Errorf("%w: %d session keys for %d sessions", ErrColumn, len(t.SessionKey), t.Sessions())
	}
	return errors.Join(checkFinite("session variance", t.SessionVariance, true), checkFinite("rig variance", t.RigVariance, true))
}

func checkFinite(name string, x []float64, positive bool) error {
	for i, v := range x {
		if math.IsNaN(v) || math.IsInf(v, 0) || positive && v < 0 {
			return fmt.Errorf("%w: %s of row %d is %v", ErrValue, name, i, v)
		}
	}
	return nil
}

// nested tells whether every session belongs to one tester.
func (t Table) nested() bool {
	if t.Tester == nil {
		return true
	}
	owner := make([]int32, t.Sessions())
	for k, j := range t.Session {
		if owner[j] != 0 && owner[j] != t.Tester[k]+1 {
			return false
		}
		owner[j] = t.Tester[k] + 1
	}
	return true
}
