package workflow

import (
	"slices"

	"fettle/steps"
	"fettle/steps/lists"
)

// This file finds what is left of a row of whose steps none states what it needs, once what sets it is done: as it was planned before
// that, all that is written until it is ended is done with it so.

// unstated are the rows of that sort that a task ends.
func (c *scheduler) unstated(ender int, rows []*row) (all []*row) {
	t := &c.tasks[ender]
	if t.step == nil || len(t.step.Sets) == 0 {
		return nil
	}
	s := c.fleet[t.of]
	for i := range s.Sheet.Conditions {
		def := &s.Sheet.Conditions[i]
		for _, state := range def.States {
			is := steps.Setting{Condition: def.Name, State: state}
			if !t.setsOtherwise(is) || slices.ContainsFunc(rows, func(r *row) bool { return r.ender == ender && r.is == is }) {
				continue
			}
			safe, _ := s.ends(t.work, is, "")
			if c.endsStanding(ender, def, is) && safe.State != "" {
				all = append(all, &row{of: t.of, setter: -1, is: is, safe: safe, tasks: []int{ender}, ender: ender, needed: true, now: true})
				continue
			}
			setter, between := setFor(t.work, is, t.step.Name)
			if _, planned := c.byStep[stepOf{t.work, setter}]; planned || safe.State == "" ||
				steps.AnyStep(between, func(step *steps.Step) bool { return needsSo(step.Needs, s.Sheet.UsesOf(*step, step.Adhesives...), is) }) {
				continue
			}
			r := &row{of: t.of, setter: -1, is: is, safe: safe, ender: ender, now: s.tendedNow(is, c.now) && !c.endsNow(t.of, is)}
			for k := range c.tasks {
				if other := &c.tasks[k]; other.job == t.job && other.step != nil && c.precedes(k, ender) &&
					steps.AnyStep(between, func(step *steps.Step) bool { return step.Name == other.step.Name }) {
					r.tasks = append(r.tasks, k)
				}
			}
			if len(r.tasks) > 0 {
				all = append(all, r)
			}
		}
	}
	return all
}

// endsStanding reports whether a task is the first that ends what somebody stays by on its airframe as it stands now, and no other one
// ends what that is for.
func (c *scheduler) endsStanding(ender int, def *steps.Condition, is steps.Setting) bool {
	of := c.tasks[ender].of
	if def.Guarded != is.State || def.Bench || !c.fleet[of].tendedNow(is, c.now) || c.endsNow(of, is) {
		return false
	}
	for i := range c.tasks {
		if i != ender && c.tasks[i].setsOtherwise(is) && (c.precedes(i, ender) || c.tasks[i].of == of && c.stands(i) && !c.stands(ender)) {
			return false
		}
	}
	return true
}

// setFor is the step that sets a condition last before another step, if it sets it so, and all that comes between the two.
func setFor(p *steps.Procedure, is steps.Setting, until string) (setter string, between []*steps.Step) {
	_, end, _ := p.Step(until)
	last := end.Name // its stage
	ahead := append(p.Before(end.Name), end.Name)
	for _, stage := range p.Stages {
		if !lists.Contains(ahead, stage.Name) || setter != "" && lists.Contains(p.Before(last), stage.Name) {
			continue // what sets it comes later
		}
		for i := range stage.Steps {
			step := &stage.Steps[i]
			if step.Name == until {
				break
			}
			if steps.AnySetting(step.Sets, func(set steps.Setting) bool { return set.Condition == is.Condition }) {
				setter, last = step.Name, stage.Name
			}
		}
	}
	if step, _, _ := p.Step(setter); !lists.Contains(step.Sets, is) {
		return "", nil
	}
	for _, stage := range p.Stages {
		after := lists.Contains(p.Before(stage.Name), last)
		if !lists.Contains(ahead, stage.Name) {
			continue
		}
		for i := range stage.Steps {
			step := &stage.Steps[i]
			if step.Name == until {
				break
			}
			if after {
				between = append(between, step)
			}
			after = after || step.Name == setter
		}
	}
	return setter, between
}
