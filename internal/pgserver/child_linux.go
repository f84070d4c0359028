package pgserver

import "syscall"

// childAttr starts the server in its own session, so that ^C reaches only us and
// we stop it in order. If we are killed, the kernel asks it to shut down cleanly.
func childAttr(a account) *syscall.SysProcAttr {
	attr := &syscall.SysProcAttr{Setsid: true, Pdeathsig: syscall.SIGINT}
	if a.drop {
		attr.Credential = &syscall.Credential{Uid: uint32(a.uid), Gid: uint32(a.gid)}
	}
	return attr
}
