package storetest

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"

	"evensun/internal/pgserver"
)

// DataDir returns a data directory for a server of the test's own, gone after the test.
// What initdb makes is in it already: copied from one that is made once a machine and
// version of PostgreSQL, because making it anew takes a second each time.
func DataDir(tb testing.TB) string {
	tb.Helper()
	dir := folder(tb)
	from, err := initialised()
	if err == nil {
		err = copyTree(from, dir)
	}
	if err != nil {
		tb.Fatal(err)
	}
	return dir
}

// EmptyDataDir is DataDir with nothing in it.
func EmptyDataDir(tb testing.TB) string {
	tb.Helper()
	return folder(tb)
}

// folder makes one that root's postgres user can reach: t.TempDir lies below a folder that
// only its maker may enter.
func folder(tb testing.TB) string {
	tb.Helper()
	dir, err := os.MkdirTemp(base(), "evensun-data-")
	if err != nil {
		tb.Fatal(err)
	}
	if err := os.Chmod(dir, 0o711); err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(func() {
		if err := os.RemoveAll(dir); err != nil {
			tb.Error(err)
		}
	})
	return dir
}

// initialised returns the folder "postgres" of a stopped server that nothing was done to.
func initialised() (string, error) {
	ctx, cancel := context.WithTimeout(context.Background(), longestWait)
	defer cancel()
	programs, err := pgserver.Find(os.Getenv("EVENSUN_PG_BIN"))
	if err != nil {
		return "", err
	}
	dir, err := home()
	if err != nil {
		return "", err
	}
	lock, err := pgserver.Exclusive(ctx, filepath.Join(dir, "initialising"))
	if err != nil {
		return "", err
	}
	defer lock.Release()
	made := filepath.Join(dir, "initialised-"+strconv.Itoa(programs[0].Major))
	cluster := filepath.Join(made, "postgres")
	if _, err := os.Stat(made); err == nil {
		return cluster, nil
	}
	half := made + ".half"
	if err := os.RemoveAll(half); err != nil {
		return "", err
	}
	s, err := pgserver.Start(ctx, pgserver.Options{DataDir: half, BinDir: os.Getenv("EVENSUN_PG_BIN")})
	if err != nil {
		return "", err
	}
	if err := s.Stop(ctx); err != nil {
		return "", err
	}
	return cluster, os.Rename(half, made)
}

// copyTree copies a folder into another one, with owners and modes.
func copyTree(from, into string) error {
	out, err := exec.Command("cp", "-a", from, into).CombinedOutput()
	if err != nil {
		return errors.Join(fmt.Errorf("copy %s: %s", from, out), err)
	}
	return nil
}
