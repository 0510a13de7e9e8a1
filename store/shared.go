package store

import (
	"cmp"
	"context"
	"strings"
	"time"
)

// This file has what a store may offer beside its records where several benches share it. A
// store of one machine has neither.

// A Distant is a store elsewhere that may be out of reach.
type Distant interface {
	// AsOf is why it is out of reach, and when what is shown of it was last seen; a zero time:
	// nothing was. nil: it is in reach, as far as anybody knows.
	AsOf() (at time.Time, why error)
}

// A Watcher is a store that hears of what others write to it.
type Watcher interface {
	// Watch returns a channel that holds a value when a journal may have grown, or a claim may
	// have been made or ended, since the last value was taken. It is heard of until ctx ends.
	// After the store was away there is a value, since nobody knows what was missed.
	Watch(ctx context.Context) <-chan struct{}
}

// Remembered is how long a claim is remembered that ran out and that nobody ended: whoever made it
// may be at the step still, at a bench that is cut off.
const Remembered = 30 * time.Minute

// A Claim says that somebody is at a step, so that nobody else begins it unawares. It is no part
// of the record, forbids nothing, and ends by itself.
type Claim struct {
	Mark  string    `json:"mark"`
	Step  string    `json:"step"` // with its job: JOB/STEP
	By    string    `json:"by"`   // who,
	Bench string    `json:"bench"`
	Since time.Time `json:"since"` // by the clock of that bench

	Sits bool      `json:"sits,omitempty"` // a sitting keeps it up: nothing else that its owner does here moves it
	Seat string    `json:"seat,omitempty"` // of that sitting, of several of one owner
	Left time.Time `json:"left,omitzero"`  // when its owner went elsewhere, midway in it; zero: they are there

	From   string        `json:"from,omitempty"` // the [Claim.Owner] of whom it was taken over; "": of nobody
	Silent time.Duration `json:"-"`              // since when its bench was not heard of, where it has run out; 0: it has not
}

// Owner is who claims it, and at which bench.
//
//go:noinline
func (c *Claim) Owner() string { return c.By + " at " + c.Bench }

// Same reports whether it is the same claim, and has run out or not as that one has.
func (c *Claim) Same(other *Claim) bool {
	a, b := *c, *other
	a.Silent, b.Silent = min(a.Silent, 1), min(b.Silent, 1)
	return a == b
}

// Owned reports whether it is by the same person at the same bench.
//
//go:noinline
func (c *Claim) Owned(by *Claim) bool { return c.By == by.By && c.Bench == by.Bench }

// Kept reports whether another sitting of the same owner keeps it up.
//
//go:noinline
func (c *Claim) Kept(by *Claim) bool {
	return c.Owned(by) && c.Sits && c.Seat != by.Seat && c.Silent == 0
}

// Again is the claim of the same owner, claimed again.
func (c *Claim) Again(by *Claim) *Claim {
	again := *c
	again.Sits, again.Seat, again.Left, again.Silent = by.Sits, by.Seat, by.Left, 0
	return &again
}

// Of reports whether it is of the same step.
//
//go:noinline
func (c *Claim) Of(other *Claim) bool { return c.Mark == other.Mark && c.Step == other.Step }

// Compare orders claims by marks and steps.
func (c *Claim) Compare(other *Claim) int {
	return cmp.Or(strings.Compare(c.Mark, other.Mark), strings.Compare(c.Step, other.Step))
}

// A Claimer is a store that keeps claims.
type Claimer interface {
	// Bench is the name of this bench.
	Bench() string

	// Claims returns the claims that stand, and those that have run out and are remembered, in the
	// order of marks and steps.
	Claims(ctx context.Context) ([]*Claim, error)

	// Claim claims a step for its owner for so long, in the place of what its owner claimed
	// before; what they left midway is remembered. One that says so, [Claim.Left], takes nothing's
	// place, and nothing takes the place of what another sitting of the owner keeps up. Claimed
	// again, it begins when it first did and lasts so long from now on. It returns the claim that
	// stands: that of another owner or sitting, and then nothing was changed, unless take says to
	// take it over. One that has run out stands for as long as it is remembered. Neither it nor c
	// is changed afterwards.
	Claim(ctx context.Context, c *Claim, lasts time.Duration, take bool) (*Claim, error)

	// Unclaim ends what the owner of the claim has claimed, but for what another sitting of theirs
	// keeps up, and remembers what they left midway.
	Unclaim(ctx context.Context, owner *Claim) error
}
