package plan

import (
	"context"
	"math"
)

// exactMost is how many activities the exact search takes at once.
const exactMost = 400

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
	finish  int
}

func solve(ctx context.Context, p *Problem, o Options, horizon int32) Result {
	v := &solver{ctx: ctx, p: p, o: o, l: p.layout(), horizon: int(horizon)}
	none := v.search()
	if v.best == nil {
		return Result{Bound: v.bound, Proven: none}
	}
	r := Result{Starts: v.l.sooner(v.best), Bound: v.bound}
	r.Finish, r.Chain = p.finish(r.Starts), v.l.chain(r.Starts)
	r.Proven = r.Finish == r.Bound
	return r
}

// search finds the best plan it can, and says whether it is proven that there is none at all.
func (v *solver) search() (none bool) {
	if v.lo = v.l.earliest(v.horizon); v.lo == nil {
		return true
	}
	v.bound = v.l.bound(v.lo, v.horizon)
	v.b = v.l.blocks(v.lo)
	v.construct()
	if v.best != nil && v.finish == v.bound {
		return false
	}
	var free []int
	for i, a := range v.p.Activities {
		if !a.Fixed {
			free = append(free, i)
		}
	}
	if len(free) > exactMost {
		if v.best != nil {
			v.improve(math.MaxInt)
		}
		return false
	}
	return v.exact(free)
}

// keep takes a plan that finishes sooner than the best.
func (v *solver) keep(starts []int) {
	if starts == nil {
		return
	}
	if end := v.p.finish(starts); v.best == nil || end < v.finish {
		v.best, v.finish = starts, end
	}
}

// construct places block by block, the ones first that must start first for all to finish soon.
func (v *solver) construct() {
	hi := v.l.latest(v.bound, v.lo)
	if hi == nil {
		hi = v.lo
	}
	rank := make([]float64, len(v.b.all))
	for k, members := range v.b.all {
		rank[k] = math.Inf(1)
		for _, i := range members {
			rank[k] = min(rank[k], float64(hi[i]))
		}
	}
	for range 20 {
		starts, stuck := v.l.serial(v.b, rank)
		if v.keep(starts); starts != nil {
			return
		}
		rank[stuck] -= 1 + math.Abs(rank[stuck]) // before the others the next time
	}
}

// exact looks for the best plan among all, and says whether it is proven that there is none. Where the problem is not
// small it takes turns with improve, which finds good plans sooner and proves nothing.
func (v *solver) exact(free []int) (none bool) {
	most := v.horizon
	least := v.bound
	for _, a := range v.p.Activities {
		if a.Fixed {
			least = max(least, a.Start+a.Length)
		}
	}
	if v.best != nil {
		most = v.finish - 1
	}
	fixed := make([]int, len(v.p.Activities))
	for i, a := range v.p.Activities {
		fixed[i] = a.Start
	}
	m := v.p.model(free, fixed, least, most)
	if m == nil {
		v.bound = v.finish
		return v.best == nil
	}
	s := m.s
	for turn := 1; ; turn++ {
		m.follow(v.best)
		s.halve = v.best != nil
		conflicts := math.MaxInt
		if len(free) > nearMost {
			conflicts = 1000 * turn
		}
		found, proven := s.minimise(v.ctx, conflicts)
		if found != nil {
			starts := append([]int(nil), fixed...)
			for x, i := range free {
				starts[i] = int(found[x])
			}
			v.keep(starts)
		}
		if proven {
			v.bound = v.finish
			return v.best == nil
		}
		v.bound = max(v.bound, int(s.lo(s.finish)))
		if v.ctx.Err() != nil {
			return false
		}
		if v.best == nil {
			continue
		}
		v.improve(20 * turn)
		if v.finish <= v.bound || !s.set(atMost(s.finish, int32(v.finish-1)), reason{}) {
			v.bound = v.finish
			return false
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
