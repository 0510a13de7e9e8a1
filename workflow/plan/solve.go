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
		return false
	}
	return v.exact(free, math.MaxInt)
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

// exact looks for the best plan among all, and says whether it is proven that there is none.
func (v *solver) exact(free []int, conflicts int) (none bool) {
	end := v.horizon
	if v.best != nil {
		end = v.finish - 1
	}
	fixed := make([]int, len(v.p.Activities))
	for i, a := range v.p.Activities {
		fixed[i] = a.Start
	}
	m := v.p.model(free, fixed, int32(end))
	proven := m == nil
	if m != nil {
		m.follow(v.best)
		s := m.s
		s.bound[2*s.finish] = max(s.bound[2*s.finish], int32(v.bound))
		var found []int32
		if found, proven = s.minimise(v.ctx, conflicts); found != nil {
			for x, i := range free {
				fixed[i] = int(found[x])
			}
			v.keep(fixed)
		}
		v.bound = max(v.bound, int(s.lo(s.finish)))
	}
	if proven && v.best != nil {
		v.bound = v.finish
	}
	return proven && v.best == nil
}

func (p *Problem) finish(starts []int) int {
	end := 0
	for i, a := range p.Activities {
		end = max(end, starts[i]+a.Length)
	}
	return end
}
