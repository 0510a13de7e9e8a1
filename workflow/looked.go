package workflow

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/workflow/journal"
)

// This file knows what a hold looked over for what is plugged in after it, as an aircraft that is tied down for full power: that counts
// in its sitting, and until what was plugged in is pulled (common practice, no source).

// looksOver is the hold right before a step without lines that sets what is guarded, such as a plug, for which that is still safe; nil:
// there is none.
func (s *State) looksOver(p *steps.Procedure, step *steps.Step) (is steps.Setting, hold *steps.Step) {
	if len(step.Confirm) > 0 {
		return is, nil
	}
	for _, set := range step.Sets {
		safe, _ := s.ends(p, set, "")
		if safe.State == "" || !s.isGuarded(set) {
			continue
		}
		_, stage, _ := p.Step(step.Name)
		for i := range stage.Steps[1:] {
			if before := &stage.Steps[i]; stage.Steps[i+1].Name == step.Name && len(before.Confirm) > 0 && lists.Contains(before.Needs, safe) {
				return set, before
			}
		}
	}
	return is, nil
}

// lookedOver is when a hold was cleared, or cleared again, before a position, if that counts for what is plugged in after it at that
// time: it was in the same sitting, and nothing was plugged in since. Zero: it does not.
//
//go:noinline
func (s *State) lookedOver(j *Job, is steps.Setting, hold *steps.Step, position int64, at time.Time) (cleared time.Time) {
	last := said{position: -1}
	if m, done := j.done[hold.Name]; done && m.position < position && !m.at.After(at) {
		last.position, last.at, last.recorded = m.position, m.at, s.Entries[m.position].Recorded
	}
	name, lines := heldBy(hold.Name), strings.Join(hold.Confirm, "\n")
	if c := saidSince(s.said[name], lines, last.position, position, at); c != nil {
		last = *c
	}
	if last.position < 0 || at.Sub(last.at) > SittingLength || s.lapsed(last, name, at) || saidSince(s.said[is.Condition], is.State, last.position, position, at) != nil {
		return cleared
	}
	return last.at
}

// saidSince is the last statement by entry that something is so, here, by that time and between two positions; nil: there is none.
//
//go:noinline
func saidSince(all []said, state string, after, before int64, at time.Time) (last *said) {
	for i := range all {
		if c := &all[i]; c.mark == "" && c.position < before && c.position > after && c.state == state && !c.at.After(at) {
			last, after = c, c.position
		}
	}
	return last
}

// unlooked says that what a hold looked over before the step counts no more for what that plugs in, so that its lines are confirmed
// again; nil: it counts, or no hold that was cleared is asked for it.
func (s *State) unlooked(j *Job, step *steps.Step, at time.Time) *Reason {
	is, hold := s.looksOver(j.Procedure, step)
	if hold == nil || s.Holds(is.Condition, at) == is.State {
		return nil
	}
	if _, done := j.done[hold.Name]; !done || !s.lookedOver(j, is, hold, s.Size(), at).IsZero() { // its turn comes first, or it counts
		return nil
	}
	safe, _ := s.ends(j.Procedure, is, "")
	return s.lookAgain(j, is, safe, hold)
}

// overlooked reports whether something is plugged in by a bare word, in a way that no step of an open job would do it, though some do: what else
// is guarded stands otherwise than such a step needs it, as a propeller does that is on, or the hold before that step was not cleared.
func (s *State) overlooked(is steps.Setting, at time.Time) bool {
	looks := false
	var words []*said
	all := s.said[is.Condition]
	for i := saidBy(all, at) - 1; i >= 0 && all[i].state == is.State && !s.lapsed(all[i], is.Condition, at); i-- {
		c := &all[i]
		if c.mark != "" {
			continue
		}
		if _, bare := s.Entries[c.position].Facts.(journal.ConditionSet); !bare {
			return false
		}
		words = append(words, c)
	}
	for _, j := range s.OpenJobs(at) {
		for _, step := range j.Procedure.Steps() {
			if !lists.Contains(step.Sets, is) {
				continue
			}
			_, hold := s.looksOver(j.Procedure, step)
			looks = looks || hold != nil
			if steps.AnySetting(step.Needs, func(need steps.Setting) bool {
				def, _ := s.Sheet.Condition(need.Condition)
				state := s.lastStood(&def, at).state
				return def.Guarded != "" && need.Condition != is.Condition && state != "" && state != need.State
			}) {
				continue
			}
			if hold == nil || slices.ContainsFunc(words, func(c *said) bool { return !s.lookedOver(j, is, hold, c.position, c.at).IsZero() }) {
				return false
			}
		}
	}
	return looks && len(words) > 0
}

// LooksAgain is the hold of that name whose lines are confirmed again for what is plugged in after it, in an open job, or for a gate that
// a job which is complete measured with that, and that is to be measured again; nil: they are not.
func (s *State) LooksAgain(name string, at time.Time) (of *Job, hold *steps.Step) {
	r, j, err := s.FindStep(name, at)
	if err != nil {
		return nil, nil
	}
	var is steps.Setting
	for _, step := range j.Procedure.Steps() {
		if is, hold = s.looksOver(j.Procedure, step); hold != nil && hold.Name == r.Step.Name && s.unlooked(j, step, at) != nil &&
			(lists.Contains(s.OpenJobs(at), j) || s.toLook(j, hold, is, at)) {
			return j, hold
		}
	}
	return nil, nil
}

// toLook reports whether a gate that is to be measured again is measured by the job with what is plugged in after the hold.
//
//go:noinline
func (s *State) toLook(j *Job, hold *steps.Step, is steps.Setting, at time.Time) bool {
	gates := s.Gates(at)
	for i := range gates {
		if g := &gates[i]; !g.Met() && lists.Contains(s.lookedFor(j, &g.Gate, is, at), hold) {
			return true
		}
	}
	return false
}

// lookedFor are the holds that a job has looked over for what is plugged in where it measures a gate.
//
//go:noinline
func (s *State) lookedFor(j *Job, gate *steps.Gate, is steps.Setting, at time.Time) (holds []*steps.Step) {
	all := j.Procedure.Steps()
	for _, step := range all {
		if !step.Kind.Traits().Measures || !s.measures(j, *step, *gate, at) {
			continue
		}
		name, _ := setFor(j.Procedure, is, step.Name)
		for _, by := range all {
			if by.Name != name {
				continue
			}
			if _, hold := s.looksOver(j.Procedure, by); hold != nil {
				holds = append(holds, hold)
			}
		}
	}
	return holds
}

// untied says that what is plugged in for a gate is not so after a hold that is looked over for that where a job measures it, be that job
// complete or not: its lines are confirmed again before it is plugged in. nil: it is, or none asks for that.
//
//go:noinline
func (s *State) untied(gate *steps.Gate, is steps.Setting, at time.Time) (loose *Reason) {
	if !s.isGuarded(is) {
		return nil
	}
	in := s.Holds(is.Condition, at) == is.State
	for _, j := range s.Jobs {
		for _, hold := range s.lookedFor(j, gate, is, at) {
			if in && s.pluggedAfter(j, is, hold, at) || !in && !s.lookedOver(j, is, hold, s.Size(), at).IsZero() {
				return nil
			}
			safe, _ := s.endsItself(j.written, is, "")
			if loose = s.lookAgain(j, is, safe, hold); in {
				loose = &Reason{Because: ByCondition, Text: "before " + is.String() + " the lines of " + hold.Name + " are confirmed, and before that it needs " + safe.String(),
					Remedy: s.remedy(Remedy{Kind: ToSetCondition, Setting: safe})}
			}
		}
	}
	return loose
}

// lookAgain says that the lines of a hold are confirmed again before something is plugged in.
//
//go:noinline
func (s *State) lookAgain(j *Job, is, safe steps.Setting, hold *steps.Step) *Reason {
	return &Reason{Because: ByHold, Text: fmt.Sprintf("before %s the lines of %s are confirmed again: they count in one sitting, and until %s", is, hold.Name, safe),
		Remedy: s.remedy(Remedy{Kind: ToClear, Name: j.ID + "/" + hold.Name})}
}

// pluggedAfter reports whether what is plugged in now was so after a hold that counted then.
//
//go:noinline
func (s *State) pluggedAfter(j *Job, is steps.Setting, hold *steps.Step, at time.Time) bool {
	all := s.said[is.Condition]
	for i := saidBy(all, at) - 1; i >= 0 && all[i].state == is.State && !s.lapsed(all[i], is.Condition, at); i-- {
		if c := &all[i]; c.mark == "" && !s.lookedOver(j, is, hold, c.position, c.at).IsZero() {
			return true
		}
	}
	return false
}

// looks is the hold that is looked over for what a step plugs in, as a row sets it or a task does: it is cleared once more before it,
// where the one that was cleared counts no more, or the sitting may be over by then. The latest is until when a fresh one counts.
func (c *scheduler) looks(of int, j *Job, step *steps.Step) (hold *steps.Step, latest int) {
	s := c.fleet[of]
	is, hold := s.looksOver(j.Procedure, step)
	if hold == nil {
		return nil, 0
	}
	cleared := s.lookedOver(j, is, hold, s.Size(), c.now)
	if cleared.IsZero() || !c.goesOn() {
		return hold, 0
	}
	return hold, min(c.sittings[0].To, c.minuteBefore(cleared.Add(SittingLength)))
}

// lookOver puts into one sitting what plugs in, and the hold that is looked over for it: once more where it was cleared already, but
// where the sitting goes on in which that was, and leaves time for it.
func (c *scheduler) lookOver() {
	pressed := false
	for i := range c.tasks {
		pressed = pressed || c.tasks[i].late != nil
	}
	for i := range c.tasks {
		t := &c.tasks[i]
		if t.step == nil || t.again != "" || t.job == nil {
			continue
		}
		hold, latest := c.looks(t.of, t.job, t.step)
		if hold == nil {
			continue
		}
		if k, planned := c.byStep[stepOf{t.work, hold.Name}]; planned {
			c.together(k, i)
			continue
		}
		after := t.minutes // what it is for, and the end of it
		for _, r := range c.rows {
			if r.setter == i {
				for _, k := range r.tasks {
					after += c.tasks[k].minutes
				}
				after += c.offMinutes(r)
			}
		}
		if latest -= after; latest >= max(0, t.earliest) && !pressed {
			t.until(latest)
			continue
		}
		k := c.add(task{of: t.of, job: t.job, work: t.work, stage: t.stage, step: hold, minutes: c.minutes(t.work, hold), again: AgainReady}, front{})
		c.order(k, i)
		c.together(k, i)
		c.afterOthers(k, i)
	}
}

// afterOthers has what is done once more come after all of other jobs that comes before what it is for.
func (c *scheduler) afterOthers(again, task int) {
	for i := range c.tasks {
		if c.tasks[i].job != c.tasks[task].job && c.tasks[i].step != nil && c.precedes(i, task) {
			c.order(i, again)
		}
	}
}
