package store

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"evensun/internal/fieldtest"
)

// An Observation is one reading of a current session with its result, as rankings
// and audits use it.
type Observation struct {
	ReadingID       uuid.UUID
	SessionID       uuid.UUID
	SessionRevision int
	SHA256          string // of the session's content
	TesterID        uuid.UUID
	RigID           uuid.UUID
	RigRevision     int
	RigKind         fieldtest.RigKind
	PanelModel      string // slug
	Specimen        string
	Label           string
	TakenAt         time.Time
	LatitudeDeg     float64
	LongitudeDeg    float64
	Arrangement     fieldtest.Arrangement
	State           fieldtest.ReadingState // counted, held or excluded
	Rankable        bool
	Metered         bool // irradiance was measured, in the plane or on the horizontal
	StcPowerW       float64
	StcPowerUW      float64
	Parts           fieldtest.UncertaintyParts
	GammaRelative   float64
	LowLight        float64 // relative
	EffectiveWM2    float64
	CellC           float64
	Kind            fieldtest.Kind
	Retention       *fieldtest.Retention // of covered and flat readings
}

// Observations returns all readings with a result of one arrangement in current,
// not withdrawn sessions, in a fixed order, and the sequence at which they were read.
func (db *DB) Observations(ctx context.Context, a fieldtest.Arrangement) ([]Observation, int64, error) {
	var observations []Observation
	var through int64
	err := pgx.BeginTxFunc(ctx, db.pool, readOnly(), func(tx pgx.Tx) error {
		if err := tx.QueryRow(ctx, query("head_sequence")).Scan(&through); err != nil {
			return err
		}
		var err error
		observations, err = collect(ctx, tx, scanObservation, "observations", a)
		return err
	})
	if err != nil {
		return nil, 0, refusalOf(fmt.Errorf("read %s observations: %w", a, err))
	}
	return observations, through, nil
}

func scanObservation(row pgx.CollectableRow) (Observation, error) {
	var o Observation
	err := row.Scan(&o.ReadingID, &o.SessionID, &o.SessionRevision, &o.SHA256, &o.TesterID, &o.RigID, &o.RigRevision, &o.RigKind,
		&o.PanelModel, &o.Specimen, &o.Label, &o.TakenAt, &o.LatitudeDeg, &o.LongitudeDeg, &o.Arrangement, &o.State, &o.Rankable,
		&o.Metered, &o.StcPowerW, &o.StcPowerUW, &o.Parts.Reading, &o.Parts.Session, &o.Parts.Rig, &o.Parts.Model, &o.Parts.Common,
		&o.GammaRelative, &o.LowLight, &o.EffectiveWM2, &o.CellC, &o.Kind, &o.Retention)
	o.TakenAt = o.TakenAt.UTC()
	return o, err
}

// A Mark says that the rankings of a group are older than the data.
type Mark struct {
	Group string    // tilted, flat, covered or price
	Gen   int64     // sequence of the newest write that touched the group
	Since time.Time // of the oldest that no ranking covers
}

// LeaseMark takes the oldest mark that nobody works on, for at most lease. It returns
// nil where there is none. A worker that dies loses its lease by time.
func (db *DB) LeaseMark(ctx context.Context, lease time.Duration) (*Mark, error) {
	var m Mark
	err := db.pool.QueryRow(ctx, query("lease_mark"), lease.Seconds()).Scan(&m.Group, &m.Gen, &m.Since)
	if errors.Is(err, pgx.ErrNoRows) {
		return nil, nil
	}
	if err != nil {
		return nil, refusalOf(fmt.Errorf("lease a mark: %w", err))
	}
	return &m, nil
}

// FinishMark removes a leased mark if no write touched its group in between, else
// frees it for the next lease. These are two statements so that the second sees a
// write for whose commit the first has waited: in one, both would see the mark as it
// was before, and it would stay leased with nobody at work.
func (db *DB) FinishMark(ctx context.Context, m Mark) error {
	batch := &pgx.Batch{}
	batch.Queue(query("drop_mark"), m.Group, m.Gen)
	batch.Queue(query("free_mark"), m.Group)
	if err := db.pool.SendBatch(ctx, batch).Close(); err != nil {
		return refusalOf(fmt.Errorf("finish mark %s: %w", m.Group, err))
	}
	return nil
}

// A RankingRow is a published ranking as it is sent.
type RankingRow struct {
	Measure         string
	Key             string // currency, cover class or component; empty: the default
	ComputedThrough int64
	ComputedAt      time.Time
	SHA256          string
	Body            []byte // JSON of a fieldtest.Ranking
}

// A DetailRow is what a panel model's place in one ranking rests on.
type DetailRow struct {
	PanelModel      string
	Measure         string
	Key             string
	ComputedThrough int64
	SHA256          string
	Body            []byte // JSON
}

// PublishRankings replaces rankings and the details of the same measures and keys in
// one transaction, and wakes who waits. A ranking never gives way to an older one.
func (db *DB) PublishRankings(ctx context.Context, rankings []RankingRow, details []DetailRow) error {
	var r rankingColumns
	for _, row := range rankings {
		r.add(row)
	}
	var d detailColumns
	for _, row := range details {
		d.add(row)
	}
	batch := &pgx.Batch{}
	batch.Queue(query("clear_details"), r.measures, r.keys, r.through)
	batch.Queue(query("publish_rankings"), r.measures, r.keys, r.through, r.computedAt, r.hashes, r.bodies)
	batch.Queue(query("publish_details"), d.models, d.measures, d.keys, d.through, d.hashes, d.bodies)
	batch.Queue(query("notify_published"), maximum(r.through))
	err := pgx.BeginFunc(ctx, db.pool, func(tx pgx.Tx) error { return tx.SendBatch(ctx, batch).Close() })
	if err != nil {
		return refusalOf(fmt.Errorf("publish %d rankings: %w", len(rankings), err))
	}
	return nil
}

type rankingColumns struct {
	measures, keys, hashes []string
	through                []int64
	computedAt             []time.Time
	bodies                 [][]byte
}

func (c *rankingColumns) add(r RankingRow) {
	c.measures, c.keys, c.hashes = append(c.measures, r.Measure), append(c.keys, r.Key), append(c.hashes, r.SHA256)
	c.through, c.computedAt = append(c.through, r.ComputedThrough), append(c.computedAt, r.ComputedAt)
	c.bodies = append(c.bodies, notNil(r.Body))
}

type detailColumns struct {
	models, measures, keys, hashes []string
	through                        []int64
	bodies                         [][]byte
}

func (c *detailColumns) add(d DetailRow) {
	c.models, c.measures = append(c.models, d.PanelModel), append(c.measures, d.Measure)
	c.keys, c.hashes = append(c.keys, d.Key), append(c.hashes, d.SHA256)
	c.through, c.bodies = append(c.through, d.ComputedThrough), append(c.bodies, notNil(d.Body))
}

func maximum(list []int64) int64 {
	var top int64
	for _, x := range list {
		top = max(top, x)
	}
	return top
}

// Ranking returns a published ranking.
func (db *DB) Ranking(ctx context.Context, measure, key string) (RankingRow, error) {
	rows, err := collect(ctx, db.pool, scanRanking, "ranking", measure, key)
	if err == nil && len(rows) == 0 {
		err = pgx.ErrNoRows
	}
	if err != nil {
		return RankingRow{}, found(err, "ranking", measure+" "+key)
	}
	return rows[0], nil
}

// Rankings returns all published rankings by measure and key.
func (db *DB) Rankings(ctx context.Context) ([]RankingRow, error) {
	rows, err := collect(ctx, db.pool, scanRanking, "rankings")
	return rows, found(err, "rankings", "")
}

func scanRanking(row pgx.CollectableRow) (RankingRow, error) {
	var r RankingRow
	err := row.Scan(&r.Measure, &r.Key, &r.ComputedThrough, &r.ComputedAt, &r.SHA256, &r.Body)
	r.ComputedAt = r.ComputedAt.UTC()
	return r, err
}

// PanelDetail returns what a panel model's places in all rankings rest on.
func (db *DB) PanelDetail(ctx context.Context, slug string) ([]DetailRow, error) {
	rows, err := collect(ctx, db.pool, func(row pgx.CollectableRow) (DetailRow, error) {
		var d DetailRow
		err := row.Scan(&d.PanelModel, &d.Measure, &d.Key, &d.ComputedThrough, &d.SHA256, &d.Body)
		return d, err
	}, "panel_detail", slug)
	return rows, found(err, "details of panel model", slug)
}

// ComputedThrough returns the sequence up to which a ranking covers all writes: the
// ledger's head where no write touched its groups since, else that of its last
// publication.
func (db *DB) ComputedThrough(ctx context.Context, measure, key string) (int64, error) {
	m, ok := fieldtest.MeasureNamed(measure)
	if !ok {
		return 0, fieldtest.Missing("measure", measure)
	}
	groups := []string{string(m.Arrangement)}
	if measure == fieldtest.PowerPerPrice {
		groups = append(groups, groupPrice)
	}
	var through int64
	err := db.pool.QueryRow(ctx, query("computed_through"), measure, key, groups).Scan(&through)
	return through, found(err, "ranking", measure)
}

const (
	channelDirty     = "evensun_dirty"
	channelPublished = "evensun_published"
)

// An Event wakes whoever watches.
type Event struct {
	Published bool  // rankings were published; else a write made some stale
	Sequence  int64 // that the rankings cover or the write got; 0: look for yourself
}

// Watch returns a channel of what happens in the database, by LISTEN on a connection
// of its own. Events may be lost while that is made anew, and where a transaction
// pooler is in between, so every poll it also says "look for yourself". The channel
// is closed when ctx ends. A slow reader loses events, never the last one.
func (db *DB) Watch(ctx context.Context, poll time.Duration) <-chan Event {
	events := make(chan Event, 64)
	go func() {
		defer close(events)
		for ctx.Err() == nil {
			_ = db.listen(ctx, poll, events) // a lost connection: look, then listen anew
			offer(events, Event{})
			rest(ctx, poll)
		}
	}()
	return events
}

func rest(ctx context.Context, d time.Duration) {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-ctx.Done():
	case <-timer.C:
	}
}

func (db *DB) listen(ctx context.Context, poll time.Duration, events chan Event) error {
	conn, err := pgx.Connect(ctx, db.directURL)
	if err != nil {
		return err
	}
	defer conn.Close(context.WithoutCancel(ctx))
	for _, channel := range []string{channelDirty, channelPublished} {
		if _, err := conn.Exec(ctx, "LISTEN "+channel); err != nil {
			return err
		}
	}
	offer(events, Event{}) // from here on nothing is missed; what came before must be looked for
	for {
		event, err := next(ctx, conn, poll)
		if err != nil {
			return err
		}
		offer(events, event)
	}
}

// next waits for a notification, at most for poll.
func next(ctx context.Context, conn *pgx.Conn, poll time.Duration) (Event, error) {
	waiting, cancel := context.WithTimeout(ctx, poll)
	defer cancel()
	n, err := conn.WaitForNotification(waiting)
	if err != nil && waiting.Err() != nil && ctx.Err() == nil && !conn.IsClosed() {
		return Event{}, nil
	}
	if err != nil {
		return Event{}, err
	}
	sequence, err := strconv.ParseInt(n.Payload, 10, 64)
	if err != nil {
		sequence = 0 // not ours: look
	}
	return Event{Published: n.Channel == channelPublished, Sequence: sequence}, nil
}

// offer puts an event in, in place of the oldest where the channel is full.
func offer(events chan Event, e Event) {
	for {
		select {
		case events <- e:
			return
		default:
		}
		select {
		case <-events:
		default:
		}
	}
}
