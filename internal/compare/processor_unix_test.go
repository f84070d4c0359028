//go:build unix

package compare_test

import (
	"syscall"
	"time"
)

// processorTime returns the user and system time of this program.
func processorTime() time.Duration {
	var used syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &used); err != nil {
		return 0
	}
	return time.Duration(used.Utime.Nano() + used.Stime.Nano())
}
