package desk

import (
	"context"
	"errors"
	"sync"
	"time"

	"fettle/store"
	"fettle/workflow"
)

// Clocks compares the clock here with those of other benches that write to the same store. What
// it finds is told to every state that is read.
type Clocks struct {
	Now       func() time.Time          // the clock here, as it reads
	NotBefore func(time.Time)           // makes [Desk.Now] stand still until that time
	Tell      func(workflow.ClockDoubt) // is called when there is more to say than before

	mu       sync.Mutex
	compared time.Time // by the clock here; zero: not yet
	away     bool      // the store was
	doubt    workflow.ClockDoubt
	told     workflow.ClockDoubt
}

// compareAgain is how long it holds what was found.
const compareAgain = time.Minute

// compare returns what the clocks of other benches leave open; the zero doubt where none writes
// to the store. Who is about to record tells the clock here too, and gets the error if the
// others cannot be asked.
func (d *Desk) compare(ctx context.Context, records bool) (workflow.ClockDoubt, error) {
	keeper, shared := d.Store.(store.ClockKeeper)
	c := d.Clocks
	if !shared || c == nil {
		return workflow.ClockDoubt{}, nil
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	_, why := d.AsOf()
	if since := c.Now().Sub(c.compared); !records && since >= 0 && since < compareAgain && c.away == (why != nil) {
		return c.doubt, nil
	}
	found, err := keeper.Clocks(ctx, c.Now, records)
	if err != nil && (records || ctx.Err() != nil) {
		return workflow.ClockDoubt{}, err
	}
	c.away = errors.Is(err, store.ErrAway)
	doubt := workflow.UnknownClocks()
	if err != nil && c.doubt.Refused { // that is worse
		doubt = c.doubt
	} else if err == nil {
		all := make([]workflow.BenchClock, len(found))
		for i, f := range found {
			all[i] = workflow.BenchClock(f)
		}
		doubt = workflow.CompareClocks(all)
	}
	if doubt.Changed(c.doubt) {
		d.replayed.forget()
	}
	if c.compared, c.doubt = c.Now(), doubt; c.Tell != nil && !c.away && doubt.Says() != "" && (doubt.Changed(c.told) || doubt.Astray != c.told.Astray) {
		c.Tell(doubt)
		c.told = doubt
	}
	return doubt, nil
}

// AsOf is [store.Distant.AsOf] of its store. Of one that is always in reach it is nil.
func (d *Desk) AsOf() (at time.Time, why error) {
	if far, ok := d.Store.(store.Distant); ok {
		return far.AsOf()
	}
	return at, nil
}

// Clocked is a state that was read before with what the clocks of other benches leave open by
// now. It reads nothing but that, and returns the state itself where that is the same.
func (d *Desk) Clocked(ctx context.Context, s *workflow.State) *workflow.State {
	doubt, err := d.compare(ctx, false)
	if had := s.Doubted(); err != nil || !doubt.Changed(had) && !had.Changed(doubt) {
		return s
	}
	anew, err := d.replay(ctx, s.Airframe.Mark, &workflow.State{}, s.Entries)
	if err != nil {
		return s
	}
	anew = anew.Heard(s)
	anew.Planned, anew.Plans, anew.Sits = s.Planned, s.Plans, s.Sits
	return anew
}

// clocked tells a state that was just replayed what the clocks leave open. Where another bench
// wrote by a clock that is a little ahead, time stands still here until it is over.
func (d *Desk) clocked(ctx context.Context, s *workflow.State) error {
	doubt, err := d.compare(ctx, false)
	if err != nil || !doubt.Shared {
		return err
	}
	s.Doubt(doubt)
	if by := s.LastRecorded().Sub(d.Now()); by > 0 && doubt.Tolerates(by) && d.Clocks.NotBefore != nil {
		d.Clocks.NotBefore(s.LastRecorded())
	}
	return nil
}
