package plan

import "fettle/steps/sorting"

// A table keeps what activities use of one resource within its capacity, by the parts of them that lie fixed already
// (time table; every inference explained at one moment: Schutt, Feydy, Stuckey and Wallace 2011, from memory, not
// opened).
type table struct {
	capacity        int32
	x, length, need []int32
	ends            []int32 // 2k: task k's fixed part begins, 2k+1: it ends; kept in the order of the last call
	used            []usage
	who             []int32
}

type usage struct{ from, to, sum int32 }

func (c *table) add(x, length, need int32) {
	k := int32(len(c.x))
	c.x, c.length, c.need = append(c.x, x), append(c.length, length), append(c.need, need)
	c.ends = append(c.ends, 2*k, 2*k+1)
}

func (c *table) moment(s *search, e int32) int32 {
	if k := e >> 1; e&1 == 1 {
		return s.lo(c.x[k]) + c.length[k]
	} else {
		return s.hi(c.x[k])
	}
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
	sorting.Stable(c.who, func(a, b int32) int { return int(c.need[a] - c.need[b]) })
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
	for i := 1; i < len(c.ends); i++ {
		e := c.ends[i]
		t, j := c.moment(s, e), i
		for ; j > 0 && c.moment(s, c.ends[j-1]) > t; j-- {
			c.ends[j] = c.ends[j-1]
		}
		c.ends[j] = e
	}
	c.used = c.used[:0]
	sum, most, from := int32(0), int32(0), int32(0)
	for _, e := range c.ends {
		k := e >> 1
		if s.hi(c.x[k]) >= s.lo(c.x[k])+c.length[k] {
			continue
		}
		t := c.moment(s, e)
		if t > from && sum > 0 {
			if sum > c.capacity {
				s.clash = c.at(s, (from+t-1)/2, c.capacity, -1, s.clash[:0])
				return false
			}
			c.used = append(c.used, usage{from, t, sum})
			most = max(most, sum)
		}
		from = t
		if e&1 == 0 {
			sum += c.need[k]
		} else {
			sum -= c.need[k]
		}
	}
	var buf [32]literal
	for k, x := range c.x {
		length, need := c.length[k], c.need[k]
		if most+need <= c.capacity || s.decidedFully(x) {
			continue
		}
		lo, hi := s.hi(x), s.lo(x)+length // its own fixed part, which the table counts
		for _, g := range c.used {
			if g.from >= s.lo(x)+length {
				break
			}
			if g.sum+need <= c.capacity || lo <= g.from && g.to <= hi {
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
		for i := len(c.used) - 1; i >= 0; i-- {
			g := c.used[i]
			if g.to <= s.hi(x) {
				break
			}
			if g.sum+need <= c.capacity || lo <= g.from && g.to <= hi {
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
	}
	return true
}
