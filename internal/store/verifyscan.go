package store

import (
	"encoding/json"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// The functions of this file read from tables what the ledger's rows hash.

func scanTesterRecord(row pgx.CollectableRow) (recorded, error) {
	var sequence int64
	var r testerRecord
	err := row.Scan(&sequence, &r.ID, &r.DisplayName, &r.Salt, &r.Trusted)
	return recorded{sequence, r}, err
}

func scanTrustRecord(row pgx.CollectableRow) (recorded, error) {
	var sequence int64
	var r trustRecord
	err := row.Scan(&sequence, &r.ID, &r.Trusted)
	return recorded{sequence, r}, err
}

func scanKeyRecord(row pgx.CollectableRow) (recorded, error) {
	var sequence int64
	var r keyRecord
	err := row.Scan(&sequence, &r.ID, &r.SecretSHA256, &r.TesterID, &r.Role, &r.Name, &r.ExpiresAt)
	r.ExpiresAt = stored(r.ExpiresAt)
	return recorded{sequence, r}, err
}

func scanRevocationRecord(row pgx.CollectableRow) (recorded, error) {
	var sequence int64
	var r revocationRecord
	err := row.Scan(&sequence, &r.ID)
	return recorded{sequence, r}, err
}

func scanModelRecord(row pgx.CollectableRow) (recorded, error) {
	var sequence int64
	var r modelRecord
	var body []byte
	err := row.Scan(&sequence, &r.ID, &r.Slug, &r.Revision, &r.Maker, &r.Model, &r.Technology, &r.PmaxW, &r.MassKg, &r.CellAreaM2,
		&r.PanelAreaM2, &body, &r.Reason, &r.CreatedBy)
	r.Body = body
	return recorded{sequence, r}, err
}

func scanPriceRecord(row pgx.CollectableRow) (recorded, error) {
	var sequence int64
	var r priceRecord
	err := row.Scan(&sequence, &r.ID, &r.PanelModel, &r.TesterID, &r.Amount, &r.Currency, &r.Date, &r.Region, &r.Condition)
	return recorded{sequence, r}, err
}

func scanRigRecord(row pgx.CollectableRow) (recorded, error) {
	var sequence int64
	var r rigRecord
	var body []byte
	err := row.Scan(&sequence, &r.ID, &r.TesterID, &r.Revision, &r.Kind, &r.PowerReadAt, &body)
	r.Body = body
	return recorded{sequence, r}, err
}

func scanWithdrawalRecord(row pgx.CollectableRow) (recorded, error) {
	var sequence int64
	var r withdrawalRecord
	err := row.Scan(&sequence, &r.ID, &r.Revision, &r.Reason)
	return recorded{sequence, r}, err
}

func scanVerdictRecord(row pgx.CollectableRow) (recorded, error) {
	var sequence int64
	var r verdictRecord
	err := row.Scan(&sequence, &r.ID, &r.FindingID, &r.Verdict, &r.Note, &r.Reviewer)
	return recorded{sequence, r}, err
}

// A sessionRow is a session with the hash that its results must have now.
type sessionRow struct {
	sequence      int64
	record        sessionRecord
	resultsSHA256 string
}

func scanSessionRow(row pgx.CollectableRow) (sessionRow, error) {
	var s sessionRow
	r := &s.record
	var revisions []byte
	err := row.Scan(&s.sequence, &r.ID, &r.Revision, &r.TesterID, &r.RigID, &r.RigRevision, &r.ReasonCode, &r.Reason, &r.StartedAt,
		&r.EndedAt, &r.LatitudeDeg, &r.LongitudeDeg, &r.AltitudeM, &r.ClientRef, &r.PanelModels, &r.SubmissionSHA256, &r.ContentSHA256,
		&r.Method, &revisions, &r.ResultsSHA256, &s.resultsSHA256)
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

type findingRow struct {
	sequence int64
	finding  findingRecord
}

func scanFindingRecord(row pgx.CollectableRow) (findingRow, error) {
	var r findingRow
	var n findingNumbers
	var basis []byte
	f := &r.finding
	err := row.Scan(&r.sequence, &f.ID, &f.Identity, &f.Rule, &n.Severity, &f.TesterID, &f.RigID, &f.PanelModel, &f.SessionID,
		&f.SessionRevision, &f.ReadingID, &f.Label, &f.Pointer, &n.Value, &n.Limit, &n.Relation, &f.Unit, &f.Retains, &n.Reason, &basis, &n.Priority, &n.Band)
	n.Basis = json.RawMessage(basis)
	if f.Identity == nil {
		f.Numbers = &n
	}
	return r, err
}

type placedID struct {
	sequence int64
	id       uuid.UUID
}

func scanPlacedID(row pgx.CollectableRow) (placedID, error) {
	var p placedID
	return p, row.Scan(&p.sequence, &p.id)
}

type limitedRow struct {
	sequence int64
	finding  limitedFinding
}

func scanLimited(row pgx.CollectableRow) (limitedRow, error) {
	var l limitedRow
	return l, row.Scan(&l.sequence, &l.finding.ID, &l.finding.Until)
}

type auditRow struct {
	sequence int64
	record   auditRecord
}

func scanAuditRow(row pgx.CollectableRow) (auditRow, error) {
	var a auditRow
	err := row.Scan(&a.sequence, &a.record.ComputedThrough, &a.record.Obsolete, &a.record.Reopened)
	a.record.Obsolete, a.record.Reopened = sortedIDs(a.record.Obsolete), sortedIDs(a.record.Reopened)
	return a, err
}

type rejudgedRow struct {
	sequence int64
	session  rejudgedSession
}

func scanRejudged(row pgx.CollectableRow) (rejudgedRow, error) {
	var r rejudgedRow
	return r, row.Scan(&r.sequence, &r.session.ID, &r.session.Revision, &r.session.ResultsSHA256)
}
