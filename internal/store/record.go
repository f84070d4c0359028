package store

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"slices"
	"time"

	"github.com/google/uuid"

	"evensun/internal/fieldtest"
	"evensun/internal/ledger"
)

// The types of this file are what the ledger's rows hash, one a kind of row. A write
// fills one from what it stores and VerifyContent from what is stored, so whatever stands
// in them cannot be changed unseen. What may change later (states, the current revision,
// the day of a key's last use) stands in none; VerifyStates holds it against the record.

type testerRecord struct {
	ID          uuid.UUID `json:"id"`
	DisplayName string    `json:"display_name"`
	Salt        string    `json:"salt"` // leaves with the name, which then cannot be found by trying names
	Trusted     bool      `json:"trusted"`
}

type trustRecord struct {
	ID      uuid.UUID `json:"id"`
	Trusted bool      `json:"trusted"`
}

type keyRecord struct {
	ID           string         `json:"id"`
	SecretSHA256 string         `json:"secret_sha256"`
	TesterID     uuid.UUID      `json:"tester_id"`
	Role         fieldtest.Role `json:"role"`
	Name         string         `json:"name"`
	ExpiresAt    time.Time      `json:"expires_at"`
	ParentID     *string        `json:"parent_id,omitempty"` // left out in what was recorded before keys knew it
}

type revocationRecord struct {
	ID string `json:"id"`
}

// A modelRecord holds the columns that filters use beside the body that they repeat.
type modelRecord struct {
	ID          uuid.UUID            `json:"id"`
	Slug        string               `json:"slug"`
	Revision    int                  `json:"revision"`
	Maker       string               `json:"maker"`
	Model       string               `json:"model"`
	Technology  fieldtest.Technology `json:"technology"`
	PmaxW       *float64             `json:"pmax_w"`
	MassKg      *float64             `json:"mass_kg"`
	CellAreaM2  *float64             `json:"cell_area_m2"`
	PanelAreaM2 *float64             `json:"panel_area_m2"`
	Body        json.RawMessage      `json:"body"`
	Reason      string               `json:"reason"`
	CreatedBy   uuid.UUID            `json:"created_by"`
}

type priceRecord struct {
	ID         uuid.UUID `json:"id"`
	PanelModel string    `json:"panel_model"`
	TesterID   uuid.UUID `json:"tester_id"`
	Amount     string    `json:"amount"` // as the database writes it: the same money, the same text
	Currency   string    `json:"currency"`
	Date       string    `json:"date"`
	Region     string    `json:"region"`
	Condition  string    `json:"condition"`
}

type rigRecord struct {
	ID          uuid.UUID         `json:"id"`
	TesterID    uuid.UUID         `json:"tester_id"`
	Revision    int               `json:"revision"`
	Kind        fieldtest.RigKind `json:"kind"`
	PowerReadAt fieldtest.Side    `json:"power_read_at"`
	Body        json.RawMessage   `json:"body"`
}

// A sessionRecord takes what is long by its hash: the submission, the readings' columns,
// the results that it was accepted with, and the findings.
type sessionRecord struct {
	ID               uuid.UUID       `json:"id"`
	Revision         int             `json:"revision"`
	TesterID         uuid.UUID       `json:"tester_id"`
	RigID            uuid.UUID       `json:"rig_id"`
	RigRevision      int             `json:"rig_revision"`
	ReasonCode       string          `json:"reason_code"`
	Reason           string          `json:"reason"`
	StartedAt        time.Time       `json:"started_at"`
	EndedAt          time.Time       `json:"ended_at"`
	LatitudeDeg      float64         `json:"latitude_deg"`
	LongitudeDeg     float64         `json:"longitude_deg"`
	AltitudeM        *float64        `json:"altitude_m"`
	ClientRef        *string         `json:"client_ref"`
	PanelModels      []string        `json:"panel_models"`
	SubmissionSHA256 string          `json:"submission_sha256"` // of the bytes that are kept
	ContentSHA256    string          `json:"content_sha256"`    // by which the same session is known again
	Method           string          `json:"method"`
	ModelRevisions   json.RawMessage `json:"model_revisions"`
	ReadingsSHA256   string          `json:"readings_sha256"`
	ResultsSHA256    string          `json:"results_sha256"`
	FindingsSHA256   string          `json:"findings_sha256"`
}

type withdrawalRecord struct {
	ID       uuid.UUID  `json:"id"`
	Revision int        `json:"revision"`
	Reason   string     `json:"reason"`
	By       *uuid.UUID `json:"by,omitempty"` // left out before it was kept
}

type verdictRecord struct {
	ID        uuid.UUID          `json:"id"`
	FindingID uuid.UUID          `json:"finding_id"`
	Verdict   fieldtest.Decision `json:"verdict"`
	Note      string             `json:"note"`
	Reviewer  uuid.UUID          `json:"reviewer"`
}

// A findingsRecord is of doubts about a rig, a panel model or a tester as such.
type findingsRecord struct {
	FindingsSHA256 string           `json:"findings_sha256"`
	Obsolete       []uuid.UUID      `json:"obsolete"`
	Limited        []limitedFinding `json:"limited"`
}

// A limitedFinding reaches its rig's revisions up to one.
type limitedFinding struct {
	ID    uuid.UUID `json:"id"`
	Until int       `json:"rig_revision_until"`
}

type auditRecord struct {
	ComputedThrough int64       `json:"computed_through"`
	FindingsSHA256  string      `json:"findings_sha256"`
	Obsolete        []uuid.UUID `json:"obsolete"`
	Reopened        []uuid.UUID `json:"reopened"`
}

// A rejudgementRecord is of sessions that were judged anew.
type rejudgementRecord struct {
	Sessions       []rejudgedSession `json:"sessions"`
	FindingsSHA256 string            `json:"findings_sha256"`
	Obsolete       []uuid.UUID       `json:"obsolete"`
}

type rejudgedSession struct {
	ID            uuid.UUID `json:"id"`
	Revision      int       `json:"revision"`
	ResultsSHA256 string    `json:"results_sha256"`
}

// A findingRecord is a finding without its state. An audit gives its findings new numbers
// each time it runs, so of those only what they are about is recorded.
type findingRecord struct {
	ID              uuid.UUID       `json:"id"`
	Identity        *string         `json:"identity"`
	Rule            string          `json:"rule"`
	TesterID        *uuid.UUID      `json:"tester_id"`
	RigID           *uuid.UUID      `json:"rig_id"`
	PanelModel      *string         `json:"panel_model"`
	SessionID       *uuid.UUID      `json:"session_id"`
	SessionRevision *int            `json:"session_revision"`
	ReadingID       *uuid.UUID      `json:"reading_id"`
	Label           *string         `json:"label"`
	Pointer         string          `json:"pointer"`
	Unit            string          `json:"unit"`
	Retains         *uuid.UUID      `json:"retains"`
	Arrangement     *string         `json:"arrangement,omitempty"` // left out in what was recorded before there were any
	CoverClass      *string         `json:"cover_class,omitempty"`
	Numbers         *findingNumbers `json:"numbers,omitempty"`
}

type findingNumbers struct {
	Severity string          `json:"severity"`
	Value    *float64        `json:"value"`
	Limit    *float64        `json:"limit"`
	Relation string          `json:"relation"`
	Reason   string          `json:"reason"`
	Basis    json.RawMessage `json:"basis"`
	Priority float64         `json:"priority"`
	Band     string          `json:"band"`
}

// records returns what the ledger hashes of findings of a revision; 0 is none.
func (c findingColumns) records(sessionRevision int) ([]findingRecord, error) {
	list := make([]findingRecord, 0, len(c.ids))
	for i := range c.ids {
		id, err := uuid.Parse(*c.ids[i])
		if err != nil {
			return nil, err
		}
		f := findingRecord{ID: id, Identity: c.identities[i], Rule: c.rules[i], TesterID: c.testers[i], RigID: c.rigs[i], PanelModel: c.models[i],
			SessionID: c.sessions[i], ReadingID: c.readings[i], Label: c.labels[i], Pointer: c.pointers[i], Unit: c.units[i], Retains: c.retains[i],
			Arrangement: c.arrangements[i], CoverClass: c.coverClasses[i]}
		if f.SessionID != nil && sessionRevision > 0 {
			f.SessionRevision = &sessionRevision
		}
		if f.Identity == nil {
			f.Numbers = &findingNumbers{Severity: c.severities[i], Value: c.values[i], Limit: c.limits[i], Relation: c.relations[i],
				Reason: c.reasons[i], Basis: json.RawMessage(c.bases[i]), Priority: c.priorities[i], Band: c.bands[i]}
		}
		list = append(list, f)
	}
	return list, nil
}

// sha256 returns the hash of findings of a revision; 0 is none.
func (c findingColumns) sha256(sessionRevision int) (string, error) {
	list, err := c.records(sessionRevision)
	if err != nil {
		return "", err
	}
	return hashOfFindings(list)
}

// hashOfFindings does not depend on the order of the findings.
func hashOfFindings(list []findingRecord) (string, error) {
	list = slices.Clone(list)
	slices.SortFunc(list, func(a, b findingRecord) int { return bytes.Compare(a.ID[:], b.ID[:]) })
	return ledger.HashOf(append([]findingRecord{}, list...)) // [] and not null where there are none
}

// sha256 returns the hash of readings as they are stored, but for their states.
func (c readingColumns) sha256() (string, error) {
	at := make([]time.Time, len(c.takenAt))
	for i, t := range c.takenAt {
		at[i] = stored(t)
	}
	c.takenAt, c.states = at, nil
	return hashOfColumns(append(c.args(), c.positions))
}

// sha256 returns the hash of results as they are stored.
func (c resultColumns) sha256() (string, error) { return hashOfColumns(c.args()) }

// hashOfColumns hashes the JSON of arrays of plain values, which is the same for the same
// values without being brought into canonical form: that would cost much for nothing.
func hashOfColumns(columns []any) (string, error) {
	raw, err := json.Marshal(columns)
	if err != nil {
		return "", err
	}
	return hexSHA256(raw), nil
}

func hexSHA256(raw []byte) string {
	sum := sha256.Sum256(raw)
	return hex.EncodeToString(sum[:])
}

// stored returns a time as the database keeps it.
func stored(t time.Time) time.Time { return t.UTC().Truncate(time.Microsecond) }

// sortedIDs returns ids in a fixed order, never nil.
func sortedIDs(ids []uuid.UUID) []uuid.UUID {
	sorted := append([]uuid.UUID{}, ids...)
	slices.SortFunc(sorted, func(a, b uuid.UUID) int { return bytes.Compare(a[:], b[:]) })
	return sorted
}

// inOrder returns sessions in a fixed order.
func inOrder(sessions []rejudgedSession) []rejudgedSession {
	sorted := append([]rejudgedSession{}, sessions...)
	slices.SortFunc(sorted, func(a, b rejudgedSession) int { return bytes.Compare(a.ID[:], b.ID[:]) })
	return sorted
}
