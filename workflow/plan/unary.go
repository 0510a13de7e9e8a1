package plan

// unaryMost is up to how many activities unary is worth its time, which grows with their cube.
const unaryMost = 30

// A unary sees what follows for activities of which no two can overlap: that they have too much to do between two
// moments, and that one must come after all of some others (edge finding: Carlier and Pinson 1989, Vilím 2005; explained by
// the moments alone; from memory, not opened). Time runs both ways.
type unary struct {
	x, length  []int32
	order      []int32 // by first start, the latest first
	start, end []int32 // the first start and the last end of each, when the pass began
	backwards  bool
	why        []literal
}

// after says that an activity starts at t or later, before that it ends by t; in the direction of time.
func (u *unary) after(k, t int32) literal {
	if u.backwards {
		return atMost(u.x[k], -t-u.length[k])
	}
	return atLeast(u.x[k], t)
}

func (u *unary) before(k, t int32) literal {
	if u.backwards {
		return atLeast(u.x[k], -t)
	}
	return atMost(u.x[k], t-u.length[k])
}

func (u *unary) propagate(s *search) bool {
	u.backwards = false
	if !u.pass(s) {
		return false
	}
	u.backwards = true
	return u.pass(s)
}

func (u *unary) pass(s *search) bool {
	u.order, u.start, u.end = u.order[:0], u.start[:0], u.end[:0]
	for k, x := range u.x {
		from, to := s.lo(x), s.hi(x)+u.length[k]
		if u.backwards {
			from, to = -to, -from
		}
		u.start, u.end, u.order = append(u.start, from), append(u.end, to), append(u.order, int32(k))
		for j := k; j > 0 && u.start[u.order[j-1]] < from; j-- {
			u.order[j], u.order[j-1] = u.order[j-1], u.order[j]
		}
	}
	for _, due := range u.end {
		// Those that must end by due, from the one that starts last on: their work, and when it ends at the soonest.
		work, soonest, of := int32(0), int32(never), 0
		for n, k := range u.order {
			if u.end[k] > due {
				continue
			}
			from := u.start[k]
			work += u.length[k]
			if from+work > soonest {
				soonest, of = from+work, n
			}
			if from+work > due {
				s.clash = u.within(n, -1, due, from+work-1, s.clash[:0])
				return false
			}
			for _, i := range u.order[:n] {
				if u.end[i] <= due || from+work+u.length[i] <= due || u.start[i] >= soonest {
					continue
				}
				// There is no time for it before the last of them, so that it comes after all.
				u.why = u.within(n, of, due, from+work+u.length[i]-1, append(u.why[:0], u.after(i, from)))
				if !s.set(u.after(i, soonest), s.because(u.why...)) {
					return false
				}
			}
		}
	}
	return true
}

// within appends that those of the order up to n that must end by due start when the last of them does or later, those
// up to of when that does, and that all end by until.
func (u *unary) within(n, of int, due, until int32, to []literal) []literal {
	for at, k := range u.order[:n+1] {
		if u.end[k] > due {
			continue
		}
		from := u.start[u.order[n]]
		if at <= of {
			from = u.start[u.order[of]]
		}
		to = append(to, u.after(k, from), u.before(k, until))
	}
	return to
}
