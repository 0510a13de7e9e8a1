// Package cli has the commands of the program, one file for each.
package cli

import (
	"context"
	"os"
	"os/signal"
	"runtime"
	"runtime/debug"
	"runtime/metrics"
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
	leaveRoom()
}

// leaveRoom sets the limit anew whenever garbage was collected. Where more is in use
// than little, the limit leaves room beside that: else the program would do nothing but
// collect.
func leaveRoom() {
	const little, room = 40 << 20, 16 << 20
	live := []metrics.Sample{{Name: "/gc/heap/live:bytes"}}
	metrics.Read(live)
	debug.SetMemoryLimit(int64(max(little, live[0].Value.Uint64()*5/4+room)))
	runtime.AddCleanup(new(*byte), func(struct{}) { leaveRoom() }, struct{}{})
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
