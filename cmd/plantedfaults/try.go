package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"syscall"
	"time"
)

// fate is what became of a fault.
type fate int

const (
	survived    fate = iota // every test passed
	died                    // a test failed
	outOfTime               // the tests did not end in time
	notCompiled             // the compiler refused it: nobody could make this mistake
)

// An outcome is a fault and what became of it.
type outcome struct {
	fault
	fate fate
}

// memoryKB bounds what a test of a faulty program may take, so that an endless loop
// that gathers does not take the machine.
const memoryKB = 8 << 20

// A workbench compiles faulty packages and runs their tests.
type workbench struct {
	folder   string                   // of overlays and test programs, removed by close
	patience map[string]time.Duration // time limit by package
	mutex    sync.Mutex
	killers  map[string][]string // tests that found the latest faults, by file
	serial   int
}

// newWorkbench runs the tests of every package without a fault: they must pass, and
// their time sets the limit for the faulty ones.
func newWorkbench(ctx context.Context, patience time.Duration, faults []fault) (*workbench, error) {
	folder, err := os.MkdirTemp("", "plantedfaults")
	if err != nil {
		return nil, err
	}
	b := &workbench{folder: folder, patience: map[string]time.Duration{}, killers: map[string][]string{}}
	for _, f := range faults {
		if b.patience[f.pkg] != 0 {
			continue
		}
		program := filepath.Join(folder, "undisturbed.test")
		if out, err := compile(ctx, f.dir, "", program); err != nil {
			return nil, errors.Join(fmt.Errorf("compile the tests of %s: %w\n%s", f.pkg, err, out), os.RemoveAll(folder))
		}
		begun := time.Now()
		if out, err := runTests(ctx, f.dir, program, 10*time.Minute, nil); err != nil {
			return nil, errors.Join(fmt.Errorf("the tests of %s fail without a fault: %w\n%s", f.pkg, err, out), os.RemoveAll(folder))
		}
		b.patience[f.pkg] = max(patience, 10*time.Since(begun))
	}
	return b, nil
}

func (b *workbench) close() { _ = os.RemoveAll(b.folder) }

// try plants the fault and runs the tests of its package, first those that found the
// latest faults of the same file.
func (b *workbench) try(ctx context.Context, f fault) (fate, error) {
	b.mutex.Lock()
	b.serial++
	base := filepath.Join(b.folder, fmt.Sprint(b.serial))
	first := slices.Clone(b.killers[f.place.Filename])
	b.mutex.Unlock()
	defer func() {
		for _, suffix := range []string{".go", ".json", ".test"} {
			_ = os.Remove(base + suffix)
		}
	}()
	if err := plant(f, base); err != nil {
		return survived, err
	}
	if _, err := compile(ctx, f.dir, base+".json", base+".test"); err != nil {
		return notCompiled, ctx.Err()
	}
	if len(first) > 0 {
		if fate := b.judge(ctx, f, base+".test", first); fate != survived {
			return fate, ctx.Err()
		}
	}
	return b.judge(ctx, f, base+".test", nil), ctx.Err()
}

// plant writes the faulty file and the overlay that puts it in place of the right one.
func plant(f fault, base string) error {
	source, err := os.ReadFile(f.place.Filename)
	if err != nil {
		return err
	}
	at := f.place.Offset
	if !bytes.HasPrefix(source[min(at, len(source)):], []byte(f.old)) {
		return fmt.Errorf("%s changed while faults were planted", f.place)
	}
	faulty := slices.Concat(source[:at], []byte(f.new), source[at+len(f.old):])
	overlay, err := json.Marshal(map[string]any{"Replace": map[string]string{f.place.Filename: base + ".go"}})
	if err != nil {
		return err
	}
	return errors.Join(os.WriteFile(base+".go", faulty, 0o600), os.WriteFile(base+".json", overlay, 0o600))
}

// compile builds the test program of the package in dir; an empty overlay is none.
func compile(ctx context.Context, dir, overlay, program string) ([]byte, error) {
	arguments := []string{"test", "-c", "-vet=off", "-ldflags=-s -w", "-o", program}
	if overlay != "" {
		arguments = append(arguments, "-overlay", overlay)
	}
	c := exec.CommandContext(ctx, "go", append(arguments, ".")...)
	c.Dir = dir
	return c.CombinedOutput()
}

// judge runs the tests, or only those named, and remembers which one failed.
func (b *workbench) judge(ctx context.Context, f fault, program string, only []string) fate {
	out, err := runTests(ctx, f.dir, program, b.patience[f.pkg], only)
	switch {
	case err == nil:
		return survived
	case errors.Is(err, context.DeadlineExceeded), bytes.Contains(out, []byte("panic: test timed out")):
		return outOfTime
	}
	b.remember(f.place.Filename, out)
	return died
}

var failed = regexp.MustCompile(`(?m)^--- FAIL: (\w+)`)

func (b *workbench) remember(file string, out []byte) {
	found := failed.FindSubmatch(out)
	if found == nil {
		return
	}
	b.mutex.Lock()
	defer b.mutex.Unlock()
	name := string(found[1])
	list := slices.DeleteFunc(b.killers[file], func(other string) bool { return other == name })
	b.killers[file] = append([]string{name}, list[:min(len(list), 4)]...)
}

// runTests runs a test program in its package's folder, in a process group of its own
// that ends with it.
func runTests(ctx context.Context, dir, program string, limit time.Duration, only []string) ([]byte, error) {
	ctx, cancel := context.WithTimeout(ctx, limit)
	defer cancel()
	arguments := []string{"-c", fmt.Sprintf(`ulimit -v %d; exec "$0" "$@"`, memoryKB), program, "-test.failfast", "-test.timeout=" + (limit - limit/10).String()}
	if len(only) > 0 {
		arguments = append(arguments, "-test.run=^("+strings.Join(only, "|")+")$")
	}
	c := exec.CommandContext(ctx, "sh", arguments...)
	c.Dir = dir
	c.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	c.Cancel = func() error { return syscall.Kill(-c.Process.Pid, syscall.SIGKILL) }
	c.WaitDelay = 5 * time.Second
	out, err := c.CombinedOutput()
	if ctx.Err() != nil {
		err = ctx.Err()
	}
	return out, err
}
