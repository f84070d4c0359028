package store

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"
)

// A Cursor is the place after which the next page begins: the last row's sort key.
type Cursor struct {
	Sequence int64   `json:"sequence"`
	Priority float64 `json:"priority"`
	ID       string  `json:"id"`
}

// A Page says which part of a list is wanted.
type Page struct {
	Size  int     // 1 to 1000; 0: 50
	After *Cursor // nil: from the beginning
	AsOf  int64   // show the state at this sequence; 0: now, which the list then returns
}

func (p Page) size() int {
	if p.Size <= 0 {
		return 50
	}
	return min(p.Size, 1000)
}

// listed runs one list query: its first arguments are page size + 1, as_of and the
// cursor's sequence and id (NULL at the beginning), then those of the filter.
func listed[T any](ctx context.Context, db *DB, p Page, scan pgx.RowToFunc[T], place func(T) Cursor, name string, filter ...any) ([]T, *Cursor, int64, error) {
	asOf, err := db.asOf(ctx, p)
	if err != nil {
		return nil, nil, 0, err
	}
	var sequence *int64
	var priority *float64
	var id *string
	if p.After != nil {
		sequence, priority, id = &p.After.Sequence, &p.After.Priority, &p.After.ID
	}
	args := append([]any{p.size() + 1, asOf, sequence, priority, id}, filter...)
	rows, err := db.pool.Query(ctx, query(name), args...)
	if err != nil {
		return nil, nil, 0, refusalOf(fmt.Errorf("list %s: %w", name, err))
	}
	items, err := pgx.CollectRows(rows, scan)
	if err != nil {
		return nil, nil, 0, refusalOf(fmt.Errorf("list %s: %w", name, err))
	}
	if len(items) <= p.size() {
		return items, nil, asOf, nil
	}
	items = items[:p.size()]
	next := place(items[len(items)-1])
	return items, &next, asOf, nil
}

func (db *DB) asOf(ctx context.Context, p Page) (int64, error) {
	if p.AsOf > 0 {
		return p.AsOf, nil
	}
	head, err := db.LedgerHead(ctx)
	return head.Sequence, err
}
