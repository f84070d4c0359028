package contract

import (
	"bytes"
	"io"
	"slices"
	"strings"
	"time"

	"evensun/internal/fieldtest"

	"github.com/go-json-experiment/json/jsontext"
)

// Session decodes a submitted session and holds it against schema and rules. Faults
// of both are told together, in document order.
func Session(raw []byte, now time.Time) (fieldtest.Session, error) {
	var s fieldtest.Session
	err := both(raw, "Session", &s, func() []fieldtest.Fault { return CheckSession(s, now) })
	return s, err
}

// PanelModel decodes a panel model and holds it against schema and rules.
func PanelModel(raw []byte) (fieldtest.PanelModel, error) {
	var m fieldtest.PanelModel
	err := both(raw, "PanelModel", &m, func() []fieldtest.Fault { return CheckPanelModel(m) })
	return m, err
}

// Checked decodes a body against the schema of that name, then applies rules to what
// was decoded, and tells the faults of both together.
func Checked[T any](raw []byte, schema string, to *T, rules func() []fieldtest.Fault) error {
	return both(raw, schema, to, rules)
}

// Under returns the faults with their pointers moved below a member.
func Under(member string, faults []fieldtest.Fault) []fieldtest.Fault {
	for i := range faults {
		faults[i].Pointer = Pointer(member) + strings.TrimPrefix(faults[i].Pointer, "#")
	}
	return faults
}

func both[T any](raw []byte, schema string, to *T, rules func() []fieldtest.Fault) error {
	c, err := Own()
	if err != nil {
		return err
	}
	faults, omitted, err := c.check(raw, schema)
	if err != nil {
		return err
	}
	err = decode(raw, to)
	if err != nil && len(faults) == 0 {
		return err
	}
	if err == nil {
		faults = merge(raw, faults, rules())
	}
	if len(faults) == 0 {
		return nil
	}
	if len(faults) > maxFaults {
		faults, omitted = faults[:maxFaults], omitted+len(faults)-maxFaults
	}
	return refuse(faults, omitted)
}

// merge returns the faults of schema and rules in document order. Of two faults at
// one place the schema's stays: what a rule says of a member that is no good misleads.
func merge(raw []byte, schema, rules []fieldtest.Fault) []fieldtest.Fault {
	if len(rules) == 0 {
		return schema
	}
	taken := map[string]bool{}
	for _, f := range schema {
		taken[f.Pointer] = true
	}
	all := schema
	for _, f := range rules {
		if !within(taken, f.Pointer) {
			all = append(all, f)
		}
	}
	at := offsets(raw)
	slices.SortStableFunc(all, func(a, b fieldtest.Fault) int { return at.of(a.Pointer) - at.of(b.Pointer) })
	return all
}

// within tells whether a member or an object around it is taken.
func within(taken map[string]bool, p string) bool {
	for !taken[p] {
		i := strings.LastIndexByte(p, '/')
		if i < 0 {
			return false
		}
		p = p[:i]
	}
	return true
}

// positions tells where in a body each value begins.
type positions map[string]int

func offsets(raw []byte) positions {
	dec := jsontext.NewDecoder(bytes.NewReader(raw))
	at := positions{}
	for {
		start := int(dec.InputOffset())
		if _, err := dec.ReadToken(); err == io.EOF || err != nil {
			return at
		}
		p := pointer(dec.StackPointer())
		if _, seen := at[p]; !seen {
			at[p] = start
		}
	}
}

// of returns where a member stands, or where the object stands that lacks it.
func (at positions) of(p string) int {
	for {
		if offset, ok := at[p]; ok {
			return offset
		}
		i := strings.LastIndexByte(p, '/')
		if i < 0 {
			return 0
		}
		p = p[:i]
	}
}
