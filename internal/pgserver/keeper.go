package pgserver

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"syscall"
	"time"
)

const (
	pollReady  = 5 * time.Millisecond
	restartMin = 50 * time.Millisecond // the backends of a killed server need a moment to leave
	restartMax = 2 * time.Second
	largestLog = 16 << 20
)

// A keeper runs the server as a child and starts it again when it dies unasked.
type keeper struct {
	programs Programs
	places   places
	who      account
	args     []string

	stopping  chan struct{} // closed when the server shall end
	closeOnce sync.Once
	ended     chan struct{} // closed when the last child is gone
	first     chan error    // how the first child ended, where it ended by itself

	mu    sync.Mutex
	child *os.Process
}

func newKeeper(programs Programs, p places, who account, throwaway bool) *keeper {
	return &keeper{
		programs: programs, places: p, who: who, args: serverArgs(p, throwaway),
		stopping: make(chan struct{}), ended: make(chan struct{}), first: make(chan error, 1),
	}
}

// serverArgs are the settings that must not depend on the data directory's own file.
func serverArgs(p places, throwaway bool) []string {
	args := []string{
		"-D", p.cluster, "-p", port, "-k", p.socket,
		"-c", "listen_addresses=", "-c", "unix_socket_permissions=0700",
		"-c", "logging_collector=off", "-c", "log_destination=stderr", "-c", "timezone=UTC",
	}
	if throwaway {
		args = append(args, "-c", "fsync=off", "-c", "synchronous_commit=off", "-c", "full_page_writes=off",
			"-c", "max_connections=400", "-c", "autovacuum=off")
	}
	return args
}

// start returns when the server takes connections, or says why it does not.
func (k *keeper) start(ctx context.Context) error {
	offset := sizeOf(k.places.log)
	go k.keep()
	for {
		select {
		case err := <-k.first:
			return fmt.Errorf("PostgreSQL %d ended at start: %w; its last words: %s", k.programs.Major, err, tail(k.places.log, offset))
		default:
		}
		if ready(ctx, k.places) {
			return nil
		}
		if err := pause(ctx, pollReady); err != nil {
			return fmt.Errorf("wait for PostgreSQL %d in %s: %w; its last words: %s", k.programs.Major, k.places.root, err, tail(k.places.log, offset))
		}
	}
}

// keep runs children until told to stop. The wish to be told of a parent's death
// belongs to the thread that started the child, so the thread stays.
func (k *keeper) keep() {
	runtime.LockOSThread()
	defer runtime.UnlockOSThread()
	defer close(k.ended)
	for wait := restartMin; ; wait = min(2*wait, restartMax) {
		err := k.runOnce()
		if k.isStopping() {
			return
		}
		select {
		case k.first <- err: // only while start still listens; later it stays there unread
		default:
		}
		if k.rest(wait) {
			return
		}
	}
}

// rest waits before the next attempt, and tells whether to stop instead.
func (k *keeper) rest(d time.Duration) bool {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-k.stopping:
		return true
	case <-timer.C:
		return false
	}
}

func (k *keeper) runOnce() error {
	log, err := openLog(k.places.log)
	if err != nil {
		return err
	}
	defer log.Close()
	cmd := exec.Command(filepath.Join(k.programs.BinDir, "postgres"), k.args...)
	cmd.Dir = k.places.cluster
	cmd.Env = cleanEnvironment()
	cmd.Stdout, cmd.Stderr = log, log
	cmd.SysProcAttr = childAttr(k.who)
	if err := k.launch(cmd); err != nil {
		return err
	}
	err = cmd.Wait()
	if err == nil {
		return errors.New("it was told to shut down by somebody else")
	}
	return err
}

// launch starts the child unless a stop came first.
func (k *keeper) launch(cmd *exec.Cmd) error {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.isStopping() {
		return context.Canceled
	}
	if err := cmd.Start(); err != nil {
		return fmt.Errorf("start %s: %w", cmd.Path, err)
	}
	k.child = cmd.Process
	return nil
}

func (k *keeper) isStopping() bool {
	select {
	case <-k.stopping:
		return true
	default:
		return false
	}
}

// stop asks for a fast shutdown, which ends open connections and loses nothing,
// and waits. A server that does not obey before ctx ends is told to abort.
func (k *keeper) stop(ctx context.Context) error {
	k.closeOnce.Do(func() { close(k.stopping) })
	k.signal(syscall.SIGINT)
	select {
	case <-k.ended:
		return nil
	case <-ctx.Done():
	}
	k.signal(syscall.SIGQUIT)
	<-k.ended
	return fmt.Errorf("PostgreSQL in %s did not stop in time and was told to abort; nothing committed is lost: %w", k.places.root, ctx.Err())
}

func (k *keeper) signal(s os.Signal) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.child != nil {
		_ = k.child.Signal(s) // an ended child is what we want
	}
}

// cleanEnvironment leaves out what would change the server's settings behind our back.
func cleanEnvironment() []string {
	var env []string
	for _, v := range os.Environ() {
		if !strings.HasPrefix(v, "PG") && !strings.HasPrefix(v, "LC_") && !strings.HasPrefix(v, "EVENSUN_") {
			env = append(env, v)
		}
	}
	return env
}

func openLog(path string) (*os.File, error) {
	flags := os.O_CREATE | os.O_WRONLY | os.O_APPEND
	if sizeOf(path) > largestLog {
		flags |= os.O_TRUNC
	}
	log, err := os.OpenFile(path, flags, 0o600)
	if err != nil {
		return nil, fmt.Errorf("open the server's log: %w", err)
	}
	return log, nil
}

func sizeOf(path string) int64 {
	info, err := os.Stat(path)
	if err != nil {
		return 0
	}
	return info.Size()
}

// tail returns at most the last 1,000 bytes that were written after offset.
func tail(path string, offset int64) string {
	file, err := os.Open(path)
	if err != nil {
		return "(no log)"
	}
	defer file.Close()
	from := max(offset, sizeOf(path)-1000)
	raw, err := io.ReadAll(io.NewSectionReader(file, from, 1000))
	if err != nil || len(raw) == 0 {
		return "(nothing)"
	}
	return strings.TrimSpace(string(raw))
}
