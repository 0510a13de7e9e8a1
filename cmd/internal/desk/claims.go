package desk

import (
	"context"
	"errors"
	"time"

	"fettle/steps/sorting"
	"fettle/store"
	"fettle/workflow"
)

// me is what this desk claims by in a store that keeps claims.
func (d *Desk) me() (store.Claimer, *store.Claim) {
	claimer, ok := d.Store.(store.Claimer)
	if !ok {
		return nil, nil
	}
	return claimer, &store.Claim{By: d.By, Bench: claimer.Bench(), Seat: d.Seat}
}

// Owner is the [store.Claim.Owner] of what is claimed here; "": nothing can be.
func (d *Desk) Owner() string {
	if _, me := d.me(); me != nil {
		return me.Owner()
	}
	return ""
}

// Claims are who is at which step, where benches share the store and say so. A claim of a step
// that is done, or waits, says nothing; the state tells (see [workflow.State.Claimed]). While the
// store cannot be reached they are those that were last seen, or none, and whatever reads the record
// says so.
func (d *Desk) Claims(ctx context.Context) ([]*store.Claim, error) {
	if claimer, _ := d.me(); claimer != nil {
		all, err := claimer.Claims(ctx)
		if errors.Is(err, store.ErrAway) {
			err = nil
		}
		return all, err
	}
	return nil, nil
}

// Others are those claims that are of other people or benches.
func (d *Desk) Others(ctx context.Context) ([]*store.Claim, error) {
	_, me := d.me()
	all, err := d.Claims(ctx)
	return sorting.Delete(all, func(c *store.Claim) bool { return c.Owned(me) }), err
}

// Claim claims a step of an airframe for so long, in the place of what was claimed before. false:
// somebody else is at it, and it was not taken over.
func (d *Desk) Claim(ctx context.Context, mark, step string, lasts time.Duration, take bool) (*store.Claim, bool, error) {
	return d.claim(ctx, store.Claim{Mark: mark, Step: step, Since: d.Now()}, lasts, take)
}

// Sit claims a step as [Desk.Claim] does, for a sitting that keeps it up.
func (d *Desk) Sit(ctx context.Context, mark, step string, lasts time.Duration, take bool) (*store.Claim, bool, error) {
	return d.claim(ctx, store.Claim{Mark: mark, Step: step, Since: d.Now(), Sits: true}, lasts, take)
}

// LeaveMidway has others know of a step that was claimed here that it was left for another one.
func (d *Desk) LeaveMidway(ctx context.Context, of store.Claim) error {
	of.Left, of.Sits = d.Now(), false
	_, _, err := d.claim(ctx, of, 0, false)
	return err
}

func (d *Desk) claim(ctx context.Context, of store.Claim, lasts time.Duration, take bool) (*store.Claim, bool, error) {
	claimer, me := d.me()
	if claimer == nil {
		return nil, true, nil
	}
	of.By, of.Bench, of.Seat = me.By, me.Bench, me.Seat
	stands, err := claimer.Claim(ctx, &of, lasts, take)
	return stands, err != nil || stands.Owned(me), err
}

// Sitting is the claim that a sitting of the same person keeps up here; nil: there is none.
func (d *Desk) Sitting(ctx context.Context) (*store.Claim, error) {
	_, me := d.me()
	all, err := d.Claims(ctx)
	for _, c := range all {
		if c.Owned(me) && c.Sits && c.Silent == 0 {
			return c, nil
		}
	}
	return nil, err
}

// Also reports whether a claim is kept up by another sitting of the same person here.
func (d *Desk) Also(c *store.Claim) bool {
	_, me := d.me()
	return me != nil && c.Kept(me)
}

// Unclaim ends what was claimed here.
func (d *Desk) Unclaim(ctx context.Context) error {
	if claimer, me := d.me(); claimer != nil {
		return claimer.Unclaim(ctx, me)
	}
	return nil
}

// Left ends what was claimed here of an airframe, if that step is done or waits by now. It returns
// the claims of others that were left so by what was recorded on the state before: whoever is at
// such a step is to be told.
func (d *Desk) Left(ctx context.Context, before, s *workflow.State) ([]*store.Claim, error) {
	claimer, me := d.me()
	all, err := d.Claims(ctx)
	now := d.Now()
	var others []*store.Claim
	for _, c := range all {
		switch {
		case c.Mark != s.Airframe.Mark || s.Claimed(c.Step, now):
		case c.Owned(me) && !c.Left.IsZero():
		case c.Owned(me):
			err = claimer.Unclaim(ctx, c)
		case before.Claimed(c.Step, now):
			others = append(others, c)
		}
	}
	return others, err
}
