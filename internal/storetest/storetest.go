package storetest

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"io/fs"
	"net/url"
	"testing"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	_ "github.com/jackc/pgx/v5/stdlib" // the driver "pgx" that pgtestdb opens
	"github.com/peterldowns/pgtestdb"

	"evensun/internal/store"
	"evensun/migrations"
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
	return fresh(tb, whole{})
}

// EmptyURL returns the connection string of a fresh database without any table.
func EmptyURL(tb testing.TB) string {
	tb.Helper()
	return fresh(tb, pgtestdb.NoopMigrator{})
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

func fresh(tb testing.TB, m pgtestdb.Migrator) string {
	tb.Helper()
	at, err := server()
	if err != nil {
		tb.Fatal(err)
	}
	conf := pgtestdb.Config{
		DriverName: "pgx", User: "evensun", Port: "5432", Database: "postgres",
		Options:                   url.Values{"host": {at.socketDir}, "sslmode": {"disable"}}.Encode(),
		ForceTerminateConnections: true,
	}
	return pgtestdb.Custom(tb, conf, m).URL()
}

// whole migrates a template to the newest version.
type whole struct{}

// Hash names the template by the content of all migrations.
func (whole) Hash() (string, error) {
	h := sha256.New()
	err := fs.WalkDir(migrations.Files, ".", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		raw, err := fs.ReadFile(migrations.Files, path)
		h.Write([]byte(path))
		h.Write(raw)
		return err
	})
	return hex.EncodeToString(h.Sum(nil)), err
}

// Migrate implements pgtestdb.Migrator.
func (whole) Migrate(ctx context.Context, _ *sql.DB, conf pgtestdb.Config) error {
	return store.Migrate(ctx, conf.URL())
}
