package plan

const never = -1 << 30

// A model is a problem with the starts of some activities already there, as the search sees it.
type model struct {
	s     *search
	free  []int      // activities by variable
	pairs [][2]int32 // by order variable, those after the finish

	choices []int32 // by either, its variable; -1: it has none

	together []*together
}

// follow has the search look first near a plan.
func (m *model) follow(p *Problem, starts []int) {
	if starts == nil {
		return
	}
	for x, i := range m.free {
		m.s.saved[x] = int32(starts[i])
	}
	for o, xy := range m.pairs {
		first := int32(0)
		if starts[m.free[xy[0]]] < starts[m.free[xy[1]]] {
			first = 1
		}
		m.s.saved[m.s.finish+1+int32(o)] = first
	}
	for _, c := range m.together {
		x := c.x[0]
		m.s.saved[c.z] = int32(firstTo(c.sittings, starts[m.free[x]]+int(c.rooms[0])))
	}
	for k, o := range m.choices {
		if d := p.Either[k].One; o >= 0 {
			m.s.saved[o] = 0
			if starts[d.To] >= starts[d.From]+d.Least {
				m.s.saved[o] = 1
			}
		}
	}
}

// openStarts are the spans of starts that leave an activity of that length inside a sitting that is no shorter than room, both ends included.
func openStarts(sittings []Span, length, room int) []Span {
	all := make([]Span, 0, len(sittings)) // not nil, which stands for all
	for _, w := range sittings {
		if w.To-w.From >= room {
			if n := len(all); n > 0 && all[n-1].To+1 >= w.From {
				all[n-1].To = w.To - length
				continue
			}
			all = append(all, Span{w.From, w.To - length})
		}
	}
	return all
}

// clearStarts leaves of the spans of starts those at which no more than most is used while the activity lasts.
func (f *profile) clearStarts(all []Span, length, most int32) []Span {
	kept := make([]Span, 0, len(all)+8)
	k := 0
	for _, w := range all {
		for from := int32(w.From); from <= int32(w.To); {
			for k < len(f.all) && (f.all[k].to <= from || f.all[k].sum <= most) {
				k++
			}
			to := int32(w.To)
			if k < len(f.all) {
				to = min(to, f.all[k].from-length)
			}
			if from <= to {
				kept = append(kept, Span{int(from), int(to)})
			}
			if to == int32(w.To) {
				break
			}
			from = f.all[k].to
		}
	}
	return kept
}

// closure is the longest path of delays between every two of the free activities; nil where a cycle of them is
// positive, or no time is left.
func (p *Problem) closure(end *limit, free []int, at []int32) [][]int32 {
	n := len(free)
	d := make([][]int32, n)
	for i := range d {
		d[i] = make([]int32, n)
		for j := range d[i] {
			d[i][j] = never
		}
		d[i][i] = 0
	}
	for _, a := range p.Delays {
		if i, j := at[a.From], at[a.To]; i >= 0 && j >= 0 {
			d[i][j] = max(d[i][j], int32(a.Least))
		}
	}
	longest := 0
	for _, w := range p.Sittings {
		longest = max(longest, w.To-w.From)
	}
	for _, set := range p.Together {
		for _, a := range set {
			for _, b := range set {
				if i, j := at[a], at[b]; i >= 0 && j >= 0 && i != j && longest > 0 {
					d[i][j] = max(d[i][j], int32(p.Activities[a].room()-longest))
				}
			}
		}
	}
	for k := range d {
		for i := range d {
			via := d[i][k]
			if via == never || i == k {
				continue
			}
			if !end.more(1 + len(d)/50) {
				return nil
			}
			for j, v := range d[k] {
				if v != never && via+v > d[i][j] {
					d[i][j] = via + v
				}
			}
		}
		if d[k][k] > 0 {
			return nil
		}
	}
	for i := range d {
		if d[i][i] > 0 {
			return nil
		}
	}
	return d
}

// model puts the problem to a new search: what is free ends between least and horizon, all else stays at its starts.
// It is nil where no plan can be, as is seen at once, and where no time is left.
func (p *Problem) model(end *limit, free []int, starts []int, least, horizon int) *model {
	m := &model{s: &search{}, free: free}
	s := m.s
	at := make([]int32, len(p.Activities))
	for i := range at {
		at[i] = -1
	}
	for x, i := range free {
		at[i] = int32(x)
	}
	d := p.closure(end, free, at)
	if d == nil {
		return nil
	}
	busy := make([]profile, len(p.Capacity))
	for i := range p.Activities {
		if at[i] < 0 {
			for k := range busy {
				busy[k].add(int32(starts[i]), int32(starts[i]+p.Activities[i].Length), p.Activities[i].need(k))
			}
		}
	}
	byRoom := map[int][]Span{} // looked up only
	for _, i := range free {
		a := &p.Activities[i]
		lo, hi := int32(max(0, a.Earliest)), int32(horizon-a.Length)
		if a.Limited {
			hi = min(hi, int32(a.Latest))
		}
		x := s.variable(lo, hi)
		s.times = append(s.times, x)
		var open []Span
		if a.Attended && len(p.Sittings) > 0 {
			var known bool
			if open, known = byRoom[a.room()]; !known {
				open = openStarts(p.Sittings, a.room(), a.room())
				byRoom[a.room()] = open
			}
			if len(open) == 0 {
				return nil
			}
		}
		for k := range busy {
			need := a.need(k)
			if need == 0 || len(busy[k].all) == 0 {
				continue
			}
			if open == nil {
				open = []Span{{int(lo), int(hi)}}
			}
			if open = busy[k].clearStarts(open, int32(a.Length), int32(p.Capacity[k])-need); len(open) == 0 {
				return nil
			}
		}
		if open != nil {
			s.starts[x] = open
			s.bound[2*x] = max(s.bound[2*x], int32(open[0].From))
			s.bound[2*x+1] = max(s.bound[2*x+1], -int32(open[len(open)-1].To))
		}
	}
	s.finish = s.variable(int32(least), int32(horizon))
	for _, a := range p.Delays {
		x, y := at[a.From], at[a.To]
		switch {
		case x >= 0 && y >= 0:
			if x != y {
				s.delay(x, y, int32(a.Least), always)
			}
		case y >= 0:
			s.bound[2*y] = max(s.bound[2*y], int32(starts[a.From]+a.Least))
		case x >= 0:
			s.bound[2*x+1] = max(s.bound[2*x+1], -int32(starts[a.To]-a.Least))
		}
	}
	for x, i := range free {
		s.delay(int32(x), s.finish, int32(p.Activities[i].Length), always)
	}
	if !m.sets(p, at, d, starts) {
		return nil
	}
	for x := int32(0); x <= s.finish; x++ {
		if s.lo(x) > s.hi(x) {
			return nil
		}
	}
	if !m.orders(end, p, d) || !m.eithers(p, at, d, starts) {
		return nil
	}
	m.branches()
	m.choose()
	m.resources(p, busy)
	m.turns(p, d)
	return m
}

// orders makes a variable for each two activities that cannot overlap: 1 where the former comes first. False where two cannot
// be in either order, or no time is left.
func (m *model) orders(end *limit, p *Problem, d [][]int32) bool {
	s := m.s
	for x := range m.free {
		a := &p.Activities[m.free[x]]
		for y := x + 1; y < len(m.free); y++ {
			b := &p.Activities[m.free[y]]
			clash := false
			for k := range p.Capacity {
				if n, o := a.need(k), b.need(k); n > 0 && o > 0 && n+o > int32(p.Capacity[k]) {
					clash = true
				}
			}
			la, lb := int32(a.Length), int32(b.Length)
			if !clash || d[x][y] >= la || d[y][x] >= lb {
				continue
			}
			if !end.more(1) {
				return false
			}
			x, y := int32(x), int32(y)
			notFirst, notLast := d[y][x] > -la || s.lo(x)+la > s.hi(y), d[x][y] > -lb || s.lo(y)+lb > s.hi(x)
			switch {
			case notFirst && notLast:
				return false
			case notFirst:
				s.delay(y, x, lb, always)
			case notLast:
				s.delay(x, y, la, always)
			default:
				o := s.variable(0, 1)
				m.pairs = append(m.pairs, [2]int32{x, y})
				s.delay(x, y, la, atLeast(o, 1))
				s.delay(y, x, lb, atMost(o, 0))
				if s.lo(x)+s.hi(x)+la <= s.lo(y)+s.hi(y)+lb {
					s.saved[o] = 1
				}
			}
		}
	}
	return true
}

// branches has the search branch on what is after the finish.
func (m *model) branches() {
	s := m.s
	s.atomOf = map[literal]int32{}
	for x := range int32(len(s.saved)) {
		if x > s.finish {
			s.atom(atLeast(x, 1), true)
		}
	}
}

// resources makes a table for each resource of which two activities can have some at once; what few activities take in
// turns needs no table, and gets a closer look.
func (m *model) resources(p *Problem, busy []profile) {
	s := m.s
	for k, there := range p.Capacity {
		c := &table{capacity: int32(there)}
		shared := false
		for x, i := range m.free {
			a := &p.Activities[i]
			if n := a.need(k); n > 0 {
				for _, o := range c.need {
					shared = shared || n+o <= int32(there)
				}
				c.add(int32(x), int32(a.Length), n)
			}
		}
		var u propagator = c
		if !shared {
			if len(c.x) < 3 || len(c.x) > unaryMost {
				continue // their orders are enough
			}
			u = &unary{x: c.x, length: c.length}
		} else {
			s.branch = true
			for _, u := range busy[k].all {
				if u.to > 0 && u.sum > 0 {
					c.add(s.variable(u.from, u.from), u.to-u.from, min(u.sum, c.capacity))
				}
			}
		}
		s.propagator(u, c.x)
	}
}
