// Fettle is the build book and repair record of a bench where small foam
// aircraft are built, flown, broken and repaired.
package main

import (
	"context"
	"os"
	"os/signal"
	"runtime/debug"
	"syscall"
	"time"

	"fettle/cmd/internal/term"
)

func main() {
	tuneMemory()
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := run(ctx, os.Args[1:], term.Standard(), realTime{})
	stop()
	os.Exit(code)
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
