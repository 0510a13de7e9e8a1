package workflow

import (
	"slices"
	"time"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/sorting"
)

// This file knows the rows of the last plan, as they are kept for what is next.

// A Planned is a step, or an act of one, as a plan has it.
type Planned struct {
	Job     string    `json:"job"`
	Step    string    `json:"step"`             // "": no step of a job is over with it, and Rework or Again says what it is
	Rework  string    `json:"rework,omitempty"` // the gate that is reworked
	Again   Again     `json:"again,omitempty"`
	Act     Act       `json:"act,omitempty"`
	Answer  string    `json:"answer,omitempty"` // that the plan goes by, where it is a choice that was open
	Begins  time.Time `json:"begins"`
	Minutes int       `json:"minutes,omitempty"` // it takes, at the builder's own pace where that is known
	Leave   time.Time `json:"leave,omitzero"`    // when its sitting is over
	Hands   []int     `json:"hands,omitempty"`   // who of several does it, from 1
	// Ends is what is off, cold or unplugged then until it is needed in a later sitting, by what is AgainSafe.
	Ends []steps.Setting `json:"ends,omitempty"`
}

// has reports whether it is the step of the report as it stands now. A join that is planned after its window closes is the one of
// another coat.
//
//go:noinline
func (p *Planned) has(r *StepReport) bool {
	return (r.Closes.IsZero() || !p.Begins.After(r.Closes)) && p.Step == r.Step.Name && p.Job == r.Job && (p.Act == "" || p.Act == r.Act || p.Act == ToCoat && r.Act == ToRecoat)
}

// ForFewer has plans go by nobody in particular where fewer people are there than they are for: nobody else does a step meanwhile. 0: as
// many as they are for.
func ForFewer(plans map[string][]Planned, people int) {
	if people == 0 || people >= PeopleOf(plans) {
		return
	}
	for _, all := range plans {
		for i := range all {
			all[i].Hands = nil
		}
	}
}

// PeopleOf is how many people plans are for that are for several; 0: they are for one.
func PeopleOf(plans map[string][]Planned) (most int) {
	for _, all := range plans {
		for i := range all {
			for _, who := range all[i].Hands {
				most = max(most, who)
			}
		}
	}
	return most
}

// ends is when the step is over, as planned.
//
//go:noinline
func (p *Planned) ends() time.Time { return p.Begins.Add(minutesOf(max(1, p.Minutes))) }

// givenUp reports whether the step is so late that nobody is at it.
//
//go:noinline
func (p *Planned) givenUp(now time.Time) bool {
	ends := p.ends()
	return now.Sub(ends) >= ends.Sub(p.Begins)
}

// planOf is the step as a plan has it; nil: it hasn't.
//
//go:noinline
func planOf(r *StepReport, planned []Planned) *Planned {
	if i := placeOf(r, planned); i < len(planned) {
		return &planned[i]
	}
	return nil
}

// planBy is planOf, but for the other face of a joint: planned after the window of the first one, it is that of another coat.
//
//go:noinline
func planBy(r *StepReport, planned []Planned, dues []*dueWork) *Planned {
	of := planOf(r, planned)
	if face := faceOf(r, dues); of != nil && face != nil && of.Begins.After(face.closes) {
		return nil
	}
	return of
}

// placeOf is the place of a step in the order of a plan; after all of it: the plan hasn't the step.
//
//go:noinline
func placeOf(r *StepReport, planned []Planned) int {
	for i := range planned {
		if planned[i].has(r) {
			return i
		}
	}
	return len(planned)
}

// reportOf is the report of what is planned; nil: there is none.
//
//go:noinline
func reportOf(p *Planned, all []StepReport) *StepReport {
	for i := range all {
		if p.has(&all[i]) {
			return &all[i]
		}
	}
	return nil
}

// PutOff is what earlier plans of airframes, by mark, had in the sitting that runs, or else comes first, and those that they have now have after
// it, as they have it: in the order in which it was to be done. What heats or ends something is not told: that is done once more, or for now.
func PutOff(fleet []*State, before map[string][]Planned, now time.Time) (all []Turn) {
	var leave time.Time
	for _, s := range fleet {
		leave = nextLeave(leave, before[s.Airframe.Mark], now)
	}
	var was []time.Time
	for _, s := range fleet {
		for _, is := range before[s.Airframe.Mark] {
			k := slices.IndexFunc(s.Planned, func(p Planned) bool { return p.Job == is.Job && p.Step == is.Step && p.Act == is.Act })
			if is.Step == "" || !is.Leave.Equal(leave) || k < 0 || s.Planned[k].Begins.Before(leave) {
				continue
			}
			job, err := s.Job(is.Job)
			if err != nil {
				continue
			}
			if step, _, ok := job.Procedure.Step(is.Step); ok && len(step.Sets) == 0 {
				at := len(was)
				for at > 0 && is.Begins.Before(was[at-1]) {
					at--
				}
				was = sorting.Insert(was, at, is.Begins)
				all = sorting.Insert(all, at, Turn{Mark: s.Airframe.Mark, Job: is.Job, Step: is.Step, Act: is.Act, Title: step.Label(), Begins: s.Planned[k].Begins})
			}
		}
	}
	return all
}

// nextLeave is when the first sitting of a plan is over that is not yet, at the latest then; what it has later comes after what it
// does not have.
func nextLeave(leave time.Time, planned []Planned, now time.Time) time.Time {
	for _, p := range planned {
		if p.Leave.After(now) && (leave.IsZero() || p.Leave.Before(leave)) {
			leave = p.Leave
		}
	}
	return leave
}

// EndFirst is what is hot, on or plugged in and must be ended before the sitting of the last plan, or else of the settings, is over,
// or was to be, where what is suggested takes longer; by is when that is. Zero: the plan ends it before, and what is suggested does not
// need it. Nothing: there is time for both, or that sitting is over for long, and it was set since, or it is in use on another airframe.
func (s *State) EndFirst(g Suggestion, now time.Time) (end []Reason, by time.Time) {
	standing := sorting.Delete(s.standing(now), func(is *hotThing) bool { return s.heldBeside(is, false, now) })
	if len(standing) == 0 {
		return nil, by
	}
	if all := sorting.Delete(slices.Clone(standing), func(is *hotThing) bool { return !s.endedByNow(is, now) || s.needsIt(g.Step, is, now) }); len(all) > 0 {
		return reasonsOf(all), by
	}
	if g.Step == nil {
		return nil, by
	}
	by = s.sits(now)
	long := now.Sub(by) > untended
	ends := now.Add(s.takes(g.Step, planOf(g.Step, s.Planned)))
	all := sorting.Delete(standing, func(is *hotThing) bool {
		return long && !is.At.Before(by) || lists.Contains(g.Step.Step.Sets, is.safe) && !ends.After(by)
	})
	for _, is := range all {
		ends = ends.Add(s.toEnd(is.is, g.Step.Step.Name))
	}
	if !ends.After(by) {
		return nil, by
	}
	return reasonsOf(all), by
}

// endedByNow reports whether the last plan has ended by now, in this sitting, what stood so before, or does so next: all that it has with that
// before is done, however early.
func (s *State) endedByNow(is *hotThing, now time.Time) bool {
	for k := -1; k < len(s.others) && (k < 0 || is.bench); k++ {
		of := s
		if k >= 0 {
			of = s.others[k]
		}
		for i := range of.Planned {
			p := &of.Planned[i]
			if lists.Contains(p.Ends, is.safe) && now.Sub(p.Begins) <= untended && !is.At.Truncate(time.Minute).After(p.Begins) && (!p.Begins.After(now) || s.usedUp(p, of, is.safe, now)) {
				return true
			}
		}
	}
	return false
}

// usedUp reports whether nothing is left to do of what the plan has, in the sitting that runs, before it ends something.
func (s *State) usedUp(ends *Planned, of *State, safe steps.Setting, now time.Time) bool {
	at := s.NeededAgain(safe, now)
	return ends.Leave.After(now) && ends.Leave.Equal(nextLeave(time.Time{}, of.Planned, now)) && (at.IsZero() || !at.Before(ends.Begins)) && !slices.ContainsFunc(of.Planned, func(p Planned) bool {
		return p.Rework != "" && p.Begins.Before(ends.Begins) && p.ends().After(now) // which may need it
	})
}

// NeededAgain is when this sitting needs next, by the last plan, what that has ended by now; zero: nothing that is left to do in it does.
func (s *State) NeededAgain(safe steps.Setting, now time.Time) (at time.Time) {
	for k := -1; k < len(s.others) && (k < 0 || s.ofBench(safe.Condition)); k++ {
		of := s
		if k >= 0 {
			of = s.others[k]
		}
		leave := nextLeave(time.Time{}, of.Planned, now)
		for i := range of.Planned {
			p := &of.Planned[i]
			job, err := of.Job(p.Job)
			if err != nil || !p.Leave.Equal(leave) || !at.IsZero() && p.Begins.After(at) {
				continue
			}
			for _, stage := range job.Procedure.Stages {
				for n := range stage.Steps {
					step := &stage.Steps[n]
					if step.Name == p.Step && !of.met(job, stage, n, now) && steps.AnySetting(append(of.NeedsAt(job, *step, now), step.Sets...), func(is steps.Setting) bool {
						return is.Condition == safe.Condition && is.State != safe.State
					}) {
						at = p.Begins
					}
				}
			}
		}
	}
	return at
}

// needsIt reports whether a step needs what is hot, on or plugged in, or ends it.
func (s *State) needsIt(r *StepReport, is *hotThing, now time.Time) bool {
	if r == nil {
		return false
	}
	job, err := s.Job(r.Job)
	return err == nil && (lists.Contains(r.Step.Sets, is.safe) || needsSo(r.Step.Needs, s.UsesOf(job, r.Step, now), is.is))
}

// leaves is when the sitting of the last plan is over that has begun last; zero: none has.
func (s *State) leaves(now time.Time) (by time.Time) {
	var begun time.Time
	for _, p := range s.Planned {
		if !p.Begins.After(now) && !p.Begins.Before(begun) {
			begun, by = p.Begins, p.Leave
		}
	}
	return by
}
