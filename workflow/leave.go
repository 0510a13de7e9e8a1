package workflow

import (
	"cmp"
	"slices"

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
				safe, _ := s.ends(t.work, is, "")
				if safe.State == "" {
					continue
				}
				ender := c.endsAfter(i, is)
				k := slices.IndexFunc(rows, func(r *row) bool {
					return r.of == t.of && r.is == is && c.tasks[i].job == c.jobOf(r) && r.ender == ender
				})
				if k < 0 {
					k = len(rows)
					rows = append(rows, &row{of: t.of, setter: -1, is: is, safe: safe, ender: ender, now: s.tendedNow(is, c.now) && !c.endsNow(t.of, is)})
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
	for i := range c.tasks {
		rows = append(rows, c.unstated(i, rows)...)
	}
	all := rows
	rows = nil
	for _, r := range all {
		if c.complete(r) {
			r.now = r.now && !c.endedAhead(r)
			rows = append(rows, r)
		}
	}
	return rows
}

// endedAhead reports whether another job sets the condition otherwise before all that the row is for: it is set anew then.
func (c *scheduler) endedAhead(r *row) bool {
	for i := range c.tasks {
		if c.tasks[i].setsOtherwise(r.is) && !lists.Contains(r.all, i) && !slices.ContainsFunc(r.tasks, func(k int) bool { return !c.precedes(i, k) }) {
			return true
		}
	}
	return false
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
	t := &c.tasks[first]
	for _, step := range t.work.Steps() {
		if step.Name == t.step.Name || r.setter >= 0 {
			break
		}
		if lists.Contains(step.Sets, r.is) {
			r.sets = step
		}
	}
	r.ends = c.fleet[r.of].endedBy(t.work, r.is, t.step.Name)
	if r.ender >= 0 {
		if r.ends = c.tasks[r.ender].step; r.needed {
			r.ends = c.fleet[r.of].ending(r.safe)
		}
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
	var unwritten []string // gates that no step measures
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
				} else if !lists.Contains(unwritten, name) {
					unwritten = append(unwritten, name)
				}
			}
		}
	}
	if r.sets != nil && !stands {
		all = append([]doing{{r.sets, c.minutes(work, r.sets)}}, all...)
		if hold, _ := c.looks(r.of, c.jobOf(r), r.sets); hold != nil {
			all = append([]doing{{hold, c.minutes(work, hold)}}, all...)
		}
	}
	switch {
	case len(unwritten) == 0:
	case len(all) > 0:
		all[0].minutes += measureMinutes
	default:
		g, _ := s.Sheet.Gate(unwritten[0])
		all = []doing{{&steps.Step{Title: cmp.Or(g.Title, g.Name), Kind: steps.Measure, Gates: unwritten}, measureMinutes}}
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

// interrupt puts what rows are cut into: what is set anew before the tasks of a sitting, what is ended after them, all of it in
// one sitting.
func (c *scheduler) interrupt() {
	for at, r := range c.rows {
		if is, known := c.cuts[at]; known {
			c.interruptRow(r, is)
		} else if !c.loose {
			st := stretch{r.of, r.setter, r.tasks, r.ender, r.is}
			if st.first < 0 && !r.stands(c) {
				st.first = r.tasks[0]
			}
			c.stretches = append(c.stretches, st)
		}
	}
	for _, ends := range c.forNothing {
		k := slices.IndexFunc(c.tasks, func(t task) bool { return c.isNext(&t, &ends) })
		if k < 0 {
			k = c.add(ends, front{})
		} else {
			c.tasks[k].safe = true
		}
		for i := range c.tasks {
			t := &c.tasks[i]
			if i != k && t.step != nil && steps.AnySetting(c.settings(t), func(so steps.Setting) bool {
				return lists.Contains(ends.step.Sets, so) && (t.of == ends.of || c.fleet[t.of].ofBench(so.Condition))
			}) {
				c.order(k, i)
			}
		}
	}
}

// isNext reports whether a task is the step that ends something, and nothing comes before it.
func (c *scheduler) isNext(t, ends *task) bool {
	return t.of == ends.of && t.step != nil && t.job.ID == ends.job.ID && t.step.Name == ends.step.Name && t.rework == "" && t.again == "" && t.earliest == 0 &&
		!slices.ContainsFunc(t.before, func(some uint64) bool { return some != 0 })
}

func (c *scheduler) interruptRow(r *row, is cut) {
	of := c.tasks[r.tasks[0]]
	put := func(step *steps.Step, minutes int, again Again, after ...int) int {
		f := front{}
		for _, k := range after {
			f.wait(link{k, c.tasks[k].minutes, tie{why: AfterStep}})
		}
		i := c.add(task{of: r.of, job: of.job, work: of.work, stage: of.stage, step: step, minutes: minutes, again: again}, f)
		r.all = append(r.all, i)
		return i
	}
	end := func(after ...int) int {
		return put(r.ends, c.offMinutes(r), AgainSafe, after...)
	}
	var before []int // what is done before the next task
	switch {
	case is.gaps[0] != parted:
	case r.begins():
		before = []int{end(r.setter)}
		c.stretches = append(c.stretches, stretch{r.of, r.setter, nil, before[0], r.is})
		c.together(r.setter, before[0])
		c.fixed[heatOf{r.setter, r.is}] = true
	case r.stands(c) && c.unended:
		c.coatsAfter(r, c.ended)
	case r.stands(c):
		before = []int{end()}
		c.stretches = append(c.stretches, stretch{r.of, -1, nil, before[0], r.is})
		c.tasks[before[0]].until(c.sittings[0].To - c.tasks[before[0]].minutes)
		// what nothing needs in this sitting is not left so while something else is done
		c.comesFirst(before[0], c.tasks[before[0]].minutes, func(*task) bool { return true })
		c.fixed[heatOf{before[0], r.is}] = true
	}
	for from := 0; from < len(is.tasks); {
		to := is.until(from)
		group := is.tasks[from:to]
		anew := from > 0 || is.gaps[0] == parted
		goesOn := !anew && r.setter < 0 && is.gaps[0] == stays
		var run []int // what lies in one sitting
		if anew || goesOn {
			for _, d := range c.readying(r, group, goesOn) {
				before = []int{put(d.step, d.minutes, AgainReady, before...)}
				run = append(run, before[0])
			}
			if anew && len(run) > 0 && c.guardedBy(r) {
				c.afterOthers(run[0], group[0])
			}
		} else if r.begins() {
			run = []int{r.setter}
		}
		for _, i := range group {
			for _, k := range before {
				c.order(k, i)
			}
		}
		known := true    // about all of its gaps
		var runs [][]int // what it is hot for without a break, as far as that is known
		first := group[0]
		if len(run) > 0 {
			first = run[0]
		}
		whole := stretch{r.of, first, group, -1, r.is}
		if goesOn {
			whole.first = -1
		}
		sit := func() {
			c.together(run...)
			c.tend(r, run)
			runs = append(runs, run)
			if goesOn {
				for _, i := range run {
					c.tasks[i].until(c.sittings[0].To - c.tasks[i].minutes)
				}
				c.stayBy(r, run...)
			}
			run, goesOn = nil, false
		}
		for k := from; k < to; k++ {
			if is.gaps[k] == undecided {
				known = false
				sit()
			}
			run = append(run, is.tasks[k])
		}
		last := -1
		switch {
		case to < len(is.tasks) || is.gaps[to] == parted:
			last = end(group...)
			run, before = append(run, last), []int{last}
			if to == len(is.tasks) && r.ender >= 0 { // till then it is ended
				c.order(last, r.ender)
			}
		case r.ender >= 0:
			last = r.ender
			for _, i := range group {
				c.order(i, last)
			}
			if is.gaps[to] == undecided {
				known = false
				sit()
			}
			if !lists.Contains(run, last) {
				run = append(run, last)
			}
		}
		sit()
		whole.ended = last
		c.keep(whole, runs, known)
		from = to
	}
}

// coatsAfter has what may not be open beside the row wait until then.
func (c *scheduler) coatsAfter(r *row, minute int) {
	for _, join := range c.joins {
		if !join.open && c.otherwise(c.fleet[r.of], join.adhesive.Needs, []steps.Setting{r.is}, join.of != r.of) {
			for _, coat := range join.begins() {
				c.follow(coat, front{at: minute, early: tie{why: AfterStep}})
			}
		}
	}
}

// together has tasks lie in one sitting.
func (c *scheduler) together(tasks ...int) {
	if len(tasks) > 1 {
		c.lies = append(c.lies, slices.Clone(tasks))
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
	sorting.Stable(order, func(i, k int) int {
		a, b := order[i], order[k]
		return starts[a] - starts[b]
	})
	return order
}

// sittingOf is the sitting in which a task lies that starts then.
//
//go:noinline
func (c *scheduler) sittingOf(i, start int) int {
	return slices.IndexFunc(c.sittings, func(w plan.Span) bool { return w.From <= start && start+c.tasks[i].minutes <= w.To })
}

// begins reports whether a step of the plan sets the row, and does no more.
func (r *row) begins() bool { return r.setter >= 0 && r.setter != r.tasks[0] }

// stands reports whether what the row is for is so now, at the bench.
//
//go:noinline
func (r *row) stands(c *scheduler) bool { return r.setter < 0 && r.now && c.goesOn() }

// around are the tasks before and after a gap; -1: none.
//
//go:noinline
func (r *row) around(is cut, g int) (before, after int) {
	before, after = -1, r.ender
	switch {
	case g > 0:
		before = is.tasks[g-1]
	case r.setter >= 0:
		before = r.setter
	}
	if g < len(is.tasks) {
		after = is.tasks[g]
	}
	return before, after
}

// goesOn reports whether the first sitting has begun.
//
//go:noinline
func (c *scheduler) goesOn() bool { return len(c.given) > 0 && !c.given[0].From.After(c.now) }

// leaves are the rows that a plan leaves as they are over the end of a sitting, or goes on with and does not set anew.
//
//go:noinline
func (c *scheduler) leaves(starts []int) (rows []int) {
	for at := range c.rows {
		if c.leavesAt(at, starts) >= 0 {
			rows = append(rows, at)
		}
	}
	return rows
}

// leavesAt is the first gap of a row over which a plan leaves it as it is, or for another airframe, or after which it is not set anew;
// -1: none.
func (c *scheduler) leavesAt(at int, starts []int) int {
	r := c.rows[at]
	is := c.cutOf(at, starts)
	in := func(i int) int { return c.sittingOf(i, starts[i]) }
	for g, what := range is.gaps {
		if what == parted {
			continue
		}
		switch before, after := r.around(is, g); {
		case before < 0 && g == 0:
			stands := r.stands(c) && (what == stays || len(c.readying(r, is.tasks[:is.until(0)], true)) == 0)
			if stands && (in(after) != 0 || what == undecided && c.alone(r, -1, after, starts)) || !stands && len(c.readying(r, is.tasks[:1], false)) > 0 {
				return g
			}
		case after < 0 && r.ender < 0:
			return g
		case before >= 0 && after >= 0 && (in(before) != in(after) || what == undecided && c.alone(r, before, after, starts)):
			return g
		}
	}
	return -1
}

// spoilsAt is a gap of a row that stays as it may not while a coat is open; -1: none.
func (c *scheduler) spoilsAt(at int, starts []int) int {
	r := c.rows[at]
	is := c.cutOf(at, starts)
	for g, what := range is.gaps {
		if what == parted {
			continue
		}
		before, after := r.around(is, g)
		switch {
		case before < 0 || after < 0 || before == after:
		case c.spoils(heat{r.of, before, after, []steps.Setting{r.is}}, starts):
			return g
		}
		if first := is.tasks[0]; what == undecided && is.until(0) >= g && is.gaps[0] != parted && r.stands(c) && slices.ContainsFunc(c.joins, func(join joinTask) bool {
			return !join.open && c.otherwise(c.fleet[r.of], join.adhesive.Needs, []steps.Setting{r.is}, join.of != r.of) &&
				slices.ContainsFunc(join.begins(), func(coat int) bool { return starts[coat] < starts[first] })
		}) {
			return g
		}
	}
	return -1
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

// begins reports whether a step would be begun for nothing, see [scheduler.begunInVain]. It is left out then.
func (of *scheduler) begins(c *scheduler) (found bool) {
	for _, i := range c.begunInVain() {
		t := &c.tasks[i]
		key := c.keyOf(t)
		k, later := -1, false // of the stops, the first that is written after it, else the first
		for _, step := range t.work.Steps() {
			stop := slices.IndexFunc(c.stops, func(s Stop) bool {
				return s.Mark == c.fleet[t.of].Airframe.Mark && s.Job == t.job.ID && s.Step == step.Name && s.instead == ""
			})
			if stop >= 0 && (k < 0 || later) {
				k = stop
				if later {
					break
				}
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
