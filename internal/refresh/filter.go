package refresh

import (
	"context"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"sync"
	"time"

	"evensun/internal/fieldtest"
	"evensun/internal/ranking"
	"evensun/internal/store"
)

// cachedRankings is how many filtered rankings are kept.
const cachedRankings = 128

// A Filter says of which readings a ranking is made, and which list is wanted. The zero
// value is everything.
type Filter struct {
	Currency, Cover string // empty: the default
	Component       int    // 0: 1
	From, To        *time.Time
	RigKinds        []string
	Metered         bool // only readings with an irradiance meter
	Near            *store.Near
	Panels          []string
	MinTesters      int // needed for a rank, if more than usual
}

// Filtered returns the ranking of a measure fitted to a part of the readings, or one
// made before of the same. One is made at a time.
func (w *Worker) Filtered(ctx context.Context, measure string, f Filter) (store.RankingRow, error) {
	c, err := w.current(ctx)
	if err != nil {
		return store.RankingRow{}, err
	}
	key, err := filterKey(c, measure, f)
	if err != nil {
		return store.RankingRow{}, err
	}
	if row, ok := w.cache.get(key); ok {
		return row, nil
	}
	free, err := take(ctx, w.refits)
	if err != nil {
		return store.RankingRow{}, err
	}
	defer free()
	if row, ok := w.cache.get(key); ok { // made while this one waited
		return row, nil
	}
	row, err := refit(ctx, c, measure, f)
	if err != nil {
		return row, err
	}
	w.cache.put(key, row)
	return row, nil
}

func filterKey(c *computation, measure string, f Filter) ([32]byte, error) {
	text, err := json.Marshal(struct {
		Measure string
		Through int64
		Filter  Filter
	}{measure, c.in.Through, f})
	if err != nil {
		return [32]byte{}, fmt.Errorf("name a filter: %w", err)
	}
	return sha256.Sum256(text), nil
}

func refit(ctx context.Context, c *computation, measure string, f Filter) (store.RankingRow, error) {
	in := *c.in
	in.Observations = nil
	for i := range c.in.Observations {
		if o := &c.in.Observations[i]; f.holds(o) {
			in.Observations = append(in.Observations, *o)
		}
	}
	list, err := ranking.ComputeOne(ctx, in, ranking.List{Measure: measure, Currency: f.Currency, Cover: f.Cover, Component: f.Component, MinTesters: f.MinTesters})
	if err != nil {
		return store.RankingRow{}, err
	}
	if list.Ranking.Model == nil && list.Component == 1 {
		list.Ranking.Headline = noHits(len(in.Observations))
	}
	body, err := json.Marshal(&list.Ranking)
	return store.RankingRow{Measure: measure, Key: ranking.Key(list.Currency, list.Cover, list.Component), ComputedThrough: in.Through,
		ComputedAt: in.At, SHA256: list.Ranking.SHA256, Body: body}, err
}

// noHits says why a filtered list has no figures.
func noHits(readings int) string {
	if readings == 0 {
		return "No reading passes the filter."
	}
	return "No counted reading for this measure passes the filter."
}

// holds tells whether a reading passes the filter.
func (f *Filter) holds(o *ranking.Observation) bool {
	switch {
	case f.From != nil && o.TakenAt.Before(*f.From),
		f.To != nil && !o.TakenAt.Before(*f.To),
		len(f.RigKinds) > 0 && !slices.Contains(f.RigKinds, string(o.RigKind)),
		len(f.Panels) > 0 && !slices.Contains(f.Panels, o.Panel),
		f.Metered && o.Result.IrradianceOrigin == fieldtest.OriginClearSky,
		f.Near != nil && distanceKm(f.Near, o) > f.Near.DistanceKm:
		return false
	}
	return true
}

// earthKm is the Earth's mean radius.
const earthKm = 6371.0088

// distanceKm is the great-circle distance (haversine form), good for small distances.
func distanceKm(from *store.Near, o *ranking.Observation) float64 {
	rad := math.Pi / 180
	dLat, dLon := (o.LatitudeDeg-from.LatitudeDeg)*rad, (o.LongitudeDeg-from.LongitudeDeg)*rad
	a := math.Sin(dLat/2)*math.Sin(dLat/2) + math.Cos(from.LatitudeDeg*rad)*math.Cos(o.LatitudeDeg*rad)*math.Sin(dLon/2)*math.Sin(dLon/2)
	return 2 * earthKm * math.Asin(math.Sqrt(min(1, a)))
}

// A cache keeps the newest rows by key.
type cache struct {
	mu    sync.Mutex
	most  int
	order [][32]byte
	rows  map[[32]byte]store.RankingRow
}

func newCache(most int) *cache { return &cache{most: most, rows: map[[32]byte]store.RankingRow{}} }

func (c *cache) get(key [32]byte) (store.RankingRow, bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	row, ok := c.rows[key]
	return row, ok
}

func (c *cache) put(key [32]byte, row store.RankingRow) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if _, ok := c.rows[key]; !ok {
		c.order = append(c.order, key)
	}
	c.rows[key] = row
	if len(c.order) > c.most {
		delete(c.rows, c.order[0])
		c.order = c.order[1:]
	}
}
