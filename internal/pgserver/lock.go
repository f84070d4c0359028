package pgserver

import (
	"context"
	"errors"
	"fmt"
	"os"
	"syscall"
	"time"
)

// A Lock is an advisory lock on a file, which the kernel drops when its holder
// ends, however it ends.
type Lock struct{ file *os.File }

// lockPoll is how often a wait looks again.
const lockPoll = 5 * time.Millisecond

// Exclusive waits until nobody else holds the file's lock.
func Exclusive(ctx context.Context, path string) (*Lock, error) {
	return waitFor(ctx, path, syscall.LOCK_EX)
}

// Shared waits until nobody holds the file's lock exclusively.
func Shared(ctx context.Context, path string) (*Lock, error) {
	return waitFor(ctx, path, syscall.LOCK_SH)
}

// TryExclusive returns nil where somebody else holds the file's lock.
func TryExclusive(path string) (*Lock, error) {
	return try(path, syscall.LOCK_EX)
}

// Release drops the lock. A nil lock has nothing to drop.
func (l *Lock) Release() error {
	if l == nil {
		return nil
	}
	return l.file.Close()
}

func waitFor(ctx context.Context, path string, how int) (*Lock, error) {
	for {
		l, err := try(path, how)
		if l != nil || err != nil {
			return l, err
		}
		if err := pause(ctx, lockPoll); err != nil {
			return nil, fmt.Errorf("wait for the lock on %s: %w", path, err)
		}
	}
}

func try(path string, how int) (*Lock, error) {
	file, err := os.OpenFile(path, os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return nil, fmt.Errorf("open lock file: %w", err)
	}
	err = syscall.Flock(int(file.Fd()), how|syscall.LOCK_NB)
	if err == nil {
		return &Lock{file: file}, nil
	}
	file.Close()
	if errors.Is(err, syscall.EWOULDBLOCK) || errors.Is(err, syscall.EINTR) {
		return nil, nil
	}
	return nil, fmt.Errorf("lock %s: %w", path, err)
}

// pause waits for d or the end of ctx.
func pause(ctx context.Context, d time.Duration) error {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-timer.C:
		return nil
	}
}
