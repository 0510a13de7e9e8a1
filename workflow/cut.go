package workflow

import (
	"context"
	"maps"
	"slices"
	"time"

	"fettle/workflow/plan"
)

// This file cuts rows of tasks by sittings, plans with the cuts, and looks for better ones.

// A cut says which tasks of a row lie in which sitting, one with the other. The first may be of the sitting that goes on, for
// which nothing has to be set.
type cut struct {
	groups  [][]int
	current bool
	tight   bool // nothing lies between them
}

// split cuts a row by where its tasks lie in a plan: as many of them into each sitting as it has room for with what they begin and
// end with. Anew: from the sitting on after the one in which the row begins there; alone: each into a sitting of its own.
func (c *scheduler) split(r *row, starts []int, anew, alone bool) (is cut) {
	order := byStart(r.tasks, starts)
	first := order[0]
	if r.setter >= 0 {
		first = r.setter
	}
	k, at := c.sittingOf(first, starts[first]), starts[first]
	is.current = r.setter < 0 && r.now && k == 0 && c.goesOn() && !anew
	if anew {
		k++
	}
	var group []int
	for n, i := range order {
		off := c.offMinutes(r)
		if n == len(order)-1 && r.needed {
			off = 0
		}
		whole := func(tasks []int, stands bool) (minutes int) { // with what sets it
			if r.setter >= 0 && len(is.groups) == 0 {
				if minutes = c.tasks[r.setter].minutes; r.setter == tasks[0] {
					minutes = 0
				}
			} else {
				minutes = minutesOfAll(c.readying(r, tasks, stands))
			}
			for _, i := range tasks {
				minutes += c.tasks[i].minutes
			}
			return minutes + off
		}
		more := append(group[:len(group):len(group)], i)
		fits := k < len(c.sittings) && !(alone && len(group) > 0)
		if fits {
			from := c.sittings[k].From
			if len(is.groups) == 0 && !anew {
				from = at
			}
			fits = from+whole(more, is.current && len(is.groups) == 0) <= c.sittings[k].To
		}
		if !fits {
			if c.productive(r, group) {
				is.groups = append(is.groups, group)
				more = []int{i}
			} else if len(is.groups) == 0 {
				is.current = false
			}
			for k++; k < len(c.sittings) && c.sittings[k].From+whole(more, false) > c.sittings[k].To; k++ {
			}
			anew = true
		}
		group = more
	}
	is.groups = append(is.groups, group)
	return is
}

// thinking is the time to think that is left for a plan, whatever is tried for it.
type thinking struct{ left, all time.Duration }

// solved has a problem solved in its share of what is left: all of it, or, where more may have to be tried, half at first, and then a
// quarter, so that there is always some left.
func (of *scheduler) solved(ctx context.Context, p plan.Problem, o plan.Options, more bool) (plan.Result, error) {
	k, share := of.think, time.Duration(1)
	switch {
	case more && k.all == 0:
		share = 2
	case more:
		share = 4
	}
	k.all = max(k.all, k.left)
	o.Think = max(1, k.left/share)
	o.Sure = true
	r, err := of.solve(ctx, p, o)
	k.left -= r.Took // also what was to be done whatever the time
	return r, err
}

// thinkLeast is of how many parts of the time one is left for what can be done without.
const thinkLeast = 20

// over reports whether there is too little left for what can be done without.
func (k *thinking) over(ctx context.Context) bool {
	return ctx.Err() != nil || k.left < k.all/thinkLeast
}

// A draft is a plan with the scheduler that it is of.
type draft struct {
	c    *scheduler
	r    plan.Result
	t    Timetable    // when it is over, and what is known of that
	more []runningEnd // what could be given up, where there is no plan
}

// attempt looks for a plan that gives up what of slips; else it is what more of the ends that run already could be given up,
// or why there is no plan. Nothing is left hot, on or plugged in by it: where the best plan would, rows are cut by where it has
// their tasks, and it is planned anew. What no plan finishes before is found without the cuts.
func (of *scheduler) attempt(ctx context.Context, o plan.Options) (t Timetable, more []runningEnd, err error) {
	of.cuts, of.warm, of.loose, of.rough = nil, nil, false, false
	of.short, of.futile = nil, nil
	d, err := of.draft(ctx, o)
	if err != nil || len(d.more) > 0 {
		return d.t, d.more, err
	}
	if d.r.Starts == nil { // there is nothing to do
		return d.whole(), nil, nil
	}
	rows := d.c.leaves(d.r.Starts)
	if len(rows) == 0 && !d.c.held {
		return d.whole(), nil, nil
	}
	whole := d
	of.warm, of.loose, of.rough = d.r.Starts, true, true
	proven, bound := d.t.Proven, d.t.Bound
	if d.c.held {
		least, err := of.draft(ctx, o)
		switch {
		case err == nil && least.r.Starts != nil:
			proven, bound = least.t.Proven, least.t.Bound
		case least.r.Proven || least.r.Bound == 0:
			proven, bound = false, of.base
		default:
			proven, bound = false, of.time(least.r.Bound)
		}
	}
	of.loose = false
	if len(rows) > 0 {
		if d, err = of.cutUp(ctx, o, d, false); err != nil || len(d.more) > 0 {
			return d.t, d.more, err
		}
		of.rough = true
		for _, anew := range []bool{false, true} { // each row whole; or from the next sitting on
			if of.think.over(ctx) || !d.t.Finish.After(bound) {
				break
			}
			of.cuts = map[int]cut{}
			for _, at := range rows {
				is := cut{groups: [][]int{whole.c.rows[at].tasks}}
				if anew {
					is = whole.c.split(whole.c.rows[at], whole.r.Starts, true, false)
				}
				of.cuts[at] = is
			}
			other, err := of.draft(ctx, o)
			if err == nil && other.sooner(d) {
				d = other
			}
		}
		d = of.nearby(ctx, o, d, bound)
	}
	t = d.whole()
	t.Proven = proven && !t.Finish.After(bound)
	if t.Bound = bound; bound.After(t.Finish) {
		t.Bound = t.Finish
	}
	return t, nil, nil
}

// whole is the plan as people see it.
func (d *draft) whole() Timetable {
	t := d.c.timetable(d.r)
	t.Kept = d.c.h.Like != nil && d.r.Starts != nil && t.keeps(d.c.h.Like)
	return t
}

// pieces is into how many all is cut.
//
//go:noinline
func (d *draft) pieces() (n int) {
	for _, is := range d.c.cuts {
		n += len(is.groups)
	}
	return n
}

// sooner reports whether a draft is a plan that is finished before another one, or with it and cut less; and leaves nothing as it is.
func (d *draft) sooner(other *draft) bool {
	return d.r.Starts != nil && (d.t.Finish.Before(other.t.Finish) || d.t.Finish.Equal(other.t.Finish) && d.pieces() < other.pieces()) && len(d.c.leaves(d.r.Starts)) == 0
}

// nearbyMost is how many cuts like the best are tried.
const nearbyMost = 40

// nearby is the best plan that is found with two pieces made one, or with the task between them in the other one.
func (of *scheduler) nearby(ctx context.Context, o plan.Options, d *draft, bound time.Time) *draft {
	tried := 0
again:
	for at := range d.c.rows {
		is := d.c.cuts[at]
		for g := 0; g+1 < len(is.groups); g++ {
			one, other := is.groups[g], is.groups[g+1]
			joined := slices.Concat(one, other)
			for n, split := range [3]int{len(joined), len(one) - 1, len(one) + 1} {
				if tried >= nearbyMost || of.think.over(ctx) || n > 0 && (!d.t.Finish.After(bound) || split == 0 || split == len(joined)) {
					continue
				}
				tried++
				groups := slices.Clone(is.groups[:g])
				if groups = append(groups, joined[:split]); n > 0 {
					groups = append(groups, joined[split:])
				}
				of.cuts = maps.Clone(d.c.cuts)
				of.cuts[at] = cut{groups: append(groups, is.groups[g+2:]...), current: is.current}
				if next, err := of.draft(ctx, o); err == nil && next.sooner(d) {
					d = next
					goto again
				}
			}
		}
	}
	return d
}

// cutsMost is how often rows are cut anew.
const cutsMost = 8

// cutUp cuts rows until no sitting leaves one as it is.
func (of *scheduler) cutUp(ctx context.Context, o plan.Options, d *draft, alone bool) (*draft, error) {
	of.cuts, of.rough = map[int]cut{}, !alone
	from := d
	for range cutsMost {
		rows := d.c.leaves(d.r.Starts)
		if len(rows) == 0 {
			return d, nil
		}
		for _, at := range rows {
			was, known := of.cuts[at]
			switch {
			case !known:
				of.cuts[at] = d.c.split(d.c.rows[at], d.r.Starts, false, alone)
			case !was.tight:
				was.tight = true
				of.cuts[at] = was
			default:
				is := d.c.split(d.c.rows[at], d.r.Starts, false, true)
				is.tight = true
				of.cuts[at] = is
			}
		}
		next, err := of.draft(ctx, o)
		if err != nil || len(next.more) > 0 {
			if !alone {
				return of.cutUp(ctx, o, from, true)
			}
			return next, err
		}
		d = next
	}
	return d, nil
}
