package pgserver

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// oldestMajor is the first version with everything that the migrations use.
const oldestMajor = 14

// ErrNoPrograms is what Find returns, wrapped, where no server programs are installed.
var ErrNoPrograms = errors.New("no PostgreSQL server programs")

// Programs are the server programs of one installed version.
type Programs struct {
	BinDir string // holds initdb and postgres
	Major  int    // as 15
}

// Find returns the newest installed programs first. binDir, where not empty, is
// the only place looked at. The error says what was looked for, where, and how to
// install it.
func Find(binDir string) ([]Programs, error) {
	places := []string{binDir}
	if binDir == "" {
		places = usualPlaces()
	}
	var found []Programs
	for _, pattern := range places {
		dirs, err := filepath.Glob(pattern)
		if err != nil {
			continue
		}
		for _, dir := range dirs {
			found = appendPrograms(found, dir)
		}
	}
	if len(found) == 0 {
		return nil, notFound(places)
	}
	slices.SortStableFunc(found, func(a, b Programs) int { return b.Major - a.Major })
	return found, nil
}

func appendPrograms(found []Programs, dir string) []Programs {
	major, ok := majorOf(dir)
	if !ok || major < oldestMajor {
		return found
	}
	for _, p := range found {
		if p.BinDir == dir {
			return found
		}
	}
	return append(found, Programs{BinDir: dir, Major: major})
}

// usualPlaces lists where systems put the programs: Debian keeps them off PATH.
// Of these only Debian's was tried; the others are from memory.
func usualPlaces() []string {
	var places []string
	if path, err := exec.LookPath("initdb"); err == nil {
		if real, err := filepath.EvalSymlinks(path); err == nil {
			places = append(places, filepath.Dir(real))
		}
	}
	return append(places,
		"/usr/lib/postgresql/*/bin",
		"/usr/pgsql-*/bin",
		"/usr/libexec/postgresql*",
		"/opt/homebrew/opt/postgresql*/bin",
		"/usr/local/opt/postgresql*/bin",
		"/Applications/Postgres.app/Contents/Versions/*/bin",
		"/usr/local/pgsql/bin",
	)
}

var versionLine = regexp.MustCompile(`\(PostgreSQL\) (\d+)`)

// majorOf asks the programs themselves; a folder's name can lie.
func majorOf(dir string) (int, bool) {
	if _, err := os.Stat(filepath.Join(dir, "initdb")); err != nil {
		return 0, false
	}
	out, err := exec.Command(filepath.Join(dir, "postgres"), "--version").Output()
	if err != nil {
		return 0, false
	}
	match := versionLine.FindStringSubmatch(string(out))
	if match == nil {
		return 0, false
	}
	major, err := strconv.Atoi(match[1])
	return major, err == nil
}

func notFound(places []string) error {
	return fmt.Errorf("%w: evensun needs PostgreSQL %d or newer server programs (initdb, postgres) and found none. "+
		`Looked in: PATH, %s. Install them: Debian/Ubuntu "sudo apt-get install -y postgresql"; `+
		`Fedora "sudo dnf install postgresql-server"; macOS "brew install postgresql@17". `+
		"Or set EVENSUN_PG_BIN to their directory, or EVENSUN_DATABASE_URL to a running server",
		ErrNoPrograms, oldestMajor, strings.Join(places, ", "))
}

// choose picks the programs for a data directory: an existing one decides the
// major version, else the newest.
func choose(found []Programs, clusterDir string) (Programs, error) {
	raw, err := os.ReadFile(filepath.Join(clusterDir, "PG_VERSION"))
	if errors.Is(err, os.ErrNotExist) {
		return found[0], nil
	}
	if err != nil {
		return Programs{}, fmt.Errorf("read the version of data directory %s: %w", clusterDir, err)
	}
	want := strings.TrimSpace(string(raw))
	var have []string
	for _, p := range found {
		if strconv.Itoa(p.Major) == want {
			return p, nil
		}
		have = append(have, strconv.Itoa(p.Major))
	}
	return Programs{}, fmt.Errorf("data directory %s was made by PostgreSQL %s, but only %s is installed: "+
		"install version %s, or dump the data with the old version and restore it with the new", clusterDir, want, strings.Join(have, ", "), want)
}
