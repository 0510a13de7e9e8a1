package plan

import (
	"context"
	"math"
)

// exactMost is how many activities the exact search takes at once, where there is a plan already.
const exactMost = 400

// sureConflicts is how long the exact search looks for a first plan, in conflicts, whatever the time.
const sureConflicts = 1000

// A schedule says until when what is done for a plan goes on.
type schedule struct {
	wanted context.Context // nobody wants a plan any more once it ends
	sure   context.Context // for a first one
	think  context.Context // for all that is done with one
	search context.Context // for better ones
}

// A solver is what is known of a problem while it is solved.
type solver struct {
	ctx     context.Context
	p       *Problem
	o       Options
	l       *layout
	b       *blocks
	lo      []int
	horizon int
	bound   int
	best    []int // starts, nil: no plan yet
	cost    cost
	free    []int     // activities
	fixed   []int     // starts, where fixed
	sure    *limit    // of the first plan
	most    *limit    // of what is better
	like    [][]int   // plans made from the earlier one
	rank    []float64 // by block, with which serial makes the best or one like it
}

func (p *Problem) solver(until schedule, o Options, horizon int) *solver {
	v := &solver{ctx: until.search, p: p, o: o, sure: &limit{ctx: until.sure}, horizon: horizon, fixed: make([]int, len(p.Activities))}
	if v.most = v.sure; until.sure != until.search {
		v.most = &limit{ctx: until.search}
	}
	v.l = p.layout(v.sure)
	for i, a := range p.Activities {
		if v.fixed[i] = a.Start; !a.Fixed {
			v.free = append(v.free, i)
		}
	}
	if v.l.patience = 2000; len(v.free) <= nearMost {
		v.l.patience = 100 // the exact search is as quick
	}
	return v
}

// solve looks for the best plan that is wanted, of which it says all that is asked.
func (p *Problem) solve(until schedule, o Options, horizon int) Result {
	if o.Before > 0 {
		horizon = min(horizon, o.Before-1)
	}
	v := p.solver(until, o, horizon)
	none := v.search()
	switch {
	case none && o.Before > 0:
		return Result{Proven: true, Bound: max(o.Before, v.bound)}
	case none:
		return Result{Proven: true, Conflict: p.conflict(until.think)}
	}
	r := Result{Bound: v.bound}
	if v.wanted() {
		v.ctx, v.l.limit = until.think, &limit{ctx: until.think}
		v.asBefore()
		r.Starts = v.l.sooner(v.best)
		r.Finish, r.Chain = p.finish(r.Starts), v.l.chain(until.wanted, r.Starts)
		if o.Warm != nil {
			r.Moved = v.moved(r.Starts)
		}
		r.Proven = r.Finish == r.Bound
	}
	return r
}

// search finds the best plan it can, and says whether it is proven that there is none at all.
func (v *solver) search() (none bool) {
	if v.lo = v.l.earliest(v.horizon); v.lo == nil {
		return !v.l.limit.over
	}
	most := v.horizon
	if v.o.Before > 0 {
		if most++; v.l.refutes(v.horizon, v.lo, v.l.byStart(v.lo)) {
			return true
		}
	}
	v.b = v.l.blocks(v.lo)
	v.inOrder()
	v.first()
	if v.best != nil {
		most = min(most, v.cost.finish)
	}
	if v.bound = v.l.bound(v.lo, most); v.bound > v.horizon {
		return true
	}
	if v.best != nil {
		v.cost = v.costOf(v.best)
	}
	v.construct()
	if v.best != nil {
		v.l.limit = v.most
	}
	switch {
	case v.best != nil && v.cost.finish == v.bound, v.l.limit.over:
		return false
	case len(v.free) <= exactMost || v.best == nil:
		return v.exact()
	case v.best != nil:
		v.improve(math.MaxInt)
	}
	return false
}

// wanted says whether there is a plan, and one that is asked for.
func (v *solver) wanted() bool {
	return v.best != nil && (v.o.Before <= 0 || v.cost.finish < v.o.Before)
}

// settle takes the best plan for the best of all that are asked for, and says whether there is none.
func (v *solver) settle() (none bool) {
	if v.wanted() {
		v.bound = v.cost.finish
		return false
	}
	return true
}

// A cost says which of two plans is better: that which finishes sooner, else that with less to do after the bound.
type cost struct{ finish, after int }

func (v *solver) costOf(starts []int) (c cost) {
	for i, a := range v.p.Activities {
		end := starts[i] + a.Length
		c.finish = max(c.finish, end)
		c.after += max(0, min(a.Length, end-v.bound))
	}
	return c
}

// keep takes a plan unless the best is better.
func (v *solver) keep(starts []int) bool {
	c := v.costOf(starts)
	if v.best != nil && (c.finish > v.cost.finish || c.finish == v.cost.finish && c.after > v.cost.after) {
		return false
	}
	v.best, v.cost = starts, c
	return true
}

// first places block by block as each can start soonest, so that there is a plan before anything that takes longer.
func (v *solver) first() {
	rank := v.ranks(v.lo)
	if starts, _ := v.l.serial(v.b, rank); starts != nil && v.keep(starts) {
		v.rank = rank
	}
}

// construct places block by block, the ones first that must start first for all to finish at the bound, or a while
// after it: further away, sittings that are lost to a part of the work weigh less.
func (v *solver) construct() {
	for _, after := range [...]int{100, 105, 110, 120, 140} {
		if v.best != nil {
			if v.l.limit = v.most; v.ctx.Err() != nil {
				return
			}
		}
		hi := v.l.latest(v.bound*after/100, v.lo)
		if hi == nil {
			hi = v.lo
		}
		rank := v.ranks(hi)
		for range 5 {
			starts, stuck := v.l.serial(v.b, rank)
			if starts != nil {
				if v.keep(starts) {
					v.rank = rank
				}
				break
			}
			if stuck < 0 {
				return
			}
			rank[stuck] -= 1 + math.Abs(rank[stuck]) // before the others the next time
		}
		if v.best != nil && v.cost.finish == v.bound || len(v.free) <= nearMost || v.ctx.Err() != nil {
			return // the exact search is as quick
		}
	}
}

// checkMost is how long it may take, in activities times sittings, to see whether an earlier plan still is one.
const checkMost = 2_000_000

// inOrder takes the earlier plan, if it still is one, shifts it to where there is room for it, as after a slip, and places its
// blocks one after the other.
func (v *solver) inOrder() {
	if v.o.Warm == nil {
		return
	}
	rank := v.ranks(v.o.Warm)
	starts, _ := v.l.serial(v.b, rank)
	v.l.limit = v.most
	defer func() { v.l.limit = v.sure }()
	var still []int
	if len(v.free)*len(v.p.Sittings) < checkMost && Check(*v.p, v.o.Warm) == nil {
		still = v.o.Warm
	}
	for _, starts := range [3][]int{still, v.shift(), starts} {
		if starts == nil {
			continue
		}
		// What is fixed may be in the way of an order.
		if starts = v.l.sooner(starts); len(v.free) == len(v.p.Activities) || Check(*v.p, starts) == nil {
			v.like = append(v.like, starts)
			if v.keep(starts) {
				v.rank = rank
			}
		}
	}
}

// shift is a plan in the order of the earlier one, nil where there is none.
func (v *solver) shift() []int {
	order := append([]int(nil), v.o.Warm...)
	for i, a := range v.p.Activities {
		if a.Fixed {
			order[i] = a.Start
		}
	}
	l := v.l
	if len(v.p.Either) > 0 {
		l = v.p.settled(order).layout(l.limit)
	}
	starts := l.shifted(order, v.horizon)
	if starts == nil {
		return nil
	}
	for k := range l.busy {
		l.busy[k] = profile{}
	}
	for i, t := range starts {
		l.place(i, t)
	}
	for _, i := range v.free { // what lasts longer than it did may still be under way
		l.take(i)
		if !l.limit.more(10) || l.fit(i, starts[i]) != starts[i] {
			return nil
		}
		l.place(i, starts[i])
	}
	return starts
}

// whole are the starts of all activities, of those the search found for what is free.
func (v *solver) whole(found []int32) []int {
	starts := append([]int(nil), v.fixed...)
	for x, i := range v.free {
		starts[i] = int(found[x])
	}
	return starts
}

// ranks are the least of the members of each block.
//
//go:noinline
func (v *solver) ranks(starts []int) []float64 {
	rank := make([]float64, len(v.b.all))
	for k, members := range v.b.all {
		rank[k] = math.Inf(1)
		for _, i := range members {
			rank[k] = min(rank[k], float64(starts[i]))
		}
	}
	return rank
}

// exact looks for the best plan among all, and says whether it is proven that there is none. Where the problem is not
// small it takes turns with improve, which finds good plans sooner and proves nothing.
func (v *solver) exact() (none bool) {
	most := v.horizon
	least := v.bound
	for _, a := range v.p.Activities {
		if a.Fixed {
			least = max(least, a.Start+a.Length)
		}
	}
	if v.best != nil {
		most = min(most, v.cost.finish-1)
	}
	if v.best != nil && v.ctx.Err() != nil {
		return false
	}
	m := v.p.model(v.l.limit, v.free, v.fixed, least, most)
	if m == nil && v.l.limit.over {
		return false
	}
	if m == nil {
		return v.settle()
	}
	s := m.s
	for turn := 1; ; turn++ {
		m.follow(v.p, v.best)
		s.none, s.halve = v.best == nil, v.best != nil
		conflicts := math.MaxInt
		if len(v.free) > nearMost {
			conflicts = 1000 * turn
		}
		ctx := v.ctx
		if turn == 1 && v.best == nil && v.o.Sure {
			ctx, conflicts = v.sure.ctx, sureConflicts
		}
		found, proven := s.minimise(ctx, conflicts)
		v.l.limit = v.most
		if found != nil {
			starts := v.whole(found)
			if v.keep(starts) {
				v.rank = v.ranks(starts)
			}
		}
		if proven {
			return v.settle()
		}
		v.bound = max(v.bound, int(s.lo(s.finish)))
		if v.ctx.Err() != nil {
			return false
		}
		if v.best == nil {
			continue
		}
		v.improve(20 * turn)
		if v.cost.finish <= v.bound || !s.set(atMost(s.finish, int32(v.cost.finish-1)), reason{}) {
			return v.settle()
		}
	}
}

func (p *Problem) finish(starts []int) int {
	end := 0
	for i, a := range p.Activities {
		end = max(end, starts[i]+a.Length)
	}
	return end
}
