package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"strings"

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
		err = store.Migrate(ctx, s.DatabaseURL)
	case "down":
		err = store.MigrateDown(ctx, s.DatabaseURL)
	case "version":
	default:
		return &misuse{fmt.Sprintf("cannot migrate %q: up, down or version", direction)}
	}
	if err != nil {
		return err
	}
	version, dirty, err := store.SchemaVersion(ctx, s.DatabaseURL)
	if err != nil {
		return err
	}
	if dirty {
		fmt.Fprintf(std.out, "version %d, left half-way by an earlier program: evensun migrate ends it\n", version)
		return errRefused
	}
	fmt.Fprintf(std.out, "version %d\n", version)
	return ctx.Err()
}

const (
	verifyStep   = 100 // ledger rows that are checked at a time, with all that they record
	shownFaults  = 10  // that are told one by one
	countedUpTo  = 100 // of each table, where the ledger is whole and the tables are not
	faultsHeader = "what is stored is not what the ledger records:"
)

// verify walks the ledger's chain from its first row, holds it against the head that
// every write moves, which tells whether the newest rows are gone, and hashes anew what
// is stored of each row.
func verify(ctx context.Context, std streams, args []string) error {
	return onDatabase(ctx, std, "verify", args, func(db *store.DB, rest []string) error {
		if len(rest) > 0 {
			return &misuse{fmt.Sprintf("takes no argument %q", rest[0])}
		}
		var found contentFaults
		head, err := walkLedger(ctx, db, func(entries []ledger.Entry) error {
			faults, err := db.VerifyContent(ctx, entries)
			found.add(faults)
			return err
		})
		if err != nil {
			return err
		}
		states, err := db.VerifyStates(ctx, countedUpTo)
		if err != nil {
			return err
		}
		found.add(states)
		if found.count > 0 {
			return &found
		}
		fmt.Fprintf(std.out, "ledger whole: %d rows, head %s\n", head.Sequence, head.Hash)
		return nil
	})
}

// contentFaults are the first faults that were found, and how many there are.
type contentFaults struct {
	first []store.ContentFault
	count int
}

func (f *contentFaults) add(faults []store.ContentFault) {
	f.count += len(faults)
	f.first = append(f.first, faults[:min(len(faults), shownFaults-len(f.first))]...)
}

// Error implements error.
func (f *contentFaults) Error() string {
	lines := []string{faultsHeader}
	for _, fault := range f.first {
		lines = append(lines, "  "+fault.String())
	}
	if more := f.count - len(f.first); more > 0 {
		lines = append(lines, fmt.Sprintf("  and %d more", more))
	}
	return strings.Join(lines, "\n")
}

// walkLedger checks the chain and hands on the rows that hold, in portions.
func walkLedger(ctx context.Context, db *store.DB, each func([]ledger.Entry) error) (ledger.Head, error) {
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
		if err := each(entries); err != nil {
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
