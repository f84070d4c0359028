package store

import (
	"context"
	"fmt"
	"slices"

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

// A listing is one list: its query, how a row of it is read, the place of a row in its
// order, and which members of a cursor its query takes.
type listing[T any] struct {
	query string
	scan  pgx.RowToFunc[T]
	place func(T) Cursor
	after func(Cursor) []any
}

// What the queries of lists take of a cursor, in the order of their parameters.
func afterSequence(c Cursor) []any { return []any{c.Sequence, c.ID} }
func afterPriority(c Cursor) []any { return []any{c.Priority, c.ID} }
func afterID(c Cursor) []any       { return []any{c.ID} }
func afterPosition(c Cursor) []any { return []any{c.Sequence, c.Priority, c.ID} }

// page runs the query of a list: its first arguments are page size + 1, as_of and the
// cursor, NULL at the beginning, then those of the filter.
func (l listing[T]) page(ctx context.Context, db *DB, p Page, filter ...any) ([]T, *Cursor, int64, error) {
	asOf, err := db.asOf(ctx, p)
	if err != nil {
		return nil, nil, 0, err
	}
	after := make([]any, len(l.after(Cursor{})))
	if p.After != nil {
		after = l.after(*p.After)
	}
	args := slices.Concat([]any{p.size() + 1, asOf}, after, filter)
	items, err := collect(ctx, db.pool, l.scan, l.query, args...)
	if err != nil {
		return nil, nil, 0, refusalOf(fmt.Errorf("list %s: %w", l.query, err))
	}
	if len(items) <= p.size() {
		return items, nil, asOf, nil
	}
	items = items[:p.size()]
	next := l.place(items[len(items)-1])
	return items, &next, asOf, nil
}

func (db *DB) asOf(ctx context.Context, p Page) (int64, error) {
	if p.AsOf > 0 {
		return p.AsOf, nil
	}
	head, err := db.LedgerHead(ctx)
	return head.Sequence, err
}
