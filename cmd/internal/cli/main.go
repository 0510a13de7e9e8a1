// Package cli is the commands of the program, a file a command.
package cli

import (
	"context"
	"os"
	"os/signal"
	"runtime/debug"
	"syscall"
	"time"

	"fettle/cmd/internal/keep"
	"fettle/cmd/internal/term"
)

// Main runs the program as it was called, with the kinds of store that it is to
// know, and gives its exit code.
func Main(stores ...keep.Kind) int {
	tuneMemory()
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	return run(ctx, stores, os.Args[1:], term.Standard(), realTime{})
}

// tuneMemory has garbage collected later than usual: most commands end before 16
// MB of it are made, and so without collecting any, which saves a fifth of their
// time. The limit keeps what reads a whole store small: from there on it is
// collected as often as that takes.
func tuneMemory() {
	debug.SetGCPercent(400)
	debug.SetMemoryLimit(40 << 20)
}

// realTime is the clock on the wall.
type realTime struct{}

func (realTime) Now() time.Time { return time.Now() }

func (realTime) Sleep(ctx context.Context, d time.Duration) error {
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-time.After(d):
		return nil
	}
}
