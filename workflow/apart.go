package workflow

import (
	"slices"
	"time"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/workflow/plan"
)

// This file keeps apart what may not be done at once, or while something is open: in either order.

// gatesOf keeps what is measured apart from what is glued in its zones: measured before, or once that has handling strength.
func (c *scheduler) gatesOf(of int, s *State, first int) {
	for i := first; i < len(c.tasks); i++ {
		t := &c.tasks[i]
		if t.step == nil || len(t.step.Gates) == 0 {
			continue
		}
		for _, join := range c.joins {
			if join.of != of || !c.measures(s, t, join.zones) || c.precedes(i, join.task) {
				continue
			}
			lasts := c.tasks[join.task].minutes + up(join.adhesive.Times.Least(join.adhesive.Times.Handling, c.climateOf(of)))
			why := tie{why: AfterHandling, joint: join.joint}
			if c.precedes(join.task, i) {
				c.delay(join.task, i, lasts, why)
			} else {
				c.either(plan.Delay{From: i, To: join.task, Least: t.minutes}, plan.Delay{From: join.task, To: i, Least: lasts}, why)
			}
		}
		for _, p := range s.joints() {
			if !p.Joined.IsZero() && c.measures(s, t, p.Zones) { // also one that is joined anew: it is refused till then
				c.follow(i, front{at: c.minute(p.Handles()), early: tie{why: AfterHandling, joint: p.Name, until: p.Handles()}})
			}
		}
	}
}

// measures reports whether a task measures a gate of any of the zones.
func (c *scheduler) measures(s *State, t *task, zones []string) bool {
	for _, g := range s.Sheet.Gates {
		if t.step.AsksFor(g.Name) && !g.Work && g.DependsOn(zones...) {
			return true
		}
	}
	return false
}

func (c *scheduler) either(one, other plan.Delay, why tie) {
	c.eithers, c.eitherBy = append(c.eithers, plan.Either{One: one, Other: other}), append(c.eitherBy, why)
}

// A heat is a row of tasks, or one, for which conditions are as they may not be beside some coats. What a step sets stays so
// until a later one of its job sets it otherwise, in whichever stage.
type heat struct {
	of, first, last int
	is              []steps.Setting
}

// A heatOf is the task that begins or ends a heat, of one condition.
type heatOf struct {
	task int
	is   steps.Setting
}

// free reports whether nothing is decided about a heat that the task begins or ends, so that it is kept from no coat.
//
//go:noinline
func (c *scheduler) free(i int, is steps.Setting) bool { return c.loose && !c.fixed[heatOf{i, is}] }

// apart keeps away from each other what an open coat and its vapour need, and what needs or sets it otherwise.
func (c *scheduler) apart() {
	heats := c.hot
	within := func(i int, is steps.Setting) bool {
		return slices.ContainsFunc(heats, func(h heat) bool {
			return h.last != h.first && h.is[0] == is && (i == h.last || c.precedes(h.first, i) && c.precedes(i, h.last))
		})
	}
	for i := range c.tasks {
		t := &c.tasks[i]
		if t.step == nil {
			continue
		}
		own := heat{of: t.of, first: i, last: i}
		for _, is := range t.so {
			switch last := c.setUntil(i, is); {
			case within(i, is):
			case last != i && c.free(i, is) && c.fleet[t.of].staysNot(t.work, is):
				own.is = append(own.is, is)
			case last != i:
				heats = append(heats, heat{t.of, i, last, []steps.Setting{is}})
				if last == i+1 && t.again == "" && c.tasks[last].stage == t.stage && c.fleet[t.of].staysNot(t.work, is) {
					c.delay(last, i, -t.minutes, tie{}) // a charger is not left on until the next sitting
					c.held = true                       // nor need it be unplugged at once
				}
			default:
				own.is = append(own.is, is)
			}
		}
		if len(own.is) > 0 {
			heats = append(heats, own)
		}
	}
	c.heldNow()
	for _, join := range c.joins {
		for _, h := range heats {
			if c.harmful(join, h) {
				c.keepApart(join, h)
			}
		}
	}
	for of, s := range c.fleet {
		c.apartFrom(of, s, heats)
	}
	beside := map[string]bool{}
	for _, s := range c.fleet {
		beside[s.Airframe.Mark] = true
	}
	for _, s := range c.fleet {
		for _, other := range s.others {
			if !beside[other.Airframe.Mark] { // on the same bench, with nothing that is planned
				beside[other.Airframe.Mark] = true
				c.apartFrom(-1, other, heats)
			}
		}
	}
}

// apartFrom has heat wait for what is open of coats, or of their vapour, and is joined by no task.
func (c *scheduler) apartFrom(of int, s *State, heats []heat) {
	for _, coat := range s.coatsOn(c.now) {
		if c.joinsFrom(of, coat) {
			continue
		}
		for _, h := range heats {
			if c.otherwise(c.fleet[h.of], coat.needs, h.is, h.of != of) {
				c.follow(h.first, front{at: c.minute(coat.until), early: tie{why: AfterVapour, until: coat.until}})
			}
		}
	}
}

// joinsFrom reports whether a coat that is on is joined by a task of the same airframe, which its vapour counts from.
func (c *scheduler) joinsFrom(of int, coat openCoat) bool {
	return slices.ContainsFunc(c.joins, func(j joinTask) bool {
		return coat.Joint != nil && j.of == of && j.open && j.joint == coat.Name && c.tasks[j.task].job.ID == coat.Job
	})
}

// setting finds what each task needs and sets, where that is not known.
func (c *scheduler) setting() {
	for i := range c.tasks {
		if t := &c.tasks[i]; t.step != nil && t.so == nil {
			t.so = c.settings(t)
		}
	}
}

// settings are what a task needs and sets.
func (c *scheduler) settings(t *task) []steps.Setting {
	var adhesives []string
	if t.adhesive != nil {
		adhesives = []string{t.adhesive.Name}
	}
	return settingsOf(t.step, c.fleet[t.of].Sheet.UsesOf(*t.step, adhesives...))
}

// settingsOf are what a step sets and needs, and then what is needed by what it is done with.
func settingsOf(step *steps.Step, uses []steps.Use) []steps.Setting {
	all := slices.Concat(step.Sets, step.Needs)
	for i := range uses {
		all = append(all, uses[i].NeedsAt(*step)...)
	}
	return all
}

// setUntil is the task of the same job, and after it, that first sets the condition otherwise after it was set by this one; this
// one where none does.
func (c *scheduler) setUntil(i int, is steps.Setting) int {
	if !lists.Contains(c.tasks[i].step.Sets, is) {
		return i
	}
	return c.nextOtherwise(i, is)
}

func (c *scheduler) nextOtherwise(i int, is steps.Setting) int {
	first := i
	for k := range c.tasks {
		if c.tasks[k].job == c.tasks[i].job && c.precedes(i, k) && c.tasks[k].setsOtherwise(is) && (first == i || c.precedes(k, first)) {
			first = k
		}
	}
	return first
}

func (t *task) setsOtherwise(is steps.Setting) bool {
	return t.step != nil && steps.AnySetting(t.step.Sets, func(set steps.Setting) bool { return set.Condition == is.Condition && set.State != is.State })
}

// heldNow has coats wait for the task that ends how a condition stands now, where it stands otherwise than they need it: what
// set it so was done before.
func (c *scheduler) heldNow() {
	for k := range c.tasks {
		t := &c.tasks[k]
		if t.step == nil {
			continue
		}
		for _, set := range t.step.Sets {
			is := steps.Setting{Condition: set.Condition, State: c.fleet[t.of].Holds(set.Condition, c.now)}
			if is.State == "" || is.State == set.State || c.setBefore(k, is) || c.barest { // once it is set again it is a row
				continue
			}
			rowed := slices.ContainsFunc(c.rows, func(r *row) bool { return r.setter < 0 && r.of == t.of && r.is == is && lists.Contains(r.all, k) })
			if rowed && c.free(k, is) {
				continue
			}
			for _, join := range c.joins {
				if !c.otherwise(c.fleet[t.of], join.adhesive.Needs, []steps.Setting{is}, join.of != t.of) {
					continue
				}
				for _, coat := range join.begins() {
					if coat != k && !c.precedes(coat, k) && !join.open {
						c.held, c.bare = true, c.bare || !rowed // it could be ended for a while
						c.delay(k, coat, t.minutes, tie{why: AfterStep})
					}
				}
			}
		}
	}
}

// otherwise reports whether any of the settings is not as it is needed; of another airframe those of the bench alone count.
func (c *scheduler) otherwise(s *State, needs, is []steps.Setting, beside bool) bool {
	for _, need := range needs {
		for _, set := range is {
			if need.Condition == set.Condition && need.State != set.State && (!beside || s.ofBench(need.Condition)) {
				return true
			}
		}
	}
	return false
}

func (c *scheduler) harmful(join joinTask, h heat) bool {
	t := &c.tasks[join.task]
	alone := h.first == h.last && len(join.coats) == 0 && !join.open && join.adhesive.Times.Vapour == 0
	if alone && c.hands == 1 { // they are not done at once anyway
		return false
	}
	if first := &c.tasks[h.first]; first.work == t.work && first.step.Joint == join.joint && h.first == h.last {
		return false // what spreads a coat or joins its joint does it no harm
	}
	return c.otherwise(c.fleet[h.of], join.adhesive.Needs, h.is, join.of != h.of)
}

// keepApart has the tasks lie before the coat is begun, or after it is joined and its vapour is gone.
func (c *scheduler) keepApart(join joinTask, h heat) {
	if t := &c.tasks[h.first]; !c.held && h.first != h.last && c.fleet[t.of].staysNot(t.work, h.is[0]) {
		c.held = true
	}
	why := tie{why: AfterVapour, joint: join.joint}
	after, before := c.asideOf(join, h)
	if before == nil {
		c.delay(after.From, after.To, after.Least, why)
	}
	for _, d := range before {
		c.either(d, after, why)
	}
}

// asideOf is when the tasks lie after the coat, and, by what the coat begins with, when before it: one of the two is kept. Without any,
// they lie after it.
func (c *scheduler) asideOf(join joinTask, h heat) (after plan.Delay, before []plan.Delay) {
	after = plan.Delay{From: join.task, To: h.first, Least: c.tasks[join.task].minutes + up(join.adhesive.Times.Vapour)}
	if c.precedes(join.task, h.first) || join.open && !c.precedes(h.first, join.task) {
		return after, nil
	}
	before = []plan.Delay{}
	begins := join.begins()
	for _, coat := range begins {
		if c.precedes(h.last, coat) || slices.ContainsFunc(begins, func(other int) bool { return other != coat && c.precedes(other, coat) }) {
			continue
		}
		if h.first != h.last && c.precedes(h.first, coat) && c.precedes(coat, h.last) {
			continue // in this order somebody must set it by hand, whenever they are done
		}
		before = append(before, plan.Delay{From: h.last, To: coat, Least: c.tasks[h.last].minutes})
	}
	return after, before
}

// spoils reports whether a coat lies between two tasks, in a plan in which it stays between them as it may not be beside the coat.
func (c *scheduler) spoils(h heat, starts []int) bool {
	holds := func(d plan.Delay) bool { return starts[d.To] >= starts[d.From]+d.Least }
	for _, join := range c.joins {
		if !c.harmful(join, h) {
			continue
		}
		after, before := c.asideOf(join, h)
		if holds(after) {
			continue
		}
		if before == nil || slices.ContainsFunc(before, func(d plan.Delay) bool { return !holds(d) }) {
			return true
		}
	}
	return false
}

// begins are the tasks that the joint may first be glued by.
func (j joinTask) begins() []int {
	if len(j.coats) == 0 {
		return []int{j.task}
	}
	return j.coats
}

// safety has everything wait, on every airframe, until what crashed is made safe: but for what has a clock that runs, and what
// comes before that itself.
func (c *scheduler) safety() {
	var firsts []int
	for i := range c.tasks {
		if t := &c.tasks[i]; t.safe {
			t.safe = t.onlyAfter(c, func(other *task) bool { return other.safe })
			if t.safe {
				firsts = append(firsts, i)
			}
		}
	}
	for _, first := range firsts {
		for i := range c.tasks {
			t := &c.tasks[i]
			if !t.safe && t.late == nil && t.step != nil && t.onlyAfter(c, func(other *task) bool { return other.safe || other.late != nil }) {
				c.delay(first, i, c.tasks[first].minutes, tie{why: AfterStep})
			}
		}
	}
}

// makesSafe reports whether the step makes safe what crashed.
func (s *State) makesSafe(r *StepReport, now time.Time) bool {
	job, err := s.Job(r.Job)
	if err != nil {
		return false
	}
	stage, _ := job.Procedure.Stage(r.Stage)
	i := slices.IndexFunc(stage.Steps, func(step steps.Step) bool { return step.Name == r.Step.Name })
	return s.safeStage(job, &stage, now) && i <= s.madeSafe(&stage)
}

// madeSafe is the last step of a stage that makes safe what crashed, after which it is: that sets something on the aircraft, or confirms
// something of it. What else is done in the stage then, such as photographs, keeps nobody from other airframes.
func (s *State) madeSafe(stage *steps.Stage) (last int) {
	last = len(stage.Steps) - 1
	for i := last; i >= 0; i-- {
		if s.secures(&stage.Steps[i]) {
			return i
		}
	}
	return last
}

// secures reports whether a step sets something on the aircraft, or confirms something of it.
func (s *State) secures(step *steps.Step) bool {
	return len(step.Confirm) > 0 || steps.AnySetting(step.Sets, func(is steps.Setting) bool { return !s.ofBench(is.Condition) })
}

// safeStage reports whether a stage makes safe what crashed: of a repair the one that is written so, and of what looks a damaged
// airframe over the first, where something is unplugged or taken off in it.
func (s *State) safeStage(j *Job, stage *steps.Stage, now time.Time) bool {
	if len(j.Damages) > 0 {
		return stage.Phase == steps.Safe
	}
	return len(stage.After) == 0 && s.turns([]*Job{j}, now)[j.ID] == RankLooksOver && slices.ContainsFunc(stage.Steps, func(step steps.Step) bool {
		return steps.AnySetting(step.Sets, func(is steps.Setting) bool {
			def, _ := s.Sheet.Condition(is.Condition)
			return def.Guarded != "" && def.Guarded != is.State
		})
	})
}

// atOnce reports whether a task waits for no sitting and is planned in a later one all the same: what makes safe what crashed, and
// sets something on the aircraft or confirms something of it. What else is done then, such as photographs, can wait.
func (c *scheduler) atOnce(t *task, from time.Time) bool {
	return t.safe && from.Sub(c.now) > Soon && c.fleet[t.of].secures(t.step)
}

// onlyAfter reports whether all that comes before the task is so.
func (t *task) onlyAfter(c *scheduler, is func(*task) bool) bool {
	for i := range c.tasks {
		other := &c.tasks[i]
		if other.of == t.of && t.waitsFor(other) && !is(other) {
			return false
		}
	}
	return true
}
