package store

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	pgxuuid "github.com/vgarvardt/pgx-google-uuid/v5"
)

// Options say how a store is opened. The zero value is right for one direct server.
type Options struct {
	AllowUnsafe  bool   // accept a server that may lose what it acknowledged
	Migrated     bool   // leave the schema alone: another role or replica migrates
	MigrationURL string // direct URL for migrations and LISTEN where url leads to a transaction pooler
	MaxConns     int    // of the pool; 0: the driver's default
	Pooler       bool   // url leads to a transaction pooler, which cannot carry prepared statements
}

// A DB is the store. It is safe for concurrent use.
type DB struct {
	pool      *pgxpool.Pool
	directURL string
}

// Open connects to the database behind url, brings its schema up to date and checks
// that a commit there is durable.
func Open(ctx context.Context, url string, o Options) (*DB, error) {
	direct := o.MigrationURL
	if direct == "" {
		direct = url
	}
	if !o.Migrated {
		if err := Migrate(ctx, direct); err != nil {
			return nil, err
		}
	}
	pool, err := openPool(ctx, url, o)
	if err != nil {
		return nil, err
	}
	db := &DB{pool: pool, directURL: direct}
	if o.AllowUnsafe {
		return db, nil
	}
	if err := db.CheckDurable(ctx); err != nil {
		pool.Close()
		return nil, err
	}
	return db, nil
}

// Close waits for running queries and closes all connections.
func (db *DB) Close() { db.pool.Close() }

// Ping tells whether the database answers.
func (db *DB) Ping(ctx context.Context) error {
	if err := db.pool.Ping(ctx); err != nil {
		return fmt.Errorf("reach the database: %w", err)
	}
	return nil
}

// abandonedAfter ends a transaction whose client went away without a word, so that
// its lock on the ledger's head does not stop all other writers.
const abandonedAfter = "30s"

func openPool(ctx context.Context, url string, o Options) (*pgxpool.Pool, error) {
	config, err := pgxpool.ParseConfig(url)
	if err != nil {
		return nil, fmt.Errorf("database URL: %w", err)
	}
	if o.MaxConns > 0 {
		config.MaxConns = int32(min(o.MaxConns, 1000))
	}
	config.ConnConfig.RuntimeParams["timezone"] = "UTC"
	if o.Pooler {
		config.ConnConfig.DefaultQueryExecMode = pgx.QueryExecModeExec
	} else { // a pooler refuses settings it does not know
		config.ConnConfig.RuntimeParams["idle_in_transaction_session_timeout"] = abandonedAfter
	}
	config.AfterConnect = func(_ context.Context, conn *pgx.Conn) error {
		pgxuuid.Register(conn.TypeMap()) // ids go as 16 bytes; without, each is made a text and read again
		return nil
	}
	pool, err := pgxpool.NewWithConfig(ctx, config)
	if err != nil {
		return nil, fmt.Errorf("open the database: %w", err)
	}
	if err := pool.Ping(ctx); err != nil {
		pool.Close()
		return nil, fmt.Errorf("reach the database: %w", err)
	}
	return pool, nil
}

// CheckDurable refuses a server on which an acknowledged commit can vanish, as it is set up
// now.
func (db *DB) CheckDurable(ctx context.Context) error {
	for _, name := range []string{"fsync", "full_page_writes", "synchronous_commit"} {
		var value string
		if err := db.pool.QueryRow(ctx, "SELECT current_setting($1)", name).Scan(&value); err != nil {
			return fmt.Errorf("read the setting %s: %w", name, err)
		}
		if value == "off" {
			return fmt.Errorf("the database runs with %s=off, so it can lose sessions it acknowledged: "+
				"switch it on, or accept the loss by setting EVENSUN_ALLOW_UNSAFE_DATABASE=true", name)
		}
	}
	return nil
}
