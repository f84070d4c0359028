package fieldtest

import (
	"slices"
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

// Effect returns the state that a finding of a severity gives to the readings it is about:
// excluded where a reviewer excludes them for it, held where it holds or refuses and
// nobody has decided yet, else counted. A finding without a state is open.
func Effect(severity Severity, state FindingState) ReadingState {
	switch {
	case state == FindingExcluded:
		return Excluded
	case severity != Note && state.Undecided():
		return Held
	}
	return Counted
}

// Under returns the state of a reading that was in state s once a finding with an effect
// is added: the graver of both. A superseded reading stays superseded.
func (s ReadingState) Under(effect ReadingState) ReadingState {
	if effect.gravity() > s.gravity() {
		return effect
	}
	return s
}

func (s ReadingState) gravity() int {
	return slices.Index([]ReadingState{Counted, Held, Excluded, Superseded}, s)
}

// Undecided tells whether a reviewer still has to decide on a finding in this state.
func (s FindingState) Undecided() bool {
	return s == FindingOpen || s == FindingAsked || s == ""
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
