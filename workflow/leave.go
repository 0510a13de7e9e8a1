package workflow

import (
	"cmp"
	"context"
	"maps"
	"slices"
	"time"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/sorting"
	"fettle/workflow/plan"
)

// This file knows what nobody leaves behind as it is: what is hot, on or plugged in. A plan ends it before the sitting is over,
// and sets it anew in the next one before it is needed.

// An Again is what is done once more in a sitting, which no step of a job is for.
type Again string

// What is done once more.
const (
	AgainReady Again = "ready" // what the sitting before has ended is set, and measured
	AgainSafe  Again = "safe"  // what is needed in a later sitting is ended till then
)

// A row is a stretch of a job for which something is hot, on or plugged in.
type row struct {
	of, setter int         // task that sets it; -1: that was done before
	sets       *steps.Step // that does; nil: none is known
	is, safe   steps.Setting
	tasks      []int // that need it, without the setter
	ender      int   // task that ends it; -1: none is planned
	ends       *steps.Step
	needed     bool  // the ender needs it too
	now        bool  // it stands so now
	all        []int // tasks, with those that were put between them
}

// How long it takes where nobody wrote a step for it (common practice, no source).
const (
	safeMinutes    = 1
	measureMinutes = 5
)

// needs reports whether a task is done while the condition stands so.
func (c *scheduler) needs(t *task, is steps.Setting) bool {
	return needsSo(t.step.Needs, c.usesOf(t), is)
}

//go:noinline
func (c *scheduler) usesOf(t *task) []steps.Use {
	var adhesives []string
	if t.adhesive != nil {
		adhesives = []string{t.adhesive.Name}
	}
	return c.fleet[t.of].Sheet.UsesOf(*t.step, adhesives...)
}

// findRows finds the rows of all jobs.
func (c *scheduler) findRows() (rows []*row) {
	for i := range c.tasks {
		t := &c.tasks[i]
		if t.step == nil {
			continue
		}
		s := c.fleet[t.of]
		for _, def := range s.Sheet.Conditions {
			for _, state := range def.States {
				is := steps.Setting{Condition: def.Name, State: state}
				sets := lists.Contains(t.step.Sets, is)
				if !sets && !c.needs(t, is) {
					continue
				}
				safe := s.ends(t.work, is)
				if safe == "" {
					continue
				}
				ender := c.endsAfter(i, is)
				k := slices.IndexFunc(rows, func(r *row) bool {
					return r.of == t.of && r.is == is && c.tasks[i].job == c.jobOf(r) && r.ender == ender
				})
				if k < 0 {
					k = len(rows)
					rows = append(rows, &row{of: t.of, setter: -1, is: is, safe: steps.Setting{Condition: def.Name, State: safe}, ender: ender, now: s.Holds(def.Name, c.now) == state})
				}
				switch r := rows[k]; {
				case sets && r.setter < 0:
					r.setter = i
				case i == ender:
					r.needed = true // last of its tasks
				default:
					r.tasks = append(r.tasks, i)
				}
			}
		}
	}
	all := rows
	rows = nil
	for _, r := range all {
		if c.complete(r) {
			rows = append(rows, r)
		}
	}
	return rows
}

//go:noinline
func (c *scheduler) jobOf(r *row) *Job {
	for _, i := range append([]int{r.setter, r.ender}, r.tasks...) {
		if i >= 0 {
			return c.tasks[i].job
		}
	}
	return nil
}

// complete finds the steps that set and end the row, and what is done meanwhile where nothing says that it needs it. It is false
// of what there is nothing to do for.
func (c *scheduler) complete(r *row) bool {
	if r.setter >= 0 && r.ender >= 0 && len(r.tasks) == 0 && !r.needed {
		for i := range c.tasks {
			if c.precedes(r.setter, i) && c.precedes(i, r.ender) {
				r.tasks = append(r.tasks, i)
			}
		}
	}
	switch {
	case len(r.tasks) > 0:
	case r.needed || r.setter >= 0 && r.ender >= 0:
		r.tasks, r.needed = []int{r.ender}, true
	case r.setter >= 0:
		r.tasks = []int{r.setter}
	default:
		return false
	}
	first := r.setter
	if first >= 0 {
		r.sets = c.tasks[first].step
	} else {
		first = r.tasks[0]
	}
	passed := false
	for _, step := range c.tasks[first].work.Steps() {
		passed = passed || step.Name == c.tasks[first].step.Name
		switch {
		case !passed && lists.Contains(step.Sets, r.is):
			r.sets = step
		case passed && r.ends == nil && lists.Contains(step.Sets, r.safe):
			r.ends = step
		}
	}
	if r.ender >= 0 {
		r.ends = c.tasks[r.ender].step
		if r.needed && !lists.Contains(r.tasks, r.ender) {
			r.tasks = append(r.tasks, r.ender)
		}
	}
	r.all = slices.Clone(r.tasks)
	for _, i := range []int{r.setter, r.ender} {
		if i >= 0 && !lists.Contains(r.all, i) {
			r.all = append(r.all, i)
		}
	}
	return true
}

// endsAfter is the task of the same job that first sets the condition otherwise, the task itself among them; -1: none.
func (c *scheduler) endsAfter(i int, is steps.Setting) int {
	if c.tasks[i].setsOtherwise(is) {
		return i
	}
	if k := c.nextOtherwise(i, is); k != i {
		return k
	}
	return -1
}

// offMinutes are what it takes to end the row till the next sitting.
//
//go:noinline
func (c *scheduler) offMinutes(r *row) int {
	if r.needed || r.ends == nil {
		return safeMinutes
	}
	return c.minutes(c.jobOf(r).Procedure, r.ends)
}

// A doing is a step that is done once more, with its minutes.
type doing struct {
	step    *steps.Step
	minutes int
}

// readying are the steps that set the row anew for the tasks: by what the record asks for in each sitting, so the gates of what
// they are done with are measured as well. What stands so now is not set.
func (c *scheduler) readying(r *row, tasks []int, stands bool) (all []doing) {
	work, s := c.jobOf(r).Procedure, c.fleet[r.of]
	extra := 0
	for _, i := range tasks {
		t := &c.tasks[i]
		for _, u := range c.usesOf(t) {
			if !lists.Contains(u.Needs, r.is) || u.Readies(*t.step) {
				continue
			}
			for _, name := range u.Measure {
				g, known := s.Sheet.Gate(name)
				measured := func(d doing) bool { return lists.Contains(d.step.Gates, name) }
				if !known || !g.In(s.Selection()) || slices.ContainsFunc(all, measured) || slices.ContainsFunc(tasks, func(k int) bool { return lists.Contains(c.tasks[k].step.Gates, name) }) ||
					stands && len(s.unmeasuredFor(u, g, c.now)) == 0 {
					continue
				}
				written := work.Steps()
				if k := slices.IndexFunc(written, func(step *steps.Step) bool { return lists.Contains(step.Gates, name) }); k >= 0 {
					all = append(all, doing{written[k], c.minutes(work, written[k])})
				} else {
					extra = measureMinutes
				}
			}
		}
	}
	if r.sets != nil && !stands {
		all = append([]doing{{r.sets, c.minutes(work, r.sets)}}, all...)
	}
	if len(all) > 0 {
		all[0].minutes += extra
	}
	return all
}

//go:noinline
func minutesOfAll(all []doing) (n int) {
	for _, d := range all {
		n += d.minutes
	}
	return n
}

// order has a task come after another of its airframe, and all that comes after it.
func (c *scheduler) order(a, b int) {
	if a == b || c.precedes(a, b) {
		return
	}
	for i := range c.tasks {
		if i == b || c.precedes(b, i) {
			c.tasks[i].comesAfter(&c.tasks[a])
		}
	}
	c.delay(a, b, c.tasks[a].minutes, tie{why: AfterStep})
}

// A cut says which tasks of a row lie in which sitting, one with the other. The first may be of the sitting that goes on, for
// which nothing has to be set.
type cut struct {
	groups  [][]int
	current bool
	tight   bool // nothing lies between them
}

// interrupt puts what rows are cut into: what is set anew before the tasks of a sitting, what is ended after them, all of it in
// one sitting.
func (c *scheduler) interrupt() {
	longest := 0
	for _, w := range c.sittings {
		longest = max(longest, w.To-w.From)
	}
	for at, r := range c.rows {
		by := c.cuts[at]
		last := -1 // of what comes before
		put := func(step *steps.Step, minutes int, again Again, after ...int) int {
			f := front{}
			for _, k := range after {
				f.wait(link{k, c.tasks[k].minutes, tie{why: AfterStep}})
			}
			of := &c.tasks[r.tasks[0]]
			last = c.add(task{of: r.of, job: of.job, work: of.work, stage: of.stage, step: step, minutes: minutes, again: again}, f)
			r.all = append(r.all, last)
			return last
		}
		for g, group := range by.groups {
			firsts, work := group, 0
			if g == 0 && r.setter >= 0 {
				firsts, work = []int{r.setter}, c.tasks[r.setter].minutes
			} else {
				for k, d := range c.readying(r, group, g == 0 && by.current) {
					after := []int{}
					if last >= 0 {
						after = append(after, last)
					}
					if i := put(d.step, d.minutes, AgainReady, after...); k == 0 {
						firsts = []int{i}
					}
					work += d.minutes
				}
			}
			if last >= 0 {
				for _, i := range group {
					c.order(last, i)
				}
			}
			if g < len(by.groups)-1 || r.ender < 0 {
				ends := r.ends
				if ends == nil {
					ends = &steps.Step{Title: r.safe.String(), Sets: []steps.Setting{r.safe}}
				}
				put(ends, c.offMinutes(r), AgainSafe, group...)
			} else {
				last = r.ender
				for _, i := range group {
					c.order(i, last)
				}
			}
			ends := &c.tasks[last]
			room := longest
			if by.tight {
				if room = work; !lists.Contains(group, last) {
					room += ends.minutes
				}
				for _, i := range group {
					room += c.tasks[i].minutes
				}
			}
			for _, i := range firsts {
				if i != last {
					c.delay(last, i, ends.minutes-room, tie{})
				}
			}
			if g == 0 && by.current {
				ends.until(c.sittings[0].To - ends.minutes)
			}
		}
	}
}

// until has a task begin at the latest then.
//
//go:noinline
func (t *task) until(latest int) {
	if !t.limited || latest < t.latest {
		t.latest, t.limited = latest, true
	}
}

// byStart are the tasks in the order that they start.
//
//go:noinline
func byStart(tasks, starts []int) []int {
	order := slices.Clone(tasks)
	sorting.Stable(order, func(a, b int) int { return starts[a] - starts[b] })
	return order
}

// sittingOf is the sitting in which a task lies that starts then.
//
//go:noinline
func (c *scheduler) sittingOf(i, start int) int {
	return slices.IndexFunc(c.sittings, func(w plan.Span) bool { return w.From <= start && start+c.tasks[i].minutes <= w.To })
}

// goesOn reports whether the first sitting has begun.
//
//go:noinline
func (c *scheduler) goesOn() bool { return !c.given[0].From.After(c.now) }

// leaves are the rows that a plan leaves as they are over the end of a sitting, or goes on with and does not set anew.
func (c *scheduler) leaves(starts []int) (rows []int) {
	for at, r := range c.rows {
		order := byStart(r.all, starts)
		stands := r.setter < 0 && r.now && c.goesOn() && len(c.readying(r, r.tasks, true)) == 0
		in := 0
		for n, i := range order {
			t, k := &c.tasks[i], c.sittingOf(i, starts[i])
			ends := t.again == AgainSafe || i == r.ender
			needs := i != r.setter && t.again == "" && (!ends || r.needed)
			left := stands && k != in && n > 0
			if stands = stands && k == in; left || needs && !stands && len(c.readying(r, []int{i}, false)) > 0 {
				rows = append(rows, at)
				break
			}
			in, stands = k, !ends
		}
		if stands && r.ender < 0 && !lists.Contains(rows, at) {
			rows = append(rows, at)
		}
	}
	return rows
}

// instead is what a step is not begun for; nil: it is begun.
func (of *scheduler) instead(key string) *Stop {
	for i := range of.futile {
		if of.futile[i].instead == key {
			return &of.futile[i]
		}
	}
	return nil
}

// begins reports whether a step would be begun for nothing: it sets what is ended later, and of what needs that the plan reaches
// nothing. It is left out then.
func (of *scheduler) begins(c *scheduler) (found bool) {
	for _, r := range c.rows {
		if r.setter < 0 || r.ender >= 0 || c.productive(r, r.tasks) {
			continue
		}
		t := &c.tasks[r.setter]
		mark := c.fleet[t.of].Airframe.Mark
		key := stepKey(mark, t.job.ID, t.step.Name)
		later := false
		k := -1
		for _, step := range t.work.Steps() {
			if later && k < 0 {
				k = slices.IndexFunc(c.stops, func(s Stop) bool { return s.Mark == mark && s.Job == t.job.ID && s.Step == step.Name })
			}
			later = later || step.Name == t.step.Name
		}
		if k < 0 || of.instead(key) != nil {
			continue
		}
		stop := c.stops[k]
		stop.instead = key
		of.futile, found = append(of.futile, stop), true
	}
	return found
}

// leave says of each sitting what is hot, on or plugged in, and is needed so in a later one: how it is left till then.
func (c *scheduler) leave(visits []Visit, starts []int) {
	for _, r := range c.rows {
		order := byStart(r.all, starts)
		for n, i := range order[1:] {
			before := c.sittingOf(order[n], starts[order[n]])
			if before == c.sittingOf(i, starts[i]) || order[n] == r.ender {
				continue
			}
			for k := range visits {
				if visits[k].Sitting == c.given[before] {
					visits[k].Leave = append(visits[k].Leave, Left{c.fleet[r.of].Airframe.Mark, r.safe, c.fleet[r.of].conditionTitle(r.safe.Condition), c.time(starts[i])})
				}
			}
		}
	}
}

// productive reports whether any of the tasks does more than set the row and measure what it is done with.
//
//go:noinline
func (c *scheduler) productive(r *row, tasks []int) bool {
	return slices.ContainsFunc(tasks, func(i int) bool {
		return i != r.setter && !slices.ContainsFunc(c.usesOf(&c.tasks[i]), func(u steps.Use) bool {
			return lists.ContainsFunc(u.Measure, func(gate string) bool { return lists.Contains(c.tasks[i].step.Gates, gate) })
		})
	})
}

// split cuts a row by where its tasks lie in a plan: as many of them into each sitting as it has room for with what they begin and
// end with. Anew: from the sitting on after the one in which the row begins there; alone: each into a sitting of its own.
func (c *scheduler) split(r *row, starts []int, anew, alone bool) (is cut) {
	order := byStart(r.tasks, starts)
	first := order[0]
	if r.setter >= 0 {
		first = r.setter
	}
	k, at := c.sittingOf(first, starts[first]), starts[first]
	is.current = r.setter < 0 && r.now && k == 0 && c.goesOn() && !anew
	if anew {
		k++
	}
	var group []int
	for n, i := range order {
		off := c.offMinutes(r)
		if n == len(order)-1 && r.needed {
			off = 0
		}
		whole := func(tasks []int, stands bool) (minutes int) { // with what sets it
			if r.setter >= 0 && len(is.groups) == 0 {
				if minutes = c.tasks[r.setter].minutes; r.setter == tasks[0] {
					minutes = 0
				}
			} else {
				minutes = minutesOfAll(c.readying(r, tasks, stands))
			}
			for _, i := range tasks {
				minutes += c.tasks[i].minutes
			}
			return minutes + off
		}
		more := append(group[:len(group):len(group)], i)
		fits := k < len(c.sittings) && !(alone && len(group) > 0)
		if fits {
			from := c.sittings[k].From
			if len(is.groups) == 0 && !anew {
				from = at
			}
			fits = from+whole(more, is.current && len(is.groups) == 0) <= c.sittings[k].To
		}
		if !fits {
			if c.productive(r, group) {
				is.groups = append(is.groups, group)
				more = []int{i}
			} else if len(is.groups) == 0 {
				is.current = false
			}
			for k++; k < len(c.sittings) && c.sittings[k].From+whole(more, false) > c.sittings[k].To; k++ {
			}
			anew = true
		}
		group = more
	}
	is.groups = append(is.groups, group)
	return is
}

// A draft is a plan with the scheduler that it is of.
type draft struct {
	c    *scheduler
	r    plan.Result
	t    Timetable
	more []runningEnd // what could be given up, where there is no plan
}

// attempt looks for a plan that gives up what of slips; else it is what more of the ends that run already could be given up,
// or why there is no plan. Nothing is left hot, on or plugged in by it: where the best plan would, rows are cut by where it has
// their tasks, and it is planned anew. What no plan finishes before is found without the cuts.
func (of *scheduler) attempt(ctx, think context.Context, o plan.Options) (t Timetable, more []runningEnd, err error) {
	of.cuts, of.warm, of.loose, of.rough = nil, nil, false, false
	of.short, of.futile = nil, nil
	d, err := of.draft(ctx, o)
	o.Think = max(1, cmp.Or(o.Think, time.Second)/4)
	if err != nil || len(d.more) > 0 || d.r.Starts == nil {
		return d.t, d.more, err
	}
	rows := d.c.leaves(d.r.Starts)
	if len(rows) == 0 && !d.c.held {
		return d.t, nil, nil
	}
	whole := d
	of.warm, of.loose, of.rough = d.r.Starts, true, true
	proven, bound := d.t.Proven, d.t.Bound
	if d.c.held {
		if least, err := of.draft(think, o); err == nil && least.r.Starts != nil {
			proven, bound = least.t.Proven, least.t.Bound
		} else {
			proven, bound = false, of.base
		}
	}
	of.loose = false
	if len(rows) > 0 {
		if d, err = of.cutUp(ctx, o, d, false); err != nil || len(d.more) > 0 {
			return d.t, d.more, err
		}
		of.rough = true
		for _, anew := range []bool{false, true} { // each row whole; or from the next sitting on
			if think.Err() != nil || !d.t.Finish.After(bound) {
				break
			}
			of.cuts = map[int]cut{}
			for _, at := range rows {
				is := cut{groups: [][]int{whole.c.rows[at].tasks}}
				if anew {
					is = whole.c.split(whole.c.rows[at], whole.r.Starts, true, false)
				}
				of.cuts[at] = is
			}
			other, err := of.draft(think, o)
			if err == nil && other.sooner(d) {
				d = other
			}
		}
		d = of.nearby(think, o, d, bound)
	}
	d.t.Proven = proven && !d.t.Finish.After(bound)
	if d.t.Bound = bound; bound.After(d.t.Finish) {
		d.t.Bound = d.t.Finish
	}
	return d.t, nil, nil
}

// pieces is into how many all is cut.
//
//go:noinline
func (d *draft) pieces() (n int) {
	for _, is := range d.c.cuts {
		n += len(is.groups)
	}
	return n
}

// sooner reports whether a draft is a plan that is finished before another one, or with it and cut less; and leaves nothing as it is.
func (d *draft) sooner(other *draft) bool {
	return d.r.Starts != nil && (d.t.Finish.Before(other.t.Finish) || d.t.Finish.Equal(other.t.Finish) && d.pieces() < other.pieces()) && len(d.c.leaves(d.r.Starts)) == 0
}

// nearbyMost is how many cuts like the best are tried.
const nearbyMost = 40

// nearby is the best plan that is found with two pieces made one, or with the task between them in the other one.
func (of *scheduler) nearby(think context.Context, o plan.Options, d *draft, bound time.Time) *draft {
	tried := 0
again:
	for at := range d.c.rows {
		is := d.c.cuts[at]
		for g := 0; g+1 < len(is.groups); g++ {
			one, other := is.groups[g], is.groups[g+1]
			joined := slices.Concat(one, other)
			for n, split := range [3]int{len(joined), len(one) - 1, len(one) + 1} {
				if tried >= nearbyMost || think.Err() != nil || n > 0 && (!d.t.Finish.After(bound) || split == 0 || split == len(joined)) {
					continue
				}
				tried++
				groups := slices.Clone(is.groups[:g])
				if groups = append(groups, joined[:split]); n > 0 {
					groups = append(groups, joined[split:])
				}
				of.cuts = maps.Clone(d.c.cuts)
				of.cuts[at] = cut{groups: append(groups, is.groups[g+2:]...), current: is.current}
				if next, err := of.draft(think, o); err == nil && next.sooner(d) {
					d = next
					goto again
				}
			}
		}
	}
	return d
}

// cutsMost is how often rows are cut anew.
const cutsMost = 8

// cutUp cuts rows until no sitting leaves one as it is.
func (of *scheduler) cutUp(ctx context.Context, o plan.Options, d *draft, alone bool) (*draft, error) {
	of.cuts, of.rough = map[int]cut{}, !alone
	from := d
	for range cutsMost {
		rows := d.c.leaves(d.r.Starts)
		if len(rows) == 0 {
			return d, nil
		}
		for _, at := range rows {
			was, known := of.cuts[at]
			switch {
			case !known:
				of.cuts[at] = d.c.split(d.c.rows[at], d.r.Starts, false, alone)
			case !was.tight:
				was.tight = true
				of.cuts[at] = was
			default:
				is := d.c.split(d.c.rows[at], d.r.Starts, false, true)
				is.tight = true
				of.cuts[at] = is
			}
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
	return d, nil
}
