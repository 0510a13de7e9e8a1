package plan

import "math/rand/v2"

// nearMost is how many activities are replanned at once.
const nearMost = 130

// improve looks for better plans until ctx ends, the bound is met or so many rounds in a row have been in vain. It places
// all anew with a few blocks in other places of the order, and replans a few activities while the others stay (large
// neighbourhood search, Shaw 1998: from memory, not opened).
func (v *solver) improve(vain int) {
	r := rand.New(rand.NewPCG(v.o.Seed, 1))
	for round := 0; round < vain && v.cost.finish > v.bound; round++ {
		was := v.cost
		for range 20 {
			if v.ctx.Err() != nil {
				return
			}
			v.climb(r)
		}
		v.replan(v.neighbourhood(r, round))
		if v.cost != was {
			round = 0
		}
	}
}

func (v *solver) climb(r *rand.Rand) {
	rank := append([]float64(nil), v.rank...)
	far := float64(v.bound) / 10
	if r.IntN(4) == 0 { // a whole group sooner or later
		g, by := v.p.Activities[v.b.all[r.IntN(len(rank))][0]].Group, r.NormFloat64()*far
		for k, members := range v.b.all {
			if v.p.Activities[members[0]].Group == g {
				rank[k] += by
			}
		}
	} else {
		for range 1 + r.IntN(5) {
			rank[r.IntN(len(rank))] += r.NormFloat64() * far
		}
	}
	if starts, _ := v.l.serial(v.b, rank); starts != nil && v.keep(starts) {
		v.rank = rank
	}
}

// neighbourhood chooses activities to replan: whole groups, that which ends last among them; or, where groups are
// too large or there are no others, what starts at about the same time.
func (v *solver) neighbourhood(r *rand.Rand, tries int) (free []int) {
	p := v.p
	size, last := map[int]int{}, 0
	var groups []int
	for i, a := range p.Activities {
		if a.Fixed {
			continue
		}
		if size[a.Group] == 0 {
			groups = append(groups, a.Group)
		}
		size[a.Group]++
		if v.best[i]+a.Length >= v.best[last]+p.Activities[last].Length || p.Activities[last].Fixed {
			last = i
		}
	}
	critical := p.Activities[last].Group
	if len(groups) > 1 && size[critical] < nearMost && tries%3 > 0 {
		chosen := map[int]bool{critical: true}
		room := nearMost - size[critical]
		r.Shuffle(len(groups), func(i, j int) { groups[i], groups[j] = groups[j], groups[i] })
		for _, g := range groups {
			if !chosen[g] && size[g] <= room {
				chosen[g] = true
				room -= size[g]
			}
		}
		for i, a := range p.Activities {
			if !a.Fixed && chosen[a.Group] {
				free = append(free, i)
			}
		}
		return free
	}
	for i, a := range p.Activities {
		if !a.Fixed {
			free = append(free, i)
		}
	}
	inOrderOf(free, v.best)
	n := min(len(free), nearMost)
	at := len(free) - n
	if tries%2 > 0 {
		at = r.IntN(at + 1)
	}
	return free[at : at+n]
}

// replan looks for starts of what is free with which the last of it ends sooner. Then all moves to where there is
// room now.
func (v *solver) replan(free []int) bool {
	end := 0
	for _, i := range free {
		end = max(end, v.best[i]+v.p.Activities[i].Length)
	}
	m := v.p.model(v.l.limit, free, v.best, 0, end-1)
	if m == nil {
		return false
	}
	m.follow(v.p, v.best)
	found, _ := m.s.minimise(v.ctx, 300)
	if found == nil {
		return false
	}
	starts := append([]int(nil), v.best...)
	for x, i := range free {
		starts[i] = int(found[x])
	}
	if starts = v.l.sooner(starts); !v.keep(starts) {
		return false
	}
	v.rank = v.ranks(starts)
	return true
}
