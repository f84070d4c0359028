package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"
	"time"
)

// A stopSignal is why the program's context ended. SIGTERM comes from what runs the
// service, which also asks whether it is ready: it gets time to see that it is not. ^C
// comes from a person, who waits.
type stopSignal struct {
	signal os.Signal
	again  <-chan struct{} // closed by the next signal: stop at once
}

// Error implements error.
func (s *stopSignal) Error() string { return "told to stop by " + s.signal.String() }

// untilSignal returns a context that ends, with a *stopSignal as its cause, at the first
// SIGINT or SIGTERM, and a function that lets go of signals.
func untilSignal() (context.Context, func()) {
	signals := make(chan os.Signal, 2)
	signal.Notify(signals, os.Interrupt, syscall.SIGTERM)
	ctx, cancel := context.WithCancelCause(context.Background())
	go func() {
		again := make(chan struct{})
		cancel(&stopSignal{signal: <-signals, again: again})
		<-signals
		close(again)
	}()
	return ctx, func() { signal.Stop(signals) }
}

// stopOf returns the signal that ended a context; one that ended otherwise counts as ^C.
func stopOf(ctx context.Context) *stopSignal {
	if s, ok := context.Cause(ctx).(*stopSignal); ok {
		return s
	}
	return &stopSignal{signal: os.Interrupt}
}

// wait waits for d, at most until the next signal; after ^C not at all.
func (s *stopSignal) wait(d time.Duration) {
	if s.signal != syscall.SIGTERM {
		return
	}
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-timer.C:
	case <-s.again:
	}
}

// hurried returns a context that ends after d, or with the next signal.
func (s *stopSignal) hurried(ctx context.Context, d time.Duration) (context.Context, context.CancelFunc) {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), d)
	go func() {
		select {
		case <-s.again:
			cancel()
		case <-ctx.Done():
		}
	}()
	return ctx, cancel
}
