package store

import (
	"context"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"evensun/internal/fieldtest"
)

// A FlatReading is one reading with its result as a row of a table.
type FlatReading struct {
	ID               uuid.UUID              `json:"id"`
	SessionID        uuid.UUID              `json:"session_id"`
	SessionRevision  int                    `json:"session_revision"`
	TesterID         uuid.UUID              `json:"tester_id"`
	RigID            uuid.UUID              `json:"rig_id"`
	PanelModel       string                 `json:"panel_model"`
	Specimen         string                 `json:"specimen"`
	Label            string                 `json:"label"`
	Kind             fieldtest.Kind         `json:"kind"`
	Arrangement      fieldtest.Arrangement  `json:"arrangement"`
	State            fieldtest.ReadingState `json:"state"`
	TakenAt          time.Time              `json:"taken_at"`
	LatitudeDeg      float64                `json:"latitude_deg"`
	LongitudeDeg     float64                `json:"longitude_deg"`
	TiltDeg          *float64               `json:"tilt_deg"`
	AzimuthDeg       *float64               `json:"azimuth_deg"`
	VoltageV         *float64               `json:"voltage_v"`
	CurrentA         *float64               `json:"current_a"`
	PowerW           *float64               `json:"power_w"`
	POAWM2           *float64               `json:"poa_w_m2"`
	RearWM2          *float64               `json:"rear_w_m2"`
	GHIWM2           *float64               `json:"ghi_w_m2"`
	BackTemperatureC *float64               `json:"back_temperature_c"`
	AirTemperatureC  *float64               `json:"air_temperature_c"`
	WindSpeedMS      *float64               `json:"wind_speed_m_s"`
	StcPowerW        *float64               `json:"stc_power_w"` // nil, like all below: no result
	StcPowerUW       *float64               `json:"stc_power_u_w"`
	EffectiveWM2     *float64               `json:"effective_irradiance_w_m2"`
	CellC            *float64               `json:"cell_temperature_c"`
	IrradianceOrigin *fieldtest.Origin      `json:"irradiance_origin"`
	Retention        *float64               `json:"retention"` // of covered and flat readings
	RetentionU       *float64               `json:"retention_u"`
	ResultReason     *string                `json:"result_reason"` // why there is no result
	Sequence         int64                  `json:"sequence"`
}

// A ReadingFilter narrows a list of readings. Zero members do not narrow.
type ReadingFilter struct {
	SessionID    *uuid.UUID
	TesterID     *uuid.UUID
	RigID        *uuid.UUID
	PanelModels  []string
	Arrangements []string
	States       []string // empty: all but superseded
	From, To     *time.Time
	WithResult   bool // only readings that have a result
}

// Readings returns the readings of current sessions as a flat table, in the order in
// which they were accepted. The next page begins after a session's reading, so the
// cursor's priority holds the position within the session.
func (db *DB) Readings(ctx context.Context, f ReadingFilter, p Page) ([]FlatReading, *Cursor, int64, error) {
	list := listing[placedReading]{"readings", scanFlat, placedReading.cursor, afterPosition}
	rows, next, asOf, err := list.page(ctx, db, p, f.SessionID, f.TesterID, f.RigID, f.PanelModels, f.Arrangements, f.States, f.From, f.To, f.WithResult)
	if err != nil {
		return nil, nil, 0, err
	}
	readings := make([]FlatReading, 0, len(rows))
	for _, r := range rows {
		readings = append(readings, r.FlatReading)
	}
	return readings, next, asOf, nil
}

type placedReading struct {
	FlatReading
	position int
}

func (r placedReading) cursor() Cursor {
	return Cursor{Sequence: r.Sequence, Priority: float64(r.position), ID: r.SessionID.String()}
}

func scanFlat(row pgx.CollectableRow) (placedReading, error) {
	var r placedReading
	err := row.Scan(&r.ID, &r.SessionID, &r.SessionRevision, &r.TesterID, &r.RigID, &r.PanelModel, &r.Specimen, &r.Label, &r.Kind,
		&r.Arrangement, &r.State, &r.TakenAt, &r.LatitudeDeg, &r.LongitudeDeg, &r.TiltDeg, &r.AzimuthDeg, &r.VoltageV, &r.CurrentA,
		&r.PowerW, &r.POAWM2, &r.RearWM2, &r.GHIWM2, &r.BackTemperatureC, &r.AirTemperatureC, &r.WindSpeedMS, &r.StcPowerW,
		&r.StcPowerUW, &r.EffectiveWM2, &r.CellC, &r.IrradianceOrigin, &r.Retention, &r.RetentionU, &r.ResultReason, &r.Sequence,
		&r.position)
	r.TakenAt = r.TakenAt.UTC()
	return r, err
}
