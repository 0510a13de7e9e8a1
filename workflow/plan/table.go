package plan

import "fettle/steps/sorting"

// A table keeps what activities use of one resource within its capacity, by the parts of them that lie fixed already
// (time table; every inference explained at one moment: Schutt, Feydy, Stuckey and Wallace 2011, from memory, not
// opened).
type table struct {
	capacity        int32
	x, length, need []int32
	lo, hi          []int32 // first and last starts at the last pass; what follows from them is known
	moment          []int32 // 2k: when task k's fixed part begins, 2k+1: when it ends
	ends            []int32 // in the order of their moments at the last pass that made used
	used            []usage
	most            int32 // of used
	who             []int32
}

type usage struct{ from, to, sum int32 }

//go:noinline
func (c *table) add(x, length, need int32) {
	k := int32(len(c.x))
	c.x, c.length, c.need = append(c.x, x), append(c.length, length), append(c.need, need)
	c.lo, c.hi = append(c.lo, never), append(c.hi, never)
	c.ends, c.moment = append(c.ends, 2*k, 2*k+1), append(c.moment, 0, 0)
}

// at appends why more than over is used at moment t, leaving task out aside.
func (c *table) at(s *search, t, over int32, out int, to []literal) []literal {
	c.who = c.who[:0]
	sum := int32(0)
	for k, x := range c.x {
		if k != out && s.hi(x) <= t && t < s.lo(x)+c.length[k] {
			c.who = append(c.who, int32(k))
			sum += c.need[k]
		}
	}
	sorting.Stable(c.who, func(i, k int) int {
		a, b := c.who[i], c.who[k]
		return int(c.need[a] - c.need[b])
	})
	for _, k := range c.who {
		if sum-c.need[k] > over {
			sum -= c.need[k]
			continue
		}
		to = append(to, atLeast(c.x[k], t-c.length[k]+1), atMost(c.x[k], t))
	}
	return to
}

func (c *table) propagate(s *search) bool {
	// Where no fixed part has changed, what is used is the same, and only what moved is looked at.
	same := true
	for k, x := range c.x {
		lo, hi, length := s.lo(x), s.hi(x), c.length[k]
		if lo != c.lo[k] || hi != c.hi[k] {
			if hi < lo+length || c.hi[k] < c.lo[k]+length {
				same = false
				break
			}
		}
	}
	if !same && !c.use(s) {
		c.lo[0] = never // all of it is looked at the next time
		c.hi[0] = never
		return false
	}
	for k, x := range c.x {
		lo, hi := s.lo(x), s.hi(x)
		if same && lo == c.lo[k] && hi == c.hi[k] {
			continue
		}
		c.lo[k], c.hi[k] = lo, hi
		if c.most+c.need[k] > c.capacity && lo < hi && !(c.later(s, k, hi, lo+c.length[k]) && c.sooner(s, k, hi, lo+c.length[k])) {
			c.lo[0] = never
			c.hi[0] = never
			return false
		}
	}
	return true
}

// use makes what is used by fixed parts; false where that is too much.
func (c *table) use(s *search) bool {
	for k, x := range c.x {
		c.moment[2*k], c.moment[2*k+1] = s.hi(x), s.lo(x)+c.length[k]
	}
	for i := 1; i < len(c.ends); i++ {
		e := c.ends[i]
		t, j := c.moment[e], i
		for ; j > 0 && c.moment[c.ends[j-1]] > t; j-- {
			c.ends[j] = c.ends[j-1]
		}
		c.ends[j] = e
	}
	c.used, c.most = c.used[:0], 0
	sum, from := int32(0), int32(0)
	for _, e := range c.ends {
		k := e >> 1
		if c.moment[2*k] >= c.moment[2*k+1] {
			continue
		}
		t := c.moment[e]
		if t > from && sum > 0 {
			if sum > c.capacity {
				s.clash = c.at(s, (from+t-1)/2, c.capacity, -1, s.clash[:0])
				return false
			}
			c.used = append(c.used, usage{from, t, sum})
			c.most = max(c.most, sum)
		}
		from = t
		if e&1 == 0 {
			sum += c.need[k]
		} else {
			sum -= c.need[k]
		}
	}
	return true
}

// later moves the first start of task k past what leaves too little for it; its own fixed part, from..to, is in what is
// used.
func (c *table) later(s *search, k int, from, to int32) bool {
	var buf [32]literal
	x, length, need := c.x[k], c.length[k], c.need[k]
	for _, g := range c.used {
		if g.from >= s.lo(x)+length {
			break
		}
		if g.to <= s.lo(x) || g.sum+need <= c.capacity || from <= g.from && g.to <= to {
			continue
		}
		for g.to > s.lo(x) && g.from < s.lo(x)+length {
			t := min(g.to, s.lo(x)+length) - 1
			why := append(c.at(s, t, c.capacity-need, k, buf[:0]), atLeast(x, t-length+1))
			if !s.set(atLeast(x, t+1), s.because(why...)) {
				return false
			}
		}
	}
	return true
}

// sooner moves its last start before it.
func (c *table) sooner(s *search, k int, from, to int32) bool {
	var buf [32]literal
	x, length, need := c.x[k], c.length[k], c.need[k]
	for i := len(c.used) - 1; i >= 0; i-- {
		g := c.used[i]
		if g.to <= s.hi(x) {
			break
		}
		if g.from >= s.hi(x)+length || g.sum+need <= c.capacity || from <= g.from && g.to <= to {
			continue
		}
		for g.from < s.hi(x)+length && g.to > s.hi(x) {
			t := max(g.from, s.hi(x))
			why := append(c.at(s, t, c.capacity-need, k, buf[:0]), atMost(x, t))
			if !s.set(atMost(x, t-length), s.because(why...)) {
				return false
			}
		}
	}
	return true
}
