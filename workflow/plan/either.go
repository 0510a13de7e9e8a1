package plan

// An Either holds one of its two delays at least: this wholly before that, or after it.
type Either struct{ One, Other Delay }

// settled is the problem with the delays of each either that holds in a plan in its place, after the other delays.
//
//go:noinline
func (p *Problem) settled(starts []int) *Problem {
	q := *p
	q.Either, q.Delays = nil, append([]Delay(nil), p.Delays...)
	for _, e := range p.Either {
		d := e.One
		if starts[d.To] < starts[d.From]+d.Least {
			d = e.Other
		}
		q.Delays = append(q.Delays, d)
	}
	return &q
}

// unmet is an either that does not hold with an activity at t, of which all else is placed; nil: there is none.
func (l *layout) unmet(i, t int) *Either {
	for _, k := range l.either[i] {
		e := &l.p.Either[k]
		known, holds := true, false
		for _, d := range [2]Delay{e.One, e.Other} {
			from, to := l.starts[d.From], l.starts[d.To]
			if d.From == i {
				from = t
			}
			if d.To == i {
				to = t
			}
			known = known && (l.placed[d.From] || d.From == i) && (l.placed[d.To] || d.To == i)
			holds = holds || to >= from+d.Least
		}
		if known && !holds {
			return e
		}
	}
	return nil
}

// apart is the first start from t on with which the eithers of an activity hold and what it lies in one sitting with does; where that takes another one of its
// block to be later, that one, else -1. The start is -1 where there is none.
func (l *layout) apart(i, t int, members []int, least map[int]int) (start, late int) {
	for t >= 0 && l.limit.more(1+len(l.either[i])/8) {
		if t, late = l.together(i, t, least); t < 0 || late >= 0 {
			return t, late
		}
		e := l.unmet(i, t)
		if e == nil {
			return t, -1
		}
		sooner := farthest
		for _, d := range [2]Delay{e.One, e.Other} {
			if d.To == i && d.From != i {
				sooner = min(sooner, l.starts[d.From]+d.Least)
			}
		}
		if sooner < farthest {
			t = l.fit(i, sooner)
			continue
		}
		for _, d := range [2]Delay{e.One, e.Other} {
			from := l.starts[d.From]
			if d.From == i {
				from = t
			}
			for _, j := range members {
				if j == d.To && !l.p.Activities[j].Fixed {
					least[j] = max(least[j], from+d.Least)
					return t, j
				}
			}
		}
		return -1, -1
	}
	return -1, -1
}

// eithers makes a variable for each either that is not settled yet: 1 where its first delay holds.
func (m *model) eithers(p *Problem, at []int32, d [][]int32, starts []int) bool {
	s := m.s
	m.choices = make([]int32, len(p.Either))
	for k, e := range p.Either {
		m.choices[k] = -1
		both := [2]Delay{e.One, e.Other}
		free, done := false, false
		var ends [2][2]int32
		var never [2]bool
		for n, a := range both {
			for q, i := range [2]int{a.From, a.To} {
				if ends[n][q] = at[i]; at[i] >= 0 {
					free = true
				} else {
					ends[n][q] = s.variable(int32(starts[i]), int32(starts[i]))
				}
			}
			x, y, least := ends[n][0], ends[n][1], int32(a.Least)
			done = done || s.hi(x)+least <= s.lo(y)
			never[n] = s.lo(x)+least > s.hi(y)
			if at[a.From] >= 0 && at[a.To] >= 0 {
				done = done || d[x][y] >= least
				never[n] = never[n] || d[y][x] > -least
			}
		}
		switch {
		case done || !free:
		case never[0] && never[1]:
			return false
		case never[0]:
			s.delay(ends[1][0], ends[1][1], int32(both[1].Least), always)
		case never[1]:
			s.delay(ends[0][0], ends[0][1], int32(both[0].Least), always)
		default:
			o := s.variable(0, 1)
			m.choices[k] = o
			s.delay(ends[0][0], ends[0][1], int32(both[0].Least), atLeast(o, 1))
			s.delay(ends[1][0], ends[1][1], int32(both[1].Least), atMost(o, 0))
		}
	}
	return true
}
