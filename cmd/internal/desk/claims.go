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
	return claimer, &store.Claim{By: d.By, Bench: claimer.Bench()}
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
	claimer, of := d.me()
	if claimer == nil {
		return nil, true, nil
	}
	of.Mark, of.Step, of.Since = mark, step, d.Now()
	stands, err := claimer.Claim(ctx, of, lasts, take)
	return stands, err != nil || stands.Owned(of), err
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
	_, me := d.me()
	all, err := d.Claims(ctx)
	now := d.Now()
	var others []*store.Claim
	for _, c := range all {
		switch {
		case c.Mark != s.Airframe.Mark || s.Claimed(c.Step, now):
		case c.Owned(me):
			err = d.Unclaim(ctx)
		case before.Claimed(c.Step, now):
			others = append(others, c)
		}
	}
	return others, err
}
