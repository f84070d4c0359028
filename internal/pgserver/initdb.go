package pgserver

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
)

// initCluster makes the data directory where there is none: aside first, then by
// one rename, so that an interrupted start leaves nothing half made.
func initCluster(ctx context.Context, programs Programs, p places, who account) error {
	if _, err := os.Stat(filepath.Join(p.cluster, "PG_VERSION")); err == nil {
		return nil
	}
	if err := os.Remove(p.cluster); err != nil && !errors.Is(err, os.ErrNotExist) {
		return fmt.Errorf("%s is neither empty nor a PostgreSQL data directory: %w", p.cluster, err)
	}
	fresh := p.cluster + ".new"
	if err := os.RemoveAll(fresh); err != nil {
		return fmt.Errorf("remove a half made data directory: %w", err)
	}
	if err := who.own(fresh); err != nil {
		return err
	}
	cmd := exec.CommandContext(ctx, filepath.Join(programs.BinDir, "initdb"), "-D", fresh, "-U", superuser,
		"-A", "trust", "-E", "UTF8", "--locale="+locale(), "--data-checksums")
	cmd.Dir = fresh
	cmd.Env = cleanEnvironment()
	cmd.SysProcAttr = childAttr(who)
	runtime.LockOSThread() // childAttr's wish belongs to this thread
	defer runtime.UnlockOSThread()
	out, err := cmd.CombinedOutput()
	if err != nil {
		return fmt.Errorf("initdb in %s: %w: %s", p.root, err, strings.TrimSpace(string(out)))
	}
	if err := os.Rename(fresh, p.cluster); err != nil {
		return fmt.Errorf("put the data directory in place: %w", err)
	}
	return nil
}

// locale sorts text by code point on every system; only Linux has it with UTF-8 case rules.
func locale() string {
	if runtime.GOOS == "linux" {
		return "C.UTF-8"
	}
	return "C"
}
