// Package cli has the commands of the program, one file for each.
package cli

import (
	"context"
	"os"
	"os/signal"
	"runtime/debug"
	"syscall"
	"time"

	"fettle/cmd/internal/keep"
)

// Main runs the program with the arguments of the process and these kinds of
// store, and returns its exit code.
func Main(stores ...keep.Kind) int {
	tuneMemory()
	ctx, stop := interruptible()
	defer stop()
	return runProcess(ctx, stores, realTime{})
}

// interruptible returns a context that the first Ctrl-C, or SIGTERM, ends. The second
// one ends the process at once, whatever it waits for.
func interruptible() (context.Context, context.CancelFunc) {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	context.AfterFunc(ctx, stop)
	return ctx, stop
}

// tuneMemory delays garbage collection: most commands end before they have made 16
// MB of garbage, and so never collect any, which saves a fifth of their time. The
// limit keeps commands that read a whole store small: beyond it garbage is
// collected as often as needed.
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
