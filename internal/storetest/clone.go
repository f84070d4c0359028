package storetest

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"sync"
	"testing"

	"github.com/jackc/pgx/v5"

	"evensun/internal/pgserver"
	"evensun/internal/store"
	"evensun/migrations"
)

// role owns the databases of tests. It is no superuser, as the service is none.
const role = "evensun_test"

// A template is a database that others are copied from, made once a server. Copying its
// files and dropping the copy takes a sixth of the time that it takes with the pages written
// to the log, which is what libraries ask for.
type template func() (string, error)

// migrated has all tables; it is named by what made them.
var migrated template = sync.OnceValues(makeTemplate)

// empty has no table. It belongs to the role that comes with the other template.
func empty() (string, error) {
	_, err := migrated()
	return "template0", err
}

// clone returns the connection string of a copy, which is dropped when its test passes.
func clone(tb testing.TB, of template) string {
	tb.Helper()
	name := "test_" + NewID(tb).String()
	from, err := of()
	if err == nil {
		err = administer(context.Background(), fmt.Sprintf("CREATE DATABASE %q TEMPLATE %q OWNER %s %s", name, from, role, strategy()))
	}
	if err != nil {
		tb.Fatal(err)
	}
	link, err := linkTo(name, role)
	if err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(func() {
		if tb.Failed() {
			tb.Logf("the database of this test stays: %s", link)
			return
		}
		if err := administer(context.Background(), fmt.Sprintf("DROP DATABASE %q WITH (FORCE)", name)); err != nil {
			tb.Error(err)
		}
	})
	return link
}

// strategy asks for a copy of the files, which version 14 cannot but do.
func strategy() string {
	programs, err := pgserver.Find(os.Getenv("EVENSUN_PG_BIN"))
	if err != nil || programs[0].Major < 15 {
		return ""
	}
	return "STRATEGY file_copy"
}

// linkTo returns the connection string of a database for a user.
func linkTo(database, user string) (string, error) {
	at, err := server()
	q := url.Values{"host": {at.socketDir}, "port": {"5432"}, "sslmode": {"disable"}}
	return (&url.URL{Scheme: "postgres", User: url.User(user), Path: "/" + database, RawQuery: q.Encode()}).String(), err
}

// administer runs a statement as the server's superuser.
func administer(ctx context.Context, statement string) error {
	link, err := linkTo("postgres", "evensun")
	if err != nil {
		return err
	}
	conn, err := pgx.Connect(ctx, link)
	if err != nil {
		return err
	}
	_, err = conn.Exec(ctx, statement)
	return errors.Join(err, conn.Close(ctx))
}

// makeTemplate makes a template unless another process has. It gets its name only when it
// is whole.
func makeTemplate() (string, error) {
	ctx := context.Background()
	sum, err := hashOfMigrations()
	if err != nil {
		return "", err
	}
	name, half := "template_"+sum[:16], "half_"+sum[:16]
	dir, err := home()
	if err != nil {
		return "", err
	}
	if _, err := server(); err != nil {
		return "", err
	}
	lock, err := pgserver.Exclusive(ctx, filepath.Join(dir, "templates"))
	if err != nil {
		return "", err
	}
	defer lock.Release()
	if err := administer(ctx, fmt.Sprintf("ALTER DATABASE %q ALLOW_CONNECTIONS false", name)); err == nil {
		return name, nil // it is there
	}
	link, err := linkTo(half, role)
	if err != nil {
		return "", err
	}
	makeRole := fmt.Sprintf("DO $$ BEGIN CREATE ROLE %s LOGIN; EXCEPTION WHEN duplicate_object THEN NULL; END $$", role)
	for _, do := range []func() error{
		func() error { return administer(ctx, makeRole) },
		func() error { return administer(ctx, fmt.Sprintf("DROP DATABASE IF EXISTS %q WITH (FORCE)", half)) },
		func() error { return administer(ctx, fmt.Sprintf("CREATE DATABASE %q OWNER %s", half, role)) },
		func() error { return store.Migrate(ctx, link) },
		func() error { return administer(ctx, fmt.Sprintf("ALTER DATABASE %q RENAME TO %q", half, name)) },
	} {
		if err := do(); err != nil {
			return "", fmt.Errorf("make the database that tests are copied from: %w", err)
		}
	}
	return name, nil
}

// hashOfMigrations is over the names and contents of all migrations.
func hashOfMigrations() (string, error) {
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
