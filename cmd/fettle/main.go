// Fettle is the build book and repair record of a bench where small foam
// aircraft are built, flown, broken and mended.
package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"
	"time"

	"fettle/cmd/internal/term"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := run(ctx, os.Args[1:], term.Standard(), realTime{})
	stop()
	os.Exit(code)
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
