package plan

// This file keeps in one sitting what must lie in one and the same.

// sittingOf is the sitting that an activity with that start lies in, of two that touch the first. What is fixed lies in the one that it
// begins in; -1: in none.
func (p *Problem) sittingOf(i, start int) int {
	a := &p.Activities[i]
	if !a.Fixed {
		return firstTo(p.Sittings, start+a.room())
	}
	if k := firstTo(p.Sittings, start+1); k < len(p.Sittings) && p.Sittings[k].From <= start {
		return k
	}
	return -1
}

// lastSitting is the last sitting that an activity can lie in which starts then or sooner; -1: nobody knows.
func (p *Problem) lastSitting(i, start int) int {
	if p.Activities[i].Fixed {
		return p.sittingOf(i, start)
	}
	if k := firstTo(p.Sittings, start+1); k < len(p.Sittings) && p.Sittings[k].From <= start {
		return k
	} else {
		return k - 1
	}
}

// room is the least length of a sitting that what is free of a set can lie in.
func (p *Problem) room(set []int) (room int) {
	work := make([]int, len(p.Capacity))
	for _, i := range set {
		a := &p.Activities[i]
		if a.Fixed {
			continue
		}
		room = max(room, a.room())
		for k := range work {
			work[k] += a.Length * int(a.need(k))
		}
	}
	for k, n := range work {
		if n > 0 {
			room = max(room, (n+p.Capacity[k]-1)/p.Capacity[k])
		}
	}
	return room
}

// joins puts what must lie in one sitting into sets, and ties it. Rooms are, by activity, the least length of a sitting that it can lie in
// with all of that.
func (l *layout) joins() (rooms []int) {
	p := l.p
	if rooms = make([]int, len(p.Activities)); len(p.Sittings) == 0 {
		return rooms
	}
	for n, set := range p.Together {
		room, last := p.room(set), -1
		for _, i := range set {
			if l.sets[i] = append(l.sets[i], int32(n)); p.Activities[i].Fixed {
				continue
			}
			if rooms[i] = max(rooms[i], room); last >= 0 {
				l.tied[i], l.tied[last] = append(l.tied[i], int32(last)), append(l.tied[last], int32(i))
			}
			last = i
		}
	}
	return rooms
}

// opens is when the last sitting begins that something of the sets of an activity lies in with such starts, of all that is placed; nil:
// all is.
func (l *layout) opens(i int, starts []int, placed []bool) (from int) {
	for _, n := range l.sets[i] {
		for _, j := range l.p.Together[n] {
			if j != i && (placed == nil || placed[j]) {
				if k := l.p.sittingOf(j, starts[j]); k >= 0 && k < len(l.p.Sittings) {
					from = max(from, l.p.Sittings[k].From)
				}
			}
		}
	}
	return from
}

// missed says whether something fixed lies in a sooner sitting than an activity at t that must lie in one with it.
func (l *layout) missed(i, t int) bool {
	for _, n := range l.sets[i] {
		for _, j := range l.p.Together[n] {
			if a := &l.p.Activities[j]; a.Fixed && l.p.sittingOf(j, a.Start) >= 0 && a.Start < l.p.Sittings[l.p.sittingOf(i, t)].From {
				return true
			}
		}
	}
	return false
}

// together is one of what is placed that lies in a sooner sitting than an activity at t, with which it must lie in one; -1: there
// is none. All of that set then starts at the sooner of the sitting at the soonest. The start is -1 where one of them is fixed.
func (l *layout) together(i, t int, least map[int]int) (start, late int) {
	if late = -1; l.missed(i, t) {
		return -1, -1
	}
	for _, n := range l.sets[i] {
		from := l.p.Sittings[l.p.sittingOf(i, t)].From
		for _, j := range l.p.Together[n] {
			if j != i && l.placed[j] && !l.p.Activities[j].Fixed && l.starts[j] < from {
				least[j], late = max(least[j], from), j
			}
		}
	}
	return t, late
}

// A together keeps activities in one sitting: which of them, z, is a variable.
type together struct {
	x, rooms []int32
	z        int32
	sittings []Span // that have room for all of them
}

// sets are what must lie in one sitting of what is free, by the delays between each two of it. False where some set can't.
func (m *model) sets(p *Problem, at []int32, d [][]int32, starts []int) bool {
	if len(p.Sittings) == 0 {
		return true
	}
	s := m.s
	for _, set := range p.Together {
		c := &together{}
		first, last := 0, len(p.Sittings)-1 // with room for what stays where it is
		for _, i := range set {
			if x := at[i]; x >= 0 {
				c.x, c.rooms = append(c.x, x), append(c.rooms, int32(p.Activities[i].room()))
			} else if k := p.sittingOf(i, starts[i]); k >= 0 {
				first, last = max(first, k), min(last, max(k, p.lastSitting(i, starts[i])))
			}
		}
		room := int32(p.room(set))
		for _, x := range c.x {
			for k, y := range c.x {
				if d[x][y] != never {
					room = max(room, d[x][y]+c.rooms[k])
				}
			}
		}
		for k := first; k <= last; k++ {
			if w := p.Sittings[k]; int32(w.To-w.From) >= room {
				c.sittings = append(c.sittings, w)
			}
		}
		switch n := len(c.sittings); {
		case len(c.x) == 0:
		case n == 0:
			return false
		default:
			for k, x := range c.x {
				s.bound[2*x] = max(s.bound[2*x], int32(c.sittings[0].From))
				s.bound[2*x+1] = max(s.bound[2*x+1], c.rooms[k]-int32(c.sittings[n-1].To))
			}
			if n > 1 && len(c.x) > 1 {
				m.together = append(m.together, c)
			}
		}
	}
	return true
}

// choose makes the variables of the sets.
func (m *model) choose() {
	for _, c := range m.together {
		c.z = m.s.variable(0, int32(len(c.sittings)-1))
		m.s.propagator(c, append(c.x[:len(c.x):len(c.x)], c.z))
	}
}

func (c *together) propagate(s *search) bool {
	last := int32(len(c.sittings)) - 1
	for k, x := range c.x {
		if n := int32(firstTo(c.sittings, int(s.lo(x)+c.rooms[k]))); n > s.lo(c.z) {
			why := s.because(atLeast(x, int32(c.sittings[n-1].To)-c.rooms[k]+1))
			if !s.set(atLeast(c.z, n), why) {
				return false
			}
		}
		n := int32(firstTo(c.sittings, int(s.hi(x))+1))
		if n > last || int32(c.sittings[n].From) > s.hi(x) {
			n--
		}
		if n < s.hi(c.z) {
			why := s.because(atMost(x, int32(c.sittings[n+1].From)-1))
			if !s.set(atMost(c.z, n), why) {
				return false
			}
		}
	}
	for k, x := range c.x {
		n := s.lo(c.z)
		if !s.set(atLeast(x, int32(c.sittings[n].From)), s.because(atLeast(c.z, n))) {
			return false
		}
		n = s.hi(c.z)
		if !s.set(atMost(x, int32(c.sittings[n].To)-c.rooms[k]), s.because(atMost(c.z, n))) {
			return false
		}
	}
	return true
}
