package store

import (
	"encoding/json"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// The functions of this file read from tables what the ledger's rows hash.

// placed is what one row of the ledger recorded, or one of several things.
type placed[T any] struct {
	sequence int64
	value    T
}

func scanTesterRecord(row pgx.CollectableRow) (placed[any], error) {
	var sequence int64
	var r testerRecord
	err := row.Scan(&sequence, &r.ID, &r.DisplayName, &r.Salt, &r.Trusted)
	return placed[any]{sequence, r}, err
}

func scanTrustRecord(row pgx.CollectableRow) (placed[any], error) {
	var sequence int64
	var r trustRecord
	err := row.Scan(&sequence, &r.ID, &r.Trusted)
	return placed[any]{sequence, r}, err
}

func scanKeyRecord(row pgx.CollectableRow) (placed[any], error) {
	var sequence int64
	var r keyRecord
	err := row.Scan(&sequence, &r.ID, &r.SecretSHA256, &r.TesterID, &r.Role, &r.Name, &r.ExpiresAt, &r.ParentID)
	r.ExpiresAt = stored(r.ExpiresAt)
	return placed[any]{sequence, r}, err
}

func scanRevocationRecord(row pgx.CollectableRow) (placed[any], error) {
	var sequence int64
	var r revocationRecord
	err := row.Scan(&sequence, &r.ID)
	return placed[any]{sequence, r}, err
}

func scanModelRecord(row pgx.CollectableRow) (placed[any], error) {
	var sequence int64
	var r modelRecord
	var body []byte
	err := row.Scan(&sequence, &r.ID, &r.Slug, &r.Revision, &r.Maker, &r.Model, &r.Technology, &r.PmaxW, &r.MassKg, &r.CellAreaM2,
		&r.PanelAreaM2, &body, &r.Reason, &r.CreatedBy)
	r.Body = body
	return placed[any]{sequence, r}, err
}

func scanPriceRecord(row pgx.CollectableRow) (placed[any], error) {
	var sequence int64
	var r priceRecord
	err := row.Scan(&sequence, &r.ID, &r.PanelModel, &r.TesterID, &r.Amount, &r.Currency, &r.Date, &r.Region, &r.Condition)
	return placed[any]{sequence, r}, err
}

func scanRigRecord(row pgx.CollectableRow) (placed[any], error) {
	var sequence int64
	var r rigRecord
	var body []byte
	err := row.Scan(&sequence, &r.ID, &r.TesterID, &r.Revision, &r.Kind, &r.PowerReadAt, &body)
	r.Body = body
	return placed[any]{sequence, r}, err
}

func scanWithdrawalRecord(row pgx.CollectableRow) (placed[any], error) {
	var sequence int64
	var r withdrawalRecord
	err := row.Scan(&sequence, &r.ID, &r.Revision, &r.Reason, &r.By)
	return placed[any]{sequence, r}, err
}

func scanVerdictRecord(row pgx.CollectableRow) (placed[any], error) {
	var sequence int64
	var r verdictRecord
	err := row.Scan(&sequence, &r.ID, &r.FindingID, &r.Verdict, &r.Note, &r.Reviewer)
	return placed[any]{sequence, r}, err
}

// A sessionRow is a session with the hash that its results must have now.
type sessionRow struct {
	record        sessionRecord
	resultsSHA256 string
}

func scanSessionRow(row pgx.CollectableRow) (placed[sessionRow], error) {
	var s placed[sessionRow]
	r := &s.value.record
	var revisions []byte
	err := row.Scan(&s.sequence, &r.ID, &r.Revision, &r.TesterID, &r.RigID, &r.RigRevision, &r.ReasonCode, &r.Reason, &r.StartedAt,
		&r.EndedAt, &r.LatitudeDeg, &r.LongitudeDeg, &r.AltitudeM, &r.ClientRef, &r.PanelModels, &r.SubmissionSHA256, &r.ContentSHA256,
		&r.Method, &revisions, &r.ResultsSHA256, &s.value.resultsSHA256)
	r.StartedAt, r.EndedAt, r.ModelRevisions = stored(r.StartedAt), stored(r.EndedAt), revisions
	return s, err
}

// scan adds the reading of one row to the columns of its session.
func (v *readingRows) scan(row pgx.CollectableRow) error {
	var sequence int64
	var id uuid.UUID
	var position int
	var texts [5]string
	var at time.Time
	var numbers [16]*float64
	into := []any{&sequence, &id, &position}
	for i := range texts {
		into = append(into, &texts[i])
	}
	into = append(into, &at)
	for i := range numbers {
		into = append(into, &numbers[i])
	}
	if err := row.Scan(into...); err != nil {
		return err
	}
	c := (*v)[sequence]
	if c == nil {
		c = &readingColumns{}
		(*v)[sequence] = c
	}
	c.ids, c.positions, c.takenAt = append(c.ids, id), append(c.positions, position), append(c.takenAt, at)
	for i, column := range []*[]string{&c.slugs, &c.specimens, &c.labels, &c.kinds, &c.arrangements} {
		*column = append(*column, texts[i])
	}
	for i, column := range []*[]*float64{&c.voltageV, &c.currentA, &c.powerW, &c.batteryVoltageV, &c.batteryCurrentA, &c.poaWM2,
		&c.rearWM2, &c.ghiWM2, &c.backC, &c.airC, &c.windMS, &c.humidityPercent, &c.tiltDeg, &c.azimuthDeg, &c.warmUpMin, &c.coveredPart} {
		*column = append(*column, numbers[i])
	}
	return nil
}

// readingRows are the readings of sessions, by the sequence of the session.
type readingRows map[int64]*readingColumns

// resultRows are the results of sessions, by the sequence of the session.
type resultRows map[int64]*resultColumns

func (v *resultRows) scan(row pgx.CollectableRow) error {
	var sequence int64
	var id uuid.UUID
	var numbers [13]*float64 // the first eleven, then retention and its uncertainty
	var origin, class, reason, body *string
	var rankable bool
	into := []any{&sequence, &id}
	for i := range 11 {
		into = append(into, &numbers[i])
	}
	into = append(into, &origin, &numbers[11], &numbers[12], &class, &rankable, &reason, &body)
	if err := row.Scan(into...); err != nil {
		return err
	}
	c := (*v)[sequence]
	if c == nil {
		c = &resultColumns{}
		(*v)[sequence] = c
	}
	c.ids, c.origins, c.classes = append(c.ids, id), append(c.origins, origin), append(c.classes, class)
	c.rankable, c.reasons, c.bodies = append(c.rankable, rankable), append(c.reasons, reason), append(c.bodies, body)
	c.addNumbers(numbers[:11]...)
	c.retention, c.retainU = append(c.retention, numbers[11]), append(c.retainU, numbers[12])
	return nil
}

func scanFindingRecord(row pgx.CollectableRow) (placed[findingRecord], error) {
	var r placed[findingRecord]
	var n findingNumbers
	var basis []byte
	f := &r.value
	err := row.Scan(&r.sequence, &f.ID, &f.Identity, &f.Rule, &n.Severity, &f.TesterID, &f.RigID, &f.PanelModel, &f.SessionID,
		&f.SessionRevision, &f.ReadingID, &f.Label, &f.Pointer, &n.Value, &n.Limit, &n.Relation, &f.Unit, &f.Retains, &n.Reason, &basis, &n.Priority, &n.Band,
		&f.Arrangement, &f.CoverClass)
	n.Basis = json.RawMessage(basis)
	if f.Identity == nil {
		f.Numbers = &n
	}
	return r, err
}

func scanPlacedID(row pgx.CollectableRow) (placed[uuid.UUID], error) {
	var p placed[uuid.UUID]
	err := row.Scan(&p.sequence, &p.value)
	return p, err
}

func scanLimited(row pgx.CollectableRow) (placed[limitedFinding], error) {
	var l placed[limitedFinding]
	err := row.Scan(&l.sequence, &l.value.ID, &l.value.Until)
	return l, err
}

func scanAuditRow(row pgx.CollectableRow) (placed[auditRecord], error) {
	var a placed[auditRecord]
	r := &a.value
	err := row.Scan(&a.sequence, &r.ComputedThrough, &r.Obsolete, &r.Reopened)
	r.Obsolete, r.Reopened = sortedIDs(r.Obsolete), sortedIDs(r.Reopened)
	return a, err
}

func scanRejudged(row pgx.CollectableRow) (placed[rejudgedSession], error) {
	var r placed[rejudgedSession]
	err := row.Scan(&r.sequence, &r.value.ID, &r.value.Revision, &r.value.ResultsSHA256)
	return r, err
}
