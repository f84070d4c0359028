package fieldtest

import (
	"time"

	"github.com/google/uuid"
)

// A Finding is a rule's doubt about a reading, session, rig, panel model or tester.
type Finding struct {
	ID         uuid.UUID      `json:"id"`
	Rule       string         `json:"rule"`
	Severity   Severity       `json:"severity"`
	TesterID   *uuid.UUID     `json:"tester_id"`
	RigID      *uuid.UUID     `json:"rig_id"`
	PanelModel *string        `json:"panel_model"`
	SessionID  *uuid.UUID     `json:"session_id"`
	ReadingID  *uuid.UUID     `json:"reading_id"`
	Label      *string        `json:"label"`
	Pointer    string         `json:"pointer"`
	Value      *float64       `json:"value"`
	Limit      *float64       `json:"limit"`
	Relation   string         `json:"relation"`
	Unit       string         `json:"unit"` // UCUM
	Reason     string         `json:"reason"`
	Basis      map[string]any `json:"basis"`
	State      FindingState   `json:"state"`
	Priority   float64        `json:"priority"` // 0 to 100
	Band       string         `json:"band"`     // high, medium, low
	CreatedAt  time.Time      `json:"created_at"`
	Verdicts   []Verdict      `json:"verdicts,omitempty"`
	Retains    *uuid.UUID     `json:"-"` // a finding of the session's earlier revision, whose verdicts so far count here too
	Audited    bool           `json:"-"` // raised by an audit, which knows it again

	Arrangement *Arrangement `json:"arrangement,omitempty"` // of the readings that it is about; nil: any
	CoverClass  *string      `json:"cover_class,omitempty"` // of covered readings; nil: any
}

// A Verdict is a reviewer's decision on a finding. A later one replaces it.
type Verdict struct {
	Verdict  Decision  `json:"verdict"`
	Note     string    `json:"note"`
	Reviewer uuid.UUID `json:"reviewer"`
	At       time.Time `json:"at"`
	Sequence int64     `json:"sequence"`

	FindingID uuid.UUID `json:"-"` // that it was given on: of an earlier revision where it is retained
}

// A Caution warns of a hazard. It is never a verdict and never lowers a rank.
type Caution struct {
	ID    string `json:"id"`
	Level string `json:"level"` // warn or inform
	Text  string `json:"text"`
}
