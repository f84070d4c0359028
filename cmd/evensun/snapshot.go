package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"strings"

	"evensun/internal/contract"
	"evensun/internal/normalise"
	"evensun/internal/refresh"
	"evensun/internal/snapshot"
	"evensun/internal/store"
)

// newFreezer wires what makes snapshots of a worker's rankings.
func newFreezer(worker *refresh.Worker, db *store.DB) (*refresh.Freezer, error) {
	api, err := contract.Own()
	if err != nil {
		return nil, err
	}
	return refresh.NewFreezer(worker, db, refresh.Methods{Normalise: normalise.MethodVersion, Contract: api.Document().Info.Version}), nil
}

// freeze makes a snapshot now, or checks the hashes of a stored one.
func freeze(ctx context.Context, std streams, args []string) error {
	return onDatabase(ctx, std, "snapshot", args, func(db *store.DB, names []string) error {
		switch len(names) {
		case 0:
			return makeSnapshot(ctx, std, db)
		case 1:
			_, err := openSnapshot(ctx, std, db, names[0])
			return err
		}
		return &misuse{"takes at most one name of a snapshot"}
	})
}

// reproduce recomputes the rankings of a stored snapshot from its own files.
func reproduce(ctx context.Context, std streams, args []string) error {
	return onDatabase(ctx, std, "reproduce", args, func(db *store.DB, names []string) error {
		if len(names) != 1 {
			return &misuse{"needs the name of a snapshot, as 2026-w48"}
		}
		s, err := openSnapshot(ctx, std, db, names[0])
		if err != nil {
			return err
		}
		r, err := snapshot.Reproduce(ctx, s, snapshot.ThisProgram())
		if err != nil {
			return err
		}
		return report(std.out, s, r)
	})
}

// onDatabase reads the flags of a command, opens the database and runs do on it with
// the arguments that are left.
func onDatabase(ctx context.Context, std streams, name string, args []string, do func(db *store.DB, rest []string) error) error {
	s, names, err := settingsAnd(flag.NewFlagSet(name, flag.ContinueOnError), std.err, args)
	if err != nil {
		return err
	}
	db, err := openDatabase(ctx, s)
	if err != nil {
		return err
	}
	return errors.Join(do(db.DB, names), db.close(context.WithoutCancel(ctx)))
}

func makeSnapshot(ctx context.Context, std streams, db *store.DB) error {
	f, err := newFreezer(refresh.New(db, refresh.Options{}), db)
	if err != nil {
		return err
	}
	var made *snapshot.Snapshot
	_, _, err = f.Freeze(ctx, store.Idempotency{}, false, func(ctx context.Context, tx *store.Tx, s *snapshot.Snapshot) (store.Response, error) {
		made = s
		_, err := tx.Seal(ctx)
		return store.Response{}, err
	})
	if err != nil {
		return err
	}
	describe(std.out, made)
	return nil
}

// openSnapshot reads a snapshot and tells of every file that is not what was published.
func openSnapshot(ctx context.Context, std streams, db *store.DB, name string) (*snapshot.Snapshot, error) {
	s, err := refresh.FrozenSnapshot(ctx, db, name)
	if err != nil {
		return nil, err
	}
	if err := s.Verify(); err != nil {
		for line := range strings.Lines(err.Error() + "\n") {
			fmt.Fprintf(std.out, "not as published: %s", line)
		}
		return nil, errRefused
	}
	describe(std.out, s)
	return s, nil
}

func describe(w io.Writer, s *snapshot.Snapshot) {
	m := &s.Manifest
	fmt.Fprintf(w, "snapshot %s  sha256 %s\n", m.Name, s.SHA256)
	fmt.Fprintf(w, "made %s, ledger row %d %s\n", m.CreatedAt.Format("2006-01-02 15:04 MST"), m.LedgerHead.Sequence, m.LedgerHead.Hash)
	fmt.Fprintf(w, "%d rankings of %d panel models, %d readings in %d sessions by %d testers\n",
		m.Counts.Rankings, m.Counts.PanelModels, m.Counts.Readings, m.Counts.Sessions, m.Counts.Testers)
	for _, f := range m.Files {
		fmt.Fprintf(w, "  %-15s %9d bytes  sha256 %s\n", f.Name, f.Size, f.SHA256)
	}
	for _, f := range m.Failed {
		fmt.Fprintf(w, "  not ranked: %s: %s\n", f.Dataset, f.Reason)
	}
}

// report says whether a computation agrees with the snapshot.
func report(w io.Writer, s *snapshot.Snapshot, r snapshot.Report) error {
	switch {
	case r.Identical:
		fmt.Fprintln(w, "reproduced: every file is identical, byte for byte")
		return nil
	case r.Agrees:
		fmt.Fprintf(w, "reproduced on another build: %d values agree to %.0e, the worst by %.1e; %d differ by one in the sixth digit\n",
			r.Compared, snapshot.Tolerance, r.Worst, r.Steps)
		return nil
	}
	for _, d := range r.Differences {
		fmt.Fprintln(w, d)
	}
	if r.More > 0 {
		fmt.Fprintf(w, "and %d more\n", r.More)
	}
	if !r.SameBuild {
		fmt.Fprintf(w, "made by %s, computed by %s\n", program(s.Manifest.Program), program(r.Program))
	}
	fmt.Fprintln(w, "not reproduced")
	return errRefused
}

func program(p snapshot.Program) string {
	return strings.Join(strings.Fields(p.Go+" "+p.GOARCH+" "+p.Module+" "+p.Revision), " ")
}
