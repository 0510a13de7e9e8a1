package plan

import "context"

// chain follows what holds the finish of a plan back, from the activity that ends last.
func (l *layout) chain(starts []int) (all []Link) {
	if len(l.p.Either) > 0 {
		l = l.p.settled(starts).layout(&limit{ctx: context.Background()}) // all of it, or the chain would be another
	}
	p := l.p
	byEnd := make([]int, len(starts))
	for i := range byEnd {
		byEnd[i] = i
	}
	inOrderOf(byEnd, p.ends(starts))
	last := -1
	if n := len(byEnd); n > 0 {
		last = byEnd[n-1]
	}
	seen := make([]bool, len(starts)) // delays of nothing could lead round
	for i := last; i >= 0 && !seen[i]; {
		seen[i] = true
		link, before := l.hold(starts, byEnd, i)
		all = append(all, link)
		i = before
	}
	return all
}

// hold finds what keeps an activity from starting sooner, and the activity by which, -1 if none.
func (l *layout) hold(starts, byEnd []int, i int) (link Link, before int) {
	a := &l.p.Activities[i]
	link = Link{Activity: i, Hold: ByStart}
	if a.Fixed {
		return link, -1
	}
	t := max(0, a.Earliest)
	before = -1
	for _, k := range l.into[i] { // the delay that reaches furthest
		d := l.p.Delays[k]
		if u := starts[d.From] + d.Least; u > t {
			t, before = u, d.From
			link.Hold, link.Delay = ByDelay, int(k)
		}
	}
	if s := l.sitting(i, t); s == starts[i] {
		if link.Sitting = s > t; before < 0 && link.Sitting {
			link.Hold = BySitting
		}
		return link, before
	}
	// What it needs was used until then: by that which ended last before it.
	for n := len(byEnd) - 1; n >= 0; n-- {
		j := byEnd[n]
		b := &l.p.Activities[j]
		if u := starts[j] + b.Length; u <= t {
			break
		} else if u <= starts[i] && j != i {
			for k := range l.p.Capacity {
				if a.need(k) > 0 && b.need(k) > 0 {
					return Link{Activity: i, Hold: ByResource, Resource: k, Sitting: u < starts[i]}, j
				}
			}
		}
	}
	return link, before
}
