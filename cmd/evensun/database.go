package main

import (
	"context"
	"errors"
	"flag"
	"fmt"

	"evensun/internal/ledger"
	"evensun/internal/pgserver"
	"evensun/internal/store"
)

// A database is an open store and, where evensun runs its own, the server below it.
type database struct {
	*store.DB
	url    string
	server *pgserver.Server
}

// openDatabase connects to the database of the settings, or starts one.
func openDatabase(ctx context.Context, s settings) (*database, error) {
	d := &database{url: s.DatabaseURL}
	if d.url == "" {
		server, err := pgserver.Start(ctx, pgserver.Options{BinDir: s.PGBin, DataDir: s.DataDir})
		if err != nil {
			return nil, err
		}
		d.server, d.url = server, server.URL()
	}
	db, err := store.Open(ctx, d.url, store.Options{AllowUnsafe: s.UnsafeDB, Pooler: s.QueryMode != "cache_statement"})
	if err != nil {
		return nil, errors.Join(err, d.stop(ctx))
	}
	d.DB = db
	return d, nil
}

// close ends the store, then the server.
func (d *database) close(ctx context.Context) error {
	d.DB.Close()
	return d.stop(ctx)
}

func (d *database) stop(ctx context.Context) error {
	if d.server == nil {
		return nil
	}
	return d.server.Stop(ctx)
}

// migrateSchema moves the schema of a database.
func migrateSchema(ctx context.Context, std streams, args []string) error {
	s, rest, err := settingsAnd(flag.NewFlagSet("migrate", flag.ContinueOnError), std.err, args)
	if err != nil {
		return err
	}
	direction := "up"
	switch len(rest) {
	case 0:
	case 1:
		direction = rest[0]
	default:
		return &misuse{"takes one of up, down and version"}
	}
	if s.DatabaseURL == "" {
		return &misuse{"needs --database; the own database of serve is migrated when it starts"}
	}
	switch direction {
	case "up":
		err = store.Migrate(s.DatabaseURL)
	case "down":
		err = store.MigrateDown(s.DatabaseURL)
	case "version":
	default:
		return &misuse{fmt.Sprintf("cannot migrate %q: up, down or version", direction)}
	}
	if err != nil {
		return err
	}
	version, dirty, err := store.SchemaVersion(s.DatabaseURL)
	if err != nil {
		return err
	}
	if dirty {
		fmt.Fprintf(std.out, "version %d, left half-way: a migration failed; mend the schema by hand, then set the version\n", version)
		return errRefused
	}
	fmt.Fprintf(std.out, "version %d\n", version)
	return ctx.Err()
}

// verifyStep is how many ledger rows are checked at a time.
const verifyStep = 1000

// verify walks the ledger's chain from its first row and holds it against the head that
// every write moves, which tells whether the newest rows are gone.
func verify(ctx context.Context, std streams, args []string) error {
	return onDatabase(ctx, std, "verify", args, func(db *store.DB, rest []string) error {
		if len(rest) > 0 {
			return &misuse{fmt.Sprintf("takes no argument %q", rest[0])}
		}
		head, err := walkLedger(ctx, db)
		if err != nil {
			return err
		}
		fmt.Fprintf(std.out, "ledger whole: %d rows, head %s\n", head.Sequence, head.Hash)
		return nil
	})
}

func walkLedger(ctx context.Context, db *store.DB) (ledger.Head, error) {
	want, err := db.LedgerHead(ctx) // before the walk: rows may come in meanwhile
	if err != nil {
		return want, err
	}
	head := ledger.Genesis()
	for {
		if err := meets(head, want); err != nil {
			return head, err
		}
		entries, err := db.Ledger(ctx, head.Sequence, verifyStep)
		if err != nil {
			return head, err
		}
		if len(entries) == 0 {
			return head, short(head, want)
		}
		if before := want.Sequence - head.Sequence; before > 0 && before < int64(len(entries)) {
			entries = entries[:before] // stop where the head stood
		}
		if head, err = ledger.Verify(head, entries); err != nil {
			return head, err
		}
	}
}

// meets tells whether the walk came to where the head stood, and another row is there.
func meets(head, want ledger.Head) error {
	if head.Sequence != want.Sequence || head.Hash == want.Hash {
		return nil
	}
	return &ledger.Break{Sequence: head.Sequence, Reason: fmt.Sprintf("it has hash %s, the head says %s", head.Hash, want.Hash)}
}

// short tells whether the walk ended before it came to where the head stood.
func short(head, want ledger.Head) error {
	if head.Sequence >= want.Sequence {
		return nil
	}
	return &ledger.Break{Sequence: head.Sequence + 1, Reason: fmt.Sprintf("it is missing, the head is at %d", want.Sequence)}
}
