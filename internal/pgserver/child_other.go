//go:build !linux

package pgserver

import "syscall"

// childAttr starts the server in its own session, so that ^C reaches only us and
// we stop it in order. If we are killed, it runs on and the next Start attaches.
func childAttr(a account) *syscall.SysProcAttr {
	attr := &syscall.SysProcAttr{Setsid: true}
	if a.drop {
		attr.Credential = &syscall.Credential{Uid: uint32(a.uid), Gid: uint32(a.gid)}
	}
	return attr
}
