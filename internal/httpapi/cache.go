package httpapi

import (
	"context"
	"sync"

	"evensun/internal/coding"
	"evensun/internal/store"
)

// A servedRow is a ranking as it is sent, with its compressed form made once.
type servedRow struct {
	store.RankingRow
	tag    string // of the bytes: equal inputs at another sequence are another document
	packed func() ([]byte, error)
}

// A rowCache keeps published rankings until something new is published. It is used only
// while somebody watches the store, since nobody else would empty it.
type rowCache struct {
	mu       sync.RWMutex
	watched  bool
	emptied  int // how often, so that a row read before is not kept after
	rankings map[string]servedRow
}

func (c *rowCache) watch(on bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.watched, c.rankings = on, map[string]servedRow{}
	c.emptied++
}

func (c *rowCache) empty() {
	c.mu.Lock()
	defer c.mu.Unlock()
	clear(c.rankings)
	c.emptied++
}

func (c *rowCache) find(name string) (servedRow, int, bool) {
	c.mu.RLock()
	defer c.mu.RUnlock()
	p, ok := c.rankings[name]
	return p, c.emptied, ok
}

func (c *rowCache) keep(name string, p servedRow, emptied int) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.watched && c.emptied == emptied {
		c.rankings[name] = p
	}
}

// publishedRow returns a published ranking, from memory where it may.
func (s *Server) publishedRow(ctx context.Context, measure, key string, fresh bool) (servedRow, error) {
	name := measure + "?" + key
	p, emptied, ok := s.rows.find(name)
	if ok && !fresh {
		return p, nil
	}
	row, err := s.cfg.Store.Ranking(ctx, measure, key)
	if err != nil {
		return servedRow{}, err
	}
	p = newServedRow(row)
	s.rows.keep(name, p, emptied)
	return p, nil
}

func newServedRow(row store.RankingRow) servedRow {
	return servedRow{RankingRow: row, tag: contentTag(row.Body), packed: sync.OnceValues(func() ([]byte, error) { return coding.Gzip(row.Body) })}
}
