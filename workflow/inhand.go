package workflow

import (
	"context"
	"time"

	"fettle/steps/sorting"
	"fettle/workflow/plan"
)

// This file knows who does what in a plan for several: whoever is at a step stays at it when it is planned anew, and of the rest as much
// as can be is done by those who were to do it.

// shown are the turns of what was shown before that are left.
func (c *scheduler) shown() map[sameTurn]*Turn {
	all, count := map[sameTurn]*Turn{}, map[sameTurn]int{}
	if c.h.Like == nil {
		return nil
	}
	for _, v := range c.h.Like.Visits {
		for i := range v.Turns {
			if t := &v.Turns[i]; !t.over(c.now) {
				all[t.in(count)] = t
			}
		}
	}
	return all
}

// goingOn finds the plan in which what somebody is at goes on; where there is none, or it gives up more windows, one in which it need not.
func (of *scheduler) goingOn(ctx context.Context, o plan.Options) (Timetable, error) {
	of.findInHand()
	t, err := of.find(ctx, o)
	if len(of.inHand) == 0 || err == nil && len(t.Lapses) == 0 {
		return t, err
	}
	is := *of
	of.laysBy = true
	free, no := of.find(ctx, o)
	if err == nil && (no != nil || free.givesUp() >= t.givesUp()) {
		*of = is
		return t, nil
	}
	return free, no
}

// findInHand finds since when somebody is at a step by what was shown before: begun, not recorded, and not for twice as long as it takes,
// with nothing to hold it back. Each is at one step.
func (c *scheduler) findInHand() {
	c.inHand, c.hands = nil, max(1, c.h.Hands)
	if c.hands < 2 || c.h.Like == nil {
		return
	}
	var begun []*Turn
	for _, v := range c.h.Like.Visits {
		for i := range v.Turns {
			if t := &v.Turns[i]; t.Begins.Before(c.now) && t.Again == "" && t.Rework == "" {
				begun = append(begun, t)
			}
		}
	}
	sorting.Stable(begun, func(a, b *Turn) int { return a.Begins.Compare(b.Begins) })
	busy := 0
	for _, t := range begun {
		if who := c.setOf(t.Hands); who > 0 && who&busy == 0 && c.atWork(t) {
			if c.inHand == nil {
				c.inHand = map[sameTurn]time.Time{}
			}
			c.inHand[t.in(map[sameTurn]int{})], busy = t.Begins, busy|who
		}
	}
}

// setOf are people as a set; 0: some of them are not there.
func (c *scheduler) setOf(hands []int) (set int) {
	for _, who := range hands {
		if who < 1 || who > c.hands {
			return 0
		}
		set |= 1 << who
	}
	return set
}

// atWork reports whether what was shown as begun can be in hand now.
func (c *scheduler) atWork(t *Turn) bool {
	for _, s := range c.fleet {
		job, err := s.Job(t.Job)
		if err != nil || s.Airframe.Mark != t.Mark {
			continue
		}
		of := Planned{Job: t.Job, Step: t.Step, Act: t.Act}
		for _, r := range s.trusted(s.stepsIn(job, c.now, every, false), c.now) {
			if of.has(&r) {
				return atHand(&r) && c.now.Before(t.Begins.Add(minutesOf(2*c.minutes(job.Procedure, &r.Step))))
			}
		}
	}
	return false
}

// takeUp has a task that somebody is at take what is left of its minutes, half of them at least (common practice, no source). A coat takes
// all of them: no window opens sooner, or closes later, for what nobody recorded.
func (c *scheduler) takeUp(t *task) {
	if len(c.inHand) == 0 || t.step == nil {
		return
	}
	since, is := c.inHand[sameTurn{c.fleet[t.of].Airframe.Mark, t.job.ID, t.step.Name, t.rework, t.act, t.again, 0}]
	if !is {
		return
	}
	if t.since = since; !c.laysBy && t.step.Joint == "" && len(c.reworks[t.step.Name]) == 0 {
		t.minutes = max(t.minutes-max(0, -c.minute(since)), (t.minutes+1)/2)
	}
}

// goOn has what somebody is at go on at once, where nothing comes before it.
func (c *scheduler) goOn() {
	for i := range c.tasks {
		t := &c.tasks[i]
		first := !c.laysBy && !t.since.IsZero() && t.earliest == 0
		for _, some := range t.before {
			first = first && some == 0
		}
		if first {
			t.until(0)
		}
	}
}

// continues reports whether a task that begins then is what somebody is at, and was before.
func (c *scheduler) continues(t *task, start int) bool {
	return !c.laysBy && start == 0 && !t.since.IsZero() && t.step.Joint == ""
}

// givesUp counts the windows that a plan does not meet, those that are lost twice.
func (t *Timetable) givesUp() (n int) {
	for i := range t.Lapses {
		if n++; t.Lapses[i].Lost {
			n++
		}
	}
	return n
}

// whose are those who do each task, in the order that they begin: who was to do it by what was shown before, else who was at the airframe
// before, and is not to do something else meanwhile.
func (c *scheduler) whose(order, starts []int) [][]int {
	had, count := c.shown(), map[sameTurn]int{}
	wanted, all := make([]int, len(c.tasks)), make([][]int, len(c.tasks))
	for i := range c.tasks {
		if c.tasks[i].step == nil {
			continue
		}
		turn := c.turn(i, -1)
		if was := had[turn.in(count)]; was != nil {
			wanted[i] = c.setOf(was.Hands)
		}
	}
	until, before := make([]int, c.hands+1), make([]int, len(c.fleet)) // when each is free; who was at an airframe last
	for n, i := range order {
		t := &c.tasks[i]
		others := 0
		for _, k := range order[n+1:] {
			if starts[k] >= starts[i]+t.minutes {
				break
			}
			others |= wanted[k]
		}
		rank := func(who int) int {
			switch {
			case wanted[i]>>who&1 == 1:
				return 0
			case others>>who&1 == 1:
				return 3
			case before[t.of] == who:
				return 1
			}
			return 2
		}
		for len(all[i]) < min(c.hands, c.people(t)) {
			first := 0
			for who := 1; who <= c.hands; who++ {
				if until[who] <= starts[i] && (first == 0 || rank(who) < rank(first)) {
					first = who
				}
			}
			if first == 0 {
				break
			}
			all[i], until[first] = append(all[i], first), starts[i]+t.minutes
		}
		sorting.Stable(all[i], func(a, b int) int { return a - b })
		if len(all[i]) > 0 {
			before[t.of] = all[i][0]
		}
	}
	return all
}
