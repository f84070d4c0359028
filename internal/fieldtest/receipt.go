package fieldtest

import (
	"time"

	"github.com/google/uuid"
)

// A JudgedReading is a reading with what the service made of it.
type JudgedReading struct {
	ID           *uuid.UUID   `json:"id"`
	Label        string       `json:"label"`
	PanelModel   *string      `json:"panel_model"` // nil for an inline nameplate without slug
	Specimen     string       `json:"specimen"`
	Kind         Kind         `json:"kind"`
	Arrangement  Arrangement  `json:"arrangement"`
	TakenAt      time.Time    `json:"taken_at"`
	State        ReadingState `json:"state"`
	Result       *Result      `json:"result"`
	ResultReason *string      `json:"result_reason"`
	Findings     []Finding    `json:"findings"`
	Derivation   []Step       `json:"derivation,omitempty"`
}

// A Receipt answers a submission: what was stored and what was made of it.
type Receipt struct {
	ID          *uuid.UUID          `json:"id"`
	Revision    int                 `json:"revision"`
	State       SessionState        `json:"state"`
	Stored      bool                `json:"stored"`
	Sequence    *int64              `json:"sequence"`
	SHA256      string              `json:"content_sha256"`
	Affects     []string            `json:"affects"`
	Readings    []JudgedReading     `json:"readings"`
	Conclusions []SessionConclusion `json:"conclusions"` // of its covered readings, by unit
	Findings    []Finding           `json:"findings"`
	Cautions    []Caution           `json:"cautions"`
	OwnOrder    *Ranking            `json:"own_order,omitempty"` // of its panels by the tester's own readings; nil: nothing to compare, or a tester of many sessions
}

// A StoredSession is one revision of a session as kept.
type StoredSession struct {
	ID          uuid.UUID       `json:"id"`
	Revision    int             `json:"revision"`
	State       SessionState    `json:"state"`
	StateReason string          `json:"state_reason,omitempty"`
	TesterID    uuid.UUID       `json:"tester_id"`
	RigID       uuid.UUID       `json:"rig_id"`
	RigRevision int             `json:"rig_revision"`
	SubmittedAt time.Time       `json:"submitted_at"`
	Sequence    int64           `json:"sequence"`
	SHA256      string          `json:"content_sha256"`
	Method      string          `json:"method"`  // version of rules and models it was judged by
	Session     Session         `json:"session"` // as submitted, place rounded
	Readings    []JudgedReading `json:"readings"`
	Findings    []Finding       `json:"findings"`
	Cautions    []Caution       `json:"cautions"`
}

// A SessionSummary is a session in a list.
type SessionSummary struct {
	ID           uuid.UUID    `json:"id"`
	Revision     int          `json:"revision"`
	State        SessionState `json:"state"`
	TesterID     uuid.UUID    `json:"tester_id"`
	StartedAt    time.Time    `json:"started_at"`
	EndedAt      time.Time    `json:"ended_at"`
	SubmittedAt  time.Time    `json:"submitted_at"`
	LatitudeDeg  float64      `json:"latitude_deg"`
	LongitudeDeg float64      `json:"longitude_deg"`
	Readings     int          `json:"readings"`
	Held         int          `json:"held"`
	PanelModels  []string     `json:"panel_models"`
	Sequence     int64        `json:"sequence"`
}
