package storetest

import (
	"context"
	"testing"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"evensun/internal/store"
)

// New returns a store on a fresh migrated database, which is gone after the test.
func New(tb testing.TB) *store.DB {
	tb.Helper()
	return Open(tb, URL(tb))
}

// Open returns a store on the database behind url, closed before the database goes.
func Open(tb testing.TB, url string) *store.DB {
	tb.Helper()
	db, err := store.Open(context.Background(), url, store.Options{AllowUnsafe: true, Migrated: true, MaxConns: 8})
	if err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(db.Close)
	return db
}

// Connect returns a connection of its own to the database behind url, for statements that
// the store does not have.
func Connect(tb testing.TB, url string) *pgx.Conn {
	tb.Helper()
	conn, err := pgx.Connect(context.Background(), url)
	if err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(func() { conn.Close(context.Background()) })
	return conn
}

// URL returns the connection string of a fresh migrated database.
func URL(tb testing.TB) string {
	tb.Helper()
	return clone(tb, migrated)
}

// EmptyURL returns the connection string of a fresh database without any table.
func EmptyURL(tb testing.TB) string {
	tb.Helper()
	return clone(tb, empty)
}

// NewID returns an id as the service makes them, in order of time.
func NewID(tb testing.TB) uuid.UUID {
	tb.Helper()
	id, err := uuid.NewV7()
	if err != nil {
		tb.Fatal(err)
	}
	return id
}
