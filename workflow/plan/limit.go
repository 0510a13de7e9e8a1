package plan

import (
	"context"
	"time"
)

// A limit is how long something may go on. A first plan that is nearly there may still be finished after its context
// ended: graceSteps at least, and more until graceTime is over.
type limit struct {
	ctx   context.Context
	steps int       // since it was last looked at
	after int       // since the context ended
	ended time.Time // when that was seen
	over  bool
}

const (
	lookEvery  = 256 // steps, of a microsecond or so
	graceSteps = 5000
	graceTime  = 2 * time.Millisecond
)

// more says whether to go on, after so many steps.
//
//go:noinline
func (c *limit) more(steps int) bool {
	if c.steps += steps; c.steps >= lookEvery && !c.over {
		c.after += c.steps
		c.steps = 0
		switch {
		case c.ctx.Err() == nil:
			c.after = 0
		case c.ended.IsZero():
			c.ended = time.Now()
		default:
			c.over = c.after > graceSteps && time.Since(c.ended) > graceTime
		}
	}
	return !c.over
}

// now says whether the context goes on.
func (c *limit) now() bool { return c.ctx.Err() == nil }
