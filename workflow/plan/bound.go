package plan

// earliest are the first starts that delays and sittings leave, whatever else is done; nil where there are none
// by the horizon, or no time is left.
func (l *layout) earliest(horizon int) []int {
	p := l.p
	lo := make([]int, len(p.Activities))
	var queue []int
	for i, a := range p.Activities {
		if a.Fixed {
			lo[i] = a.Start
		} else if lo[i] = l.sitting(i, max(0, a.Earliest)); lo[i] < 0 {
			return nil
		}
		queue = append(queue, i)
	}
	queued := make([]bool, len(lo))
	by, count := make([]int32, len(lo)), make([]int, len(lo)) // the delay that set it, +1; how often it was set
	for len(queue) > 0 {
		i := queue[0]
		queue = queue[1:]
		queued[i] = false
		if !l.limit.more(1) {
			return nil
		}
		for _, n := range l.sets[i] {
			k := p.sittingOf(i, lo[i])
			if k < 0 {
				break
			}
			for _, j := range p.Together[n] {
				a := &p.Activities[j]
				if lo[j] >= p.Sittings[k].From || a.Fixed && p.sittingOf(j, a.Start) < 0 {
					continue
				}
				t := l.sitting(j, p.Sittings[k].From)
				if t < 0 || a.Fixed || t+a.Length > horizon || a.Limited && t > a.Latest {
					return nil
				}
				if lo[j], by[j] = t, 0; !queued[j] {
					queued[j] = true
					queue = append(queue, j)
				}
			}
		}
		for _, k := range l.from[i] {
			d := p.Delays[k]
			t, a := lo[i]+d.Least, &p.Activities[d.To]
			if t <= lo[d.To] {
				continue
			}
			if t = l.sitting(d.To, t); t < 0 || a.Fixed || t+a.Length > horizon || a.Limited && t > a.Latest {
				return nil
			}
			if by[d.To] = 0; t == lo[i]+d.Least {
				by[d.To] = k + 1
			}
			lo[d.To] = t
			// A cycle of delays that is longer than nothing would go on to the horizon minute by minute.
			if count[d.To]++; count[d.To]%16 == 0 {
				for j, n := d.To, 0; by[j] > 0 && n < len(lo); n++ {
					if j = p.Delays[by[j]-1].From; j == d.To {
						return nil
					}
				}
			}
			if !queued[d.To] {
				queued[d.To] = true
				queue = append(queue, d.To)
			}
		}
	}
	return lo
}

// latest are the last starts with which all finishes by end; nil where some of them are before the earliest, lo.
func (l *layout) latest(end int, lo []int) []int {
	p := l.p
	hi := make([]int, len(lo))
	var queue []int
	back := func(i, t int) (int, bool) { // t, or sooner, into a sitting
		if open := l.open[i]; open != nil {
			if k := firstTo(open, t); k == len(open) || open[k].From > t {
				if k == 0 {
					return 0, false
				}
				t = open[k-1].To
			}
		}
		return t, t >= lo[i]
	}
	for i, a := range p.Activities {
		if hi[i] = end - a.Length; a.Fixed {
			if hi[i] < a.Start {
				return nil
			}
			hi[i] = a.Start
		} else {
			if a.Limited {
				hi[i] = min(hi[i], a.Latest)
			}
			var ok bool
			if hi[i], ok = back(i, hi[i]); !ok {
				return nil
			}
		}
		queue = append(queue, i)
	}
	queued := make([]bool, len(lo))
	for len(queue) > 0 {
		i := queue[len(queue)-1]
		queue = queue[:len(queue)-1]
		queued[i] = false
		if !l.limit.more(1) {
			break // later than need be
		}
		for _, n := range l.sets[i] {
			k := p.lastSitting(i, hi[i])
			if k < 0 {
				break
			}
			for _, j := range p.Together[n] {
				t := p.Sittings[k].To - p.Activities[j].room()
				if t >= hi[j] || p.Activities[j].Fixed {
					continue
				}
				var ok bool
				if t, ok = back(j, t); !ok {
					return nil
				}
				if hi[j] = t; !queued[j] {
					queued[j] = true
					queue = append(queue, j)
				}
			}
		}
		for _, k := range l.into[i] {
			d := p.Delays[k]
			t := hi[i] - d.Least
			if t >= hi[d.From] {
				continue
			}
			var ok bool
			if t, ok = back(d.From, t); !ok {
				return nil
			}
			hi[d.From] = t
			if !queued[d.From] {
				queued[d.From] = true
				queue = append(queue, d.From)
			}
		}
	}
	return hi
}

// bound finds a moment before which nothing can finish: the least end that neither the delays nor the work there is
// for each resource refutes. most is an end that is known to be met, or the horizon. With less time it is sooner.
func (l *layout) bound(lo []int, most int) int {
	least := 0
	for i, a := range l.p.Activities {
		least = max(least, lo[i]+a.Length)
	}
	byStart := l.byStart(lo)
	for least < most {
		end := (least + most) / 2
		if !l.limit.now() {
			break
		}
		if l.refutes(end, lo, byStart) {
			least = end + 1
		} else {
			most = end
		}
	}
	return least
}

// refutes says whether nothing can finish by end.
func (l *layout) refutes(end int, lo, byStart []int) bool {
	hi := l.latest(end, lo)
	return hi == nil || l.overloaded(byStart, lo, hi)
}

func (l *layout) byStart(lo []int) []int {
	var all []int
	for i, a := range l.p.Activities {
		if !a.Fixed {
			all = append(all, i)
		}
	}
	inOrderOf(all, lo)
	return all
}

// overloaded says whether a resource has more to do between its earliest and latest starts than it can, even if work
// could be broken off and shared out at will. Earliest deadline first then meets every deadline that can be met
// (Jackson 1955 and Horn 1974; with heads and tails Carlier and Pinson 1989: from memory, not opened).
func (l *layout) overloaded(byStart, lo, hi []int) bool {
	p := l.p
	var attended, all []int32
	for k := range p.Capacity {
		attended, all = attended[:0], all[:0]
		for _, i := range byStart {
			if p.Activities[i].need(k) > 0 {
				if all = append(all, int32(i)); l.open[i] != nil {
					attended = append(attended, int32(i))
				}
			}
		}
		if len(attended) > 1 && l.late(k, attended, p.Sittings, lo, hi) {
			return true
		}
		if len(all) > len(attended) && l.late(k, all, []Span{{0, farthest}}, lo, hi) {
			return true
		}
	}
	return false
}

// late does the work of activities for resource k in the open spans, that of the earliest deadline first, and says
// whether one is missed. They come in the order of lo. Work and time are counted in minutes of one of the resource.
func (l *layout) late(k int, who []int32, open []Span, lo, hi []int) bool {
	p := l.p
	rate := int64(p.Capacity[k])
	left := make([]int64, len(who))
	for j, i := range who {
		left[j] = int64(p.Activities[i].Length) * int64(p.Activities[i].need(k))
	}
	due := make([]int64, len(who))
	for j, i := range who {
		due[j] = int64(hi[i]+p.Activities[i].Length) * rate
	}
	weight := make([]float64, len(who)) // the heap has the heaviest first
	h := heap{at: make([]int32, len(who))}
	for j := range weight {
		weight[j] = -float64(due[j])
	}
	now, next := int64(0), 0
	for _, w := range open {
		now = max(now, int64(w.From)*rate)
		end := int64(w.To) * rate
		for now < end {
			if !l.limit.more(1) {
				return false
			}
			for next < len(who) && int64(lo[who[next]])*rate <= now {
				h.insert(int32(next), weight)
				next++
			}
			until := end
			if next < len(who) {
				until = min(until, int64(lo[who[next]])*rate)
			}
			if len(h.all) == 0 {
				if next == len(who) {
					return false
				}
				now = until
				continue
			}
			j := h.all[0]
			work := min(left[j], until-now)
			now += work
			if left[j] -= work; now > due[j] {
				return true
			}
			if left[j] == 0 {
				h.top(weight)
			}
		}
	}
	return len(h.all) > 0 || next < len(who)
}
