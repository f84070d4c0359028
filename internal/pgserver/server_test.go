package pgserver_test

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"

	"github.com/jackc/pgx/v5"

	"evensun/internal/pgserver"
	"evensun/internal/storetest"
)

func start(t *testing.T, dir string) *pgserver.Server {
	t.Helper()
	s, err := pgserver.Start(t.Context(), pgserver.Options{DataDir: dir, BinDir: os.Getenv("EVENSUN_PG_BIN")})
	if err != nil {
		t.Fatalf("Start(%s) = %v", dir, err)
	}
	return s
}

func stop(t *testing.T, s *pgserver.Server) {
	t.Helper()
	if err := s.Stop(context.WithoutCancel(t.Context())); err != nil {
		t.Errorf("Stop() = %v", err)
	}
}

func exec1(t *testing.T, url, sql string) {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), url)
	if err != nil {
		t.Fatalf("connect: %v", err)
	}
	defer conn.Close(t.Context())
	if _, err := conn.Exec(t.Context(), sql); err != nil {
		t.Fatalf("%s: %v", sql, err)
	}
}

func count(t *testing.T, url string) int {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), url)
	if err != nil {
		t.Fatalf("connect: %v", err)
	}
	defer conn.Close(t.Context())
	var n int
	if err := conn.QueryRow(t.Context(), "SELECT count(*) FROM kept").Scan(&n); err != nil {
		t.Fatalf("count: %v", err)
	}
	return n
}

func postmaster(t *testing.T, dir string) int {
	t.Helper()
	raw, err := os.ReadFile(filepath.Join(dir, "postgres", "postmaster.pid"))
	if err != nil {
		t.Fatal(err)
	}
	line, _, _ := strings.Cut(string(raw), "\n")
	pid, err := strconv.Atoi(line)
	if err != nil {
		t.Fatal(err)
	}
	return pid
}

func TestDataOutliveTheServer(t *testing.T) {
	t.Parallel()
	dir := storetest.DataDir(t)
	first := start(t, dir)
	exec1(t, first.URL(), "CREATE TABLE kept AS SELECT generate_series(1, 1000) AS n")
	stop(t, first)
	if _, err := os.Stat(filepath.Join(dir, "postgres", "postmaster.pid")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("after Stop the server's claim is still there: %v", err)
	}
	second := start(t, dir)
	defer stop(t, second)
	if got := count(t, second.URL()); got != 1000 {
		t.Errorf("after a restart %d rows, want 1000", got)
	}
}

// A killed server is started again by the process that started it.
func TestKilledServerComesBack(t *testing.T) {
	t.Parallel()
	dir := storetest.DataDir(t)
	s := start(t, dir)
	defer stop(t, s)
	exec1(t, s.URL(), "CREATE TABLE kept AS SELECT generate_series(1, 1000) AS n")
	old := postmaster(t, dir)
	if err := syscall.Kill(old, syscall.SIGKILL); err != nil {
		t.Fatal(err)
	}
	// Start of a second user waits until the first one's server is back.
	other := start(t, dir)
	defer stop(t, other)
	if got := count(t, other.URL()); got != 1000 {
		t.Errorf("after kill -9 of the server %d rows, want 1000", got)
	}
	if now := postmaster(t, dir); now == old {
		t.Errorf("the killed server %d is still the claimant", old)
	}
}

// TestMain lets the test binary stand for an evensun process that can be killed.
func TestMain(m *testing.M) {
	if dir := os.Getenv("PGSERVER_TEST_CHILD"); dir != "" {
		child(dir)
		return
	}
	os.Exit(m.Run())
}

func child(dir string) {
	s, err := pgserver.Start(context.Background(), pgserver.Options{DataDir: dir})
	if err != nil {
		fmt.Println("error", err)
		return
	}
	fmt.Println("url", s.URL())
	_, _ = bufio.NewReader(os.Stdin).ReadString('\n') // until killed or told
	fmt.Println("stopped", s.Stop(context.Background()))
}

// spawn starts a child process and returns it with the URL it printed.
func spawn(t *testing.T, dir string) (*exec.Cmd, string) {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), os.Args[0])
	cmd.Env = append(os.Environ(), "PGSERVER_TEST_CHILD="+dir)
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if _, err := cmd.StdinPipe(); err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	line, err := bufio.NewReader(out).ReadString('\n')
	if err != nil {
		t.Fatalf("the child said nothing: %v", err)
	}
	kind, url, _ := strings.Cut(strings.TrimSpace(line), " ")
	if kind != "url" {
		t.Fatalf("the child says %s", line)
	}
	return cmd, url
}

func TestKilledProcessLosesNothing(t *testing.T) {
	t.Parallel()
	dir := storetest.DataDir(t)
	for round := range 2 {
		cmd, url := spawn(t, dir)
		exec1(t, url, "CREATE TABLE IF NOT EXISTS kept (n int)")
		exec1(t, url, "INSERT INTO kept SELECT generate_series(1, 500)")
		if err := cmd.Process.Kill(); err != nil {
			t.Fatal(err)
		}
		_ = cmd.Wait() // "signal: killed" is what we asked for
		_ = round
	}
	s := start(t, dir)
	defer stop(t, s)
	if got := count(t, s.URL()); got != 1000 {
		t.Errorf("after two kills %d rows, want 1000", got)
	}
}

func TestBothKilledAtOnce(t *testing.T) {
	t.Parallel()
	dir := storetest.DataDir(t)
	cmd, url := spawn(t, dir)
	exec1(t, url, "CREATE TABLE kept AS SELECT generate_series(1, 1000) AS n")
	server := postmaster(t, dir)
	if err := cmd.Process.Signal(syscall.SIGSTOP); err != nil { // so that it cannot restart the server
		t.Fatal(err)
	}
	if err := syscall.Kill(server, syscall.SIGKILL); err != nil {
		t.Fatal(err)
	}
	if err := cmd.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	_ = cmd.Wait()
	s := start(t, dir)
	defer stop(t, s)
	if got := count(t, s.URL()); got != 1000 {
		t.Errorf("after kill -9 of both %d rows, want 1000", got)
	}
}

func TestRaceForOneDirectory(t *testing.T) {
	t.Parallel()
	dir := storetest.EmptyDataDir(t)
	var wg sync.WaitGroup
	for range 3 {
		wg.Go(func() {
			s, err := pgserver.Start(t.Context(), pgserver.Options{DataDir: dir})
			if err != nil {
				t.Errorf("Start() in a race = %v", err)
				return
			}
			if err := s.Stop(t.Context()); err != nil {
				t.Errorf("Stop() in a race = %v", err)
			}
		})
	}
	wg.Wait()
}

func TestLongPathGetsAShortSocket(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(storetest.EmptyDataDir(t), strings.Repeat("deep/", 20), "data")
	if err := os.MkdirAll(dir, 0o711); err != nil {
		t.Fatal(err)
	}
	for at := dir; len(at) > len(os.TempDir())+1; at = filepath.Dir(at) {
		_ = os.Chmod(at, 0o711)
	}
	s := start(t, dir)
	defer os.RemoveAll(s.SocketDir())
	defer stop(t, s)
	if got := len(s.SocketDir() + "/.s.PGSQL.5432"); got > 107 {
		t.Errorf("socket path of %d bytes, want at most 107", got)
	}
	exec1(t, s.URL(), "SELECT 1")
}
