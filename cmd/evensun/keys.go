package main

import (
	"context"
	"crypto/rand"
	"errors"
	"flag"
	"fmt"
	"io"
	"time"

	"github.com/google/uuid"

	"evensun/internal/accounts"
	"evensun/internal/fieldtest"
	"evensun/internal/store"
)

// keys makes a tester with a key, or lists keys, on the server itself.
func keys(ctx context.Context, std streams, args []string) error {
	flags := flag.NewFlagSet("keys", flag.ContinueOnError)
	named := flags.String("role", string(fieldtest.RoleTester), "tester, reviewer or operator")
	s, rest, err := settingsAnd(flags, std.err, args)
	if err != nil {
		return err
	}
	role := fieldtest.Role(*named)
	if err := keysAsked(role, rest); err != nil {
		return err
	}
	db, err := openDatabase(ctx, s)
	if err != nil {
		return err
	}
	if rest[0] == "list" {
		err = listKeys(ctx, std, db.DB)
	} else {
		err = createKey(ctx, std, db.DB, role, rest[1])
	}
	return errors.Join(err, db.close(context.WithoutCancel(ctx)))
}

// keysAsked tells what is wrong with a command line, before any database is opened.
func keysAsked(role fieldtest.Role, rest []string) error {
	switch role {
	case fieldtest.RoleTester, fieldtest.RoleReviewer, fieldtest.RoleOperator:
	default:
		return &misuse{fmt.Sprintf("there is no role %q", role)}
	}
	switch {
	case len(rest) == 1 && rest[0] == "list":
		return nil
	case len(rest) == 2 && rest[0] == "create" && rest[1] != "":
		return nil
	case len(rest) > 0 && rest[0] == "create":
		return &misuse{"create needs the name of the tester, reviewer or operator, and nothing else"}
	}
	return &misuse{"create or list"}
}

func createKey(ctx context.Context, std streams, db *store.DB, role fieldtest.Role, name string) error {
	_, key, err := newTester(ctx, db, name, role, role != fieldtest.RoleTester)
	if err != nil {
		return err
	}
	fmt.Fprintf(std.out, "%s\n", key)
	return nil
}

// tellFirstKey says how to make a key where nothing is stored yet, so nobody has one.
func tellFirstKey(ctx context.Context, out io.Writer, s settings, db *store.DB) error {
	head, err := db.LedgerHead(ctx)
	if err != nil || head.Sequence > 0 || s.OperatorKey != "" {
		return err
	}
	_, err = fmt.Fprintln(out, "The database is empty. For a first key, with the same settings: evensun keys create --role operator NAME")
	return err
}

// newTester stores a tester with one key and returns the key's text, which is shown
// this once.
func newTester(ctx context.Context, db *store.DB, name string, role fieldtest.Role, trusted bool) (uuid.UUID, string, error) {
	return accounts.New(db, time.Now, rand.Reader, accounts.Closed).Found(ctx, name, role, trusted)
}

func listKeys(ctx context.Context, std streams, db *store.DB) error {
	list, err := db.Keys(ctx, uuid.Nil)
	if err != nil {
		return err
	}
	for _, k := range list {
		state := "good"
		if k.RevokedAt != nil {
			state = "revoked"
		}
		fmt.Fprintf(std.out, "%s  %-8s  tester %s  expires %s  %s\n", k.ID, k.Role, k.TesterID, k.ExpiresAt.Format(time.DateOnly), state)
	}
	return nil
}
