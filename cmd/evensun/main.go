// Command evensun serves field tests of portable photovoltaic panels, and checks and
// compares them offline. Run `evensun help` for its commands and settings.
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
)

// Exit codes: 0 done, 1 refused or failed, 2 not understood.
const (
	exitDone    = 0
	exitFailed  = 1
	exitMisused = 2
)

// A command is one of evensun's.
type command struct {
	name, arguments, does string
	run                   func(ctx context.Context, std streams, args []string) error
}

// streams are where a command reads and writes.
type streams struct {
	in       io.Reader
	out, err io.Writer
}

func commands() []command {
	return []command{
		{"serve", "[--demo] [--addr HOST:PORT] [--database URL]", "serve the API and its pages; without a database URL with a PostgreSQL of its own", serve},
		{"check", "[--json] [--explain] [--method NAME] FILE", "judge a session file or a table (.csv, .xlsx) without server or database; FILE may be -", check},
		{"combine", "[--random LIST] [--estimator reml|ml] FILE.csv", "compare the panels of a table offline", combineTable},
		{"migrate", "[--database URL] [up|down|version]", "bring a database's schema up to date, take it down, or tell its version", migrateSchema},
		{"keys", "[--database URL] create --role ROLE NAME | list", "make keys on the server itself", keys},
		{"verify", "[--database URL]", "walk the ledger's hash chain and hash anew what is stored of each row", verify},
		{"snapshot", "[--database URL] [NAME]", "freeze all rankings under this week's name; with NAME check the hashes of a stored one", freeze},
		{"reproduce", "[--database URL] NAME", "recompute a snapshot's rankings from its own files and compare", reproduce},
	}
}

// errRefused ends a command that did its work and must exit with 1.
var errRefused = errors.New("refused")

// A misuse is a command line that was not understood.
type misuse struct{ reason string }

// Error implements error.
func (m *misuse) Error() string { return m.reason }

func main() {
	ctx, stop := untilSignal()
	code := run(ctx, streams{os.Stdin, os.Stdout, os.Stderr}, os.Args[1:])
	stop()
	os.Exit(code)
}

// run carries out one command line and returns the exit code.
func run(ctx context.Context, std streams, args []string) int {
	if len(args) == 0 || args[0] == "help" || args[0] == "-h" || args[0] == "--help" {
		help(std.out)
		return exitDone
	}
	for _, c := range commands() {
		if c.name == args[0] {
			return exitCode(std.err, c.name, c.run(ctx, std, args[1:]))
		}
	}
	fmt.Fprintf(std.err, "evensun: there is no command %q; see evensun help\n", args[0])
	return exitMisused
}

func exitCode(stderr io.Writer, name string, err error) int {
	switch {
	case err == nil || errors.Is(err, flag.ErrHelp):
		return exitDone
	case errors.Is(err, errRefused):
		return exitFailed
	}
	fmt.Fprintf(stderr, "evensun %s: %v\n", name, err)
	if _, ok := errors.AsType[*misuse](err); ok {
		return exitMisused
	}
	return exitFailed
}
