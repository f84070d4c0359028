package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"evensun/internal/demo"
	"evensun/internal/reftest"
	"evensun/internal/storetest"
)

// A started is a service that runs in this process on a database of its own.
type started struct {
	url, key, reviewer, database string
	printed                      []string
}

// startDemo runs `evensun serve --demo` on a fresh database and reads what it prints
// until it serves.
func startDemo(t *testing.T) started {
	t.Helper()
	for _, name := range []string{"WRITES_PER_MINUTE", "READS_PER_MINUTE", "ANONYMOUS_PER_MINUTE", "DRY_RUNS_PER_MINUTE"} {
		t.Setenv(envPrefix+name, "0")
	}
	t.Setenv(envPrefix+"ALLOW_UNSAFE_DATABASE", "true") // the tests' server runs without fsync
	ctx, stop := context.WithCancel(context.Background())
	out, in := io.Pipe()
	var log bytes.Buffer
	done := make(chan int, 1)
	database := storetest.EmptyURL(t)
	args := []string{"serve", "--demo", "--addr", "127.0.0.1:0", "--database", database}
	go func() {
		code := run(ctx, streams{strings.NewReader(""), in, &log}, args)
		in.Close()
		done <- code
	}()
	t.Cleanup(func() {
		stop()
		if code := storetest.Await(t, done, "serve to end"); code != exitDone {
			t.Errorf("serve ended with %d: %s", code, log.String())
		}
	})
	s := started{database: database}
	lines := bufio.NewScanner(out)
	for lines.Scan() {
		s.printed = append(s.printed, lines.Text())
		if s.note(lines.Text()) {
			go io.Copy(io.Discard, out)
			return s
		}
	}
	t.Fatalf("serve printed %q and ended", s.printed)
	return s
}

var (
	servesLine   = regexp.MustCompile(`evensun serves (http://\S+)`)
	testerLine   = regexp.MustCompile(`tester.*(evs_\w+)`)
	reviewerLine = regexp.MustCompile(`reviewer.*(evs_\w+)`)
)

// note reads one printed line and tells whether the service is up.
func (s *started) note(line string) bool {
	if m := testerLine.FindStringSubmatch(line); m != nil && s.key == "" {
		s.key = m[1]
	}
	if m := reviewerLine.FindStringSubmatch(line); m != nil && s.reviewer == "" {
		s.reviewer = m[1]
	}
	m := servesLine.FindStringSubmatch(line)
	if m != nil {
		s.url = m[1]
	}
	return m != nil
}

// tourExpects is what the answer of each command of the README's tour must contain, by
// a piece of the command.
var tourExpects = []struct{ command, answer string }{
	{"dry_run=true", `"stored":false`},
	{"my-first-session-01", `"stored":true`},
	{"at_least=$SEQUENCE", `"rank_lo"`},
	{"/results", `"weight"`},
	{"impossible.json", `"current_above_isc"`},
	{"page_size=3", `"reason"`},
	{"/verdicts", `"verdict":"exclude"`},
	{"ledger?after", `"verdict`},
	{"check testdata", "W at standard test conditions"},
	{"combine testdata", `"contrasts"`},
}

// TestTour runs every command of the README's five minutes against the demonstration.
func TestTour(t *testing.T) {
	s := startDemo(t)
	if s.key == "" || s.reviewer == "" {
		t.Fatalf("serve --demo printed no tester's or reviewer's key: %q", s.printed)
	}
	root, err := filepath.Abs("../..")
	if err != nil {
		t.Fatal(err)
	}
	commands := tourCommands(t, filepath.Join(root, "README.md"))
	const mark = "-- next command --"
	script := strings.Join(commands, "\necho; echo '"+mark+"'\n")
	cmd := exec.Command("sh", "-e", "-c", script)
	cmd.Dir = root
	cmd.Env = append(os.Environ(), "URL="+s.url, "KEY="+s.key, "REVIEWER="+s.reviewer)
	out, err := cmd.CombinedOutput()
	if err != nil {
		t.Fatalf("the tour failed: %v\n%s", err, out)
	}
	answers := strings.Split(string(out), mark)
	if len(answers) != len(commands) {
		t.Fatalf("%d commands, %d answers", len(commands), len(answers))
	}
	checkTour(t, commands, answers)
	if got := evensun(t, "", "verify", "--database", s.database); got.code != exitDone {
		t.Errorf("verify of the running demonstration = %+v", got)
	}
}

func checkTour(t *testing.T, commands, answers []string) {
	t.Helper()
	for _, want := range tourExpects {
		found := false
		for i, c := range commands {
			if !strings.Contains(c, want.command) || strings.HasPrefix(c, "FINDING=") {
				continue
			}
			found = true
			if !strings.Contains(answers[i], want.answer) {
				t.Errorf("%s\nanswered %.1500s\nwant %s in it", c, answers[i], want.answer)
			}
		}
		if !found {
			t.Errorf("the README has no command with %s", want.command)
		}
	}
}

// tourCommands reads the lines of the sh blocks below the heading "Five minutes".
func tourCommands(t *testing.T, readme string) []string {
	t.Helper()
	raw, err := os.ReadFile(readme)
	if err != nil {
		t.Fatal(err)
	}
	_, tour, ok := strings.Cut(string(raw), "\n## Five minutes\n")
	if !ok {
		t.Fatal("the README has no five minutes")
	}
	tour, _, _ = strings.Cut(tour, "\n## ")
	var commands []string
	inside := false
	for line := range strings.Lines(tour) {
		line = strings.TrimRight(line, "\n")
		switch {
		case strings.HasPrefix(line, "```sh"):
			inside = true
		case strings.HasPrefix(line, "```"):
			inside = false
		case inside && line != "":
			commands = append(commands, line)
		}
	}
	return commands
}

// TestTourFiles holds the files that the README submits to the demonstration they belong
// to.
func TestTourFiles(t *testing.T) {
	last := time.Date(2026, 6, 20, 0, 0, 0, 0, time.UTC)
	for name, make := range map[string]func(time.Time) ([]byte, error){"session.json": demo.ReadmeSession, "impossible.json": demo.ReadmeRefused} {
		raw, err := make(last)
		if err != nil {
			t.Fatal(err)
		}
		var made bytes.Buffer
		if err := json.Indent(&made, raw, "", " "); err != nil {
			t.Fatal(err)
		}
		made.WriteByte('\n')
		reftest.Golden(t, filepath.Join("..", "..", "testdata", "tour", name), made.Bytes())
	}
}
