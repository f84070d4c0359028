package main

import (
	"bytes"
	"context"
	"errors"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"

	"evensun/internal/storetest"
)

// A snapshot is made, checked and reproduced from the command line; one that somebody
// changed in the database is not.
func TestSnapshotCommands(t *testing.T) {
	t.Setenv("EVENSUN_ALLOW_UNSAFE_DATABASE", "true") // the tests' server runs without fsync
	url := storetest.URL(t)
	command := func(do func(context.Context, streams, []string) error, args ...string) (string, error) {
		t.Helper()
		var out, stderr bytes.Buffer
		err := do(t.Context(), streams{nil, &out, &stderr}, args)
		return out.String(), err
	}
	made, err := command(freeze, "--database", url)
	if err != nil {
		t.Fatalf("snapshot = %v", err)
	}
	name, _, _ := strings.Cut(strings.TrimPrefix(made, "snapshot "), " ")
	if shown, err := command(freeze, name, "--database", url); err != nil || shown != made {
		t.Errorf("snapshot %s = %q, %v, want %q", name, shown, err, made)
	}
	if said, err := command(reproduce, name, "--database", url); err != nil || !strings.Contains(said, "identical") {
		t.Errorf("reproduce %s = %q, %v, want identical", name, said, err)
	}
	if said, err := command(verify, "--database", url); err != nil || !strings.HasPrefix(said, "ledger whole: ") {
		t.Errorf("verify with snapshot %s = %q, %v", name, said, err)
	}
	conn, err := pgx.Connect(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(t.Context())
	if _, err := conn.Exec(t.Context(), "UPDATE snapshot_file SET content = (SELECT content FROM snapshot_file WHERE name = 'fits.json') WHERE name = 'rankings.json'"); err != nil {
		t.Fatal(err)
	}
	if said, err := command(reproduce, "--database", url, name); !errors.Is(err, errRefused) || !strings.Contains(said, "not as published: rankings.json") {
		t.Errorf("reproduce of a changed snapshot = %q, %v, want refused", said, err)
	}
	if _, err := command(verify, "--database", url); err == nil || !strings.Contains(err.Error(), ": snapshot_created "+name+": file rankings.json hashes to ") {
		t.Errorf("verify with a changed file = %v, want it named", err)
	}
	for _, args := range [][]string{{"--database", url}, {"--database", url, "2026-w01", "2026-w02"}} {
		if _, err := command(reproduce, args...); !isMisuse(err) {
			t.Errorf("reproduce %v = %v, want a misuse", args[2:], err)
		}
	}
}

func isMisuse(err error) bool {
	_, ok := errors.AsType[*misuse](err)
	return ok
}
