package workflow

import (
	"slices"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/sorting"
	"fettle/workflow/plan"
)

// This file keeps what is set for tasks as it is until they are done: no other task, of any airframe of the bench, sets it otherwise
// between them, nor needs it otherwise before it is ended. What nobody leaves alone on one airframe, such as a battery that is plugged
// in, is so on one at a time. What is glued, and what hangs in the air after it, is kept apart in apart.go.

// A stretch is what a condition is set for, from the task that sets it on until the one that ends it.
type stretch struct {
	of, first int // -1: it stands so when the plan begins
	tasks     []int
	ended     int // -1: by nothing that is planned
	is        steps.Setting
}

// keep has a stretch that lies between two partings kept as it is: all of it, or, where not all about its gaps is decided yet, each of
// its runs in one sitting.
func (c *scheduler) keep(whole stretch, runs [][]int, known bool) {
	if known || !c.loose {
		c.stretches = append(c.stretches, whole)
	} else {
		for n, run := range runs {
			if len(run) == 0 {
				continue
			}
			st := stretch{whole.of, run[0], run, -1, whole.is}
			if n == 0 && whole.first < 0 {
				st.first = -1
			}
			if n == len(runs)-1 && whole.ended >= 0 {
				st.ended = whole.ended
				if !lists.Contains(whole.tasks, whole.ended) {
					st.tasks = run[:len(run)-1]
				}
			}
			c.stretches = append(c.stretches, st)
		}
	}
	if known {
		c.fixed[heatOf{runs[0][0], whole.is}], c.fixed[heatOf{whole.ended, whole.is}] = true, true
		return
	}
	for _, run := range runs {
		if len(run) > 1 {
			c.hot = append(c.hot, heat{whole.of, run[0], run[len(run)-1], []steps.Setting{whole.is}})
		}
	}
}

// against are the tasks that set a condition of an airframe otherwise, or need it so, and do not glue; those of other airframes, where
// it is of the bench. Where it is guarded on each airframe, they are those of others that set or need it the same.
func (c *scheduler) against(of int, is steps.Setting) (all []int) {
	if c.byCondition == nil {
		c.byCondition = map[string][]int{}
		for i := range c.tasks {
			for _, so := range c.tasks[i].so {
				if had := c.byCondition[so.Condition]; c.tasks[i].adhesive == nil && !lists.Contains(had, i) {
					c.byCondition[so.Condition] = append(had, i)
				}
			}
		}
	}
	def, _ := c.fleet[of].Sheet.Condition(is.Condition)
	for _, i := range c.byCondition[is.Condition] {
		t := &c.tasks[i]
		switch {
		case t.of == of || def.Bench:
			if c.otherwise(c.fleet[of], t.so, []steps.Setting{is}, false) {
				all = append(all, i)
			}
		case def.Guarded == is.State && lists.Contains(t.so, is):
			all = append(all, i)
		}
	}
	return all
}

// ends reports whether a task may set a condition of an airframe otherwise once nothing needs it any more.
func (c *scheduler) ends(i, of int, is steps.Setting) bool {
	t := &c.tasks[i]
	return (t.of == of || c.fleet[of].ofBench(is.Condition)) && t.setsOtherwise(is)
}

// undisturbed keeps out of the stretches what would disturb them.
func (c *scheduler) undisturbed() {
	sides := c.sides()
	for i := range c.stretches {
		st := &c.stretches[i]
		var aside []int
		for _, k := range append([]int{st.first, st.ended}, st.tasks...) {
			if k >= 0 {
				aside = c.aside(st.of, k, st.is)
				break
			}
		}
		c.undisturb(st, aside)
	}
	held := c.held
	for i := range sides {
		c.undisturb(&sides[i], nil)
	}
	c.held, c.sided = held, len(sides) > 0 // nothing ends these for a while
}

func (c *scheduler) undisturb(st *stretch, aside []int) {
	var last []int // of its tasks: nothing of them comes after it
	for _, i := range st.tasks {
		if i != st.first && !slices.ContainsFunc(st.tasks, func(k int) bool { return c.precedes(i, k) }) {
			last = append(last, i)
		}
	}
	others := aside
	for _, other := range c.against(st.of, st.is) {
		if !lists.Contains(aside, other) {
			others = append(others, other)
		}
	}
	for n, other := range others {
		until := last
		if (n < len(aside) || !c.ends(other, st.of, st.is)) && st.ended >= 0 {
			until = []int{st.ended}
		}
		if other == st.ended || other == st.first || lists.Contains(st.tasks, other) {
			continue
		}
		for _, i := range until {
			c.keepOut(other, st.first, i)
		}
	}
}

// sides are the stretches for which what one job sets for good, such as a propeller that it fits, stands for what needs it, and those for
// which it stands otherwise for others of the airframe. One job alone has them in its order, but for what another one, that may be over,
// has set.
func (c *scheduler) sides() (all []stretch) {
	if c.mixed {
		return nil
	}
	for of, s := range c.fleet {
		for k := range s.Sheet.Conditions {
			def := &s.Sheet.Conditions[k]
			guarded := steps.Setting{Condition: def.Name, State: def.Guarded}
			jobs, good := map[*Job]bool{}, false
			for i := range c.tasks {
				if t := &c.tasks[i]; t.of == of && t.step != nil {
					jobs[t.job] = true
					good = good || lists.Contains(t.so, guarded) && !s.staysNot(t.work, guarded)
				}
			}
			stands := s.Holds(def.Name, c.now) == def.Guarded && s.ender(guarded) == nil // by what is done
			if def.Guarded == "" || def.Bench || !stands && (!good || len(jobs) < 2) {
				continue
			}
			c.setOnceMore(of, def.Name)
			from := len(all)
			for i := range c.tasks {
				t := &c.tasks[i]
				if t.of != of || t.step == nil {
					continue
				}
				for _, is := range t.step.Needs {
					if first, stands := c.stoodSince(i, is); is.Condition == def.Name && stands {
						n := slices.IndexFunc(all[from:], func(st stretch) bool { return st.is == is && st.first == first })
						if n < 0 {
							n = len(all) - from
							all = append(all, stretch{of, first, nil, -1, is})
						}
						all[from+n].tasks = append(all[from+n].tasks, i)
					}
				}
			}
		}
	}
	return all
}

// setOnceMore has a condition set once more for what needs it, where something else of its airframe sets it otherwise before, or it stands
// otherwise now: by the step of the job that sets it so, as a propeller that a repair has fitted comes off for the check that goes on.
func (c *scheduler) setOnceMore(of int, condition string) {
	for i := range c.tasks {
		t := c.tasks[i]
		if t.of != of || t.step == nil || t.again != "" {
			continue
		}
		for _, is := range t.step.Needs {
			first, stands := c.stoodSince(i, is)
			if is.Condition != condition || stands || first < 0 && c.fleet[of].Holds(condition, c.now) == "" {
				continue
			}
			for _, sets := range t.work.Steps() {
				if !lists.Contains(sets.Sets, is) {
					continue
				}
				f := front{}
				if first >= 0 {
					f.wait(link{first, c.tasks[first].minutes, tie{why: AfterStep}})
				}
				k := c.add(task{of: of, job: t.job, work: t.work, stage: t.stage, step: sets, minutes: c.minutes(t.work, sets), again: AgainReady}, f)
				c.tasks[k].so, c.byCondition = c.settings(&c.tasks[k]), nil
				for other := range c.tasks[:k] {
					if o := &c.tasks[other]; o.job == t.job && o.step != nil && lists.Contains(o.step.Needs, is) {
						if since, so := c.stoodSince(other, is); since == first && !so {
							c.order(k, other)
						}
					}
				}
				break
			}
		}
	}
}

// stoodSince is the task that sets a condition last before another one of its airframe, where it sets it so; -1: it stands so now.
func (c *scheduler) stoodSince(i int, is steps.Setting) (first int, stands bool) {
	first = -1
	for k := range c.tasks {
		if t := &c.tasks[k]; t.step != nil && c.precedes(k, i) && (first < 0 || c.precedes(first, k)) &&
			steps.AnySetting(t.step.Sets, func(set steps.Setting) bool { return set.Condition == is.Condition }) {
			first = k
		}
	}
	if first < 0 {
		return first, c.fleet[c.tasks[i].of].Holds(is.Condition, c.now) == is.State
	}
	return first, lists.Contains(c.tasks[first].step.Sets, is)
}

// keepOut has a task lie before the first of two others, or after the last; without a first, after the last.
func (c *scheduler) keepOut(i, first, last int) {
	why := tie{why: AfterStep}
	after := plan.Delay{From: last, To: i, Least: c.tasks[last].minutes}
	if c.precedes(last, i) || first >= 0 && c.precedes(i, first) {
		return
	}
	between := c.precedes(i, last) // by the documents, or else before the first
	switch {
	case first < 0 || c.precedes(first, i):
		if between {
			return
		}
		c.delay(after.From, after.To, after.Least, why)
	case between:
		c.delay(i, first, c.tasks[i].minutes, why)
	default:
		c.either(plan.Delay{From: i, To: first, Least: c.tasks[i].minutes}, after, why)
	}
	c.held = true // it could be ended for a while
}

// disturbedAt is a gap of a row about which nothing is decided, in which something sets or needs otherwise what is set for it; -1: none.
func (c *scheduler) disturbedAt(at int, starts []int) int {
	r := c.rows[at]
	is := c.cutOf(at, starts)
	aside := c.aside(r.of, r.tasks[0], r.is)
	for n, i := range append(aside, c.against(r.of, r.is)...) {
		if lists.Contains(r.all, i) {
			continue
		}
		for g, what := range is.gaps {
			before, after := r.around(is, g)
			ending := g == len(is.tasks)
			switch {
			case what != undecided || after < 0 || ending && n >= len(aside) && c.ends(i, r.of, r.is):
			case before < 0 && !r.stands(c), before >= 0 && starts[i]+c.tasks[i].minutes <= starts[before]:
			case starts[i] < starts[after]+c.tasks[after].minutes:
				return g
			}
		}
	}
	return -1
}

// tended reports whether somebody stays by what a row sets: it is guarded on its airframe, and there are others to work at.
func (c *scheduler) tended(r *row) bool {
	return len(c.fleet) > 1 && c.guardedBy(r)
}

// alone reports whether work at another airframe is begun between two tasks of a row that somebody stays by, or from now on until one,
// while nobody is at this one. Of several people whoever would stay may be wanted elsewhere: there nobody is at it for any time between
// two tasks, also where a second person is waited for. From now on that is not so for what goes on, and what a clock that runs leaves
// no time to end it before.
func (c *scheduler) alone(r *row, before, after int, starts []int) bool {
	if !c.tended(r) {
		return false
	}
	from := 0 // it stands so now
	if before >= 0 {
		from = starts[before] + c.tasks[before].minutes
	}
	if before >= 0 && c.hands > 1 {
		for at := -1; at < from; {
			at = from
			for i := range c.tasks {
				if t := &c.tasks[i]; t.of == r.of && t.step != nil && starts[i] <= at {
					from = max(from, starts[i]+t.minutes)
				}
			}
		}
		return from < starts[after]
	}
	var pressing []int
	if before < 0 {
		pressing = c.pressing(c.offMinutes(r))
	}
	for i := range c.tasks {
		t := &c.tasks[i]
		if t.of == r.of || t.step == nil || starts[i] < from || starts[i] >= starts[after] || before < 0 && (c.inHandNow(t) || c.leadsTo(i, pressing)) {
			continue
		}
		here := false
		for k := range c.tasks {
			own := &c.tasks[k]
			here = here || own.of == r.of && own.step != nil && starts[k] <= starts[i] && starts[i] < starts[k]+own.minutes
		}
		if !here {
			return true
		}
	}
	return false
}

// tend has tasks that somebody stays by follow each other, with what comes between them and what must be waited for.
func (c *scheduler) tend(r *row, run []int) {
	if len(run) < 2 || !c.tended(r) {
		return
	}
	minutes, in := 0, make([]bool, len(c.tasks))
	for i := range c.tasks {
		in[i] = lists.Contains(run, i) || slices.ContainsFunc(run, func(a int) bool {
			return c.precedes(a, i) && slices.ContainsFunc(run, func(b int) bool { return c.precedes(i, b) })
		})
		if in[i] {
			minutes += c.tasks[i].minutes
		}
	}
	var among []plan.Delay // that of many airframes few have to do with it
	for _, d := range c.delays {
		if d.Least >= 0 && in[d.From] && in[d.To] {
			among = append(among, d)
		}
	}
	waits, longest := make([]int, len(c.tasks)), 0 // until each of them, at most
	for range in {                                 // each comes after others
		more := false
		for _, d := range among {
			if n := waits[d.From] + max(0, d.Least-c.tasks[d.From].minutes); n > waits[d.To] {
				waits[d.To], longest, more = n, max(longest, n), true
			}
		}
		if !more {
			break
		}
	}
	for _, first := range run {
		for _, last := range run {
			if first == last || c.precedes(last, first) {
				continue
			}
			c.delay(last, first, c.tasks[last].minutes-minutes-longest, tie{})
			if longest == 0 || c.hands > 1 || slices.ContainsFunc(run, func(k int) bool { return c.precedes(k, first) || c.precedes(last, k) }) {
				continue
			}
			for i := range c.tasks { // the only person doesn't go to another one meanwhile
				if c.tasks[i].of != r.of && c.tasks[i].step != nil {
					c.keepOut(i, first, last)
				}
			}
		}
	}
}

// pressed reports whether a clock runs that a task must be done by, or what comes after it.
func (c *scheduler) pressed(i int) bool {
	for k := range c.tasks {
		if c.tasks[k].late != nil && (k == i || c.precedes(i, k)) {
			return true
		}
	}
	return false
}

// pressing are the tasks that a clock that runs leaves too little time for where nothing that leads to any of them is begun for so many
// minutes: by the delays before each, or, where there is one pair of hands, by what else must be done by then for such clocks. With yields
// set, all that such a clock runs for.
func (c *scheduler) pressing(minutes int) (all []int) {
	for k := range c.tasks {
		if t := &c.tasks[k]; t.late != nil && (c.yields || c.soonest(k, minutes) > t.latest) {
			all = append(all, k)
		}
	}
	return all
}

// soonest is when a task can begin where nothing that leads to it, or to what must be done before it, is begun for so many minutes.
func (c *scheduler) soonest(k, minutes int) int {
	begins, work := make([]int, len(c.tasks)), minutes
	var by []int // what must be done by then
	for i := range c.tasks {
		begins[i] = max(minutes, c.tasks[i].earliest)
		if t := &c.tasks[i]; t.late != nil && t.latest <= c.tasks[k].latest {
			by = append(by, i)
		}
	}
	for i := range c.tasks {
		if i != k && c.leadsTo(i, by) {
			work += c.tasks[i].minutes
		}
	}
	for again := true; again; {
		again = false
		for _, d := range c.delays {
			if n := begins[d.From] + d.Least; d.Least >= 0 && n > begins[d.To] && c.precedes(d.From, k) && (d.To == k || c.precedes(d.To, k)) {
				begins[d.To], again = n, true
			}
		}
	}
	if c.hands > 1 {
		return begins[k]
	}
	return max(begins[k], work)
}

// leadsTo reports whether a task is one of these, or comes before one.
func (c *scheduler) leadsTo(i int, all []int) bool {
	return slices.ContainsFunc(all, func(k int) bool { return k == i || c.precedes(i, k) })
}

// stayBy has somebody stay by what stands so now: the only person does nothing at other airframes before these tasks of the row are done,
// and of several nobody begins anything there before the first of them, but for what a clock that runs leaves no time to end it before.
func (c *scheduler) stayBy(r *row, until ...int) {
	others := func(t *task) bool { return t.of != r.of }
	switch {
	case len(until) == 0 || !c.tended(r):
	case c.hands > 1:
		c.comesFirst(until[0], c.offMinutes(r), others)
	default:
		for _, k := range until {
			c.comesFirst(k, c.offMinutes(r), others)
		}
	}
}

// comesFirst has others wait for a task, of several people until it is begun, but for what goes on, and what a clock that runs doesn't leave
// so many minutes before.
func (c *scheduler) comesFirst(k, minutes int, others func(t *task) bool) {
	least, pressing := c.tasks[k].minutes, c.pressing(minutes)
	if c.hands > 1 {
		least = 0
	}
	for i := range c.tasks {
		if t := &c.tasks[i]; i != k && t.step != nil && others(t) && !c.precedes(k, i) && !c.precedes(i, k) && !c.inHandNow(t) && !c.leadsTo(i, pressing) {
			c.delay(k, i, least, tie{why: AfterStep})
		}
	}
}

// inHandNow reports whether somebody is at a task now, and goes on with it.
func (c *scheduler) inHandNow(t *task) bool { return t.since < 0 && !c.laysBy }

// stands reports whether what is plugged in now, in the sitting that goes on, is so for a task.
func (c *scheduler) stands(i int) bool {
	t := &c.tasks[i]
	if t.step == nil || !c.goesOn() {
		return false
	}
	s := c.fleet[t.of]
	plugged := sorting.Delete(s.pluggedIn(c.now), func(is steps.Setting) bool { return c.endsNow(t.of, is) })
	return len(plugged) > 0 && s.isFor(plugged, t.job, t.step, c.now)
}

// guardedBy reports whether what a row sets is guarded on its airframe.
func (c *scheduler) guardedBy(r *row) bool {
	def, _ := c.fleet[r.of].Sheet.Condition(r.is.Condition)
	return !def.Bench && def.Guarded == r.is.State
}

// aside are the tasks of other jobs of its airframe that do not come between what a row plugs in and the end of that, but for what a
// clock that runs doesn't leave time for: nobody lays by what is armed, or has hands at it for something else.
func (c *scheduler) aside(of, task int, is steps.Setting) (all []int) {
	if def, _ := c.fleet[of].Sheet.Condition(is.Condition); def.Bench || def.Guarded != is.State {
		return nil
	}
	for i := range c.tasks {
		if t := &c.tasks[i]; t.of == of && t.step != nil && t.job.ID != c.tasks[task].job.ID && !c.pressed(i) {
			all = append(all, i)
		}
	}
	return all
}
