package storetest

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"sync"
	"syscall"
	"time"

	"evensun/internal/pgserver"
)

const (
	keeperVariable = "EVENSUN_TEST_SERVER_KEEPER" // set: this process keeps the server
	grace          = 3 * time.Second              // between two test processes of one go test
	look           = 100 * time.Millisecond
	longestWait    = 90 * time.Second
)

// A test binary that finds the variable set is no test but the keeper of the server.
func init() {
	dir := os.Getenv(keeperVariable)
	if dir == "" {
		return
	}
	if err := keep(dir); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	os.Exit(0)
}

// A shared server is used by this process as long as use is held: until its end.
type shared struct {
	socketDir string
	use       *pgserver.Lock // unreferenced, its file would be closed and the lock lost
}

// server returns the shared server, starting it if needed.
var server = sync.OnceValues(func() (shared, error) {
	ctx, cancel := context.WithTimeout(context.Background(), longestWait)
	defer cancel()
	return share(ctx)
})

// share holds the shared lock until this process ends, then makes sure of a server.
func share(ctx context.Context) (shared, error) {
	dir, err := home()
	if err != nil {
		return shared{}, err
	}
	use, err := pgserver.Shared(ctx, filepath.Join(dir, "tests"))
	if err != nil {
		return shared{}, err
	}
	lock, err := pgserver.Exclusive(ctx, filepath.Join(dir, "starting"))
	if err != nil {
		return shared{}, err
	}
	defer lock.Release()
	socketDir, err := startKeeper(ctx, dir)
	return shared{socketDir: socketDir, use: use}, err
}

// home is the folder of this user's server. Whoever made it first must be us.
func home() (string, error) {
	dir := filepath.Join(base(), "evensun-test-"+strconv.Itoa(os.Geteuid()))
	if err := os.Mkdir(dir, 0o711); err != nil && !errors.Is(err, os.ErrExist) {
		return "", fmt.Errorf("make the folder of the test server: %w", err)
	}
	info, err := os.Lstat(dir)
	if err != nil {
		return "", err
	}
	stat, ok := info.Sys().(*syscall.Stat_t)
	if !info.IsDir() || !ok || int(stat.Uid) != os.Geteuid() {
		return "", fmt.Errorf("%s is not a folder of this user: remove it", dir)
	}
	return dir, nil
}

// base is the temporary folder, or /tmp where root's own may be closed to the
// user that runs the server.
func base() string {
	if os.Geteuid() == 0 {
		return "/tmp"
	}
	return os.TempDir()
}

// startKeeper runs this binary again as the keeper, unless one runs, and waits
// until it wrote where the socket is. Output goes to a file: a child that holds
// the test's own output would keep go test waiting.
func startKeeper(ctx context.Context, dir string) (string, error) {
	idle, err := pgserver.TryExclusive(filepath.Join(dir, "keeper"))
	if err != nil {
		return "", err
	}
	if idle == nil {
		return waitForSocket(ctx, dir, nil)
	}
	if err := errors.Join(removeSocket(dir), idle.Release()); err != nil {
		return "", err
	}
	log, err := os.Create(filepath.Join(dir, "keeper.log"))
	if err != nil {
		return "", err
	}
	defer log.Close()
	cmd := exec.Command(os.Args[0])
	cmd.Dir = dir
	cmd.Env = append(os.Environ(), keeperVariable+"="+dir)
	cmd.Stdout, cmd.Stderr = log, log
	cmd.SysProcAttr = &syscall.SysProcAttr{Setsid: true}
	if err := cmd.Start(); err != nil {
		return "", fmt.Errorf("start the keeper of the test server: %w", err)
	}
	ended := make(chan error, 1)
	go func() { ended <- cmd.Wait() }()
	return waitForSocket(ctx, dir, ended)
}

func removeSocket(dir string) error {
	err := os.Remove(filepath.Join(dir, "socket-folder"))
	if errors.Is(err, os.ErrNotExist) {
		return nil
	}
	return err
}

func waitForSocket(ctx context.Context, dir string, ended <-chan error) (string, error) {
	for tick := time.NewTicker(look / 10); ; {
		raw, err := os.ReadFile(filepath.Join(dir, "socket-folder"))
		if err == nil {
			tick.Stop()
			return string(raw), nil
		}
		select {
		case <-ended:
			said, err := os.ReadFile(filepath.Join(dir, "keeper.log"))
			return "", errors.Join(fmt.Errorf("the test server did not start: %s", said), err)
		case <-ctx.Done():
			return "", fmt.Errorf("wait for the test server in %s: %w", dir, ctx.Err())
		case <-tick.C:
		}
	}
}

// keep runs the server until no test process holds the shared lock for a while.
func keep(dir string) error {
	ctx := context.Background()
	mine, err := pgserver.TryExclusive(filepath.Join(dir, "keeper"))
	if mine == nil || err != nil {
		return errors.Join(errors.New("another keeper runs"), err)
	}
	defer mine.Release()
	s, err := pgserver.Start(ctx, pgserver.Options{DataDir: filepath.Join(dir, "data"), BinDir: os.Getenv("EVENSUN_PG_BIN"), Throwaway: true})
	if err != nil {
		return err
	}
	if err := publish(dir, s.SocketDir()); err != nil {
		return errors.Join(err, s.Stop(ctx))
	}
	nobody, err := waitUntilUnused(filepath.Join(dir, "tests"))
	err = errors.Join(err, removeSocket(dir), s.Stop(ctx))
	// Only now may a new test process get its shared lock, and start a new keeper.
	return errors.Join(err, mine.Release(), nobody.Release())
}

// publish writes the socket's folder in one step, so that no reader sees half of it.
func publish(dir, socketDir string) error {
	fresh := filepath.Join(dir, "socket-folder.new")
	if err := os.WriteFile(fresh, []byte(socketDir), 0o600); err != nil {
		return err
	}
	return os.Rename(fresh, filepath.Join(dir, "socket-folder"))
}

// waitUntilUnused returns with the exclusive lock once nobody used the server at
// the beginning and at the end of the grace.
func waitUntilUnused(path string) (*pgserver.Lock, error) {
	tick := time.NewTicker(look)
	defer tick.Stop()
	for idle := time.Duration(0); ; idle += look {
		lock, err := pgserver.TryExclusive(path)
		if err != nil {
			return nil, err
		}
		if lock == nil {
			idle = 0
		}
		if lock != nil && idle >= grace {
			return lock, nil
		}
		if err := lock.Release(); err != nil {
			return nil, err
		}
		<-tick.C
	}
}
