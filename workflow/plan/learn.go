package plan

import "fettle/steps/sorting"

// This file turns conflicts into clauses, and chooses by them what is branched on.

// since is where on the trail l became true, -1 at the root.
func (s *search) since(l literal) int32 {
	p := s.last[l.side]
	for p >= 0 && s.trail[p].was >= l.v {
		p = s.trail[p].before
	}
	if p >= 0 && s.trail[p].level == 0 {
		return -1
	}
	return p
}

// clashed is the level from which on the conflict is one: what is found of a resource may be so sooner than it is looked at.
func (s *search) clashed() (level int) {
	for _, l := range s.clash {
		if p := s.since(l); p >= 0 {
			level = max(level, int(s.trail[p].level))
		}
	}
	return level
}

// analyze turns the conflict into a clause with one literal of the present level, its first, and finds the level to
// go back to. What it has gone past of the present level is looked at no more: that is to be undone now.
func (s *search) analyze() (c *clause, back int) {
	start := int32(s.levels[len(s.levels)-1].trail)
	open := 0 // literals of the present level in the conflict
	s.touched = s.touched[:0]
	add := func(l literal) {
		p := s.since(l)
		if p < 0 {
			return
		}
		had := s.place[l.side]
		if had >= 0 && s.need[l.side] >= l.v {
			return
		}
		if p >= start && had < start {
			open++
		}
		if had < 0 {
			s.touched = append(s.touched, l.side)
		}
		s.need[l.side], s.place[l.side] = l.v, p
	}
	for _, l := range s.clash {
		add(l)
	}
	p := int32(len(s.trail) - 1)
	for ; ; p-- {
		e := &s.trail[p]
		if s.place[e.side] == p && open == 1 {
			break
		}
		if s.last[e.side] = e.before; s.place[e.side] != p {
			continue
		}
		l := literal{e.side, s.need[e.side]}
		s.raise(l, false)
		s.place[e.side] = -1
		open--
		if e.why.kind == byClause {
			e.why.c.act += s.clauseStep
		}
		s.buf = s.explain(e.why, l, s.buf[:0])
		for _, x := range s.buf {
			add(x)
		}
	}
	first := s.trail[p].side
	c = &clause{all: []literal{literal{first, s.need[first]}.negated()}, levels: 1, act: s.clauseStep}
	s.raise(c.all[0], true)
	s.round++
	for len(s.failed) < len(s.trail) {
		s.failed = append(s.failed, 0)
	}
	best := 0
	for _, side := range s.touched {
		if s.place[side] < 0 || side == first {
			continue
		}
		e := &s.trail[s.place[side]]
		l := literal{side, s.need[side]}
		if s.buf = s.buf[:0]; e.why.kind != decided && s.implied(e.why, l, s.place[side], 20) {
			continue
		}
		c.all = append(c.all, l.negated())
		s.raise(l, true)
		if best == 0 || int(e.level) > back {
			back, best = int(e.level), len(c.all)-1
		}
		for int(e.level) >= len(s.seen) {
			s.seen = append(s.seen, 0)
		}
		if s.seen[e.level] != s.round {
			s.seen[e.level] = s.round
			c.levels++
		}
	}
	for _, side := range s.touched {
		s.place[side] = -1
	}
	if best > 0 {
		c.all[1], c.all[best] = c.all[best], c.all[1]
	}
	return c, back
}

// implied says whether l follows from other literals of the conflict, those before the place on the trail: two could
// leave each other out.
func (s *search) implied(why reason, l literal, before int32, depth int) bool {
	from := len(s.buf)
	s.buf = s.explain(why, l, s.buf)
	to := len(s.buf)
	all := true
	for i := from; i < to && all; i++ {
		x := s.buf[i]
		p := s.since(x)
		if p < 0 {
			continue
		}
		if at := s.place[x.side]; at >= 0 && at < before && s.need[x.side] >= x.v {
			continue
		}
		e := &s.trail[p]
		all = depth > 0 && e.why.kind != decided && s.failed[p] != s.round
		if all && !s.implied(e.why, x, before, depth-1) {
			s.failed[p] = s.round
			all = false
		}
	}
	s.buf = s.buf[:from]
	return all
}

// atom is what is branched on for a literal or its opposite; -1: it is not one yet, and is not to become one.
func (s *search) atom(l literal, anew bool) int32 {
	if l.side&1 == 1 {
		l = l.negated()
	}
	k, there := s.atomOf[l]
	if !there {
		if !anew {
			return -1
		}
		k = int32(len(s.atoms))
		s.atoms, s.weight, s.next = append(s.atoms, l), append(s.weight, 0), append(s.next, 0)
		s.order.at = append(s.order.at, 0)
		s.atomOf[l] = k
		s.order.insert(k, s.weight)
	}
	return k
}

// raise has what was in a conflict branched on sooner (Moskewicz and others 2001: from memory, not opened).
func (s *search) raise(l literal, anew bool) {
	k := s.atom(l, anew)
	if k < 0 {
		return
	}
	s.weight[k] += s.actStep
	if s.weight[k] > 1e100 {
		for i := range s.weight {
			s.weight[i] *= 1e-100
		}
		s.actStep *= 1e-100
	}
	s.order.up(k, s.weight)
}

// forget drops half of the learnt clauses, those of the most levels, and of these the ones that were of little use.
func (s *search) forget() {
	sorting.Stable(s.learnt, func(i, k int) int {
		a, b := s.learnt[i], s.learnt[k]
		switch {
		case a.levels != b.levels:
			return int(a.levels - b.levels)
		case a.act > b.act:
			return -1
		case a.act < b.act:
			return 1
		}
		return 0
	})
	used := map[*clause]bool{}
	for i := range s.trail {
		if c := s.trail[i].why.c; c != nil {
			used[c] = true
		}
	}
	kept := s.learnt[:0]
	for i, c := range s.learnt {
		if i < len(s.learnt)/2 || c.levels <= 2 || used[c] {
			kept = append(kept, c)
		} else {
			c.dead = true
		}
	}
	s.learnt = kept
	for side, all := range s.watches {
		some := all[:0]
		for _, w := range all {
			live := w.all[:0]
			for _, x := range w.all {
				if !x.c.dead {
					live = append(live, x)
				}
			}
			if len(live) > 0 {
				some = append(some, waiting{w.v, live})
			}
		}
		s.watches[side] = some
	}
	s.forgetAtoms()
}

// forgetAtoms leaves of what is branched on the orders, and what is in a clause; at the root.
func (s *search) forgetAtoms() {
	of, weight := s.atomOf, s.weight
	s.atomOf, s.atoms, s.weight, s.next, s.order = make(map[literal]int32, len(of)/2), nil, nil, nil, heap{}
	for i := range s.trail {
		s.trail[i].decides = 0
	}
	keep := func(l literal) {
		if k := s.atom(l, true); s.weight[k] == 0 {
			if l.side&1 == 1 {
				l = l.negated()
			}
			if was, there := of[l]; there && weight[was] > 0 {
				s.weight[k] = weight[was]
				s.order.up(k, s.weight)
			}
		}
	}
	for x := s.finish + 1; x < int32(len(s.saved)); x++ {
		keep(atLeast(x, 1))
	}
	for _, c := range s.learnt {
		for _, l := range c.all {
			keep(l)
		}
	}
}
