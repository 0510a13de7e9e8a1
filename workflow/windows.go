package workflow

import (
	"context"
	"math"
	"slices"
	"time"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/workflow/plan"
)

// This file puts the windows of joints and of waits with an end to the planner, and what is spared of them.

// A closing is a window of a task: so many minutes after another began, or between two moments.
type closing struct {
	from       int // task; -1: the moments are of the plan
	opens, end int
	room       int // minutes that are not needed, of which alone something can be spared
	spare      int
	tie        tie
	late       runningEnd // where it runs
}

// A runningEnd is the end of a window that is open already, or of a wait.
type runningEnd struct {
	mark, job, name string
	closes          time.Time
}

// What of a window is left unused at its end: people are slow (common practice, no source).
const (
	spareShare = 5 // a fifth
	spareLeast = 5 // minutes
)

// spareOf is what is to be spared of a window so long, in minutes.
func spareOf(minutes int) int { return max(spareLeast, (minutes+spareShare-1)/spareShare) }

// spare is how much of a window is left unused: less where what must be done in it leaves less.
func (c *scheduler) spare(w closing) int {
	share := spareOf(w.end - max(0, w.opens))
	switch {
	case c.h.Tight:
		return 0
	case w.from < 0: // what must be done in what is left of it nobody can say before the plan
		return share
	}
	return min(w.room, share)
}

// reopens reports whether a clock that runs is given up, so that the step is done again after it.
func (c *scheduler) reopens(s *State, k *Job, stage steps.Stage, i int) bool {
	step := &stage.Steps[i]
	if step.Joint != "" && step.Kind.Traits().Coats {
		for _, p := range k.coatedBy(step.Name, step.Joint) {
			if p.Joined.IsZero() && c.slack.of(c.clockOf(s, p)) == 2 {
				return true
			}
		}
	}
	for n := i; n < len(stage.Steps); n++ {
		if wait := &stage.Steps[n]; wait.Reopens() && within(stage, wait.Late, i) && c.slack.of(runningEnd{s.Airframe.Mark, k.ID, wait.Name, time.Time{}}) == 2 {
			return true
		}
	}
	return false
}

func (c *scheduler) clockOf(s *State, p *Joint) runningEnd {
	return runningEnd{s.Airframe.Mark, p.Job, p.Name, p.Window().Closes.UTC()}
}

// by is the end that a wait before the step sets it; nil: there is none.
func (c *scheduler) by(s *State, j *Job, stage steps.Stage, i int) *closing {
	if i == 0 || stage.Steps[i-1].By.IsZero() {
		return nil
	}
	wait := &stage.Steps[i-1]
	by, _ := wait.By.Duration()
	least, _ := wait.For.Duration()
	name := wait.From
	if name == "" && i > 1 {
		name = stage.Steps[i-2].Name
	}
	out := &closing{from: -1, tie: tie{why: AfterWait, step: wait.Name}, late: runningEnd{s.Airframe.Mark, j.ID, wait.Name, time.Time{}}}
	if at, planned := c.byStep[stepOf{j.Procedure, name}]; planned {
		out.from, out.opens, out.end = at, c.tasks[at].minutes+up(least), c.tasks[at].minutes+down(by)
		out.room = out.end - out.opens - c.minutes(j.Procedure, &stage.Steps[i])
		return out
	}
	from, ok := j.from(stage, i-1)
	if ends := from.at.Add(by); ok && !c.now.After(ends) {
		out.opens, out.end = c.minute(from.at.Add(least)), c.minuteBefore(ends)
		return out
	}
	return nil
}

// close puts the end of a task before that of a window, with something to spare.
func (c *scheduler) close(i int, w closing) {
	t := &c.tasks[i]
	w.spare = c.spare(w)
	if w.from >= 0 {
		t.window = append(t.window, w)
		t.spare = max(t.spare, w.spare)
		c.delay(i, w.from, t.minutes-(w.end-w.spare), w.tie)
		return
	}
	if c.slack.of(w.late) == 2 {
		return
	}
	w.spare = c.slack.left(w.late, w.spare)
	t.window = append(t.window, w)
	if latest := w.end - w.spare - t.minutes; t.late == nil || latest < t.latest {
		t.late = &w.late
		t.until(latest)
	}
}

// window puts a join into the windows of its coats.
func (c *scheduler) window(of int, s *State, k *Job, step *steps.Step, at int) error {
	t := c.tasks[at]
	parts := k.Procedure.JointParts(step.Joint)
	n := slices.IndexFunc(parts, func(p steps.JointPart) bool { return p.Join == step.Name })
	if t.adhesive == nil || n < 0 {
		return nil
	}
	join := joinTask{of: of, task: at, joint: step.Joint, adhesive: t.adhesive, zones: k.Procedure.DisturbedBy(step.Joint), load: step.Load}
	times, climate := t.adhesive.Times, c.climateOf(of)
	least, most := up(times.Least(times.From, climate)), down(times.Most(times.To, climate))
	together := step.Kind.Traits().Coats && t.act != ToPress
	why := tie{why: AfterDrying, joint: step.Joint}
	for _, name := range parts[n].Coats {
		if coat, planned := c.coats[stepOf{k.Procedure, name}]; planned && !together {
			join.coats = append(join.coats, coat)
			c.delay(coat, at, c.tasks[coat].minutes+least, why)
		}
	}
	for _, coat := range join.coats {
		spread := c.tasks[coat].minutes
		// The record takes a coat for as old as is written, even if it was spread in less.
		most := most - max(0, up(handsOf(c.tasks[coat].step))-spread)
		needs := c.between(coat, at) + t.minutes
		if needs > most {
			return c.windowTooShort(t, needs, most)
		}
		c.close(at, closing{from: coat, opens: spread + least, end: most, room: most - needs, tie: why})
	}
	if n < len(k.joints[step.Joint]) && !together {
		p := k.joints[step.Joint][n]
		if len(p.coats) > 0 && p.Joined.IsZero() && !p.Lapsed(c.now) && c.slack.of(c.clockOf(s, p)) < 2 {
			w := p.Window()
			join.open = true
			c.close(at, closing{from: -1, opens: c.minute(w.Opens), end: c.minuteBefore(w.Closes), late: c.clockOf(s, p), tie: tie{why: AfterDrying, joint: step.Joint}})
			c.follow(at, front{at: c.minute(w.Opens), early: tie{why: AfterDrying, joint: step.Joint, until: w.Opens}})
		}
	}
	for _, name := range parts[n].Coats { // what is begun and not on closes for itself
		of, _, known := k.Procedure.Step(name)
		if b, ok := s.begunAt(k, of, c.now); known && ok && b.runs(c.now) {
			late := runningEnd{s.Airframe.Mark, k.ID, name, b.Closes.UTC()}
			c.close(at, closing{from: -1, end: c.minuteBefore(b.Closes), late: late, tie: tie{why: AfterDrying, joint: step.Joint}})
		}
	}
	c.joins = append(c.joins, join)
	return nil
}

// between is how long after a coat its join begins at the soonest: by what comes between them, all of it by the same hands
// where there is one pair.
func (c *scheduler) between(coat, join int) int {
	dist, work := make([]int, join-coat+1), c.tasks[coat].minutes
	for i := coat + 1; i < join; i++ {
		if c.precedes(coat, i) && c.precedes(i, join) {
			work += c.tasks[i].minutes
		}
	}
	for _, d := range c.delays[c.first:] { // by the place of what they lead to
		if d.Least >= 0 && d.From >= coat && d.To <= join && (d.From == coat || c.precedes(coat, d.From)) {
			dist[d.To-coat] = max(dist[d.To-coat], dist[d.From-coat]+d.Least)
		}
	}
	if c.hands == 1 {
		return max(work, dist[join-coat])
	}
	return dist[join-coat]
}

// saves finds the shortest sitting in which what is open could be met before its window closes, with all that must be done before
// it, what is coated for it joined, and with something to spare where there is.
func (of *scheduler) saves(ctx context.Context, l *Lapse) {
	root := *of
	root.trial, root.slack, root.asked = true, nil, asked{}
	for range 2 { // with what is to be spared, and without
		c := root.begun()
		for err := c.work(); err != nil; err = c.work() {
			if !root.leavesOut(err) {
				return
			}
			c = root.begun()
		}
		c.settle()
		p := c.problem()
		in, end := make([]bool, len(p.Activities)), math.MaxInt
		var who []int
		for i := range c.tasks {
			for k := range c.tasks[i].window {
				if w := &c.tasks[i].window[k]; w.from < 0 && w.late.mark == l.Mark && w.late.job == l.Job && w.late.name == l.Name {
					if end = min(end, w.end); !in[i] {
						in[i], who = true, append(who, i)
					}
					if root.slack.of(w.late) == 0 {
						root.slack = root.slack.with(w.late)
					}
				}
			}
		}
		for n := 0; n < len(who); n++ {
			for _, d := range p.Delays {
				if d.To == who[n] && d.Least >= 0 && !in[d.From] {
					in[d.From], who = true, append(who, d.From)
				}
			}
			for _, join := range c.joins { // what is coated is joined there too
				if lists.Contains(join.coats, who[n]) && !in[join.task] {
					in[join.task], who, end = true, append(who, join.task), math.MaxInt
				}
			}
		}
		p = c.part(p, who)
		r, _ := of.solved(ctx, p, plan.Options{}, true)
		if len(who) == 0 || r.Starts == nil {
			continue
		}
		least, most := 1, r.Finish // of its length
		for least < most {
			length := (least + most) / 2
			p.Sittings = []plan.Span{{From: r.Finish - length, To: r.Finish}}
			if is, _ := of.solved(ctx, p, plan.Options{}, true); is.Starts == nil { // one that is too short is badly put
				least = length + 1
			} else {
				most = length
			}
		}
		spare := spareLeast
		for _, i := range who {
			spare = max(spare, c.tasks[i].spare)
		}
		l.Save = Sitting{c.time(r.Finish - most), c.time(min(r.Finish+spare, end))}
		return
	}
}
