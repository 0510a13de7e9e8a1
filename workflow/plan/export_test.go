package plan

import (
	"context"
	"time"
)

// SolveWithin is Solve with a context for the search that ends after it was asked so often whether it has, however long that takes.
func SolveWithin(ctx context.Context, p Problem, looks int) Result {
	horizon, err := p.fault()
	if err != nil {
		return Result{}
	}
	search := &counted{ctx, looks, make(chan struct{})}
	return p.solve(schedule{wanted: ctx, sure: search, think: ctx, search: search}, Options{}, int(horizon))
}

type counted struct {
	context.Context
	left  int
	ended chan struct{}
}

func (c *counted) Err() error {
	if c.left--; c.left > 0 {
		return nil
	}
	if c.left == 0 {
		close(c.ended)
	}
	return context.DeadlineExceeded
}

func (c *counted) Done() <-chan struct{} { return c.ended }

func (c *counted) Deadline() (time.Time, bool) { return time.Time{}, false }
