package workflow

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"time"

	"fettle/steps"
	"fettle/steps/lists"
)

// This file leaves out of a plan what fits no sitting, with what must be done in the same one, and says which longer sitting would
// do, which was tried. The rest is planned.

// tooLong is what fits no sitting: of all that does not, what takes longest. Its first turn is what is left out for it. nil: all of it
// fits.
func (c *scheduler) tooLong() (e *NoPlan) {
	longest := c.longest()
	most := longest
	take := func(needs int, what ...int) {
		if needs <= most {
			return
		}
		most = needs
		e = &NoPlan{Why: TooLong, Together: len(what) > 1, Takes: minutesOf(needs), Has: minutesOf(longest)}
		for _, i := range what {
			if turn := c.turn(i, -1); len(e.Turns) == 0 || e.Turns[0].Step != turn.Step {
				e.Turns = append(e.Turns, turn)
			}
		}
	}
	for i := range c.tasks {
		t := &c.tasks[i]
		if t.step == nil {
			continue
		}
		take(t.minutes, i)
		for _, w := range t.window {
			if w.from >= 0 && !c.bridges(w, t) {
				take(w.end-w.room+max(0, min(t.spare, longest-t.minutes)), w.from, i)
			}
		}
	}
	for k, d := range c.delays { // what must follow at once
		if d.Least < 0 && c.ties[k] == (tie{}) {
			take(c.tasks[d.To].minutes+c.tasks[d.From].minutes, d.To, d.From)
		}
	}
	for _, r := range c.rows {
		for _, i := range r.tasks {
			if needs, with := c.inRow(r, i); needs > 0 {
				take(needs, i, with)
			}
		}
	}
	return e
}

//go:noinline
func (c *scheduler) longest() (minutes int) {
	for _, w := range c.sittings {
		minutes = max(minutes, w.To-w.From)
	}
	return minutes
}

// bridges reports whether a window is long enough for what opens it in one sitting, and the task in the next one.
func (c *scheduler) bridges(w closing, t *task) bool {
	for k := 1; k < len(c.sittings); k++ {
		if c.sittings[k].From-c.sittings[k-1].To+c.tasks[w.from].minutes+t.minutes <= w.end-w.spare {
			return true
		}
	}
	return false
}

// inRow is how long a sitting a task of a row takes at the least, with what sets the row and ends it, and one of those; 0: it fits
// the sitting that goes on.
func (c *scheduler) inRow(r *row, i int) (minutes, with int) {
	off := c.offMinutes(r)
	if i == r.ender {
		off = 0
	}
	own := c.tasks[i].minutes + off
	if r.setter < 0 && r.now && c.goesOn() && minutesOfAll(c.readying(r, []int{i}, true))+own <= c.sittings[0].To-c.sittings[0].From {
		return 0, i
	}
	minutes, with = minutesOfAll(c.readying(r, []int{i}, false)), i
	if r.setter >= 0 && i != r.setter {
		first := c.tasks[r.setter].minutes
		for _, k := range r.tasks {
			if c.precedes(k, i) && !c.productive(r, []int{k}) {
				first += c.tasks[k].minutes
			}
		}
		minutes, with = min(minutes, first), r.setter
	}
	return minutes + own, with
}

// leavesLong leaves out what fits no sitting, so that the rest is planned. It is false of what a window that is open, what stands hot,
// on or plugged in, or what crashed and is not safe yet cannot wait for, nor a coat that is done once more: why that has no plan is
// said in place of a plan.
func (of *scheduler) leavesLong(c *scheduler, e *NoPlan) bool {
	if e == nil || of.whole || of.long[e.key()] != nil {
		return false
	}
	key := e.key()
	first := slices.IndexFunc(c.tasks, func(t task) bool { return t.step != nil && c.keyOf(&t) == key })
	after := func(i int) bool { return i == first || c.precedes(first, i) }
	for i := range c.tasks {
		if t := &c.tasks[i]; (t.safe || t.late != nil) && after(i) {
			return false
		}
	}
	for _, g := range c.slack {
		if t := &c.tasks[first]; g.far == 2 && g.end.mark == c.fleet[t.of].Airframe.Mark && g.end.job == t.job.ID && g.end.name == t.step.Joint {
			return false
		}
	}
	for _, r := range c.rows {
		if r.now && (slices.ContainsFunc(r.tasks, after) || r.ender >= 0 && after(r.ender)) {
			return false
		}
	}
	if of.long = maps.Clone(of.long); of.long == nil {
		of.long = map[string]*NoPlan{}
	}
	of.long[key] = e
	return true
}

//go:noinline
func (c *scheduler) keyOf(t *task) string {
	return stepKey(c.fleet[t.of].Airframe.Mark, t.job.ID, t.step.Name)
}

// longestLeft is what takes longest of what is left out; nil: nothing is.
func (of *scheduler) longestLeft() (e *NoPlan) {
	for _, no := range of.long {
		if e == nil || no.Takes > e.Takes || no.Takes == e.Takes && no.key() < e.key() {
			e = no
		}
	}
	return e
}

// lengthy says why a step is left out that fits no sitting.
func (c *scheduler) lengthy(s *State, j *Job, step *steps.Step) []Reason {
	no := c.long[stepKey(s.Airframe.Mark, j.ID, step.Name)]
	if no == nil {
		return nil
	}
	says := "it takes %d min without a break, and your longest sitting has %d min"
	if no.Together {
		says = "with what belongs in the same sitting it takes %d min, and your longest one has %d min"
	}
	return []Reason{{Because: ByTime, Text: fmt.Sprintf(says, down(no.Takes), down(no.Has))}}
}

// lengthens says with which longer sittings all of it can be planned, at the temperature that is advised.
func (of *scheduler) lengthens(ctx context.Context, t *Timetable) {
	no := of.longestLeft()
	if no == nil || len(t.Stops) == 0 {
		return
	}
	is := *of
	is.root, is.long = &is, nil
	if t.Bench != nil {
		is.h.Celsius = t.Bench
	}
	is.help(ctx, no)
	t.Free = no.Free
}

// onceAWeek are the sittings, the longest of each week, of several the last, so long where it can be before the next.
func onceAWeek(given []Sitting, length time.Duration) []Sitting {
	all, most, until := slices.Clone(given), -1, time.Time{}
	lengthen := func() {
		if most < 0 {
			return
		}
		one := atLeast(given[most:min(most+2, len(given))], length)
		all[most] = one[0]
	}
	for i, s := range given {
		if !s.From.Before(until) {
			lengthen()
			most, until = i, s.From.AddDate(0, 0, 7)
		} else if s.To.Sub(s.From) >= given[most].To.Sub(given[most].From) {
			most = i
		}
	}
	lengthen()
	return all
}

// begunInVain are the steps that would be begun for nothing, since the plan does not reach what they are for: what sets a row in which
// nothing is done, and what coats a joint that isn't joined.
func (c *scheduler) begunInVain() (all []int) {
	for _, r := range c.rows {
		switch {
		case r.ender >= 0 || c.productive(r, r.tasks):
		case r.setter >= 0:
			all = append(all, r.setter)
		default:
			all = append(all, r.tasks[0])
		}
	}
	for i := range c.tasks {
		t := &c.tasks[i]
		if t.step == nil || t.again != "" {
			continue
		}
		joins, reached := 0, false
		for _, part := range t.work.JointParts(t.step.Joint) {
			if part.Join != "" && t.act != ToPress && t.step.Kind.Traits().Coats && lists.Contains(part.Coats, t.step.Name) {
				_, planned := c.byStep[stepOf{t.work, part.Join}]
				joins, reached = joins+1, reached || planned
			}
		}
		if joins > 0 && !reached {
			all = append(all, i)
		}
	}
	return all
}
