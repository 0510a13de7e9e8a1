package workflow

import (
	"context"
	"maps"
	"math"
	"slices"
	"time"

	"fettle/steps/lists"
	"fettle/workflow/plan"
)

// This file cuts rows of tasks by sittings, plans with the cuts, and looks for better ones.

// A gap is what is decided about the time between one task of a row and the next.
type gap byte

// What is decided: nothing, so that it costs nothing whatever lies in it; that both tasks lie in one sitting, and it stays so between
// them; or that it is ended after the one and set anew before the other.
const (
	undecided gap = iota
	stays
	parted
)

// A cut is the tasks of a row in their order, and what is decided about the gaps before, between and after them.
type cut struct {
	tasks []int
	gaps  []gap
}

// until is the first task after the one given with a gap before it that is parted.
//
//go:noinline
func (is cut) until(from int) int {
	for from++; from < len(is.tasks) && is.gaps[from] != parted; from++ {
	}
	return from
}

// with is the cut with one gap decided.
func (is cut) with(g int, what gap) cut {
	is.gaps = slices.Clone(is.gaps)
	is.gaps[g] = what
	return is
}

// cutOf is how a row is cut; one of which nothing is decided has the order that a plan gives it.
func (c *scheduler) cutOf(at int, starts []int) cut {
	if is, known := c.cuts[at]; known {
		return is
	}
	order := byStart(c.rows[at].tasks, starts)
	return cut{order, make([]gap, len(order)+1)}
}

// bounded decides about the gaps before and after a row what can't be otherwise. It writes into the cut.
func (c *scheduler) bounded(r *row, is cut) cut {
	if before, after := r.around(is, 0); before == after {
		is.gaps[0] = stays
	} else if before < 0 && !r.stands(c) {
		is.gaps[0] = parted
	}
	n := len(is.tasks)
	if before, after := r.around(is, n); after < 0 {
		is.gaps[n] = parted
	} else if before == after {
		is.gaps[n] = stays
	}
	return is
}

// split cuts a row by where its tasks lie in a plan: as many of them into each sitting as it has room for with what they begin and
// end with. Alone: each into a sitting of its own.
func (c *scheduler) split(r *row, starts []int, alone bool) cut {
	is := cut{tasks: byStart(r.tasks, starts)}
	is.gaps = slices.Repeat([]gap{stays}, len(is.tasks)+1)
	is = c.bounded(r, is)
	if c.pulls && r.setter < 0 && r.stands(c) {
		is.gaps[0] = parted
	}
	first := is.tasks[0]
	if r.setter >= 0 {
		first = r.setter
	}
	k, at := c.sittingOf(first, starts[first]), starts[first]
	if r.setter < 0 && k != 0 {
		is.gaps[0] = parted
	}
	off, from := c.offMinutes(r), 0 // of the group
	late := false                   // it begins later than in the plan
	for n := range is.tasks {
		if n == len(is.tasks)-1 && r.needed {
			off = 0
		}
		whole := func() (minutes int) { // with what sets it
			if r.setter >= 0 && from == 0 {
				if minutes = c.tasks[r.setter].minutes; r.setter == is.tasks[0] {
					minutes = 0
				}
				if hold, _ := c.looks(r.of, c.jobOf(r), r.sets); hold != nil {
					minutes += c.minutes(c.jobOf(r).Procedure, hold)
				}
			} else {
				minutes = minutesOfAll(c.readying(r, is.tasks[from:n+1], from == 0 && is.gaps[0] == stays))
			}
			for _, i := range is.tasks[from : n+1] {
				minutes += c.tasks[i].minutes
			}
			return minutes + off
		}
		fits := k < len(c.sittings) && !(alone && n > from)
		if fits {
			begin := c.sittings[k].From
			if from == 0 && !late {
				begin = at
			}
			fits = begin+whole() <= c.sittings[k].To
		}
		if !fits {
			if c.productive(r, is.tasks[from:n]) {
				is.gaps[n], from = parted, n
			} else if from == 0 && r.setter < 0 {
				is.gaps[0] = parted
			}
			for k++; k < len(c.sittings) && c.sittings[k].From+whole() > c.sittings[k].To; k++ {
			}
			late = true
		}
	}
	return is
}

// thinking is the time to think that is left for a plan, whatever is tried for it.
type thinking struct{ left, all time.Duration }

// solved has a problem solved in its share of what is left: all of it, or, where more may have to be tried, half at first, and then a
// quarter, so that there is always some left.
func (of *scheduler) solved(ctx context.Context, p plan.Problem, o plan.Options, more bool) (plan.Result, error) {
	k, share := of.think, time.Duration(1)
	switch {
	case more && k.all == 0:
		share = 2
	case more:
		share = 4
	}
	k.all = max(k.all, k.left)
	o.Think = max(1, k.left/share)
	o.Sure = true
	r, err := of.solve(ctx, p, o)
	k.left -= r.Took // also what was to be done whatever the time
	return r, err
}

// Of how many parts of the time one is left when nothing more is tried that can be done without, and when no better plan is looked for:
// the best can still be cut less often.
const (
	thinkLeast  = 20
	searchLeast = 8
)

// over reports whether less is left than one of so many parts of the time.
//
//go:noinline
func (k *thinking) over(ctx context.Context, parts time.Duration) bool {
	return ctx.Err() != nil || k.left < k.all/parts
}

// A draft is a plan with the scheduler that it is of.
type draft struct {
	c    *scheduler
	p    plan.Problem
	r    plan.Result
	t    Timetable    // when it is over, and what is known of that
	none bool         // there is no plan, or none was found
	more []runningEnd // what could be given up, where there is no plan
}

// explained is why there is no plan.
func (d *draft) explained(ctx context.Context, o plan.Options, err error) error {
	if d.none {
		return d.c.noPlan(ctx, d.p, d.r, o)
	}
	return err
}

// attempt looks for a plan that gives up what of slips; else it is what more of the ends that run already could be given up,
// or why there is no plan. Nothing is left hot, on or plugged in by it: where the best plan would, rows are cut, as was shown before
// or by where it has their tasks, and from there better cuts are looked for.
func (of *scheduler) attempt(ctx context.Context, o plan.Options) (t Timetable, more []runningEnd, err error) {
	of.asked, of.uncut = asked{}, nil
	of.short, of.futile = nil, nil
	d, err := of.draft(ctx, o)
	if d.none && d.c.sided {
		of.mixed = true
		d, err = of.draft(ctx, o)
	}
	why := d                // by which it is said why there is no plan
	if d.none && d.c.held { // what keeps rows whole may be too much
		of.loose, of.rough = true, true
		if d, err = of.draft(ctx, o); d.r.Starts == nil && len(d.more) == 0 {
			d.more = why.more
		}
		of.loose = false
	}
	if d.r.Starts == nil {
		switch {
		case len(d.more) > 0 && !d.r.Proven: // without that there may be a plan
			return t, d.more, &NoPlan{Why: NotFound}
		case len(d.more) > 0:
			return t, d.more, nil
		case err != nil:
			return t, nil, d.explained(ctx, o, err)
		}
		return d.whole(ctx), nil, nil // there is nothing to do
	}
	s, unended := search{of: of, o: o, whole: d}, false
	stands := slices.ContainsFunc(d.c.rows, func(r *row) bool { return r.stands(d.c) })
	switch left := len(d.c.leaves(d.r.Starts)) > 0; {
	case !left && !d.c.held && !why.none:
		return d.whole(ctx), nil, nil
	case !left && !why.none:
		s.best = d
	default:
		if s.best = of.asShown(ctx, o, d); s.best != nil || why.none {
			break
		}
		of.warm = d.r.Starts
		next, no := of.cutUp(ctx, o, d, false)
		why, err = next, no
		for _, way := range of.ways(d) {
			if (no != nil || len(next.more) > 0) && stands { // what is left of the sitting may be too little to plan its end in
				of.warm, *way = d.r.Starts, true
				next, no = of.cutUp(ctx, o, d, false)
				*way, unended = false, no == nil && len(next.more) == 0 && way != &of.pulls
			}
		}
		if no == nil && len(next.more) == 0 {
			s.best = next
		}
	}
	first := s.best
	s.run(ctx)
	known := s.bound == math.MaxInt32 // of all ways
	for _, way := range of.ways(d) {
		if s.best == nil && stands && way != &of.pulls { // which decides what a search would
			*way = true
			again := search{of: of, o: o, whole: d}
			again.run(ctx)
			*way, unended = false, true
			s.best, known = again.best, known && again.bound == math.MaxInt32
		}
	}
	switch {
	case s.best == nil && !known:
		return t, why.more, &NoPlan{Why: NotFound}
	case s.best == nil && len(why.more) > 0:
		return t, why.more, nil
	case s.best == nil:
		return t, nil, why.explained(ctx, o, err)
	case s.best != first:
		s.best = of.likened(ctx, o, s.best)
	}
	if unended { // nobody looks for all plans like that
		s.bound = min(s.bound, s.least)
	}
	return s.found(ctx), nil, nil
}

// ways are what is given up, one after the other, where there is no plan that ends what stands now in time, or it gives up an end that
// runs.
func (of *scheduler) ways(d *draft) []*bool {
	if slices.ContainsFunc(d.c.tasks, func(t task) bool { return t.late != nil }) {
		return []*bool{&of.pulls, &of.yields, &of.unended}
	}
	return []*bool{&of.unended}
}

// found is the best plan, with what nothing finishes before.
func (s *search) found(ctx context.Context) Timetable {
	t, bound := s.best.whole(ctx), min(s.bound, s.best.r.Finish)
	t.Bound, t.Proven = s.of.time(bound), bound == s.best.r.Finish
	return t
}

// asShown is the plan with rows cut as in what was shown before; nil: it is none any more.
func (of *scheduler) asShown(ctx context.Context, o plan.Options, d *draft) *draft {
	starts := d.c.like(d.p)
	if starts == nil {
		return nil
	}
	of.cuts, of.rough = map[int]cut{}, true
	c := *d.c
	c.cuts = of.cuts
	for at, r := range c.rows {
		of.cuts[at] = c.bounded(r, c.anew(r, c.cutOf(at, starts), starts))
		for range of.cuts[at].gaps { // within a sitting it was ended for what lies between
			g := c.disturbedAt(at, starts)
			if g < 0 {
				g = c.spoilsAt(at, starts)
			}
			if g < 0 {
				break
			}
			of.cuts[at] = c.bounded(r, of.cuts[at].with(g, parted))
		}
		of.cuts[at] = of.cuts[at].lying(&c, at, starts)
	}
	next, err := of.draft(ctx, o)
	if err == nil && next.r.Starts != nil && len(next.c.leaves(next.r.Starts)) == 0 {
		return next
	}
	return nil
}

// anew is the cut of a row parted where what was shown before sets it once more. It writes into the cut.
func (c *scheduler) anew(r *row, is cut, starts []int) cut {
	had, _ := c.shown()
	for _, t := range had {
		if t.Again != AgainReady || t.Mark != c.fleet[r.of].Airframe.Mark || !lists.Contains(t.Sets, r.is) {
			continue
		}
		for g := range is.gaps {
			before, after := r.around(is, g)
			if at := c.minute(t.Begins); after >= 0 && at < starts[after] && (before < 0 || at > starts[before]) {
				is.gaps[g] = parted
			}
		}
	}
	return is
}

// lying is the cut of a row decided by where its tasks lie. It writes into the cut.
func (is cut) lying(c *scheduler, at int, starts []int) cut {
	for g, what := range is.gaps {
		if what != undecided {
			continue
		}
		before, after := c.rows[at].around(is, g)
		switch in := c.sittingOf(after, starts[after]); {
		case before < 0 && in == 0, before >= 0 && in == c.sittingOf(before, starts[before]):
			is.gaps[g] = stays
		default:
			is.gaps[g] = parted
		}
	}
	return is
}

// likened is a plan with its rows cut the same, and its order as near to what was shown as costs nothing.
//
//go:noinline
func (of *scheduler) likened(ctx context.Context, o plan.Options, d *draft) *draft {
	if of.h.Like == nil {
		return d
	}
	of.cuts, of.rough = d.c.cuts, true
	if next, err := of.draft(ctx, o); err == nil && next.r.Starts != nil && next.r.Finish <= d.r.Finish && len(next.c.leaves(next.r.Starts)) == 0 {
		return next
	}
	return d
}

// A search goes through the ways to cut rows, by branch and bound: without a cut what a row is for costs nothing between its tasks.
// Of a plan that goes over the end of a sitting there, or over a coat that may not be beside it, one such gap is decided, one way and
// the other; what no plan finishes before with what is decided so far bounds all that follows from it.
type search struct {
	of    *scheduler
	o     plan.Options
	whole *draft // nothing is decided
	best  *draft // nil: none yet
	bound int    // nothing that was left out finishes before
	least int    // nothing at all does
	later int    // pairs of tasks that were planned with rows cut less often once the time was over
	open  []node
}

// laterMost is how many pairs of tasks are planned with rows cut less often once the time is over, where nothing is looked for: what that takes
// grows with their square, and 50 airframes have no time for it.
const laterMost = 3_000_000

// A node is a plan with some gaps decided, and one to decide.
type node struct {
	d        *draft
	bound    int
	row, gap int
	decided  int
}

// run looks for better plans than the best until it is proven, or the time is over.
func (s *search) run(ctx context.Context) {
	of := s.of
	of.rough, of.loose, of.warm = true, true, nil
	defer func() { of.loose = false }()
	cuts := map[int]cut{}
	for at, r := range s.whole.c.rows {
		c := s.whole.c
		if is := c.bounded(r, c.cutOf(at, s.whole.r.Starts)); c.wholly(r, is) {
			cuts[at] = is
		}
	}
	s.bound = math.MaxInt
	if s.whole.c.bare {
		of.barest, of.cuts = true, nil
		d, _ := of.draft(ctx, s.o)
		of.barest, s.bound = false, d.r.Bound
	}
	s.add(ctx, node{}, cuts)
	if s.least = s.bound; len(s.open) > 0 {
		s.least = min(s.least, s.open[0].bound)
	}
	for first := 0; len(s.open) > 0; {
		k := s.next(first)
		n := s.open[k]
		if n.bound >= s.finish() && first == 0 || of.think.over(ctx, searchLeast) {
			s.bound = min(s.bound, s.open[s.next(0)].bound)
			break
		}
		s.open = slices.Delete(s.open, k, k+1)
		first = len(s.open)
		if n.bound < s.finish() {
			s.branch(ctx, n)
		}
		if len(s.open) == first {
			first = 0
		}
	}
	s.rejoin(ctx)
	if s.bound = min(s.bound, s.finish()); !s.whole.c.held {
		s.bound = max(s.bound, s.whole.r.Bound)
	}
}

// rejoin has the best plan cut its rows less often, where it is finished as soon: first all that lies in one sitting, then each gap
// there, then between sittings.
func (s *search) rejoin(ctx context.Context) {
	if s.best == nil {
		return
	}
	c, starts := s.best.c, s.best.r.Starts
	cuts, some := map[int]cut{}, false
	for at, r := range c.rows {
		is := c.cutOf(at, starts)
		cuts[at] = c.bounded(r, cut{is.tasks, slices.Clone(is.gaps)}).lying(c, at, starts)
		for g := range cuts[at].gaps {
			if s.within(at, g, cuts[at]) {
				cuts[at], some = c.bounded(r, cuts[at].with(g, stays)), true
			}
		}
	}
	if some {
		s.join(ctx, cuts)
	}
	for _, within := range [2]bool{true, false} {
		for at, r := range c.rows {
			for g := 0; g < len(s.best.c.cuts[at].gaps); g++ {
				is := s.best.c.cuts[at]
				next := s.best.c.bounded(r, is.with(g, stays))
				if is.gaps[g] == parted && next.gaps[g] == stays && s.within(at, g, is) == within {
					cuts := maps.Clone(s.best.c.cuts)
					cuts[at] = next
					s.join(ctx, cuts)
				}
			}
		}
	}
}

// within reports whether the best plan has a parted gap of a row between tasks of one sitting.
func (s *search) within(at, g int, is cut) bool {
	c, starts := s.best.c, s.best.r.Starts
	before, after := c.rows[at].around(is, g)
	return is.gaps[g] == parted && before >= 0 && after >= 0 && c.sittingOf(before, starts[before]) == c.sittingOf(after, starts[after])
}

// join takes a plan with rows cut so in place of the best, if it is finished as soon: where nothing but what is done twice need go, else
// while there is time to look for one.
func (s *search) join(ctx context.Context, cuts map[int]cut) {
	o := s.o
	o.Before = s.finish() + 1
	s.of.cuts, s.of.warm = cuts, s.best.r.Starts
	for _, by := range [2]*scheduler{s.best.c, nil} {
		if over := s.of.think.over(ctx, thinkLeast); over {
			if n := len(s.best.c.tasks); by != nil {
				s.later += n * n
			}
			if by == nil || s.later > laterMost || ctx.Err() != nil {
				break
			}
		}
		s.of.warmBy = by
		if d, err := s.of.draft(ctx, o); err == nil && d.r.Starts != nil {
			if row, _ := d.next(); row < 0 {
				s.best = d
				break
			}
		}
	}
	s.of.warm, s.of.warmBy = nil, nil
}

// branch decides about the gap of a node.
func (s *search) branch(ctx context.Context, n node) {
	c := n.d.c
	r, is := c.rows[n.row], c.cutOf(n.row, n.d.r.Starts)
	for _, what := range [2]gap{stays, parted} {
		next := c.bounded(r, is.with(n.gap, what))
		if !c.wholly(r, next) {
			s.bound = min(s.bound, n.bound)
		}
		cuts := maps.Clone(c.cuts)
		cuts[n.row] = next
		s.add(ctx, n, cuts)
	}
}

// next is which node to go on with, of those from the first on: that with the least bound, and of those the one of which most is decided.
func (s *search) next(first int) int {
	k := first
	for i, n := range s.open[first:] {
		if was := s.open[k]; n.bound < was.bound || n.bound == was.bound && n.decided > was.decided {
			k = first + i
		}
	}
	return k
}

// finish is when the best plan is finished.
func (s *search) finish() int {
	if s.best == nil {
		return math.MaxInt32
	}
	return s.best.r.Finish
}

// add plans with rows cut as one more gap is decided.
func (s *search) add(ctx context.Context, from node, cuts map[int]cut) {
	if from.d != nil && s.of.think.over(ctx, searchLeast) {
		s.bound = min(s.bound, from.bound)
		return
	}
	s.of.cuts = cuts
	o := s.o
	o.Before = s.finish()
	d, err := s.of.draft(ctx, o)
	n := node{d: d, bound: max(from.bound, d.r.Bound), decided: from.decided + 1}
	if err != nil || d.r.Starts == nil {
		if !d.r.Proven {
			s.bound = min(s.bound, n.bound)
		}
		return
	}
	if n.row, n.gap = d.next(); n.row >= 0 {
		if d.c.cutOf(n.row, d.r.Starts).gaps[n.gap] == undecided {
			s.open = append(s.open, n)
		} else {
			s.bound = min(s.bound, n.bound)
		}
		return
	}
	if d.r.Finish < s.finish() {
		s.best = d
	}
	if !d.r.Proven {
		s.bound = min(s.bound, n.bound)
	}
}

// next is the gap to decide about, the first in time; -1: the plan leaves nothing as it is.
func (d *draft) next() (row, g int) {
	row, first := -1, 0
	for at, r := range d.c.rows {
		k := d.c.leavesAt(at, d.r.Starts)
		if k < 0 {
			k = d.c.spoilsAt(at, d.r.Starts)
		}
		if k < 0 {
			k = d.c.disturbedAt(at, d.r.Starts)
		}
		if k < 0 {
			continue
		}
		before, after := r.around(d.c.cutOf(at, d.r.Starts), k)
		if before < 0 {
			before = after
		}
		if row < 0 || d.r.Starts[before] < first {
			row, g, first = at, k, d.r.Starts[before]
		}
	}
	return row, g
}

// wholly reports whether nothing is left out where a row is cut so: its tasks come in one order only, and what is set and measured for
// those after a gap is the same however many of them there are.
func (c *scheduler) wholly(r *row, is cut) bool {
	if c.unended { // a coat could come after what somebody ends by the way
		return false
	}
	for g, what := range is.gaps {
		goesOn := g == 0 && what == stays && r.stands(c)
		if what != parted && !goesOn {
			continue
		}
		for _, b := range is.tasks[g:] {
			for _, a := range is.tasks[:g] {
				if !c.precedes(a, b) {
					return false
				}
			}
		}
		if g == len(is.tasks) {
			return true
		}
		group := is.tasks[g:is.until(g)]
		if minutesOfAll(c.readying(r, group, goesOn)) != minutesOfAll(c.readying(r, group[:1], goesOn)) {
			return false
		}
	}
	return true
}

// whole is the plan as people see it.
func (d *draft) whole(ctx context.Context) Timetable {
	t := d.c.timetable(d.brief(ctx))
	t.Kept = d.c.h.Like != nil && d.r.Starts != nil && t.keeps(d.c.h.Like)
	return t
}

// cutUp cuts rows until no sitting leaves one as it is.
func (of *scheduler) cutUp(ctx context.Context, o plan.Options, d *draft, alone bool) (*draft, error) {
	of.cuts, of.rough = map[int]cut{}, !alone
	from := d
	for {
		rows := d.c.leaves(d.r.Starts)
		if len(rows) == 0 {
			return d, nil
		}
		if d.c.pulls = of.pulls; d == from && of.pulls { // also what the plan ends later
			for at, r := range d.c.rows {
				if r.setter < 0 && r.stands(d.c) && !slices.Contains(rows, at) {
					rows = append(rows, at)
				}
			}
		}
		for _, at := range rows {
			_, known := of.cuts[at]
			of.cuts[at] = d.c.split(d.c.rows[at], d.r.Starts, alone || known)
		}
		next, err := of.draft(ctx, o)
		if err != nil || len(next.more) > 0 {
			if !alone {
				return of.cutUp(ctx, o, from, true)
			}
			return next, err
		}
		d = next
	}
}
