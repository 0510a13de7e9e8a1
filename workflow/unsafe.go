package workflow

import (
	"slices"
	"time"

	"fettle/steps"
)

// Unsafe says that the airframe crashed, or came down hard, and is not made safe: nobody said since how its battery and propeller are, and
// what makes them safe is not begun. The remedy begins it. nil: it is safe, somebody is led to what makes it so, or what was in then is said
// at once by itself.
func (s *State) Unsafe(now time.Time) *Reason {
	r := s.keptBy(now)
	if r == nil || s.Retired != nil {
		return nil
	}
	jobs := s.OpenJobs(now)
	if r.Remedy.Kind != ToStart && s.led(jobs, now) {
		return nil
	}
	safe := s.unstatedSafe(jobs, now)
	if len(safe) == 0 || slices.ContainsFunc(s.standing(now, now), func(is *hotThing) bool { return is.wreck }) {
		return nil
	}
	if r.Remedy.Kind == ToPlanRepair {
		r.Remedy.Kind = ToRepair
	}
	r.Text += ", and " + s.Airframe.Mark + " is not made safe: " + s.madeSafeSo(safe)
	return r
}

// led reports whether whoever goes on with the airframe is led to what makes it safe: a check that is due is begun, or what looks it over
// was since the last damage was found that no job repairs.
func (s *State) led(jobs []*Job, now time.Time) bool {
	turns, unplanned := s.turns(jobs, now), s.Unplanned(now)
	return s.Unchecked(now) != nil || slices.ContainsFunc(jobs, func(j *Job) bool { return turns[j.ID] > 0 && j.Position > unplanned[len(unplanned)-1].Position })
}

// unstatedSafe is how what is guarded on the airframe is when it is safe, where nobody said since it was damaged how it stands.
func (s *State) unstatedSafe(jobs []*Job, now time.Time) (safe []steps.Setting) {
	making := slices.ContainsFunc(jobs, (*Job).makes)
	for i := range s.Sheet.Conditions {
		def := &s.Sheet.Conditions[i]
		k := slices.IndexFunc(def.States, func(state string) bool { return state != def.Guarded })
		if def.Guarded == "" || def.Bench || k < 0 || s.Holds(def.Name, now) != "" || making && len(s.said[def.Name]) == 0 { // it has none yet
			continue
		}
		safe = append(safe, steps.Setting{Condition: def.Name, State: def.States[k]})
	}
	return safe
}

// madeSafeSo is in which order what is guarded is made safe, in words: the other way round than the sheet has it, which is as it is set,
// but for what the steps of its jobs ask for. A propeller is taken off once the battery is out.
func (s *State) madeSafeSo(safe []steps.Setting) (text string) {
	slices.Reverse(safe)
	for i := range safe {
		for k := i + 1; k < len(safe); k++ {
			def, _ := s.Sheet.Condition(safe[k].Condition)
			if s.changedWith(safe[i].Condition, &def) == safe[k] {
				safe[i], safe[k] = safe[k], safe[i]
			}
		}
	}
	for _, is := range safe {
		text += ", then " + is.String()
	}
	return text[len(", then "):]
}

// UnsafeBeside is what is [State.Unsafe] of the other airframes of the bench.
func (s *State) UnsafeBeside(now time.Time) (all []Reason) {
	for _, other := range s.others {
		if r := other.Unsafe(now); r != nil {
			all = append(all, *r)
		}
	}
	return all
}

// keptBy is what comes before anything that a plan has on the airframe and that was not made for it: a check that is due and not begun, or
// the repair of damage that no job repairs. nil: nothing.
//
//go:noinline
func (s *State) keptBy(now time.Time) *Reason {
	if due := s.Unchecked(now); due != nil && due.Remedy.Kind == ToStart {
		return due
	}
	for _, d := range s.Unplanned(now) {
		return s.unrepaired(d, now)
	}
	return nil
}

// keeps is what keeps one of several from a step that a plan has for them: what is [State.keptBy]; and once that is begun, that it is not
// made safe, damage that the step waits for, and that only the repair sets what it needs. nil: nothing.
func (s *State) keeps(r *StepReport, now time.Time) *Reason {
	if kept := s.keptBy(now); kept != nil {
		return kept
	}
	jobs := s.OpenJobs(now)
	if turns := s.turns(jobs, now); len(turns) > 0 && turns[r.Job] == 0 {
		if len(s.unstatedSafe(jobs, now)) > 0 {
			return &Reason{Because: ByDamage, Text: s.Airframe.Mark + " is made safe first", Remedy: s.remedy(Remedy{Kind: ToSeeNext})}
		}
	}
	job, _ := s.Job(r.Job)
	for _, reason := range append(s.guarded(job, r.Step.Needs, now), r.Reasons...) {
		if reason.Because == ByDamage {
			return &reason
		}
	}
	return nil
}
