package plan

import "context"

// A chainer follows what holds the finish of a plan back.
type chainer struct {
	*layout
	starts []int
	byEnd  []int
	met    []bool
}

// chain is what holds the finish of a plan back, from the activity that ends last to one that nothing but a sitting, or its earliest
// start, keeps from being sooner. It is followed whatever the time to think, or it would be another, and no further once ctx ends.
func (l *layout) chain(ctx context.Context, starts []int) []Link {
	if len(l.p.Either) > 0 {
		l = l.p.settled(starts).layout(&limit{ctx: ctx})
	}
	if len(starts) == 0 || ctx.Err() != nil {
		return nil
	}
	c := &chainer{layout: l, starts: starts, byEnd: make([]int, len(starts)), met: make([]bool, len(starts))}
	for i := range c.byEnd {
		c.byEnd[i] = i
	}
	inOrderOf(c.byEnd, l.p.ends(starts))
	// Of what holds one back the first is followed that leads to the beginning; delays of nothing could lead round.
	type step struct {
		of    int
		holds []held
		next  int
	}
	last := c.byEnd[len(c.byEnd)-1]
	c.met[last] = true
	way := []step{{of: last, holds: c.holds(last)}}
	var first []Link // where none does
	for len(way) > 0 && ctx.Err() == nil {
		top := &way[len(way)-1]
		if i := top.of; top.next == len(top.holds) {
			if first == nil {
				first = linksOf(len(way), func(k int) Link {
					if way[k].next == 0 {
						return Link{Activity: i}
					}
					return way[k].holds[way[k].next-1].Link
				})
			}
			way = way[:len(way)-1]
			continue
		}
		h := top.holds[top.next]
		top.next++
		if h.by < 0 {
			return linksOf(len(way), func(k int) Link { return way[k].holds[way[k].next-1].Link })
		}
		if !c.met[h.by] {
			c.met[h.by] = true
			way = append(way, step{of: h.by, holds: c.holds(h.by)})
		}
	}
	return first
}

func linksOf(n int, link func(k int) Link) (all []Link) {
	for k := range n {
		all = append(all, link(k))
	}
	return all
}

// A held is what keeps an activity from starting sooner, with the one by which; -1: none.
type held struct {
	Link
	by int
}

// holds are what keeps an activity from starting sooner, any of which does. Where none does alone, what it must lie near to is moved
// with it, and the last that ends before them is what leaves no room for all.
func (c *chainer) holds(i int) (all []held) {
	a := &c.p.Activities[i]
	if first := max(0, a.Earliest); a.Fixed || c.starts[i] <= first {
		return []held{{Link{Activity: i}, -1}}
	} else if c.sitting(i, first) == c.starts[i] {
		return []held{{Link{Activity: i, Hold: BySitting, Sitting: true}, -1}}
	}
	for _, h := range c.before(i) {
		if c.sitting(i, h.at) == c.starts[i] {
			h.Sitting = h.at < c.starts[i]
			all = append(all, h.held)
		}
	}
	// What it must lie near to, and those near to that.
	near := []int{i}
	in := map[int]bool{i: true}
	for n := 0; n < len(near); n++ {
		for _, k := range c.sets[near[n]] {
			for _, j := range c.p.Together[k] {
				if in[j] || c.p.Activities[j].Fixed && c.p.sittingOf(j, c.starts[j]) < 0 || c.starts[near[n]] != c.sitting(near[n], c.p.Sittings[c.p.sittingOf(j, c.starts[j])].From) {
					continue
				}
				if in[j] = true; c.p.Activities[j].Fixed {
					all = append(all, held{Link{Activity: i, Hold: BySitting, Sitting: true}, -1})
				} else {
					near = append(near, j)
				}
			}
		}
		for _, k := range c.into[near[n]] {
			d := c.p.Delays[k]
			if d.Least > 0 || in[d.From] || c.sitting(near[n], max(0, c.starts[d.From]+d.Least)) != c.starts[near[n]] {
				continue
			}
			if in[d.From] = true; c.p.Activities[d.From].Fixed {
				all = append(all, held{Link{Activity: i, Hold: ByDelay, Delay: int(k)}, d.From})
			} else {
				near = append(near, d.From)
			}
		}
	}
	opens := false
	for _, w := range c.p.Sittings {
		opens = opens || w.From == c.starts[i]
	}
	most := reach{at: -1}
	for _, j := range near {
		if first := max(0, c.p.Activities[j].Earliest); j != i && (c.starts[j] <= first || c.sitting(j, first) == c.starts[j]) {
			all = append(all, held{Link{Activity: i, Hold: BySitting, Sitting: true}, -1})
		}
		for _, h := range c.before(j) {
			if !in[h.by] && h.at > most.at && c.starts[h.by] < c.starts[i] {
				most = h
			}
		}
	}
	if most.at >= 0 {
		most.Activity, most.Sitting = i, opens
		all = append(all, most.held)
	} else if len(near) > 1 { // no sitting before has room for all of them
		all = append(all, held{Link{Activity: i, Hold: BySitting, Sitting: true}, -1})
	}
	return all
}

// A reach is a held with the moment before which the activity can't start by it.
type reach struct {
	held
	at int
}

// before are the delays that an activity has to wait for, the one that reaches furthest first, and what used before it what it needs,
// as far back as makes a difference.
func (c *chainer) before(i int) (all []reach) {
	put := func(r reach) {
		k := len(all)
		for k > 0 && all[k-1].at < r.at {
			k--
		}
		all = append(all, r)
		copy(all[k+1:], all[k:])
		all[k] = r
	}
	for _, k := range c.into[i] {
		d := c.p.Delays[k]
		if u := c.starts[d.From] + d.Least; u >= 0 && c.starts[d.From] <= c.starts[i] && d.From != i {
			put(reach{held{Link{Activity: i, Hold: ByDelay, Delay: int(k)}, d.From}, u})
		}
	}
	a := &c.p.Activities[i]
	ends := func(n int) int { return c.starts[c.byEnd[n]] + c.p.Activities[c.byEnd[n]].Length }
	lo, hi := 0, len(c.byEnd)
	for lo < hi {
		if m := (lo + hi) / 2; ends(m) <= c.starts[i] {
			lo = m + 1
		} else {
			hi = m
		}
	}
	const most = 3 // of them, for any resource
	for n, found := lo-1, 0; n >= 0 && found < most; n-- {
		b := &c.p.Activities[c.byEnd[n]]
		for k := range c.p.Capacity {
			if c.byEnd[n] != i && a.need(k) > 0 && b.need(k) > 0 {
				put(reach{held{Link{Activity: i, Hold: ByResource, Resource: k}, c.byEnd[n]}, ends(n)})
				found++
				break
			}
		}
	}
	return all
}
