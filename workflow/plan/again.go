package plan

import "fettle/steps/sorting"

// likeConflicts is how long the exact search looks for a plan like an earlier one, in conflicts; likeMost of how many
// activities at a time.
const (
	likeConflicts = 500
	likeMost      = 60
)

// asBefore takes, of the plans that are found to finish when the best does, that in which the fewest activities change
// places from the earlier plan: the best itself, those in the order of the earlier plan, one with the blocks in that order
// wherever it costs nothing, and what the exact search comes to first that looks there.
func (v *solver) asBefore() {
	if v.o.Warm == nil {
		return
	}
	end := v.cost.finish
	v.best = v.l.sooner(v.best)
	fewest := v.moved(v.best)
	take := func(starts []int) {
		if starts == nil {
			return
		}
		finish, n := v.p.finish(starts), v.moved(starts)
		if finish < end || finish == end && n < fewest {
			v.best, end, fewest = starts, finish, n
		}
	}
	for _, starts := range v.like {
		take(starts)
	}
	if fewest == 0 {
		return
	}
	take(v.liken(end))
	if len(v.free) <= nearMost {
		take(v.near(v.free, v.fixed, end))
	}
	// A few that start one after the other, while the others stay; again as long as that helps.
	for was, wasEnd := -1, end; fewest != was || end != wasEnd; {
		was, wasEnd = fewest, end
		order := append([]int(nil), v.free...)
		inOrderOf(order, v.best)
		for at := 0; at < len(order); at += likeMost / 2 {
			if fewest == 0 || v.ctx.Err() != nil {
				return
			}
			take(v.near(order[at:min(at+likeMost, len(order))], v.best, end))
		}
	}
}

// near is the plan that the exact search comes to first when it looks for one like the earlier plan, with all but the free
// where they start; nil where it finds none soon.
func (v *solver) near(free, starts []int, end int) []int {
	m := v.p.model(v.l.limit, free, starts, 0, end)
	if m == nil {
		return nil
	}
	m.follow(v.p, v.o.Warm)
	m.s.one = true
	found, _ := m.s.minimise(v.ctx, likeConflicts)
	if found == nil {
		return nil
	}
	whole := append([]int(nil), starts...)
	for x, i := range free {
		whole[i] = int(found[x])
	}
	return v.l.sooner(whole)
}

// liken places the blocks in the order of the best plan, and then more and more of them in that of the earlier one, where
// all is still finished by end: many at a time, then fewer. It is nil where there is nothing of the kind.
func (v *solver) liken(end int) (last []int) {
	rank, was := v.ranks(v.best), v.ranks(v.o.Warm)
	if starts, _ := v.l.serial(v.b, rank); starts == nil || v.p.finish(starts) > end {
		rank = append([]float64(nil), v.rank...)
	}
	order := make([]int, len(rank))
	for k := range order {
		order[k] = k
	}
	sorting.Stable(order, func(i, k int) int {
		a, b := order[i], order[k]
		switch {
		case was[a] < was[b]:
			return -1
		case was[a] > was[b]:
			return 1
		}
		return 0
	})
	fewest := len(order)/32 + 1
	for size := len(order); size >= fewest; size = (size + 1) / 2 {
		for at := 0; at < len(order); at += size {
			if v.ctx.Err() != nil {
				return last
			}
			next, changed := append([]float64(nil), rank...), false
			for _, k := range order[at:min(at+size, len(order))] {
				changed = changed || next[k] != was[k]
				next[k] = was[k]
			}
			if !changed {
				continue
			}
			if starts, _ := v.l.serial(v.b, next); starts != nil && v.p.finish(starts) <= end {
				rank, last = next, v.l.sooner(starts)
			}
		}
		if size == 1 {
			break
		}
	}
	return last
}

// moved is how many pairs of what is free change places from the earlier plan.
func (v *solver) moved(starts []int) int {
	was := v.o.Warm
	order := append([]int(nil), v.free...)
	sorting.Stable(order, func(i, k int) int {
		a, b := order[i], order[k]
		if was[a] != was[b] {
			return was[a] - was[b]
		}
		return starts[a] - starts[b]
	})
	now := make([]int, len(order))
	for k, i := range order {
		now[k] = starts[i]
	}
	return inversions(now, make([]int, len(now)))
}

// inversions counts the pairs of which the latter is less, and sorts all.
func inversions(all, room []int) (n int) {
	if len(all) < 2 {
		return 0
	}
	half := len(all) / 2
	n = inversions(all[:half], room[:half]) + inversions(all[half:], room[half:])
	a, b, to := all[:half], all[half:], room[:0]
	for len(a) > 0 || len(b) > 0 {
		if len(b) == 0 || len(a) > 0 && a[0] <= b[0] {
			to, a = append(to, a[0]), a[1:]
		} else {
			n += len(a)
			to, b = append(to, b[0]), b[1:]
		}
	}
	copy(all, to)
	return n
}
