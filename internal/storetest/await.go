package storetest

import (
	"context"
	"fmt"
	"testing"
	"time"
)

// patience is how long a test waits for what must come: far longer than a busy machine
// takes, far shorter than go test allows a package.
const patience = 2 * time.Minute

// Await returns what comes from a channel. The test ends where nothing comes, or the
// channel is closed instead. It must be called by the test's own goroutine.
func Await[T any](t testing.TB, from <-chan T, what string) T {
	t.Helper()
	x, ok := receive(t, from, what)
	if !ok {
		t.Fatalf("waiting for %s: the channel was closed", what)
	}
	return x
}

// AwaitEnd takes from a channel until it is closed, as Await.
func AwaitEnd[T any](t testing.TB, from <-chan T, what string) {
	t.Helper()
	for {
		if _, ok := receive(t, from, what); !ok {
			return
		}
	}
}

func receive[T any](t testing.TB, from <-chan T, what string) (T, bool) {
	t.Helper()
	timer := time.NewTimer(patience)
	defer timer.Stop()
	select {
	case x, ok := <-from:
		return x, ok
	case <-timer.C:
		t.Fatalf("waited %s for %s in vain", patience, what)
		panic("not reached")
	}
}

// Bounded returns the test's context with an end, for calls that could wait for ever. Its
// cause names what was waited for.
func Bounded(t testing.TB, what string) context.Context {
	t.Helper()
	ctx, cancel := context.WithTimeoutCause(t.Context(), patience, fmt.Errorf("waited %s for %s in vain", patience, what))
	t.Cleanup(cancel)
	return ctx
}
