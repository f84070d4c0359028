package pgserver

import (
	"fmt"
	"os"
	"os/user"
	"path/filepath"
	"strconv"
	"syscall"
)

// An account is the system user that the server runs as.
type account struct {
	name     string
	uid, gid int
	drop     bool // we are root and must become it
}

// accountFor returns who runs the server: ourselves, or for root the owner of the
// data, else SUDO_USER, postgres or nobody. initdb wants a name, not a bare number.
func accountFor(clusterDir string) (account, error) {
	if os.Geteuid() != 0 {
		return account{uid: os.Geteuid(), gid: os.Getegid()}, nil
	}
	if owner, ok := ownerOf(clusterDir); ok && owner != 0 {
		u, err := user.LookupId(strconv.Itoa(owner))
		if err != nil {
			return account{}, fmt.Errorf("data directory %s belongs to user %d, who has no name here: %w", clusterDir, owner, err)
		}
		return fromUser(u)
	}
	for _, name := range []string{os.Getenv("SUDO_USER"), "postgres", "nobody"} {
		u, err := user.Lookup(name)
		if name == "" || err != nil || u.Uid == "0" {
			continue
		}
		return fromUser(u)
	}
	return account{}, fmt.Errorf("PostgreSQL refuses to run as root and there is no user SUDO_USER, postgres or nobody to run it as")
}

func fromUser(u *user.User) (account, error) {
	uid, err := strconv.Atoi(u.Uid)
	if err != nil {
		return account{}, fmt.Errorf("user %s has the id %q: %w", u.Username, u.Uid, err)
	}
	gid, err := strconv.Atoi(u.Gid)
	if err != nil {
		return account{}, fmt.Errorf("user %s has the group %q: %w", u.Username, u.Gid, err)
	}
	return account{name: u.Username, uid: uid, gid: gid, drop: true}, nil
}

func ownerOf(path string) (int, bool) {
	info, err := os.Stat(path)
	if err != nil {
		return 0, false
	}
	stat, ok := info.Sys().(*syscall.Stat_t)
	if !ok {
		return 0, false
	}
	return int(stat.Uid), true
}

// reach says which folder on the way to dir the account may not enter. Without
// this the failure reads "fork/exec initdb: permission denied", which misleads.
func (a account) reach(dir string) error {
	if !a.drop {
		return nil
	}
	for at := filepath.Clean(dir); ; at = filepath.Dir(at) {
		info, err := os.Stat(at)
		if err == nil && !a.mayEnter(info) {
			return fmt.Errorf("user %s, who runs PostgreSQL for root, may not enter %s (mode %04o): "+
				"choose another place for %s with EVENSUN_DATA_DIR", a.name, at, info.Mode().Perm(), dir)
		}
		if at == filepath.Dir(at) {
			return nil
		}
	}
}

func (a account) mayEnter(info os.FileInfo) bool {
	stat, ok := info.Sys().(*syscall.Stat_t)
	if !ok {
		return true
	}
	mode := info.Mode().Perm()
	if int(stat.Uid) == a.uid {
		return mode&0o100 != 0
	}
	if int(stat.Gid) == a.gid {
		return mode&0o010 != 0
	}
	return mode&0o001 != 0
}

// own makes a folder that only the account may enter, and gives it to the account.
func (a account) own(dir string) error {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return fmt.Errorf("make %s: %w", dir, err)
	}
	if !a.drop {
		return nil
	}
	if err := os.Chown(dir, a.uid, a.gid); err != nil {
		return fmt.Errorf("give %s to user %s: %w", dir, a.name, err)
	}
	return nil
}
