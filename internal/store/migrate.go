package store

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"slices"
	"strconv"
	"strings"

	"github.com/jackc/pgx/v5"

	"evensun/migrations"
)

// A migration is one change of the schema, with the way back.
type migration struct {
	version  int64
	up, down string // SQL
}

// readMigrations returns the embedded migrations in order.
func readMigrations() ([]migration, error) {
	files, err := fs.Glob(migrations.Files, "*.up.sql")
	if err != nil {
		return nil, err
	}
	list := make([]migration, 0, len(files))
	for _, file := range files {
		number, _, _ := strings.Cut(file, "_")
		version, err := strconv.ParseInt(number, 10, 64)
		if err != nil {
			return nil, fmt.Errorf("migration %s has no number: %w", file, err)
		}
		up, errUp := fs.ReadFile(migrations.Files, file)
		down, errDown := fs.ReadFile(migrations.Files, strings.TrimSuffix(file, ".up.sql")+".down.sql")
		if err := errors.Join(errUp, errDown); err != nil {
			return nil, err
		}
		list = append(list, migration{version, string(up), string(down)})
	}
	slices.SortFunc(list, func(a, b migration) int { return cmp.Compare(a.version, b.version) })
	return list, nil
}

// Migrate brings the schema behind url, a direct connection, to the newest version. Each
// migration commits together with its version mark, so that one that is cut off leaves
// nothing. Replicas may run it at once: each step is taken by one of them. A schema of a
// later program is left alone.
func Migrate(ctx context.Context, url string) error {
	return onSchema(ctx, url, func(s schema) error {
		v, err := versionOf(ctx, s.conn)
		if err != nil {
			return err
		}
		for _, m := range s.migrations {
			if err := s.reach(ctx, v, m); err != nil {
				return fmt.Errorf("migration %d: %w", m.version, err)
			}
		}
		return nil
	})
}

// MigrateDown takes the whole schema away, with all data.
func MigrateDown(ctx context.Context, url string) error {
	return onSchema(ctx, url, func(s schema) error {
		for i, m := range slices.Backward(s.migrations) {
			var before int64
			if i > 0 {
				before = s.migrations[i-1].version
			}
			err := s.step(ctx, func(v version) (int64, string) {
				if v.number < m.version {
					return v.number, ""
				}
				return before, m.down
			})
			if err != nil {
				return fmt.Errorf("migration %d, down: %w", m.version, err)
			}
		}
		return nil
	})
}

// SchemaVersion returns the number of the newest migration that ran, 0 for none, and
// whether an earlier program left it half-way.
func SchemaVersion(ctx context.Context, url string) (int64, bool, error) {
	var v version
	err := onSchema(ctx, url, func(s schema) error {
		var err error
		v, err = versionOf(ctx, s.conn)
		return err
	})
	return v.number, v.dirty, err
}

// SchemaVersion is the function of the same name for an open store.
func (db *DB) SchemaVersion(ctx context.Context) (int64, bool, error) {
	v, err := versionOf(ctx, db.pool)
	return v.number, v.dirty, err
}

// A schema is what a connection of its own leads to.
type schema struct {
	conn       *pgx.Conn
	migrations []migration
}

func onSchema(ctx context.Context, url string, do func(schema) error) error {
	list, err := readMigrations()
	if err != nil {
		return fmt.Errorf("read the embedded migrations: %w", err)
	}
	conn, err := pgx.Connect(ctx, url)
	if err != nil {
		return fmt.Errorf("connect for migrations: %w", err)
	}
	err = do(schema{conn, list})
	if err != nil {
		err = fmt.Errorf("migrate: %w", err)
	}
	return errors.Join(err, conn.Close(context.WithoutCancel(ctx)))
}

// A version is what the schema says of itself. Dirty was set by programs up to the API's
// version 1.0 while a migration ran; it stays where such a program was killed.
type version struct {
	number int64
	dirty  bool
}

func versionOf(ctx context.Context, q querier) (version, error) {
	var v version
	exists, err := collect(ctx, q, pgx.RowTo[bool], "schema_exists")
	if err != nil || !exists[0] {
		return v, err
	}
	rows, err := q.Query(ctx, query("schema_version"))
	if err != nil {
		return v, err
	}
	_, err = pgx.ForEachRow(rows, []any{&v.number, &v.dirty}, func() error { return nil })
	return v, err
}

// reach brings a schema that was at a version to a migration, if it is not there. One that
// needs nothing is not written to, so that this works on a database that takes no writes.
func (s schema) reach(ctx context.Context, from version, m migration) error {
	switch {
	case from.number == m.version && from.dirty:
		return s.repair(ctx, m)
	case from.number >= m.version:
		return nil
	}
	return s.step(ctx, func(v version) (int64, string) {
		if v.number >= m.version { // another replica was faster
			return v.number, ""
		}
		return m.version, m.up
	})
}

// step asks where to go from the version as it is, by which SQL, and goes there in one
// transaction, while no other replica can.
func (s schema) step(ctx context.Context, way func(version) (int64, string)) error {
	return pgx.BeginFunc(ctx, s.conn, func(tx pgx.Tx) error {
		if _, err := tx.Exec(ctx, query("lock_schema")); err != nil {
			return err
		}
		if _, err := tx.Exec(ctx, query("make_schema_version")); err != nil {
			return err
		}
		v, err := versionOf(ctx, tx)
		if err != nil {
			return err
		}
		to, sql := way(v)
		if to == v.number && !v.dirty {
			return nil
		}
		if err := execute(ctx, tx, sql); err != nil {
			return err
		}
		if _, err := tx.Exec(ctx, query("clear_schema_version")); err != nil || to == 0 {
			return err
		}
		_, err = tx.Exec(ctx, query("set_schema_version"), to)
		return err
	})
}

// execute runs a file of several statements.
func execute(ctx context.Context, tx pgx.Tx, sql string) error {
	_, err := tx.Conn().PgConn().Exec(ctx, sql).ReadAll()
	return err
}

// repair ends a migration that an earlier program was killed in. That sent the file as one
// transaction, so all of it is there or nothing: it is tried, and where its objects exist
// only the mark is set.
func (s schema) repair(ctx context.Context, m migration) error {
	err := s.step(ctx, func(version) (int64, string) { return m.version, m.up })
	if !isCode(err, codeDuplicateTable) && !isCode(err, codeDuplicateColumn) && !isCode(err, codeDuplicateObject) {
		return err
	}
	return s.step(ctx, func(version) (int64, string) { return m.version, "" })
}
