package storetest

import (
	"context"
	"encoding/json"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5/pgxpool"

	"evensun/internal/store"
)

// Bare are tables for the rows of a session, its readings and their results, with
// primary and foreign keys but without checks and other indexes: what benchmarks
// measure the store against.
type Bare struct{ pool *pgxpool.Pool }

// NewBare makes the tables in the database behind url.
func NewBare(tb testing.TB, url string) Bare {
	tb.Helper()
	ctx := context.Background()
	pool, err := pgxpool.New(ctx, url)
	if err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(pool.Close)
	for _, sql := range []string{bareSession, bareReading, bareResult} {
		if _, err := pool.Exec(ctx, sql); err != nil {
			tb.Fatal(err)
		}
	}
	return Bare{pool}
}

const (
	bareSession = `CREATE TABLE bare_session (id uuid PRIMARY KEY, tester_id uuid, rig_id uuid, started_at timestamptz, raw bytea, content_sha256 text)`
	bareReading = `CREATE TABLE bare_reading (id uuid PRIMARY KEY, session_id uuid REFERENCES bare_session (id), label text, kind text, arrangement text,
	  state text, taken_at timestamptz, voltage_v float8, current_a float8, power_w float8, poa_w_m2 float8, back_temperature_c float8,
	  air_temperature_c float8, wind_speed_m_s float8, tilt_deg float8, azimuth_deg float8, warm_up_min float8)`
	bareResult = `CREATE TABLE bare_result (reading_id uuid PRIMARY KEY REFERENCES bare_reading (id), stc_power_w float8, stc_power_u_w float8,
	  u_reading float8, u_session float8, u_rig float8, u_model float8, u_common float8, body jsonb)`
	insertBareSession = `INSERT INTO bare_session VALUES ($1, $2, $3, $4, $5, $6)`
	insertBareReading = `INSERT INTO bare_reading
	  SELECT r.id, $1, r.label, r.kind, r.arrangement, r.state, r.taken_at, r.v, r.i, r.p, r.g, r.b, r.t, r.w, r.tilt, r.azimuth, r.warm
	  FROM unnest($2::uuid[], $3::text[], $4::text[], $5::text[], $6::text[], $7::timestamptz[], $8::float8[], $9::float8[], $10::float8[],
	    $11::float8[], $12::float8[], $13::float8[], $14::float8[], $15::float8[], $16::float8[], $17::float8[])
	    AS r(id, label, kind, arrangement, state, taken_at, v, i, p, g, b, t, w, tilt, azimuth, warm)`
	insertBareResult = `INSERT INTO bare_result
	  SELECT r.id, r.a, r.b, r.c, r.d, r.e, r.f, r.g, r.body::jsonb
	  FROM unnest($1::uuid[], $2::float8[], $3::float8[], $4::float8[], $5::float8[], $6::float8[], $7::float8[], $8::float8[], $9::text[])
	    AS r(id, a, b, c, d, e, f, g, body)`
)

// Insert stores the rows of a session in one transaction, one statement a table.
func (bare Bare) Insert(ctx context.Context, b testing.TB, s store.SessionWrite) {
	b.Helper()
	tx, err := bare.pool.Begin(ctx)
	if err != nil {
		b.Fatal(err)
	}
	if _, err := tx.Exec(ctx, insertBareSession, s.ID, s.TesterID, s.RigID, s.Session.StartedAt, s.Raw, s.SHA256); err != nil {
		b.Fatal(err)
	}
	readings, results := bareColumns(b, s)
	if _, err := tx.Exec(ctx, insertBareReading, append([]any{s.ID}, readings...)...); err != nil {
		b.Fatal(err)
	}
	if _, err := tx.Exec(ctx, insertBareResult, results...); err != nil {
		b.Fatal(err)
	}
	if err := tx.Commit(ctx); err != nil {
		b.Fatal(err)
	}
}

func bareColumns(b testing.TB, s store.SessionWrite) (readings, results []any) {
	b.Helper()
	var ids []uuid.UUID
	var texts [4][]string
	var at []time.Time
	var measured [10][]*float64
	var made [7][]float64
	var bodies []string
	for i, j := range s.Judged {
		r, x := s.Session.Readings[i], j.Result
		ids, at = append(ids, *j.ID), append(at, j.TakenAt)
		for k, v := range []string{j.Label, string(j.Kind), string(j.Arrangement), string(j.State)} {
			texts[k] = append(texts[k], v)
		}
		for k, v := range []*float64{r.VoltageV, r.CurrentA, r.PowerW, r.Irradiance.POAWM2, r.BackTemperatureC,
			s.Session.Weather.AirTemperatureC, s.Session.Weather.WindSpeedMS, s.Session.Plane.TiltDeg, s.Session.Plane.AzimuthDeg, r.WarmUpMin} {
			measured[k] = append(measured[k], v)
		}
		for k, v := range []float64{x.StcPowerW, x.StcPowerUW, x.Parts.Reading, x.Parts.Session, x.Parts.Rig, x.Parts.Model, x.Parts.Common} {
			made[k] = append(made[k], v)
		}
		body, err := json.Marshal(x)
		if err != nil {
			b.Fatal(err)
		}
		bodies = append(bodies, string(body))
	}
	readings, results = []any{ids}, []any{ids}
	for _, c := range texts {
		readings = append(readings, c)
	}
	readings = append(readings, at)
	for _, c := range measured {
		readings = append(readings, c)
	}
	for _, c := range made {
		results = append(results, c)
	}
	return readings, append(results, bodies)
}
