package workflow

import (
	"context"
	"errors"
	"time"

	"fettle/steps/sorting"
	"fettle/workflow/plan"
)

// This file says why there is no plan, and what would free it.

// NoPlan is the error where there is no plan.
type NoPlan struct {
	Why      Hindrance
	Turns    []Turn        // of the conflict, without times
	Joint    string        // TooShort: whose window
	Windows  []Lapse       // that are in the conflict: by joint or wait
	Sittings []Sitting     // that make no sense
	InHours  bool          // the sittings belong to the conflict
	Together bool          // two of the turns must lie in one sitting
	Least    bool          // without any one part of the conflict there would be a plan
	Until    time.Time     // TooLittle: when all would be done with sittings like those given, again and again; zero: nobody knows
	Thought  time.Duration // NotFound: how long it was looked for, at most
	Takes    time.Duration
	Has      time.Duration
	Free     []Freeing // what would help, any of it
	Open     []Lapse   // windows that are open now, whatever is planned, the first to close first
	Left     []Reason  // what is hot, on or plugged in now, whatever is planned

	others []string // TooShort: adhesives that may be there too
}

// A Hindrance is a way in which there is no plan.
type Hindrance string

// The hindrances.
const (
	NoSitting  Hindrance = "no sitting"  // none that is not over
	BadSitting Hindrance = "bad sitting" // it ends before it begins
	Overlap    Hindrance = "overlap"     // it begins before the one before it ends
	TooLong    Hindrance = "too long"    // a step takes longer than every sitting
	TooShort   Hindrance = "too short"   // a window is over before what must follow is done; that is left out of a plan
	TooLittle  Hindrance = "too little"  // there is more to do than time
	Conflict   Hindrance = "conflict"    // the turns and windows do not go together
	NotFound   Hindrance = "not found"   // in the time to think
)

// A Freeing is a change that could make a plan possible.
type Freeing struct {
	Once    time.Duration // one sitting a week so long
	Each    time.Duration // every sitting so long
	Needs   time.Duration // a sitting so long at the least; whether that is enough was not found
	More    time.Duration // so much more time in sittings
	Tight   bool          // windows used to their ends
	At      *float64      // the bench at that temperature, in °C
	With    string        // another adhesive
	Hands   int           // so many people at once
	Written bool          // each step in the minutes that are written
}

// openNow are the windows of joints that are open, or will be before they close, and of waits.
func (of *scheduler) openNow() (all []Lapse) {
	for _, s := range of.fleet {
		for _, t := range s.Timers(of.now) {
			if t.Closes.After(of.now) && t.Lies == "" {
				all = append(all, Lapse{Mark: s.Airframe.Mark, Job: t.Job, Name: t.Name, Closes: t.Closes})
			}
		}
	}
	sorting.Stable(all, func(i, k int) int {
		a, b := &all[i], &all[k]
		return a.Closes.Compare(b.Closes)
	})
	return all
}

func (e *NoPlan) Error() string { return "there is no plan: " + string(e.Why) }

// tooMuch finds that there is more work than time.
func (c *scheduler) tooMuch(ctx context.Context, o plan.Options) error {
	open, work := 0, 0
	for _, w := range c.sittings {
		open += c.hands * (w.To - w.From)
	}
	for i := range c.tasks {
		if t := &c.tasks[i]; t.step != nil {
			work += t.minutes * min(c.hands, c.people(t))
		}
	}
	if work > open {
		e := c.tooLittle(ctx, o)
		e.Takes = max(e.Takes, minutesOf(work/c.hands))
		if len(e.Free) == 0 {
			e.Free = []Freeing{{More: minutesOf((work - open + c.hands - 1) / c.hands)}}
		}
		return e
	}
	return nil
}

// noPlan says why there is no plan, in the words of the work.
func (c *scheduler) noPlan(ctx context.Context, p plan.Problem, r plan.Result, o plan.Options) error {
	if !r.Proven || r.Conflict == nil {
		return &NoPlan{Why: NotFound}
	}
	k := r.Conflict
	e := &NoPlan{Why: Conflict, InHours: k.Sittings, Least: k.Irreducible}
	for _, i := range k.Activities {
		if c.tasks[i].step != nil {
			e.Turns = append(e.Turns, c.turn(i, -1))
		}
	}
	for _, d := range k.Upper {
		t := &c.tasks[c.delays[d].From]
		if c.ties[d] == (tie{}) { // no window: what lies in one sitting
			e.Together, e.InHours = true, true
			continue
		}
		e.Windows = append(e.Windows, Lapse{Mark: c.fleet[t.of].Airframe.Mark, Job: t.job.ID, Name: c.ties[d].joint + c.ties[d].step})
	}
	if len(k.Together) > 0 {
		e.Together, e.InHours = true, true
	}
	for _, i := range k.Latest {
		late := c.tasks[i].late
		if late == nil {
			continue
		}
		e.Windows = append(e.Windows, Lapse{Mark: late.mark, Job: late.job, Name: late.name, Closes: late.closes})
	}
	if !e.InHours {
		return e
	}
	if len(k.Upper)+len(k.Latest)+len(k.Together) == 0 { // they are only too much for the sittings that there are
		return c.tooLittle(ctx, o)
	}
	// How long a sitting it takes, if one has to do.
	less := c.part(p, k.Activities)
	for n, i := range k.Activities {
		a := &less.Activities[n]
		a.Limited, a.Latest = false, 0
		if room := p.Activities[i].Room; room > a.Length { // which the sitting has as well
			last := len(less.Activities)
			less.Activities = append(less.Activities, plan.Activity{Length: room})
			less.Delays = append(less.Delays, plan.Delay{From: n, To: last}, plan.Delay{From: last, To: n})
		}
	}
	one, err := c.solved(ctx, less, plan.Options{}, true)
	if err != nil || one.Starts == nil {
		return e
	}
	first, longest := one.Finish, c.longest()
	for _, s := range one.Starts {
		first = min(first, s)
	}
	if one.Finish-first > longest {
		e.Takes, e.Has = minutesOf(one.Finish-first), minutesOf(longest)
	}
	c.help(ctx, e)
	return e
}

// part is what some of the activities ask for, without sittings.
func (c *scheduler) part(p plan.Problem, who []int) plan.Problem {
	less := plan.Problem{Capacity: p.Capacity}
	at := make([]int, len(p.Activities)) // 1 + where it is now
	for _, i := range who {
		a := p.Activities[i]
		a.Room = 0
		less.Activities = append(less.Activities, a)
		at[i] = len(less.Activities)
	}
	move := func(d plan.Delay) (plan.Delay, bool) {
		return plan.Delay{From: at[d.From] - 1, To: at[d.To] - 1, Least: d.Least}, at[d.From] > 0 && at[d.To] > 0
	}
	for k, d := range p.Delays {
		if moved, in := move(d); in && (d.Least >= 0 || c.ties[k] != tie{}) {
			less.Delays = append(less.Delays, moved)
		}
	}
	for _, e := range p.Either {
		one, in := move(e.One)
		if other, too := move(e.Other); in && too {
			less.Either = append(less.Either, plan.Either{One: one, Other: other})
		}
	}
	return less
}

// How long each of the changes is tried that could help, and all of them; in which steps sittings become longer, and how long
// they become at most.
const (
	tryFor      = 400 * time.Millisecond
	tryAll      = 2 * time.Second
	tryLonger   = 5 * time.Minute
	longestHelp = 12 * time.Hour
)

// help says what would make a plan possible, each of which was tried. Where no longer sitting was found to, it is how much one
// lacks.
func (c *scheduler) help(ctx context.Context, e *NoPlan) {
	if c.trial {
		return
	}
	ctx, cancel := context.WithTimeout(ctx, min(tryAll, max(c.think.left, c.think.all)))
	defer cancel()
	root := *c.root
	root.whole, root.long = true, nil
	c.root = &root
	once := c.longEnough(ctx, e.Takes, onceAWeek)
	if once > 0 {
		e.Free = append(e.Free, Freeing{Once: once})
	}
	if once != e.Takes {
		if each := c.longEnough(ctx, e.Takes, atLeast); each > 0 && (once == 0 || each < once) {
			e.Free = append(e.Free, Freeing{Each: each})
		}
	}
	if len(e.Free) == 0 && e.Takes > e.Has {
		e.Free = append(e.Free, Freeing{Needs: e.Takes})
	}
	if e.Why != Conflict && !e.Together {
		return
	}
	for _, f := range [...]Freeing{{Tight: !c.h.Tight}, moreHands(c.hands)} {
		h := c.h
		h.Tight, h.Hands = h.Tight || f.Tight, max(c.hands, f.Hands)
		if f == (Freeing{}) {
			continue
		}
		if _, err := c.try(ctx, &h); err == nil {
			e.Free = append(e.Free, f)
		}
	}
}

// moreHands is a person more; nothing where a plan can be for no more.
func moreHands(hands int) Freeing {
	if hands >= MostHands {
		return Freeing{}
	}
	return Freeing{Hands: hands + 1}
}

// try looks for a plan with other hours, and is what of it fits no sitting.
//
//go:noinline
func (c *scheduler) try(ctx context.Context, h *Hours) (long map[string]*NoPlan, err error) {
	is := *c.root
	is.trial, is.h, is.long = true, *h, nil
	is.h.Watch, is.h.Like = nil, nil
	_, err = is.find(ctx, plan.Options{Think: tryFor})
	return is.long, err
}

// longEnough is how long sittings are with which there is a plan, made longer that way: so long at the least, and hardly longer than
// they must be. 0: none was found.
func (c *scheduler) longEnough(ctx context.Context, least time.Duration, longer func([]Sitting, time.Duration) []Sitting) (works time.Duration) {
	h, step := c.h, tryLonger
	for length := least; least > 0 && length <= longestHelp && ctx.Err() == nil; {
		h.Sittings = longer(c.h.Sittings, length)
		var no *NoPlan
		switch _, err := c.try(ctx, &h); {
		case err == nil:
			works = length
		case errors.As(err, &no) && (no.Why == TooLong || no.Least) && no.Takes > length:
			least = no.Takes
		case works > 0:
			least = length + time.Minute
		default:
			least, step = length+step, 2*step
		}
		if length = least; works > 0 {
			if works-least < tryLonger {
				return works
			}
			length = (least + (works-least)/2).Truncate(time.Minute)
		}
	}
	return works
}

// tooLittle says how much more time in sittings it takes, as far as sittings like those given tell.
func (c *scheduler) tooLittle(ctx context.Context, o plan.Options) *NoPlan {
	e := &NoPlan{Why: TooLittle}
	for _, w := range c.sittings {
		e.Has += minutesOf(w.To - w.From)
	}
	if c.h.Again || c.trial { // of what is tried nobody asks that
		return e
	}
	is := *c.root
	is.trial, is.long = true, nil
	is.h.Again, is.h.Watch, is.h.Like = true, nil, nil
	o.Think = max(1, c.think.left/2)
	longer, err := is.find(ctx, o)
	if c.think.left -= o.Think - is.think.left; err != nil {
		return e
	}
	added := time.Duration(0)
	for _, v := range longer.Visits {
		if v.Added {
			added += v.To.Sub(v.From)
		}
	}
	e.Until, e.Takes, e.Free = longer.Finish, e.Has+added, []Freeing{{More: added}}
	return e
}
