package plan

// A layout holds activities placed one after the other, and what they use.
type layout struct {
	p      *Problem
	starts []int
	placed []bool
	busy   []profile
	open   [][]Span  // by activity, its starts inside sittings; nil: all
	into   [][]int32 // by activity, delays to it
	from   [][]int32 // by activity, delays from it

	either [][]int32 // by activity, eithers with an end on it
	tied   [][]int32 // by activity, those that an either keeps on one side of others with it, or that lie in its sitting
	sets   [][]int32 // by activity, what it lies in one sitting with

	patience int // how often members of a block are taken out, times their count
	limit    *limit
}

// layout has nothing placed but what is fixed. Where end comes first it is of no use.
func (p *Problem) layout(end *limit) *layout {
	n := len(p.Activities)
	l := &layout{p: p, limit: end, starts: make([]int, n), placed: make([]bool, n), busy: make([]profile, len(p.Capacity)),
		open: make([][]Span, n), into: make([][]int32, n), from: make([][]int32, n), either: make([][]int32, n), tied: make([][]int32, n), sets: make([][]int32, n)}
	rooms := l.joins()
	type kind struct{ length, room int }
	known := map[kind][]Span{} // looked up only
	for i, a := range p.Activities {
		if !end.more(1) {
			return l
		}
		if a.Fixed {
			l.place(i, a.Start)
		} else if a.Attended && len(p.Sittings) > 0 {
			like := kind{a.room(), max(a.room(), rooms[i])}
			if known[like] == nil {
				known[like] = openStarts(p.Sittings, like.length, like.room)
			}
			l.open[i] = known[like]
		}
	}
	for k, d := range p.Delays {
		if d.From != d.To && !(p.Activities[d.From].Fixed && p.Activities[d.To].Fixed) {
			l.into[d.To] = append(l.into[d.To], int32(k))
			l.from[d.From] = append(l.from[d.From], int32(k))
		}
	}
	for k, e := range p.Either {
		a, b := e.One, e.Other
		for _, ends := range [2][2]int{{a.From, b.To}, {b.From, a.To}} {
			i, j := ends[0], ends[1]
			l.either[i] = append(l.either[i], int32(k))
			if i != j {
				l.either[j] = append(l.either[j], int32(k))
				l.tied[i], l.tied[j] = append(l.tied[i], int32(j)), append(l.tied[j], int32(i))
			}
		}
	}
	return l
}

func (l *layout) use(i, sign int) {
	a := &l.p.Activities[i]
	for k := range l.busy {
		l.busy[k].add(int32(l.starts[i]), int32(l.starts[i]+a.Length), int32(sign)*a.need(k))
	}
	l.placed[i] = sign > 0
}

func (l *layout) place(i, start int) {
	l.starts[i] = start
	l.use(i, 1)
}

func (l *layout) take(i int) { l.use(i, -1) }

// sitting is the first start from t on that sittings leave to an activity, -1 if none.
//
//go:noinline
func (l *layout) sitting(i, t int) int {
	if l.open[i] == nil {
		return t
	}
	k := firstTo(l.open[i], t)
	if k == len(l.open[i]) {
		return -1
	}
	return max(t, l.open[i][k].From)
}

// fit is the first start from t on that sittings and what is placed leave to an activity, -1 if none.
func (l *layout) fit(i, t int) int {
	a := &l.p.Activities[i]
again:
	if t = l.sitting(i, t); t < 0 {
		return -1
	}
	for k := range l.busy {
		if n := a.need(k); n > 0 {
			if u := int(l.busy[k].clear(int32(t), int32(a.Length), int32(l.p.Capacity[k])-n)); u > t {
				t = u
				goto again
			}
		}
	}
	return t
}

// soonest is the first start that the delays from what is placed leave to an activity.
func (l *layout) soonest(i int) int {
	t := max(0, l.p.Activities[i].Earliest)
	for _, k := range l.into[i] {
		if d := l.p.Delays[k]; l.placed[d.From] {
			t = max(t, l.starts[d.From]+d.Least)
		}
	}
	return t
}

// sooner moves every activity of a plan to as early as it can start: first all together in the order they have, then
// each into gaps before it. No finish grows. Where there is no time for that, they stay.
func (l *layout) sooner(starts []int) []int {
	if len(l.p.Either) > 0 {
		l = l.p.settled(starts).layout(l.limit)
	}
	now := l.shifted(starts, farthest)
	if now == nil {
		return starts
	}
	return l.filled(starts, now)
}

// shifted are the least starts with which all is in the order of other starts: what ended before another started still does.
// It is nil where something would end after the horizon, and where there is no time.
func (l *layout) shifted(starts []int, horizon int) []int {
	p := l.p
	byStart, byEnd := make([]int, len(starts)), make([]int, len(starts))
	for i := range starts {
		byStart[i], byEnd[i] = i, i
	}
	inOrderOf(byStart, starts)
	inOrderOf(byEnd, p.ends(starts))
	// Every limit is a lower one, so the least starts that hold them all are found from below. What ended before another
	// started still does, which keeps what is used at one moment within what was.
	now := make([]int, len(starts))
	for i, a := range p.Activities {
		if now[i] = max(0, a.Earliest); a.Fixed {
			now[i] = a.Start
		}
	}
	latest, next := make([]int, len(p.Capacity)), make([]int, len(p.Capacity))
	for moved := true; moved; {
		moved = false
		for k := range latest {
			latest[k], next[k] = 0, 0
		}
		for _, i := range byStart {
			a := &p.Activities[i]
			if a.Fixed {
				continue
			}
			if !l.limit.more(1) {
				return nil
			}
			t := now[i]
			for _, k := range l.into[i] {
				t = max(t, now[p.Delays[k].From]+p.Delays[k].Least)
			}
			if len(l.sets[i]) > 0 {
				t = max(t, l.opens(i, now, nil))
			}
			for k := range latest {
				if a.need(k) == 0 {
					continue
				}
				for ; next[k] < len(byEnd); next[k]++ {
					j := byEnd[next[k]]
					b := &p.Activities[j]
					if starts[j]+b.Length > starts[i] {
						break
					}
					if b.need(k) > 0 {
						latest[k] = max(latest[k], now[j]+b.Length)
					}
				}
				t = max(t, latest[k])
			}
			if t = l.sitting(i, t); t < 0 || t+a.Length > horizon || a.Limited && t > a.Latest || l.missed(i, t) {
				return nil
			}
			if t > now[i] {
				now[i], moved = t, true
			}
		}
	}
	return now
}

// filled are starts with everything in gaps before it that are wide enough; the order is that of earlier starts.
func (l *layout) filled(order, now []int) []int {
	p := l.p
	byStart := make([]int, len(now))
	for i := range byStart {
		byStart[i] = i
	}
	inOrderOf(byStart, order)
	for i := range l.busy {
		l.busy[i] = profile{}
	}
	for i, t := range now {
		l.place(i, t)
	}
	for moved := true; moved; {
		moved = false
		for _, i := range byStart {
			if p.Activities[i].Fixed {
				continue
			}
			if !l.limit.more(10) {
				return append([]int(nil), l.starts...)
			}
			l.take(i)
			t := l.fit(i, max(l.soonest(i), l.opens(i, l.starts, nil)))
			if t < 0 || t > l.starts[i] {
				t = l.starts[i]
			}
			moved = moved || t < l.starts[i]
			l.place(i, t)
		}
	}
	return append([]int(nil), l.starts...)
}
