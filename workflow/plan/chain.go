package plan

import "context"

// A chainer follows what holds the finish of a plan back.
type chainer struct {
	*layout
	starts []int
	byEnd  []int
	met    []bool
	used   []profile // by resource
}

// chain is what holds the finish of a plan back: from the activity that ends last to the first that, were it a minute later or longer,
// would move the finish in the order that the plan has. What comes before that has time to spare. It is followed whatever the time to
// think, or it would be another, and no further once ctx ends.
func (l *layout) chain(ctx context.Context, starts []int) []Link {
	if len(l.p.Either) > 0 {
		l = l.p.settled(starts).layout(&limit{ctx: ctx})
	}
	if len(starts) == 0 || ctx.Err() != nil {
		return nil
	}
	c := &chainer{layout: l, starts: starts, byEnd: make([]int, len(starts)), met: make([]bool, len(starts)), used: make([]profile, len(l.p.Capacity))}
	for i := range c.byEnd {
		c.byEnd[i] = i
	}
	inOrderOf(c.byEnd, l.p.ends(starts))
	for _, i := range c.byEnd {
		for k := range c.used {
			c.used[k].add(int32(starts[i]), int32(starts[i]+l.p.Activities[i].Length), l.p.Activities[i].need(k))
		}
	}
	// Of what holds one back the first is followed that leads to the beginning; else that which goes back furthest. Delays of nothing could
	// lead round.
	type step struct {
		of    int
		holds []held
		next  int
	}
	last := c.byEnd[len(c.byEnd)-1]
	c.met[last] = true
	way := []step{{of: last, holds: c.holds(last)}}
	var furthest []Link // where none does
	for len(way) > 0 && ctx.Err() == nil {
		top := &way[len(way)-1]
		if i := top.of; top.next == len(top.holds) {
			if n := len(furthest); n == 0 || starts[i] < starts[furthest[n-1].Activity] {
				furthest = linksOf(len(way), func(k int) Link {
					if way[k].of == i {
						return c.begin(i)
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
	if n := len(furthest); n > 0 {
		c.spare(ctx, &furthest[n-1])
	}
	return furthest
}

// begin is the first link of a chain before which there is time to spare.
func (c *chainer) begin(i int) Link {
	for _, w := range c.p.Sittings {
		if c.open[i] != nil && w.From == c.starts[i] {
			return Link{Activity: i, Hold: BySitting, Sitting: true}
		}
	}
	return Link{Activity: i, Hold: BySpare}
}

// spare finds what of the first link comes right before it, and how much later that could begin with the finish as it is.
func (c *chainer) spare(ctx context.Context, first *Link) {
	before := c.before(first.Activity)
	if len(before) == 0 || c.p.Activities[before[0].by].Fixed {
		return
	}
	j := before[0].by
	for i, a := range c.p.Activities {
		if a.Fixed && c.starts[i]+a.Length > c.starts[j] {
			return // it may be in the way
		}
	}
	q, m := *c.p, *c.layout
	q.Activities = append([]Activity(nil), q.Activities...)
	m.p, m.limit = &q, &limit{ctx: ctx}
	finish := q.finish(c.starts)
	lo, hi := 0, finish-c.starts[j] // it could be lo later, and not more than hi
	for lo < hi {
		n := lo + (hi-lo+1)/2
		if q.Activities[j].Earliest = c.starts[j] + n; m.shifted(c.starts, finish) != nil {
			lo = n
		} else {
			hi = n - 1
		}
	}
	if lo > 0 && ctx.Err() == nil {
		first.Before, first.Spare = j, lo
	}
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

// holds are what keeps an activity from starting sooner, any of which would have it start later if that were a minute later, or longer.
func (c *chainer) holds(i int) (all []held) {
	a := &c.p.Activities[i]
	if first := max(0, a.Earliest); a.Fixed || c.starts[i] <= first {
		return []held{{Link{Activity: i}, -1}}
	} else if c.sitting(i, first) == c.starts[i] {
		return []held{{Link{Activity: i, Hold: BySitting, Sitting: true}, -1}}
	}
	for _, h := range c.before(i) {
		if c.presses(h) {
			h.Sitting = h.at < c.starts[i]
			all = append(all, h.held)
		}
	}
	return all
}

// presses reports whether an activity could not start when it does were what it waits for a minute later, nor were that a minute longer.
func (c *chainer) presses(h reach) bool {
	i, j := h.Activity, h.by
	b := &c.p.Activities[j]
	least := h.at - c.starts[j]
	if h.Hold == ByResource {
		// Beside what else uses it as it starts there is not enough for both.
		f := &c.used[h.Resource]
		k := f.from(int32(c.starts[i]))
		if k == len(f.all) || f.all[k].sum+b.need(h.Resource) <= int32(c.p.Capacity[h.Resource]) {
			return false
		}
	}
	if least < b.Length {
		return false // it waits for its start alone
	}
	if b.Fixed || c.open[j] == nil {
		return h.at+1 > c.starts[i]
	}
	if h.at == c.starts[i] {
		return true
	}
	later := c.sitting(j, c.starts[j]+1) // what waits for a sitting waits for a later one if that before it finds no room in its own
	return b.Room <= b.Length && later != c.starts[j]+1 && (later < 0 || later+least > c.starts[i])
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
