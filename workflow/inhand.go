package workflow

import (
	"context"
	"slices"
	"time"

	"fettle/steps/sorting"
	"fettle/workflow/plan"
)

// This file knows who does what in a plan for several: whoever is at a step stays at it when it is planned anew, and of the rest as much
// as can be is done by those who were to do it.

// shown are the turns of what was shown before that are left, and which of them is the same as a task.
func (c *scheduler) shown() (all []*Turn, at map[sameTurn]int) {
	count := map[sameTurn]int{}
	at = map[sameTurn]int{}
	for k := range c.h.Like.Visits {
		turns := c.h.Like.Visits[k].Turns
		for i := range turns {
			if t := &turns[i]; !t.over(c.now) {
				at[t.in(count)] = len(all)
				all = append(all, t)
			}
		}
	}
	return all, at
}

// same is the task as a turn.
//
//go:noinline
func (c *scheduler) same(t *task) sameTurn {
	return sameTurn{c.fleet[t.of].Airframe.Mark, t.job.ID, t.step.Name, t.rework, t.act, t.again, 0}
}

// goingOn finds the plan in which what somebody is at goes on; where there is none, or fewer windows are lost without, one in which it need
// not.
func (of *scheduler) goingOn(ctx context.Context, o plan.Options) (Timetable, error) {
	of.findInHand()
	t, err := of.find(ctx, o)
	if len(of.inHand) == 0 || err == nil && len(t.Lapses) == 0 {
		return t, err
	}
	of.laysBy = true
	free, no := of.find(ctx, o)
	if of.laysBy = err != nil || no == nil && len(free.Lapses) < len(t.Lapses); of.laysBy {
		return free, no
	}
	return t, nil
}

// findInHand finds what somebody is at: its adhesive was mixed, or its coat is being spread, as the journal has it, or it was begun by what
// was shown before, not recorded, and not for twice as long as it takes, with nothing to hold it back. Each is at one step.
func (c *scheduler) findInHand() {
	if c.hands = c.h.Hands; c.hands < 2 || c.h.Like == nil {
		return
	}
	c.inHand = map[sameTurn]int{}
	begun, _ := c.shown()
	sorting.Stable(begun, func(i, k int) int {
		a, b := begun[i], begun[k]
		return a.Begins.Compare(b.Begins)
	})
	busy := 0
	for _, mixed := range []bool{true, false} {
		for _, t := range begun {
			if !mixed && !t.Begins.Before(c.now) {
				break
			}
			if who := c.setOf(t.Hands); who > 0 && who&busy == 0 && t.Again == "" && t.Rework == "" && c.atWork(t, mixed) {
				c.inHand[t.in(map[sameTurn]int{})], busy = min(c.minute(t.Begins), -1), busy|who
			}
		}
	}
}

// setOf are people as a set; 0: some of them are not there.
//
//go:noinline
func (c *scheduler) setOf(hands []int) (set int) {
	for _, who := range hands {
		if who < 1 || who > c.hands {
			return 0
		}
		set |= 1 << who
	}
	return set
}

// atWork reports whether what was shown is in hand now by the journal, mixed, or as begun can be.
func (c *scheduler) atWork(t *Turn, mixed bool) bool {
	for _, s := range c.fleet {
		job, err := s.Job(t.Job)
		if err != nil || s.Airframe.Mark != t.Mark {
			continue
		}
		r := reportOf(&Planned{Job: t.Job, Step: t.Step, Act: t.Act}, s.trusted(s.stepsIn(job, c.now, every, false), c.now))
		if mixed {
			return r != nil && r.Begun.runs(c.now)
		}
		return r != nil && atHand(r) && c.now.Sub(t.Begins) < minutesOf(2*c.minutes(job.Procedure, &r.Step))
	}
	return false
}

// takeUp has a task that somebody is at take what is left of its minutes, half of them at least (common practice, no source). A coat takes
// all of them: no window opens sooner, or closes later, for what nobody recorded.
func (c *scheduler) takeUp(t *task) {
	if len(c.inHand) == 0 || t.step == nil {
		return
	}
	if t.since = c.inHand[c.same(t)]; !c.laysBy && t.step.Joint == "" && len(c.reworks[t.step.Name]) == 0 {
		t.minutes = max(t.minutes+t.since, (t.minutes+1)/2)
	}
}

// goOn has what somebody is at go on at once, where nothing comes before it.
func (c *scheduler) goOn() {
	for i := range c.tasks {
		t := &c.tasks[i]
		first := !c.laysBy && t.since < 0 && t.earliest == 0
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
	return !c.laysBy && start == 0 && t.since < 0 && t.step.Joint == ""
}

// stay has whoever is at an airframe, as far as is known, do what they were led to there; or, where they recorded something since, what
// comes first there, if what was shown before has that for nobody. Whoever recorded something last where something is plugged in stays by it.
// last is who was at each airframe.
func (c *scheduler) stay(order, starts, wanted, last []int) {
	var on [MostHands + 1]int // from 1
	var led [MostHands + 1]string
	for k, s := range c.fleet {
		for i := range s.seat.At {
			if at := &s.seat.At[i]; !at.Ends && s.stillAt(i, s, c.now) && c.setOf([]int{at.Who}) > 0 && (on[at.Who] == 0 || s.ledAway(at.Who, at.Mark)) {
				on[at.Who], led[at.Who] = k+1, at.Step
			}
		}
	}
	for k, s := range c.fleet {
		plugged := len(s.pluggedIn(c.now)) > 0
		if who, _ := s.lastAt(s, c.now); plugged && c.setOf([]int{who}) > 0 && on[who] != k+1 {
			on[who], led[who] = k+1, ""
		}
		for who, of := range on {
			if of != k+1 {
				continue
			}
			first := -1
			for _, i := range order {
				if t := &c.tasks[i]; t.of == k && starts[i] < int(Present/time.Minute) {
					if is := t.job.ID+"/"+t.step.Name == led[who]; first < 0 || is {
						first = i
						if is || led[who] == "" {
							break
						}
					}
				}
			}
			if last[k] = who; first >= 0 && (plugged || led[who] != "" || wanted[first] == 0) {
				wanted[first] = 1 << who
			}
		}
	}
}

// whose are those who do each task, in the order that they begin: whoever is at it, or coated what it presses, else who was to do it by what
// was shown before, else who was at the airframe before, and is not to do something else meanwhile.
func (c *scheduler) whose(order, starts []int) [][]int {
	wanted, all := make([]int, len(c.tasks)), make([][]int, len(c.tasks))
	if c.h.Like != nil {
		had, at := c.shown()
		count := map[sameTurn]int{}
		for i := range c.tasks {
			if t := &c.tasks[i]; t.step != nil {
				if k, known := at[c.same(t).counted(count)]; known {
					wanted[i] = c.setOf(had[k].Hands)
				}
			}
		}
	}
	until, before := make([]int, c.hands+1), make([]int, len(c.fleet)) // when each is free; who was at an airframe last
	c.stay(order, starts, wanted, before)
	for n, i := range order {
		t := &c.tasks[i]
		ends, others, set := starts[i]+t.minutes, 0, 0
		for _, k := range order[n+1:] {
			if starts[k] >= ends {
				break
			}
			others |= wanted[k]
		}
		for range min(c.hands, c.people(t)) {
			first, least := 0, 4
			for who := 1; who <= c.hands; who++ {
				rank := 2
				switch is := 1 << who; {
				case set&is > 0 || until[who] > starts[i]:
					continue
				case wanted[i]&is > 0:
					rank = 0
				case others&is > 0:
					rank = 3
				case before[t.of] == who:
					rank = 1
				}
				if rank < least {
					first, least = who, rank
				}
			}
			set |= 1 << first
		}
		for who := c.hands; who > 0; who-- {
			if set>>who&1 == 1 {
				all[i], until[who], before[t.of] = append(all[i], who), ends, who
			}
		}
		for k := range c.joins {
			if join := &c.joins[k]; slices.Contains(join.coats, i) {
				wanted[join.task] = set
			}
		}
		slices.Reverse(all[i])
	}
	return all
}
