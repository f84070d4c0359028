package store

import (
	"encoding/json"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"evensun/internal/fieldtest"
)

// allFindings returns the findings of a session and of its readings, each with the
// ids of what it is about.
func allFindings(w SessionWrite) []fieldtest.Finding {
	all := make([]fieldtest.Finding, 0, len(w.Findings))
	for _, f := range w.Findings {
		all = append(all, within(f, w, nil))
	}
	for _, j := range w.Judged {
		for _, f := range j.Findings {
			all = append(all, within(f, w, j.ID))
		}
	}
	return all
}

// within fills in the session and reading of a finding.
func within(f fieldtest.Finding, w SessionWrite, reading *uuid.UUID) fieldtest.Finding {
	id := w.ID
	f.SessionID = &id
	if f.ReadingID == nil {
		f.ReadingID = reading
	}
	if f.TesterID == nil {
		tester := w.TesterID
		f.TesterID = &tester
	}
	return f
}

// findingColumns hold one element a finding.
type findingColumns struct {
	ids, identities                            []*string
	rules, severities                          []string
	testers, rigs, sessions, readings          []*uuid.UUID
	models, labels                             []*string
	pointers, relations, units, reasons, bases []string
	states, bands                              []string
	values, limits                             []*float64
	priorities                                 []float64
	retains                                    []*uuid.UUID
	arrangements, coverClasses                 []*string
}

func findingColumnsOf(findings []fieldtest.Finding) (findingColumns, error) {
	var c findingColumns
	for _, f := range findings {
		basis, err := json.Marshal(notNilBasis(f.Basis))
		if err != nil {
			return c, fmt.Errorf("basis of finding %s: %w", f.Rule, err)
		}
		if f.ID == uuid.Nil {
			return c, fmt.Errorf("finding %s has no id", f.Rule)
		}
		id := f.ID.String()
		c.ids = append(c.ids, &id)
		c.identities, c.retains = append(c.identities, nil), append(c.retains, f.Retains)
		if f.Audited {
			identity := identityOf(f)
			c.identities[len(c.identities)-1] = &identity
		}
		c.rules = append(c.rules, f.Rule)
		c.severities = append(c.severities, string(f.Severity))
		c.testers, c.rigs = append(c.testers, f.TesterID), append(c.rigs, f.RigID)
		c.sessions, c.readings = append(c.sessions, f.SessionID), append(c.readings, f.ReadingID)
		c.models, c.labels = append(c.models, f.PanelModel), append(c.labels, f.Label)
		c.pointers, c.relations = append(c.pointers, f.Pointer), append(c.relations, f.Relation)
		c.units, c.reasons = append(c.units, f.Unit), append(c.reasons, f.Reason)
		c.bases = append(c.bases, string(basis))
		c.states, c.bands = append(c.states, string(stateOf(f))), append(c.bands, f.Band)
		c.values, c.limits = append(c.values, f.Value), append(c.limits, f.Limit)
		c.priorities = append(c.priorities, f.Priority)
		c.arrangements, c.coverClasses = append(c.arrangements, (*string)(f.Arrangement)), append(c.coverClasses, f.CoverClass)
	}
	return c, nil
}

func notNilBasis(b map[string]any) map[string]any {
	if b == nil {
		return map[string]any{}
	}
	return b
}

func stateOf(f fieldtest.Finding) fieldtest.FindingState {
	if f.State == "" {
		return fieldtest.FindingOpen
	}
	return f.State
}

// queue queues the statement name for all findings at a place in the ledger.
// sessionRevision 0 is none.
func (c findingColumns) queue(batch *pgx.Batch, name string, sessionRevision int, at sealedAt) {
	batch.Queue(query(name), c.ids, c.identities, c.rules, c.severities, c.testers, c.rigs, c.models, c.sessions, c.readings,
		c.labels, c.pointers, c.values, c.limits, c.relations, c.units, c.reasons, c.bases, c.states, c.priorities, c.bands,
		sessionRevision, at.at, at.sequence, c.retains, c.arrangements, c.coverClasses)
}

// scanFinding reads a finding without its verdicts.
func scanFinding(row pgx.CollectableRow) (fieldtest.Finding, error) {
	var f fieldtest.Finding
	var basis []byte
	var created time.Time
	err := row.Scan(&f.ID, &f.Rule, &f.Severity, &f.TesterID, &f.RigID, &f.PanelModel, &f.SessionID, &f.ReadingID, &f.Label,
		&f.Pointer, &f.Value, &f.Limit, &f.Relation, &f.Unit, &f.Reason, &basis, &f.State, &f.Priority, &f.Band, &created, &f.Arrangement, &f.CoverClass)
	if err != nil {
		return f, err
	}
	f.CreatedAt = created.UTC()
	return f, json.Unmarshal(basis, &f.Basis)
}
