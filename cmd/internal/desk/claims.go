package desk

import (
	"context"
	"slices"
	"time"

	"fettle/store"
	"fettle/workflow"
)

// me is what this desk claims by.
func (d *Desk) me() *store.Claim { return &store.Claim{By: d.By, Bench: d.Bench} }

// Claims are who is at which step, where benches share the store and say so. A claim of a step
// that is done, or waits, says nothing; the state tells (see [workflow.State.Claimed]).
func (d *Desk) Claims(ctx context.Context) ([]*store.Claim, error) {
	claimer, ok := d.Store.(store.Claimer)
	if !ok {
		return nil, nil
	}
	return claimer.Claims(ctx)
}

// Others are those claims that are of other people or benches.
func (d *Desk) Others(ctx context.Context) ([]*store.Claim, error) {
	all, err := d.Claims(ctx)
	return slices.DeleteFunc(all, d.me().Owned), err
}

// Claim claims a step of an airframe for so long, in the place of what was claimed before. false:
// somebody else is at it, and it was not taken over.
func (d *Desk) Claim(ctx context.Context, mark, step string, lasts time.Duration, take bool) (*store.Claim, bool, error) {
	claimer, ok := d.Store.(store.Claimer)
	if !ok {
		return nil, true, nil
	}
	of := d.me()
	of.Mark, of.Step, of.Since = mark, step, d.Now()
	stands, err := claimer.Claim(ctx, of, lasts, take)
	return stands, err != nil || stands.Owned(of), err
}

// Unclaim ends what was claimed here.
func (d *Desk) Unclaim(ctx context.Context) error {
	claimer, ok := d.Store.(store.Claimer)
	if !ok {
		return nil
	}
	return claimer.Unclaim(ctx, d.me())
}

// Left ends what was claimed here of an airframe, if that step is done or waits by now. It returns
// the claims of others that were left so: whoever is at such a step is to be told.
func (d *Desk) Left(ctx context.Context, s *workflow.State) ([]*store.Claim, error) {
	all, err := d.Claims(ctx)
	now := d.Now()
	var others []*store.Claim
	for _, c := range all {
		switch {
		case c.Mark != s.Airframe.Mark || s.Claimed(c.Step, now):
		case c.Owned(d.me()):
			err = d.Unclaim(ctx)
		default:
			others = append(others, c)
		}
	}
	return others, err
}
