package workflow

import (
	"slices"
	"strings"
	"time"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/sorting"
)

// Unsafe says that the airframe crashed, or came down hard, and is not made safe: nobody said since how its battery and propeller are. The
// remedy begins what makes it so, or leads to that, where it is begun. nil: it is safe, or what was in then is said at once by itself.
func (s *State) Unsafe(now time.Time) *Reason {
	r, jobs := s.keptBy(now), s.OpenJobs(now)
	if r == nil || r.Remedy.Kind != ToStart && s.led(jobs, now) {
		r = s.makingSafe(jobs, now)
	}
	if r == nil || s.Retired != nil {
		return nil
	}
	safe := s.unstatedSafe(jobs, now)
	if len(safe) == 0 || len(s.wrecked(now)) > 0 {
		return nil
	}
	if r.Remedy.Kind == ToPlanRepair {
		r.Remedy.Kind = ToRepair
	}
	r.Text += ", and " + s.Airframe.Mark + " is not made safe: " + s.madeSafeSo(safe)
	return r
}

// makingSafe says which job is open that makes safe what crashed, by a step that is not done yet; nil: none is.
func (s *State) makingSafe(jobs []*Job, now time.Time) *Reason {
	turns := s.turns(jobs, now)
	for _, j := range jobs {
		if turns[j.ID] == 0 {
			continue
		}
		if s.leftToSet(j, now) {
			return &Reason{Because: ByDamage, Text: "job " + j.ID + " is open", Remedy: s.remedy(Remedy{Kind: ToSeeNext})}
		}
	}
	return nil
}

// leftToSet reports whether a step of a job that is not done yet sets what is guarded on the airframe safe.
//
//go:noinline
func (s *State) leftToSet(j *Job, now time.Time) bool {
	return slices.ContainsFunc(j.Procedure.Stages, func(stage steps.Stage) bool {
		return slices.ContainsFunc(stage.Steps[s.head(j, stage, now):], func(step steps.Step) bool { return steps.AnySetting(step.Sets, s.safeSo) })
	})
}

// safeAgain reports whether a step makes safe what crashed once more while it was looked over: whatever looks it over made it safe before
// that, and does so no more.
//
//go:noinline
func (s *State) safeAgain(r *StepReport, jobs []*Job, turns map[string]Rank, now time.Time) bool {
	return turns[r.Job] > 0 && steps.AnySetting(r.Step.Sets, func(is steps.Setting) bool { return s.safeSo(is) && s.Holds(is.Condition, now) == "" }) &&
		!slices.ContainsFunc(jobs, func(j *Job) bool { return turns[j.ID] == RankLooksOver && s.leftToSet(j, now) })
}

// toMakeSafe reports whether what makes safe what crashed is left of a repair.
func (s *State) toMakeSafe(repair string, now time.Time) bool {
	j, err := s.Job(repair)
	return err == nil && slices.ContainsFunc(j.Procedure.Stages, func(stage steps.Stage) bool {
		return s.safeStage(j, &stage, now) && s.head(j, stage, now) <= s.madeSafe(&stage)
	})
}

// safeSo reports whether what is guarded on the airframe is not so, as a battery that is out.
//
//go:noinline
func (s *State) safeSo(is steps.Setting) bool {
	def, _ := s.Sheet.Condition(is.Condition)
	return def.Guarded != "" && !def.Bench && def.Guarded != is.State
}

// ToMakeSafe is how what is guarded on the airframe is when it is safe, in the order in which it is made so, where it crashed, or came down
// hard, and a step that leads to that and sets none of it is at hand; "": nothing is to be said beside it.
func (s *State) ToMakeSafe(g *Suggestion, now time.Time) string {
	if !g.AtOnce || steps.AnySetting(g.Step.Step.Sets, s.safeSo) {
		return ""
	}
	return s.madeSafeSo(s.unstatedSafe(s.OpenJobs(now), now))
}

// UnsafeFirst reports whether what is suggested is not done before the airframe, which crashed or came down hard, is made safe: it is none
// of that, and waits for nothing that is lost meanwhile. Where nothing can be done, it is what is not begun that comes first. The check that
// a hard landing asks for is begun before all else, however safe it is.
func (s *State) UnsafeFirst(g *Suggestion, now time.Time) bool {
	if g.AtOnce || g.Presses || g.Over {
		return false
	}
	if due := s.Unchecked(now); due != nil && due.Remedy.Kind == ToStart && s.Retired == nil {
		return true
	}
	r := s.Unsafe(now)
	if g.Step == nil {
		return r != nil && r.Remedy.Kind != ToSeeNext || r == nil && len(s.wrecked(now)) > 0 && s.keptBy(now) != nil
	}
	return r != nil && (r.Remedy.Kind != ToSeeNext || !g.Step.AtHand()) || r == nil && (len(s.wrecked(now)) > 0 || s.endsFirst(g, now))
}

// endsFirst reports whether what a battery was plugged in for is suggested, and that is ended at once: nobody was at it for long, or the sitting
// was to be over. It is not shown to be used on the page that has it pulled.
func (s *State) endsFirst(g *Suggestion, now time.Time) bool {
	left := reasonsOf(s.leftNow(g, now))
	if end, by := s.EndFirst(*g, now); !by.IsZero() && !by.After(now) {
		left = append(left, sorting.Delete(end, func(r Reason) bool { return lists.Contains(g.Step.Step.Sets, r.Remedy.Setting) })...)
	}
	return !g.Theirs && slices.ContainsFunc(s.standing(now), func(is *hotThing) bool {
		return !is.bench && s.isGuarded(is.is) && s.needsIt(g.Step, is, now) && saysOf(left, is)
	})
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
		if def.Guarded == "" || def.Bench || k < 0 || s.Holds(def.Name, now) != "" || making && s.hasNone(def, now) {
			continue
		}
		safe = append(safe, steps.Setting{Condition: def.Name, State: def.States[k]})
	}
	return safe
}

// hasNone reports whether an airframe that is being built has nothing yet that could be in or on: nobody ever said how that is, or only that
// it isn't, of what the build makes later. One that flew has it.
func (s *State) hasNone(def *steps.Condition, now time.Time) bool {
	all := s.said[def.Name]
	return len(all) == 0 || len(s.Flights) == 0 && !slices.ContainsFunc(append(all[:len(all):len(all)], s.voided[def.Name]...), func(is said) bool { return is.state == def.Guarded }) &&
		s.Zones(now).Zone(def.Name).Standing == ZoneAbsent
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
	return strings.TrimPrefix(text, ", then ")
}

// UnsafeBeside is what is [State.Unsafe] of the other airframes of the bench, and who else of several makes it safe: where that is begun,
// whoever is there, see [State.isAt]. The others stay clear of it.
func (s *State) UnsafeBeside(now time.Time) (all []Plugged) {
	for _, other := range s.others {
		if r := other.Unsafe(now); r != nil {
			by := 0
			if who, me := s.isAt(other, other.Next(now).Step, now); r.Remedy.Kind == ToSeeNext && !me {
				by = who
			}
			all = append(all, Plugged{other.Airframe.Mark, by, *r, by > 0})
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
