package plan

import "context"

// A demand is a part of a problem that can be left out: an activity, an upper limit, or that sittings are kept, or one by a set.
type demand struct {
	kind  int8
	index int
}

const (
	anActivity = iota
	anUpper
	aLatest
	theSittings
	aSet
)

// conflict leaves out what a problem without a plan has none without too: many demands at a time, then fewer, then one by
// one. What is left in the end has a plan without any of it.
func (p *Problem) conflict(ctx context.Context) *Conflict {
	var kept []demand
	if len(p.Sittings) > 0 {
		kept = append(kept, demand{theSittings, 0})
		for n := range p.Together {
			kept = append(kept, demand{aSet, n})
		}
	}
	for i, a := range p.Activities {
		if a.Limited {
			kept = append(kept, demand{aLatest, i})
		}
	}
	for i, d := range p.Delays {
		if d.Least < 0 {
			kept = append(kept, demand{anUpper, i})
		}
	}
	for i := range p.Activities {
		kept = append(kept, demand{anActivity, i})
	}
	c := &Conflict{Irreducible: true}
	for size := (len(kept) + 1) / 2; size > 0; size /= 2 {
		for at := len(kept); at > 0; {
			if ctx.Err() != nil {
				c.Irreducible = false
				break
			}
			from := max(0, at-size)
			rest := append(append([]demand(nil), kept[:from]...), kept[at:]...)
			less := p.with(rest)
			has, known := less.hasPlan(ctx)
			if at = from; known && !has {
				kept = rest
			} else if size == 1 && !known {
				c.Irreducible = false
			}
		}
	}
	for _, d := range kept {
		switch d.kind {
		case anActivity:
			c.Activities = append(c.Activities, d.index)
		case anUpper:
			c.Upper = append(c.Upper, d.index)
		case aLatest:
			c.Latest = append(c.Latest, d.index)
		case aSet:
			c.Together = append(c.Together, d.index)
		default:
			c.Sittings = true
		}
	}
	return c
}

// with is the problem with these demands alone.
func (p *Problem) with(kept []demand) *Problem {
	less := &Problem{Capacity: p.Capacity}
	at := make([]int, len(p.Activities)) // 1 + where it is now
	upper := make([]bool, len(p.Delays))
	for _, d := range kept {
		switch d.kind {
		case anActivity:
			a := p.Activities[d.index]
			a.Limited, a.Latest = false, 0
			less.Activities = append(less.Activities, a)
			at[d.index] = len(less.Activities)
		case anUpper:
			upper[d.index] = true
		case theSittings:
			less.Sittings = p.Sittings
		}
	}
	for _, d := range kept {
		if d.kind == aLatest && at[d.index] > 0 {
			a := &less.Activities[at[d.index]-1]
			a.Limited, a.Latest = true, p.Activities[d.index].Latest
		}
	}
	for _, d := range kept {
		if d.kind == aSet {
			var set []int
			for _, i := range p.Together[d.index] {
				if at[i] > 0 {
					set = append(set, at[i]-1)
				}
			}
			less.Together = append(less.Together, set)
		}
	}
	for k, d := range p.Delays {
		if at[d.From] > 0 && at[d.To] > 0 && (d.Least >= 0 || upper[k]) {
			less.Delays = append(less.Delays, Delay{at[d.From] - 1, at[d.To] - 1, d.Least})
		}
	}
	for _, e := range p.Either {
		a, b := e.One, e.Other
		if at[a.From] > 0 && at[a.To] > 0 && at[b.From] > 0 && at[b.To] > 0 {
			less.Either = append(less.Either, Either{Delay{at[a.From] - 1, at[a.To] - 1, a.Least}, Delay{at[b.From] - 1, at[b.To] - 1, b.Least}})
		}
	}
	return less
}

// hasPlan says whether there is a plan, where that can be known soon.
func (p *Problem) hasPlan(ctx context.Context) (has, known bool) {
	horizon, err := p.fault()
	if err != nil { // what was well put still is with less
		return false, false
	}
	v := p.solver(schedule{sure: ctx, search: ctx}, Options{}, int(horizon))
	if v.lo = v.l.earliest(v.horizon); v.lo == nil {
		return false, !v.l.limit.over
	}
	if v.l.refutes(v.horizon, v.lo, v.l.byStart(v.lo)) {
		return false, true
	}
	v.b = v.l.blocks(v.lo)
	if starts, _ := v.l.serial(v.b, v.ranks(v.lo)); starts != nil {
		return true, true
	}
	if len(v.free) > exactMost {
		return false, false
	}
	m := v.p.model(v.l.limit, v.free, v.fixed, 0, v.horizon)
	if m == nil {
		return false, !v.l.limit.over
	}
	m.s.one = true
	found, proven := m.s.minimise(ctx, 2000)
	return found != nil, found != nil || proven
}
