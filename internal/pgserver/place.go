package pgserver

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"strings"
)

const (
	port       = "5432" // only part of the socket's name: nothing listens on it
	superuser  = "evensun"
	database   = "evensun"
	socketName = "/.s.PGSQL." + port
	// longestSocketPath is what sun_path holds on Linux without the final zero.
	longestSocketPath = 107
)

// places are the files of one server.
type places struct {
	root    string // everything below
	cluster string // what initdb makes
	socket  string // folder of the socket
	lock    string // held while starting and stopping
	users   string // held shared by every process that uses the server
	log     string // what the server prints
}

// DefaultDataDir returns where data go that nobody chose a place for:
// /var/lib/evensun for root, whose home others may not enter, else
// $XDG_DATA_HOME/evensun or ~/.local/share/evensun.
func DefaultDataDir() (string, error) {
	if os.Geteuid() == 0 {
		return "/var/lib/evensun", nil
	}
	if base := os.Getenv("XDG_DATA_HOME"); filepath.IsAbs(base) {
		return filepath.Join(base, "evensun"), nil
	}
	home, err := os.UserHomeDir()
	if err != nil {
		return "", fmt.Errorf("find a place for the data: %w; set EVENSUN_DATA_DIR", err)
	}
	return filepath.Join(home, ".local", "share", "evensun"), nil
}

func placesIn(dataDir string) (places, error) {
	root, err := filepath.Abs(dataDir)
	if err != nil {
		return places{}, fmt.Errorf("data directory %s: %w", dataDir, err)
	}
	p := places{
		root:    root,
		cluster: filepath.Join(root, "postgres"),
		socket:  filepath.Join(root, "socket"),
		lock:    filepath.Join(root, "lock"),
		users:   filepath.Join(root, "users"),
		log:     filepath.Join(root, "postgres.log"),
	}
	if len(p.socket+socketName) > longestSocketPath {
		sum := sha256.Sum256([]byte(root))
		p.socket = filepath.Join("/tmp", "evensun-"+hex.EncodeToString(sum[:8]))
	}
	return p, nil
}

// makeFolders makes the folders and gives those of the server to the account.
func (p places) makeFolders(a account) error {
	if err := os.MkdirAll(p.root, rootMode(a)); err != nil {
		return fmt.Errorf("make data directory: %w", err)
	}
	if err := a.reach(p.root); err != nil {
		return err
	}
	if err := refuseForeign(p.socket, a); err != nil {
		return err
	}
	return a.own(p.socket)
}

// rootMode lets the server's account pass through a folder of root's.
func rootMode(a account) os.FileMode {
	if a.drop {
		return 0o711
	}
	return 0o700
}

// refuseForeign stops at a socket folder that somebody else made first: in /tmp
// anybody can, and would then stand between us and the data.
func refuseForeign(dir string, a account) error {
	owner, ok := ownerOf(dir)
	if !ok || owner == a.uid || owner == os.Geteuid() {
		return nil
	}
	return fmt.Errorf("socket folder %s belongs to user %d, not to %d: remove it or choose another EVENSUN_DATA_DIR", dir, owner, a.uid)
}

// url returns the connection string of a database behind the socket. It names
// everything, so that no PG* environment variable can change where it leads.
func (p places) url(name string) string {
	q := url.Values{"host": {p.socket}, "port": {port}, "user": {superuser}, "sslmode": {"disable"}}
	return "postgres:///" + name + "?" + strings.ReplaceAll(q.Encode(), "%2F", "/")
}
