package plan

import "fettle/steps/sorting"

// Blocks are activities that delays, eithers or sittings tie to one another both ways: where one is placed bounds the others on
// both sides. The blocks among them have an order.
type blocks struct {
	of     []int32   // by activity, -1 fixed
	all    [][]int   // members, by earliest start
	after  [][]int32 // by block, those that wait for it
	before []int32   // by block, how many it waits for
}

// blocks finds the strongly connected parts of the delays (Tarjan 1972: from memory, not opened).
func (l *layout) blocks(lo []int) *blocks {
	p := l.p
	n := len(p.Activities)
	b := &blocks{of: make([]int32, n)}
	index, low := make([]int32, n), make([]int32, n)
	next := make([]int, n)
	var stack, path []int
	count := int32(0)
	on := make([]bool, n)
	for i := range b.of {
		b.of[i] = -1
	}
	for root := range n {
		if index[root] > 0 || p.Activities[root].Fixed {
			continue
		}
		path = append(path[:0], root)
		for len(path) > 0 {
			i := path[len(path)-1]
			if index[i] == 0 {
				count++
				index[i], low[i] = count, count
				stack = append(stack, i)
				on[i] = true
			}
			if n := next[i]; n < len(l.from[i])+len(l.tied[i]) {
				var j int
				if n < len(l.from[i]) {
					j = p.Delays[l.from[i][n]].To
				} else {
					j = int(l.tied[i][n-len(l.from[i])])
				}
				next[i]++
				switch {
				case p.Activities[j].Fixed:
				case index[j] == 0:
					path = append(path, j)
				case on[j]:
					low[i] = min(low[i], index[j])
				}
				continue
			}
			path = path[:len(path)-1]
			if len(path) > 0 {
				up := path[len(path)-1]
				low[up] = min(low[up], low[i])
			}
			if low[i] < index[i] {
				continue
			}
			var members []int
			for {
				j := stack[len(stack)-1]
				stack = stack[:len(stack)-1]
				on[j] = false
				b.of[j] = int32(len(b.all))
				members = append(members, j)
				if j == i {
					break
				}
			}
			sorting.Stable(members, func(i, k int) int {
				a, b := members[i], members[k]
				if lo[a] != lo[b] {
					return lo[a] - lo[b]
				}
				return a - b
			})
			b.all = append(b.all, members)
		}
	}
	b.after, b.before = make([][]int32, len(b.all)), make([]int32, len(b.all))
	for _, d := range p.Delays {
		if f, t := b.of[d.From], b.of[d.To]; f >= 0 && t >= 0 && f != t {
			b.after[f] = append(b.after[f], t)
			b.before[t]++
		}
	}
	return b
}

// placeBlock places the members of a block as early as they fit. Where one comes too late for another that is placed
// already, that one is taken out and placed later (Franck, Neumann and Schwindt 2001: from memory, not opened).
func (l *layout) placeBlock(members []int, least map[int]int) bool {
	for tries := 0; tries < 20+l.patience/len(members); tries++ {
		if !l.limit.more(len(members) / 4) {
			break
		}
		late, fits := -1, true
		for _, i := range members {
			if l.placed[i] {
				continue
			}
			if !l.limit.more(10) {
				fits = false
				break
			}
			a := &l.p.Activities[i]
			t := l.fit(i, max(l.soonest(i), least[i], l.opens(i, l.starts, l.placed)))
			fits = t >= 0 && !(a.Limited && t > a.Latest)
			if fits && len(l.either[i])+len(l.sets[i]) > 0 {
				t, late = l.apart(i, t, members, least)
				fits = t >= 0 && !(a.Limited && t > a.Latest)
			}
			for _, k := range l.from[i] {
				if d := l.p.Delays[k]; fits && l.placed[d.To] && l.starts[d.To] < t+d.Least {
					late, fits = d.To, !l.p.Activities[d.To].Fixed
					least[late] = max(least[late], t+d.Least)
				}
			}
			if !fits || late >= 0 {
				break
			}
			l.place(i, t)
		}
		if fits && late < 0 {
			return true
		}
		if !fits {
			break
		}
		out := false
		for _, i := range members { // what was placed before it stays
			if out = out || l.placed[i] && least[i] > l.starts[i]; out && l.placed[i] {
				l.take(i)
			}
		}
	}
	for _, i := range members {
		if l.placed[i] {
			l.take(i)
		}
	}
	return false
}

// serial places block after block, of those that wait for nothing the one with the least rank first. It gives the
// starts, or the block that found no place; -1 where the time is over.
func (l *layout) serial(b *blocks, rank []float64) (starts []int, stuck int) {
	for i := range l.busy {
		l.busy[i] = profile{}
	}
	for i, a := range l.p.Activities {
		if l.placed[i] = false; a.Fixed {
			l.place(i, a.Start)
		}
	}
	weight := make([]float64, len(rank))
	waits := append([]int32(nil), b.before...)
	h := heap{at: make([]int32, len(rank))}
	for k := range rank {
		if weight[k] = -rank[k]; waits[k] == 0 {
			h.insert(int32(k), weight)
		}
	}
	least := map[int]int{}
	for len(h.all) > 0 {
		k := h.top(weight)
		if len(b.all[k]) > 1 {
			clear(least)
		}
		if !l.placeBlock(b.all[k], least) {
			if l.limit.over {
				k = -1
			}
			return nil, int(k)
		}
		for _, next := range b.after[k] {
			if waits[next]--; waits[next] == 0 {
				h.insert(next, weight)
			}
		}
	}
	return append([]int{}, l.starts...), -1
}
