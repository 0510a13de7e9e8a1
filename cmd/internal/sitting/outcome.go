package sitting

import (
	"cmp"
	"context"
	"errors"
	"slices"
	"time"

	"fettle/cmd/internal/desk"
	"fettle/cmd/internal/page"
	"fettle/store"
	"fettle/workflow"
)

// This file has what became of what the builder answered, where the store was away.

// An answer is what was answered at a place.
type answer struct {
	at    place
	what  string // it is, in words
	aside bool   // it answers nothing that was asked
}

// answered notes what is being answered; "": what is asked at the step at hand.
func (c *conversation) answered(what string) {
	aside := what != ""
	if !aside {
		what = `your last answer to "` + cmp.Or(c.hand.Step.Label(), c.view.Title) + `"`
	}
	c.answer = answer{c.here(), what, aside}
}

// away says what became of an answer that the store was away for, with the outcomes before it: that
// first, in a few words.
func (c *conversation) away(err error, recorded, unsure *desk.Outcome) error {
	c.Bench.dated.Store(true)
	if o := c.Desk.Outcome(); errors.Is(err, store.ErrUnknown) && o != unsure && o.Unknown {
		c.unknown[o] = c.answer
		return c.Front.Tell("It is not known whether that was recorded: the store gave no answer. Once it does, it is said here; in another terminal this shows it: `" + page.LookAt(o.Mark) + "`")
	}
	text := "Nothing"
	if c.Desk.Recorded() != recorded {
		text = "No more"
	}
	text += " was recorded: the store can't be reached. Write down what is done and when, and record it later with --at."
	if c.answer.aside { // it is not on the screen any more
		text += " It was " + c.answer.what + "."
	}
	c.lack(c.answer)
	return c.say(text)
}

// lack notes that an answer is not recorded.
func (c *conversation) lack(of answer) {
	if !slices.Contains(c.lacks, of) {
		c.lacks = append(c.lacks, of)
	}
}

// settle says once the store is back that it is, and what became of answers that it gave no answer
// to: then it is looked at again.
func (c *conversation) settle(ctx context.Context) error {
	if _, why := c.Desk.AsOf(); why != nil {
		c.Bench.dated.Store(true)
		return nil
	}
	back := c.Bench.dated.Swap(false)
	settled, err := c.Desk.Settle(ctx)
	for _, one := range settled {
		if err := c.tellSettled(one); err != nil {
			return err
		}
	}
	switch {
	case errors.Is(err, store.ErrAway):
		c.Bench.dated.Store(true) // not yet
		return nil
	case err != nil:
		return err
	case len(settled) > 0:
		return errAgain
	case back:
		return c.say("The store can be reached again.")
	}
	return nil
}

// tellSettled says what became of one answer that the store gave no answer to.
func (c *conversation) tellSettled(one desk.Settled) error {
	of, asked := c.unknown[one.Of]
	delete(c.unknown, one.Of)
	if !one.Is {
		why := "Something else was recorded first."
		if one.PutBack {
			why = "The store was put back to an older state."
		}
		text := "The store answers again. Not recorded: " + page.SaysOf(one.Entries) + ". " + why
		if asked { // it was not given again since
			c.lack(of)
			text += " Give it again if it is still to be done."
		}
		return c.say(text)
	}
	mark := one.Of.Mark
	c.Bench.Put(one.State)
	c.recorded, c.since, c.stay = mark, time.Time{}, place{}
	if had, known := c.known[mark]; known && had < one.Entries[0].Position {
		if err := c.recordedBy(one.State, had, one.Entries[0].Position); err != nil {
			return err
		}
	}
	c.known[mark] = max(c.known[mark], one.Of.Size)
	return cmp.Or(c.say("The store answers again. Recorded after all:"), c.tellRecorded(one.State, one.Entries))
}

// leave says what stands hot, on or plugged in, what is still running, and how to go on.
func (c *conversation) leave(ctx context.Context) error {
	if err := c.settleNow(ctx); err != nil {
		return err
	}
	left := page.Leaving{Mark: c.Mark, Options: c.Options, Timers: c.running().Timers, Nothing: c.Desk.Recorded() == c.began}
	for _, r := range workflow.Standing(c.states, c.now()) {
		i := slices.IndexFunc(c.states, func(s *workflow.State) bool { return s.Airframe.Mark == r.Remedy.Mark })
		s := c.Desk.Seated(c.states[max(i, 0)], c.who)
		g := s.Next(c.now())
		is := workflow.Plugged{Mark: r.Remedy.Mark, By: s.StaysBy(s, c.now()), Reason: r}
		for _, minded := range s.Minded(&g, c.now()) { // or ends it at once
			if minded.Mark == is.Mark && minded.Remedy.Setting == r.Remedy.Setting {
				is = minded
			}
		}
		if i >= 0 && is.By > 0 {
			left.Stays = append(left.Stays, page.NewPlugged(s, is, c.now()))
		} else {
			left.Stands = append(left.Stands, r)
		}
	}
	for _, of := range c.lacks {
		left.Lacks = append(left.Lacks, of.what)
	}
	if o := c.Desk.Outcome(); o != nil && o.Unknown {
		left.Unknown = o.Mark
	}
	return c.Front.Tell(left.Markdown(c.clock()))
}

// settleNow settles before the builder leaves what became of their answers, if the store answers soon.
func (c *conversation) settleNow(ctx context.Context) error {
	if o := c.Desk.Outcome(); o == nil || !o.Unknown {
		return nil
	}
	ctx, stop := context.WithTimeout(context.WithoutCancel(ctx), leaveWithin)
	defer stop()
	err := c.settle(ctx)
	if errors.Is(err, errAgain) || errors.Is(err, context.DeadlineExceeded) || errors.As(err, new(*store.Error)) {
		return nil // it is said to be unknown
	}
	return err
}

// leaveWithin is how long the store is waited for by whoever leaves.
const leaveWithin = 2 * time.Second
