package plan

// chain follows what holds the finish of a plan back, from the activity that ends last.
func (l *layout) chain(starts []int) (all []Link) {
	if len(l.p.Either) > 0 {
		l = l.p.settled(starts).layout()
	}
	p := l.p
	last, end := -1, 0
	for i, a := range p.Activities {
		if t := starts[i] + a.Length; last < 0 || t > end {
			last, end = i, t
		}
	}
	seen := make([]bool, len(starts)) // delays of nothing could lead round
	for i := last; i >= 0 && !seen[i]; {
		seen[i] = true
		link, before := l.hold(starts, i)
		all = append(all, link)
		i = before
	}
	return all
}

// hold finds what keeps an activity from starting sooner, and the activity by which, -1 if none.
func (l *layout) hold(starts []int, i int) (link Link, before int) {
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
	end := -1
	for j, b := range l.p.Activities {
		if u := starts[j] + b.Length; j != i && u <= starts[i] && u > t && u > end {
			for k := range l.p.Capacity {
				if a.need(k) > 0 && b.need(k) > 0 {
					end, before = u, j
					link = Link{Activity: i, Hold: ByResource, Resource: k, Sitting: u < starts[i]}
				}
			}
		}
	}
	return link, before
}
