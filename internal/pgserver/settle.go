package pgserver

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"time"
)

// patience is how long a dead server's process may stay in the process table,
// where nobody takes it out, before its claim on the data is cleared.
const patience = 2 * time.Second

// noProcess is larger than any process id can be.
const noProcess = "2147483647"

// settle waits until what an earlier process left behind is either a server that
// answers (true) or gone (false).
func settle(ctx context.Context, p places) (bool, error) {
	file := filepath.Join(p.cluster, "postmaster.pid")
	for waited := time.Duration(0); ; waited += pollReady {
		pid, ok := claimant(file)
		if !ok || !alive(pid) {
			return false, nil
		}
		if ready(ctx, p) {
			return true, nil
		}
		if !isServer(pid) && waited > patience {
			return false, disown(file)
		}
		if err := pause(ctx, pollReady); err != nil {
			return false, fmt.Errorf("process %d holds the data in %s and does not answer: %w", pid, p.cluster, err)
		}
	}
}

// claimed tells whether a server of another process holds the data directory.
func claimed(p places) bool {
	pid, ok := claimant(filepath.Join(p.cluster, "postmaster.pid"))
	return ok && alive(pid) && isServer(pid)
}

// interrupt asks a server that we did not start to shut down, and waits.
func interrupt(ctx context.Context, p places) error {
	file := filepath.Join(p.cluster, "postmaster.pid")
	pid, ok := claimant(file)
	if !ok || !alive(pid) || !isServer(pid) {
		return nil
	}
	if err := syscall.Kill(pid, syscall.SIGINT); err != nil && !errors.Is(err, syscall.ESRCH) {
		return fmt.Errorf("ask server %d to stop: %w", pid, err)
	}
	for {
		if _, ok := claimant(file); !ok || !alive(pid) || !isServer(pid) {
			return nil
		}
		if err := pause(ctx, pollReady); err != nil {
			return fmt.Errorf("wait for server %d to stop: %w", pid, err)
		}
	}
}

// claimant reads the process id of the server that holds the data directory.
func claimant(file string) (int, bool) {
	raw, err := os.ReadFile(file)
	if err != nil {
		return 0, false
	}
	line, _, _ := strings.Cut(string(raw), "\n")
	pid, err := strconv.Atoi(strings.TrimSpace(line))
	return pid, err == nil && pid > 0
}

func alive(pid int) bool {
	err := syscall.Kill(pid, 0)
	return err == nil || errors.Is(err, syscall.EPERM)
}

// isServer tells whether the process is a PostgreSQL server that runs: not a
// zombie, which a container without a reaping first process keeps for ever, and
// not a stranger who got the number. Where /proc does not exist it says yes.
func isServer(pid int) bool {
	raw, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		return !errors.Is(err, os.ErrNotExist) || !hasProc()
	}
	name, rest, ok := bytes.Cut(raw, []byte(") "))
	if !ok || len(rest) == 0 {
		return true
	}
	_, command, _ := bytes.Cut(name, []byte("("))
	zombie := rest[0] == 'Z' || rest[0] == 'X'
	return !zombie && (string(command) == "postgres" || string(command) == "postmaster")
}

func hasProc() bool {
	_, err := os.Stat("/proc/self/stat")
	return err == nil
}

// disown replaces the process id in postmaster.pid by one that cannot exist. The
// other lines stay: by them PostgreSQL still checks that no process of the old
// server holds its shared memory. Removing the file would drop that guard.
func disown(file string) error {
	raw, err := os.ReadFile(file)
	if errors.Is(err, os.ErrNotExist) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("read the dead server's claim: %w", err)
	}
	_, rest, _ := bytes.Cut(raw, []byte("\n"))
	raw = append([]byte(noProcess+"\n"), rest...)
	if err := os.WriteFile(file, raw, 0o600); err != nil {
		return fmt.Errorf("clear the dead server's claim: %w", err)
	}
	return nil
}
