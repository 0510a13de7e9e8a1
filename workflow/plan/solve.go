package plan

import (
	"context"
	"math"
)

func solve(ctx context.Context, p *Problem, o Options, horizon int32) Result {
	starts := make([]int, len(p.Activities))
	var free []int
	for i, a := range p.Activities {
		if starts[i] = a.Start; !a.Fixed {
			free = append(free, i)
		}
	}
	r := Result{}
	if free == nil {
		end := p.finish(starts)
		return Result{Starts: starts, Finish: end, Bound: end, Proven: true}
	}
	m := p.model(free, starts, horizon)
	if m == nil {
		r.Proven = true
		return r
	}
	var found []int32
	found, r.Proven = m.s.minimise(ctx, math.MaxInt)
	r.Bound = int(m.s.lo(m.s.finish))
	if found == nil {
		return r
	}
	for x, i := range free {
		starts[i] = int(found[x])
	}
	l := p.layout()
	r.Starts = l.sooner(starts)
	r.Finish, r.Chain = p.finish(r.Starts), l.chain(r.Starts)
	if r.Proven {
		r.Bound = r.Finish
	}
	return r
}

func (p *Problem) finish(starts []int) int {
	end := 0
	for i, a := range p.Activities {
		end = max(end, starts[i]+a.Length)
	}
	return end
}
