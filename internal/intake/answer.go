package intake

import (
	"math"
	"strconv"

	"evensun/internal/fieldtest"
)

// tagOf names a revision, as ETags do.
func tagOf(revision int) string { return "r" + strconv.Itoa(revision) }

// refuseImpossible points findings into the body that they are about, and refuses it if
// one of them does.
func refuseImpossible(findings []fieldtest.Finding, detail string) error {
	for i := range findings {
		findings[i].Pointer = "#/" + findings[i].Pointer
	}
	if faults := faultsOf(findings); len(faults) > 0 {
		return &fieldtest.Refusal{Kind: fieldtest.PhysicallyImpossible, Detail: detail, Faults: faults}
	}
	return nil
}

// faultsOf are the findings that refuse.
func faultsOf(findings []fieldtest.Finding) []fieldtest.Fault {
	var faults []fieldtest.Fault
	for i := range findings {
		f := &findings[i]
		if f.Severity == fieldtest.Reject {
			faults = append(faults, fieldtest.Fault{
				Pointer: f.Pointer, Code: f.Rule, Value: *f.Value, Limit: *f.Limit, Relation: f.Relation, Unit: f.Unit,
				Reason: f.Reason, Basis: f.Basis,
			})
		}
	}
	return faults
}

// nameFindings gives findings their ids, times and places in the queue; about says what
// they are about.
func (s *Service) nameFindings(findings []fieldtest.Finding, about func(*fieldtest.Finding)) error {
	for i := range findings {
		f := &findings[i]
		id, err := s.newID()
		if err != nil {
			return err
		}
		f.ID, f.CreatedAt = id, s.now().UTC()
		about(f)
		f.Priority, f.Band = priority(f)
	}
	return nil
}

// priority orders the review queue: how far the value is beyond its limit, on a scale
// on which statistical findings add their influence. Holds come before notes.
func priority(f *fieldtest.Finding) (float64, string) {
	weight := map[fieldtest.Severity]float64{fieldtest.Note: 10, fieldtest.Hold: 50, fieldtest.Reject: 90}[f.Severity]
	excess := 0.0
	if f.Value != nil && f.Limit != nil && *f.Limit != 0 {
		excess = min(1, math.Abs(*f.Value-*f.Limit)/math.Abs(*f.Limit)*2)
	}
	p := fieldtest.Significant(weight + 10*excess)
	switch {
	case p >= 55:
		return p, "high"
	case p >= 50:
		return p, "medium"
	}
	return p, "low"
}
