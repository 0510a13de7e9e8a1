package store

import (
	"context"
	"math"
	"time"
)

// UnknownMost is Most of a clock that may be ahead by any time.
const UnknownMost = time.Duration(math.MaxInt64)

// A BenchClock is what is known of the clock of another bench: it is ahead of the one here by
// Least or more and by Most or less, which are negative where it is behind.
type BenchClock struct {
	Bench       string
	Least, Most time.Duration
	Older       bool // it was known before the one here
}

// A ClockKeeper is a store that several benches write to, and that can compare their clocks.
type ClockKeeper interface {
	// Clocks returns what is known of the clocks of other benches, the one known longest first.
	// now is the clock here. tell makes it known to the others.
	Clocks(ctx context.Context, now func() time.Time, tell bool) ([]BenchClock, error)
}
