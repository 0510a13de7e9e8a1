package memory

import (
	"context"
	"maps"
	"slices"
	"sync"
	"time"

	"fettle/store"
)

// A Shared is a store in memory that several benches share: it has claims, and tells of what is
// written. Use [NewShared].
type Shared struct {
	*Store
	*Benches
}

// NewShared returns an empty store for several benches.
func NewShared() Shared { return Shared{New(), &Benches{}} }

// Append is [store.Store.Append], with its errors.
func (s Shared) Append(ctx context.Context, mark string, size int64, records [][]byte) error {
	defer s.Wrote()
	return s.Store.Append(ctx, mark, size, records)
}

// Benches have claims on the steps of a store and tell of what is written to it. The zero Benches
// have none.
type Benches struct {
	Name string           // of this bench
	Now  func() time.Time // by which claims end; nil: that on the wall

	mu       sync.Mutex
	all      map[[2]string]claim // by mark and step
	watching map[chan struct{}]bool
}

type claim struct {
	*store.Claim
	heard, until time.Time
}

var (
	_ store.Store   = Shared{}
	_ store.Watcher = Shared{}
	_ store.Claimer = Shared{}
)

// Watch is [store.Watcher.Watch].
func (c *Benches) Watch(ctx context.Context) <-chan struct{} {
	heard := make(chan struct{}, 1)
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.watching == nil {
		c.watching = map[chan struct{}]bool{}
	}
	c.watching[heard] = true
	context.AfterFunc(ctx, func() {
		c.mu.Lock()
		defer c.mu.Unlock()
		delete(c.watching, heard)
	})
	return heard
}

// Wrote tells everybody who watches that something was written.
func (c *Benches) Wrote() {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.wrote()
}

func (c *Benches) wrote() {
	for heard := range c.watching {
		select {
		case heard <- struct{}{}:
		default: // it is to look anyway
		}
	}
}

// Bench is [store.Claimer.Bench].
func (c *Benches) Bench() string { return c.Name }

// end ends what has lasted its time and is remembered no more.
func (c *Benches) end() (now time.Time) {
	if now = time.Now(); c.Now != nil {
		now = c.Now()
	}
	maps.DeleteFunc(c.all, func(_ [2]string, held claim) bool { return !now.Before(held.until.Add(store.Remembered)) })
	return now
}

// Claims is [store.Claimer.Claims].
func (c *Benches) Claims(ctx context.Context) ([]*store.Claim, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	now := c.end()
	var all []*store.Claim
	for _, held := range c.all {
		all = append(all, held.at(now))
	}
	slices.SortFunc(all, (*store.Claim).Compare)
	return all, ctx.Err()
}

// at is the claim as it is at the time.
func (c claim) at(now time.Time) *store.Claim {
	if now.Before(c.until) {
		return c.Claim
	}
	silent := *c.Claim
	silent.Silent = now.Sub(c.heard)
	return &silent
}

// Claim is [store.Claimer.Claim].
func (c *Benches) Claim(ctx context.Context, of *store.Claim, lasts time.Duration, take bool) (*store.Claim, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	now := c.end()
	place := [2]string{of.Mark, of.Step}
	had, held := c.all[place]
	if held && (!had.Owned(of) && !take || had.at(now).Kept(of)) {
		return had.at(now), nil
	}
	again := held && had.Owned(of)
	if again {
		of = had.Again(of)
		again = *of == *had.Claim
	} else if held {
		taken := *of
		taken.From = had.Owner()
		of = &taken
	}
	if of.Left.IsZero() {
		c.unclaim(of, now)
	}
	if c.all == nil {
		c.all = map[[2]string]claim{}
	}
	c.all[place] = claim{of, now, now.Add(lasts)}
	if !again {
		c.wrote()
	}
	return of, nil
}

// Unclaim is [store.Claimer.Unclaim].
func (c *Benches) Unclaim(ctx context.Context, owner *store.Claim) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.unclaim(owner, c.end())
	c.wrote()
	return ctx.Err()
}

func (c *Benches) unclaim(owner *store.Claim, now time.Time) {
	maps.DeleteFunc(c.all, func(_ [2]string, held claim) bool {
		return held.Owned(owner) && !held.at(now).Kept(owner) && held.Left.IsZero()
	})
}
