package workflow

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/sorting"
	"fettle/workflow/journal"
)

// This file knows what stands hot, on or plugged in now, when that is said, and that no sitting of a plan is over before it is ended.

// ends is how a condition is left that the procedure sets so, where nobody leaves it as it is: it is guarded or of the bench, and the last
// step that sets it sets it otherwise; of what is left so, as a battery that is plugged in before a flight, it is as another job of the
// airframe ends it, in words: the steps of that one don't know where it is then, as in the air. Without a state: it may stay. By is the first
// step that ends it from the named one on, else the last of all.
func (s *State) ends(p *steps.Procedure, is steps.Setting, from string) (safe steps.Setting, by *steps.Step) {
	safe, by = s.endsItself(p, is, from)
	if safe != is {
		return safe, by
	}
	if j := s.ender(is); j != nil && s.isGuarded(is) {
		safe, _ = s.endsItself(j.written, is, "")
		return safe, s.ending(safe)
	}
	return steps.Setting{}, nil
}

// endsItself is what [State.ends] is by steps of the procedure alone; where it leaves the condition as it is, that.
func (s *State) endsItself(p *steps.Procedure, is steps.Setting, from string) (safe steps.Setting, by *steps.Step) {
	def, known := s.Sheet.Condition(is.Condition)
	if !known || def.Guarded != is.State && !def.Lapses() {
		return steps.Setting{}, nil
	}
	set := false
	for _, step := range p.Steps() {
		for _, other := range step.Sets {
			if other.Condition == is.Condition {
				safe, set = other, set || other.State == is.State
			}
		}
	}
	if !set {
		return steps.Setting{}, nil
	}
	passed, found := false, false
	for _, step := range p.Steps() {
		if passed = passed || step.Name == from; !found && lists.Contains(step.Sets, safe) {
			by, found = step, passed
		}
	}
	return safe, by
}

// endedBy is what ends a condition till it is needed again: the step that ends it from the named one on, else the last of all; one in
// the words of the condition, where that step needs it, since no work is done with that.
func (s *State) endedBy(p *steps.Procedure, is steps.Setting, from string) *steps.Step {
	safe, by := s.ends(p, is, from)
	if by == nil || !needsSo(by.Needs, s.Sheet.UsesOf(*by, by.Adhesives...), is) {
		return by
	}
	return s.ending(safe)
}

// ending is what sets a condition and does nothing else, in words.
//
//go:noinline
func (s *State) ending(safe steps.Setting) *steps.Step {
	return &steps.Step{Title: s.conditionTitle(safe.Condition) + ": " + safe.State, Sets: []steps.Setting{safe}}
}

// EndedBy is what ends how a condition of a sitting stands, such as an iron that is hot, where a need is what nobody leaves otherwise, and
// whether it stands otherwise by what was said of it last. It is a step that does nothing else, and
// none that works with what is hot or on before it ends that. The title is what is ended, in the words of the condition; "": the need is none of these.
//
//go:noinline
func (s *State) EndedBy(need steps.Setting, at time.Time) (title, by string, stands bool) {
	def, _ := s.Sheet.Condition(need.Condition)
	if !def.Lapses() || def.Guarded != "" {
		return "", "", false
	}
	for _, state := range def.States {
		is := steps.Setting{Condition: need.Condition, State: state}
		j := s.ender(is)
		if j == nil {
			continue
		}
		if safe, _ := s.endsItself(j.written, is, ""); safe != need {
			continue
		}
		title = s.conditionTitle(need.Condition) + ": " + need.State
		if s.lastStood(&def, at).state != state {
			continue
		}
		from := ""
		if of, set := s.setter(is, nil, at); set != nil {
			j, from = of, set.Name
		}
		safe, step := s.endsItself(j.written, is, from)
		if safe == need && len(step.Tools)+len(step.Confirm)+len(step.Disturbs) == 0 && !needsSo(step.Needs, s.Sheet.UsesOf(*step, step.Adhesives...), is) {
			by = j.ID + "/" + step.Name
		}
		return title, by, true
	}
	return title, "", false
}

// staysNot reports whether nobody leaves it so.
//
//go:noinline
func (s *State) staysNot(p *steps.Procedure, is steps.Setting) bool {
	safe, _ := s.ends(p, is, "")
	return safe.State != ""
}

// ender is the job that ends what is so; nil: it may stay.
//
//go:noinline
func (s *State) ender(is steps.Setting) *Job {
	for _, j := range s.Jobs {
		if is.State == "" {
			break
		}
		if safe, _ := s.endsItself(j.written, is, ""); safe.State != "" && safe != is {
			return j
		}
	}
	return nil
}

// conditionTitle is what a condition is called at the bench.
//
//go:noinline
func (s *State) conditionTitle(name string) string {
	def, _ := s.Sheet.Condition(name)
	return cmp.Or(def.Title, name)
}

// A hotThing is what is hot, on or plugged in.
type hotThing struct {
	is, safe     steps.Setting
	bench, wreck bool   // of the bench; so when the airframe crashed
	by           string // whose journal says so; "": that of the airframe
	Reason
}

// standing is what is hot, on or plugged in by what was said of it last, where nothing was recorded after that time.
func (s *State) standing(at time.Time) (all []*hotThing) {
	if len(s.Entries) == 0 || s.Retired != nil || s.Entries[len(s.Entries)-1].Recorded.After(at) {
		return nil
	}
	for i := range s.Sheet.Conditions {
		def := &s.Sheet.Conditions[i]
		c := s.lastStood(def, at)
		wreck := s.lastSaid(def.Name, at).state == "" && s.crashedWith(def, at)
		if wreck {
			c = s.said[def.Name][saidBy(s.said[def.Name], at)-1]
		}
		is := steps.Setting{Condition: def.Name, State: c.state}
		j := s.ender(is)
		if j == nil || c.at.After(at) {
			continue
		}
		safe, _ := s.endsItself(j.written, is, "")
		says := "as " + cmp.Or(c.mark, "the journal") + " says"
		if c.mark == "" && !s.Live(c.position) {
			says = "or it was said so by mistake"
		}
		all = append(all, &hotThing{is, safe, def.Bench, wreck, c.mark, Reason{Because: ByCondition, At: c.at, Text: fmt.Sprintf("%s: %s, %s, and nothing since says that it is %s", s.conditionTitle(def.Name), c.state, says, safe.State),
			Remedy: s.remedy(Remedy{Kind: ToSetCondition, Setting: safe})}})
	}
	return all
}

// lastStood is what was said of a condition last by the time, if it still counts; of what is of the bench, such as an iron, also where
// it counts no more: no crash or flight switches it off, and in doubt it is hot. Where it was said that a battery is out, and that was
// taken back, it is in, as was said before, though that is no longer enough for what needs it in; and in doubt it is in where it was said so,
// that was taken back, and nothing since says that it is out.
func (s *State) lastStood(def *steps.Condition, at time.Time) said {
	c, all := s.lastSaid(def.Name, at), s.said[def.Name]
	for n := saidBy(all, at) - 1; n >= 0 && c.state == "" && (def.Bench || def.Guarded == all[n].state && !s.overSince(&all[n], at)); n-- {
		c = all[n]
	}
	for _, v := range s.voided[def.Name] {
		if c.state == "" && !def.Bench && v.state == def.Guarded && !v.at.After(at) && !s.overSince(&v, at) {
			return v
		}
	}
	return c
}

// stillStands reports whether a condition stands so, or is guarded and did by what was said last that nobody took back.
//
//go:noinline
func (s *State) stillStands(is steps.Setting, at time.Time) bool {
	def, _ := s.Sheet.Condition(is.Condition)
	return s.Holds(is.Condition, at) == is.State || def.Guarded == is.State && s.lastStood(&def, at).state == is.State
}

// crashedWith reports whether a guarded condition stood so when the airframe was damaged or came down hard, as on or plugged in, and
// nothing since says how it stands: until it was looked over and repaired.
func (s *State) crashedWith(def *steps.Condition, at time.Time) bool {
	all := s.said[def.Name]
	n := saidBy(all, at)
	return n > 0 && def.Guarded != "" && all[n-1].state == def.Guarded && (len(s.OpenDamages(at)) > 0 || s.Unchecked(at) != nil)
}

// untended is how long nobody needs to have recorded work on the airframe before what stands hot, on or plugged in is taken for forgotten
// (common practice, no source). A note, a reading of the bench or something that was fitted is not that.
const untended = time.Hour

// Left says what is hot, on or plugged in by what was said of it last, where that is [State.forgotten], or what crashed so; that not
// where what is suggested makes it safe.
func (s *State) Left(g Suggestion, at time.Time) []Reason { return reasonsOf(s.leftNow(&g, at)) }

func (s *State) leftNow(g *Suggestion, at time.Time) []*hotThing {
	return sorting.Delete(s.standing(at), func(is *hotThing) bool {
		return !is.wreck && !s.forgotten(is, at) || is.wreck && g.AtOnce && s.leadsTo(g.Step, is) || s.heldBeside(is, false, at) || s.inHandThere(is, at)
	})
}

// forgotten reports whether what stands so may have been: it does since an earlier sitting, or no work was recorded since for so long. What is
// plugged in and [State.overlooked] is ended as well.
func (s *State) forgotten(is *hotThing, at time.Time) bool {
	by := at.Add(-untended)
	return !is.At.After(by) && !s.lastWorked().After(by) || at.Sub(is.At) > SittingLength || s.isGuarded(is.is) && (!s.tendedNow(is.is, at) || s.overlooked(is.is, at))
}

// heldBeside reports whether work on another airframe of the bench goes on with what is hot or on at the bench, in the sitting in which
// that was set: the last plan has somebody there now or soon, and has not ended it by now, or its next step needs it, and somebody was there
// lately, who may be behind the plan. Of whoever is led to this airframe that is somebody else: what they leave there is not held.
func (s *State) heldBeside(is *hotThing, led bool, now time.Time) bool {
	if !is.bench || now.Sub(is.At) > SittingLength {
		return false
	}
	ended := s.endedByNow(is, now)
	for _, of := range s.others {
		if of.Retired == nil && of.ender(is.is) != nil &&
			(!ended && of.busy(now) || now.Sub(of.lastWorked()) <= untended && (!led || s.theirs(of)) && of.needsIt(of.Next(now).Step, is, now)) {
			return true
		}
	}
	return false
}

// inHandThere reports whether what is hot at the bench is so by the journal of another airframe that doesn't say it at once itself: somebody goes
// on there, maybe with a step before the one that it is for. Where nobody does, it is said there, and by whoever is led past it.
func (s *State) inHandThere(is *hotThing, now time.Time) bool {
	return slices.ContainsFunc(s.others, func(of *State) bool {
		return of.Airframe.Mark == is.by && of.Retired == nil && of.ender(is.is) != nil && !saysOf(of.LeftBy(of.Next(now), now), is)
	})
}

// theirs reports whether somebody else than whoever sits here recorded the last entry of another airframe of the bench.
func (s *State) theirs(of *State) bool {
	return s.seat.By != "" && of.Entries[len(of.Entries)-1].By != s.seat.By
}

// leadsTo reports whether a step of the same stage ends it, and is not done yet.
func (s *State) leadsTo(r *StepReport, is *hotThing) bool {
	job, err := s.Job(r.Job)
	if err != nil {
		return false
	}
	stage, _ := job.Procedure.Stage(r.Stage)
	return slices.ContainsFunc(stage.Steps, func(step steps.Step) bool {
		_, done := job.done[step.Name]
		return !done && lists.Contains(step.Sets, is.safe)
	})
}

//go:noinline
func reasonsOf(all []*hotThing) (reasons []Reason) {
	for _, is := range all {
		reasons = append(reasons, is.Reason)
	}
	return reasons
}

// Standing is what a plan that was made without the airframe says of it at once: what is hot, on or plugged in, and that it is not made safe.
//
//go:noinline
func (s *State) Standing(now time.Time) []Reason {
	all := reasonsOf(s.standing(now))
	if r := s.Unsafe(now); r != nil {
		all = append(all, *r)
	}
	return all
}

// Soon is how much later than now a step is planned, or a wait over, at most where somebody stays at the bench till then (common
// practice, no source).
const Soon = 30 * time.Minute

// LeftBy is what is hot, on or plugged in and may be left so: what is suggested, or waited for, is later than [Soon], or than the
// sitting of the last plan, or nothing was recorded for long. Whoever goes on at the bench is told when they leave, and not at each step.
func (s *State) LeftBy(g Suggestion, now time.Time) []Reason {
	left := s.leftNow(&g, now)
	goesOn := g.Step != nil && g.Planned.Sub(now) <= Soon
	heats := g.Step == nil && !g.Until.IsZero() && g.Until.Sub(now) <= Soon
	if by := s.sits(now); heats && !by.IsZero() && now.Sub(by) <= untended && g.Until.After(by) { // nobody is there till then
		heats = false
	}
	if goesOn || heats || g.Step != nil && s.busy(now) {
		return reasonsOf(left)
	}
	leave := s.leaves(now)
	early := now.Before(leave) && g.Planned.Before(leave) // in the same sitting
	for _, is := range s.standing(now) {
		if !is.wreck && !s.forgotten(is, now) && !(s.needsIt(g.Step, is, now) && (early || s.ahead(is, now) || s.inTime(g.Step, is, now))) && !s.heldBeside(is, false, now) && !s.inHandThere(is, now) {
			left = append(left, is)
		}
	}
	return reasonsOf(left)
}

// ahead reports whether what stands so was set before the last plan has that: whoever did so goes on before the plan does.
func (s *State) ahead(is *hotThing, now time.Time) bool {
	for i := range s.Planned {
		p := &s.Planned[i]
		job, err := s.Job(p.Job)
		if err == nil && p.Begins.After(now) && steps.AnyStep(job.Procedure.Steps(), func(step *steps.Step) bool {
			_, done := job.done[step.Name]
			return done && step.Name == p.Step && lists.Contains(step.Sets, is.is)
		}) {
			return true
		}
	}
	return false
}

// busy reports whether the last plan has somebody at the airframe now or soon, and not only to end something: what a file of an
// older plan does not name may only end something.
func (s *State) busy(now time.Time) bool {
	for i := range s.Planned {
		if p := &s.Planned[i]; (p.Step != "" || p.Rework != "" || p.Again == AgainReady) && p.Begins.Sub(now) <= Soon && p.ends().After(now) {
			return true
		}
	}
	return false
}

// A Plugged is what somebody stays by on another airframe of the bench, such as a battery that is plugged in.
type Plugged struct {
	Mark string
	By   int // who else of several stays by it by the last plan; 0: nobody else is known to
	Reason
	Ends bool // it is to be ended at once, by that person
}

// StandsBeside is what is hot, on or plugged in on other airframes of the bench, as what is suggested is done here. It is ended at once
// where it crashed so, stands so since an earlier sitting, or the plan has ended it by now; what is of the bench also where no work goes on
// with it, here or there, and nobody else recorded anything there a moment ago; whoever else is known to be there stays by it. Somebody stays by what is plugged in; where nobody else is known to, it is ended at once as soon as it would be said
// there, and before what crashed is made safe.
func (s *State) StandsBeside(g *Suggestion, now time.Time) (end []Reason, stay []Plugged) {
	var had []steps.Setting // of the bench
	for _, other := range s.others {
		standing := other.standing(now)
		if len(standing) == 0 {
			continue
		}
		by, theirs := s.staysBy(g, other, now), s.theirs(other) && now.Sub(other.lastWorked()) <= untended
		for _, is := range standing {
			old := now.Sub(is.At) > SittingLength || other.isGuarded(is.is) && !other.tendedNow(is.is, now)
			switch {
			case is.bench:
				if lists.Contains(had, is.is) || s.saidOtherwise(is, now) {
					continue
				}
				if !s.UnsafeFirst(g, now) && s.needsIt(g.Step, is, now) && (now.Sub(s.lastWorked()) <= untended || !saysOf(other.LeftBy(other.Next(now), now), is)) {
					continue
				}
				held := theirs && now.Sub(other.lastWorked()) <= Slip || s.heldBeside(is, true, now)
				if who, me := s.isAt(other, other.Next(now).Step, now); who > 0 && !me && !old && !s.ledAway(who, other.Airframe.Mark) {
					had, stay = append(had, is.is), append(stay, Plugged{other.Airframe.Mark, who, is.Reason, false})
				} else if old || !held {
					had, end = append(had, is.is), append(end, is.Reason)
				}
			case is.wreck || old || other.endedByNow(is, now):
				end = append(end, is.Reason)
			case !other.isGuarded(is.is):
			case by == 0 && !theirs && (g.AtOnce || saysOf(other.LeftBy(other.Next(now), now), is)):
				end = append(end, is.Reason)
			default:
				stay = append(stay, Plugged{other.Airframe.Mark, by, is.Reason, false})
			}
		}
	}
	return end, stay
}

//go:noinline
func saysOf(all []Reason, is *hotThing) bool {
	return slices.ContainsFunc(all, func(r Reason) bool { return r.Remedy.Setting == is.safe })
}

// staysBy is [State.StaysBy], or who of several is at the other airframe now by the plan, and is known to be at the bench.
func (s *State) staysBy(g *Suggestion, other *State, now time.Time) int {
	by := s.StaysBy(other, now)
	for i := range g.Others {
		if o := &g.Others[i]; o.Mark == other.Airframe.Mark && !o.Planned.After(now) && s.there([]int{o.Who}, nil, now) {
			by = o.Who
		}
	}
	return by
}

// saidOtherwise reports whether what one airframe of the bench says of that is over by what this one or another one says of it since.
func (s *State) saidOtherwise(is *hotThing, now time.Time) bool {
	return s.endedSince(is.is, is.At, now) || slices.ContainsFunc(s.others, func(of *State) bool { return of.endedSince(is.is, is.At, now) })
}

// endedSince reports whether the airframe says of a condition of the bench last, and since then, that it is otherwise.
//
//go:noinline
func (s *State) endedSince(is steps.Setting, since, now time.Time) bool {
	all := s.said[is.Condition]
	n := saidBy(all, now)
	return n > 0 && s.ofBench(is.Condition) && all[n-1].at.After(since) && all[n-1].state != "" && all[n-1].state != is.State
}

// SaysSince reports whether a condition is so by what was said of it last, and that was after the time.
func (s *State) SaysSince(is steps.Setting, since, now time.Time) bool {
	all := s.said[is.Condition]
	n := saidBy(all, now)
	return n > 0 && all[n-1].state == is.State && all[n-1].at.After(since)
}

// Standing is all that is hot, on or plugged in at the bench of these airframes, whoever goes on with it.
func Standing(fleet []*State, now time.Time) []Reason {
	var all []*hotThing
	for _, s := range fleet {
		for _, is := range s.standing(now) {
			said := false
			for _, had := range all {
				said = said || is.bench && had.is == is.is
			}
			if !said {
				all = append(all, is)
			}
		}
	}
	return reasonsOf(all)
}

// Stands is what is hot, on or plugged in by the journal of the airframe itself, whoever goes on with it.
func (s *State) Stands(now time.Time) []Reason {
	return reasonsOf(sorting.Delete(s.standing(now), func(is *hotThing) bool { return is.by != "" }))
}

// MayStand reports whether something may be hot, on or plugged in by the last word of the airframe's own journal, whatever others say since.
func (s *State) MayStand() bool {
	for i := range s.Sheet.Conditions {
		is := steps.Setting{Condition: s.Sheet.Conditions[i].Name}
		for _, c := range s.said[is.Condition] {
			if c.mark == "" && c.state != "" {
				is.State = c.state
			}
		}
		if s.ender(is) != nil {
			return true
		}
	}
	return false
}

// pluggedIn is what somebody stays by on the airframe now, such as a battery that is plugged in, in this sitting. Where a check is due,
// that comes first, and nothing is.
func (s *State) pluggedIn(now time.Time) (all []steps.Setting) {
	for i := range s.Sheet.Conditions {
		def := &s.Sheet.Conditions[i]
		is := steps.Setting{Condition: def.Name, State: def.Guarded}
		if def.Guarded != "" && !def.Bench && s.tendedNow(is, now) && s.ender(is) != nil && s.Unchecked(now) == nil {
			all = append(all, is)
		}
	}
	return all
}

// tendedFor is how long a suggested step takes that a battery is plugged in for, with the end of that; 0: none is.
//
//go:noinline
func (s *State) tendedFor(g *Suggestion, now time.Time) (long time.Duration) {
	plugged := s.pluggedIn(now)
	job, err := s.Job(g.Step.Job)
	if len(plugged) == 0 || g.Presses || err != nil || !s.isFor(plugged, job, &g.Step.Step, now) {
		return 0
	}
	long = g.takes
	for _, is := range plugged {
		if !steps.AnySetting(g.Step.Step.Sets, func(set steps.Setting) bool { return set.Condition == is.Condition }) {
			long += s.toEnd(is, g.Step.Step.Name)
		}
	}
	return long
}

// isFor reports whether what is plugged in is so for a step: the last step before it that changes that did so, as what else is guarded
// stands now, and the step needs it, comes between, or ends it.
//
//go:noinline
func (s *State) isFor(plugged []steps.Setting, j *Job, step *steps.Step, now time.Time) bool {
	for _, is := range plugged {
		name, _ := setFor(j.Procedure, is, step.Name)
		_, done := j.done[name]
		by, _, _ := j.Procedure.Step(name)
		if need := stateOf(step.Needs, is.Condition); done && s.suits(&by, is, nil, now) && (need == "" || need == is.State) {
			return true
		}
	}
	return false
}

// setter is the step of an open job that set last what nobody leaves as it is, as what else is needed with it stands: a battery that was
// plugged in on a bare shaft, and then beside a propeller, is plugged in by the first of both once the propeller is off. Where a hold
// set it, that is before a step without lines: whoever sets it once more confirms the same lines, or heeds the same cautions. What a job
// may not set now, since damage keeps it from that, comes last. nil: none was done.
func (s *State) setter(is steps.Setting, with []steps.Setting, at time.Time) (of *Job, by *steps.Step) {
	last, best := int64(-1), 0
	def, _ := s.Sheet.Condition(is.Condition)
	for _, j := range s.OpenJobs(at) {
		if !s.staysNot(j.written, is) {
			continue
		}
		may := 4 // it weighs more than that it suits, and that more than that it has lines
		if def.Guarded == is.State && s.leftToRepair(is, j.Procedure.Kind == steps.Repair, at) != nil {
			may = 0
		}
		for _, step := range j.Procedure.Steps() {
			m, done := j.done[step.Name]
			if !done || !lists.Contains(step.Sets, is) {
				continue
			}
			fits := may
			if s.suits(step, is, with, at) {
				fits += 2
			}
			if len(step.Confirm) > 0 {
				fits++
			}
			if fits > best || fits == best && m.position > last {
				of, by, last, best = j, step, m.position, fits
			}
		}
	}
	return of, by
}

// suits reports whether nothing that a step needs, but for what it sets, is needed otherwise with that, or stands otherwise where that
// says nothing of it.
//
//go:noinline
func (s *State) suits(step *steps.Step, is steps.Setting, with []steps.Setting, at time.Time) bool {
	return !steps.AnySetting(step.Needs, func(need steps.Setting) bool {
		state := s.Holds(need.Condition, at)
		for _, other := range with {
			if other.Condition == need.Condition {
				state = other.State
			}
		}
		return need.Condition != is.Condition && state != "" && state != need.State
	})
}

// firstFor is what must stand before a condition is set so, with what else is needed: the step of an open job that sets it needs that, and
// it stands otherwise, as a battery that is plugged in does where a propeller is to be fitted. What stands so from another sitting, and
// nobody leaves as it is, or by a bare word that no hold was looked over for, is ended first. Without a state: nothing.
func (s *State) firstFor(is steps.Setting, with []steps.Setting, at time.Time) (first steps.Setting) {
	if s.stillStands(is, at) {
		if j := s.ender(is); j != nil && (!s.tendedNow(is, at) || s.overlooked(is, at)) {
			first, _ = s.ends(j.written, is, "")
		}
		return first
	}
	if first = s.safeFirst(is, at); first.State != "" {
		return first
	}
	_, by := s.setter(is, with, at)
	for _, j := range s.OpenJobs(at) {
		for _, step := range j.Procedure.Steps() {
			if _, done := j.done[step.Name]; by == nil && done && lists.Contains(step.Sets, is) {
				by = step
			}
		}
	}
	if by == nil {
		return first
	}
	for _, need := range by.Needs {
		def, _ := s.Sheet.Condition(need.Condition)
		if state := s.Holds(need.Condition, at); need.Condition != is.Condition && state != "" && state != need.State && !def.Lapses() {
			return need
		}
	}
	return first
}

// safeFirst is what must stand before a condition that is guarded is changed either way, by whatever job: each step that changes it
// alone needs that, and what is guarded stands otherwise, as a battery that is plugged in does where a propeller is fitted or taken off.
// Without a state: nothing.
func (s *State) safeFirst(is steps.Setting, at time.Time) (first steps.Setting) {
	def, _ := s.Sheet.Condition(is.Condition)
	if def.Guarded == "" || s.Holds(is.Condition, at) == is.State {
		return first
	}
	return s.handledFirst(is.Condition, at)
}

// handledFirst is safeFirst of what is handled, such as a propeller that is fitted or taken off as equipment, however it stands.
func (s *State) handledFirst(condition string, at time.Time) (first steps.Setting) {
	for i := range s.Sheet.Conditions {
		other := &s.Sheet.Conditions[i]
		if other.Guarded == "" || other.Name == condition || !s.stillStands(steps.Setting{Condition: other.Name, State: other.Guarded}, at) {
			continue
		}
		if first = s.changedWith(condition, other); first.State != "" {
			return first
		}
	}
	return steps.Setting{}
}

// changedWith is how another condition, which is guarded, must stand while one is changed: each step that changes that alone needs it so,
// and not guarded. Without a state: it may stand either way.
func (s *State) changedWith(condition string, other *steps.Condition) (safe steps.Setting) {
	every := true
	for _, j := range s.Jobs {
		for _, step := range j.written.Steps() {
			if of := stateOf(step.Sets, condition); of == "" || stateOf(step.Sets, other.Name) != "" {
				continue
			}
			safe = steps.Setting{Condition: other.Name, State: stateOf(step.Needs, other.Name)}
			every = every && safe.State != "" && safe.State != other.Guarded
		}
	}
	if !every {
		return steps.Setting{}
	}
	return safe
}

// safely puts what is needed in the order in which it is set: a battery is plugged in once the propeller is on, and pulled before anybody is
// at that.
func (s *State) safely(needs []steps.Setting) {
	for i := range needs {
		for k := i + 1; k < len(needs); k++ {
			if s.setLater(&needs[i], &needs[k], true) || s.setLater(&needs[k], &needs[i], false) {
				needs[i], needs[k] = needs[k], needs[i]
				break
			}
		}
	}
}

// setLater reports whether a condition is to be guarded, or not, and another one is changed only while it is not.
//
//go:noinline
func (s *State) setLater(is, other *steps.Setting, guarded bool) bool {
	def, _ := s.Sheet.Condition(is.Condition)
	return def.Guarded != "" && (def.Guarded == is.State) == guarded && s.changedWith(other.Condition, &def).State != ""
}

// stateOf is how a condition is among settings; "": it is not.
//
//go:noinline
func stateOf(all []steps.Setting, condition string) string {
	for i := range all {
		if all[i].Condition == condition {
			return all[i].State
		}
	}
	return ""
}

// Heeded are the cautions of the step that is [State.DoneAgain]: whoever sets it once more heeds them once more.
func (s *State) Heeded(is steps.Setting, at time.Time) []string {
	if by := s.DoneAgain(is, at); by != nil {
		return by.Cautions
	}
	return nil
}

// DoneAgain is the step without lines that set what nobody leaves as it is, where it was ended since: all that it says to do is done
// once more by whoever sets it once more, such as the tie before a battery is plugged in. nil: there is none.
func (s *State) DoneAgain(is steps.Setting, at time.Time) *steps.Step {
	_, by := s.setter(is, nil, at)
	if by == nil || len(by.Confirm) > 0 || s.Holds(is.Condition, at) == is.State {
		return nil
	}
	return by
}

// Anew is the hold that is cleared once more before it counts that something is on or plugged in: it was ended since the hold was
// cleared, or somebody said only that it is so; nil: there is none.
//
//go:noinline
func (s *State) Anew(is steps.Setting, at time.Time) (of *Job, hold *steps.Step) {
	return s.anew(is, nil, at)
}

func (s *State) anew(is steps.Setting, with []steps.Setting, at time.Time) (of *Job, hold *steps.Step) {
	if of, hold = s.setter(is, with, at); hold == nil || len(hold.Confirm) == 0 || s.confirmed(is, of, hold, at) {
		return nil, nil
	}
	return of, hold
}

// Again reports whether a hold that was cleared is cleared once more, and all that it sets by that, see [State.Anew]: nothing, where it
// looks over once more what is plugged in after it.
func (s *State) Again(r StepReport, at time.Time) (anew []steps.Setting, again bool) {
	if r.Progress != Done {
		return nil, false
	}
	for _, is := range r.Step.Sets {
		if of, hold := s.Anew(is, at); hold != nil && of.ID == r.Job && hold.Name == r.Step.Name {
			anew = append(anew, is)
		}
	}
	_, hold := s.LooksAgain(r.Job+"/"+r.Step.Name, at)
	return anew, len(anew) > 0 || hold != nil
}

// confirmed reports whether the setting stands by a step, or by the lines of the hold that were confirmed with it. What another
// airframe's journal says may end it, and does not confirm it: there the lines were read for something else, or not at all.
func (s *State) confirmed(is steps.Setting, of *Job, hold *steps.Step, at time.Time) bool {
	if s.Holds(is.Condition, at) != is.State {
		return false
	}
	def, _ := s.Sheet.Condition(is.Condition)
	all := s.said[is.Condition]
	for i := saidBy(all, at) - 1; i >= 0; i-- {
		c := all[i]
		if c.state != is.State || s.lapsed(c, is.Condition, at) || def.Lapses() && at.Sub(c.at) > SittingLength {
			return false
		}
		if c.mark == "" && (s.Entries[c.position].Facts.Kind() != (journal.ConditionSet{}).Kind() || s.clearedWith(c.position, of, hold)) {
			return true
		}
	}
	return false
}

// clearedWith reports whether a condition was set as the hold was cleared once more, and nobody took back the lines, or who was
// second. What is said in the same second of another time, or said again, is a bare word.
func (s *State) clearedWith(position int64, of *Job, hold *steps.Step) bool {
	set := s.Entries[position]
	for position--; position >= 0; position-- {
		e := s.Entries[position]
		if !e.Recorded.Equal(set.Recorded) || !e.At.Equal(set.At) {
			return false
		}
		switch f := e.Facts.(type) {
		case journal.ConditionSet: // with others that the hold sets
			if !lists.Contains(hold.Sets, f.Setting) || f == set.Facts {
				return false
			}
		case journal.UseCleared:
			return f.Of == hold.Name && lists.Equal(f.Lines, hold.Confirm) && s.Live(position) && (!hold.WantsSecond() || s.seconded(position, of, hold))
		default:
			return false
		}
	}
	return false
}

// seconded reports whether the entry before the position says who was second at the step.
func (s *State) seconded(position int64, of *Job, step *steps.Step) bool {
	if position == 0 || !s.Live(position-1) {
		return false
	}
	f, ok := s.Entries[position-1].Facts.(journal.Witnessed)
	return ok && f.Job == of.ID && f.Step == step.Name
}

// LookFirst are the lines of a hold of any job that sets what nobody leaves as it is: whoever sets it where no hold is cleared for
// it looks at the same.
func (s *State) LookFirst(is steps.Setting, with []steps.Setting, at time.Time) []string {
	if of, by := s.setter(is, with, at); by != nil {
		if _, hold := s.looksOver(of.Procedure, by); hold != nil {
			return nil // its lines are confirmed, see [State.unlooked]
		}
	}
	for i := len(s.Jobs) - 1; i >= 0; i-- {
		if !s.staysNot(s.Jobs[i].written, is) {
			continue
		}
		for _, step := range s.Jobs[i].written.Steps() {
			if len(step.Confirm) > 0 && lists.Contains(step.Sets, is) && s.suits(step, is, with, at) {
				return step.Confirm
			}
		}
	}
	return nil
}

// notAnew says why a hold is not cleared once more now.
func (s *State) notAnew(r StepReport, j *Job, c Circumstances) (reasons []Reason) {
	stage, _ := j.Procedure.Stage(r.Stage)
	for i := range stage.Steps {
		if stage.Steps[i].Name == r.Step.Name {
			reasons = s.forbids(j, stage, i, c.At)
		}
	}
	if reason := s.Untrusted(c.Now); reason != nil {
		reasons = append(reasons, *reason)
	}
	return reasons
}

// ending is what ends how a condition of an airframe stands, by a step from the named one on. Without a job: it may stay.
func (c *scheduler) ending(of int, is steps.Setting, from string) task {
	s := c.fleet[of]
	j := s.ender(is)
	if j == nil {
		return task{}
	}
	by := s.endedBy(j.written, is, from)
	if from == "" && !s.suits(by, is, nil, c.now) { // it is for how something else stood, as of a propeller that is off
		safe, _ := s.ends(j.written, is, "")
		by = s.ending(safe)
	}
	return task{of: of, job: j, work: j.written, step: by, again: AgainSafe, minutes: c.minutes(j.written, by)}
}

// standingNow is how long it takes to end what stands now in the sitting that goes on, and is ended by nothing that is planned, or maybe
// later; and what ends of it what nothing planned goes on with, or ends: nothing but what has a clock that runs is begun before that.
func (c *scheduler) standingNow() (minutes int, forNothing []task) {
	var had []steps.Setting // of the bench
	for of, s := range c.fleet {
		for i := range s.Sheet.Conditions {
			def := &s.Sheet.Conditions[i]
			is := c.standsSo(of, def)
			ends := c.ending(of, is, "")
			if ends.job == nil || lists.Contains(had, is) {
				continue
			}
			if def.Bench {
				had = append(had, is)
			}
			switch rowed, ended := c.goesOnWith(of, is, def.Bench); {
			case rowed && !c.unended:
			case rowed || ended && !c.endsNow(of, is):
				minutes += ends.minutes
			default:
				ends.safe = true
				forNothing = append(forNothing, ends)
			}
		}
	}
	return minutes, forNothing
}

// endsNow reports whether how a condition of an airframe stands now is ended at once, before all else, and set anew for what needs it: it
// harms a coat that is open, or its vapour, or may have been left so, as [State.Left] says.
func (c *scheduler) endsNow(of int, is steps.Setting) bool {
	for k, s := range c.fleet {
		if k != of && !s.ofBench(is.Condition) {
			continue
		}
		for _, h := range s.Harms(c.now) {
			if h.Need.Condition == is.Condition && h.State == is.State {
				return true
			}
		}
		if slices.ContainsFunc(s.leftNow(&Suggestion{}, c.now), func(left *hotThing) bool { return left.is == is && !left.wreck }) {
			return true
		}
	}
	return false
}

// goesOnWith reports whether a row goes on with how a condition stands now, and whether a task ends that before anything sets it so
// again.
func (c *scheduler) goesOnWith(of int, is steps.Setting, bench bool) (rowed, ended bool) {
	for _, r := range c.rows {
		rowed = rowed || (r.of == of || bench) && r.is == is && r.stands(c)
	}
	for k := range c.tasks {
		t := &c.tasks[k]
		ended = ended || (t.of == of || bench) && t.setsOtherwise(is) && !c.setBefore(k, is) && !c.setAnewBefore(k, of, is)
	}
	return rowed, ended
}

// setAnewBefore reports whether something is set anew, since nobody is at what stands so now, for what a task does not come before.
//
//go:noinline
func (c *scheduler) setAnewBefore(k, of int, is steps.Setting) bool {
	for _, r := range c.rows {
		if r.of == of && r.is == is && c.guardedBy(r) && r.setter < 0 && !r.stands(c) && !c.precedes(k, r.tasks[0]) {
			return true
		}
	}
	return false
}

// setBefore reports whether something that comes before the task sets the condition so.
//
//go:noinline
func (c *scheduler) setBefore(k int, is steps.Setting) bool {
	for i := range c.tasks {
		if t := &c.tasks[i]; t.step != nil && lists.Contains(t.step.Sets, is) && c.precedes(i, k) {
			return true
		}
	}
	return false
}

// standsSo is how a condition of an airframe stands now, in the sitting that goes on.
func (c *scheduler) standsSo(of int, def *steps.Condition) steps.Setting {
	is := steps.Setting{Condition: def.Name}
	if s := c.fleet[of]; c.goesOn() && s.Retired == nil {
		is.State = s.lastStood(def, c.now).state
	}
	return is
}

// tendedNow reports whether a condition stands so now, and somebody was at it in this sitting: what was plugged in days ago is taken
// out, and set anew for what needs it.
func (s *State) tendedNow(is steps.Setting, now time.Time) bool {
	return s.Holds(is.Condition, now) == is.State && (!s.isGuarded(is) || now.Sub(s.tendedAt(is, now)) <= SittingLength)
}

// isGuarded reports whether nobody leaves it so alone.
//
//go:noinline
func (s *State) isGuarded(is steps.Setting) bool {
	def, _ := s.Sheet.Condition(is.Condition)
	return def.Guarded == is.State
}

// tendedAt is when somebody was last at what stands so: set it, or confirmed by a step that it stands. A bare word that it still stands so
// is not that.
func (s *State) tendedAt(is steps.Setting, now time.Time) (at time.Time) {
	all := s.said[is.Condition]
	for i := saidBy(all, now) - 1; i >= 0; i-- {
		c := &all[i]
		if c.state != is.State || s.lapsed(*c, is.Condition, now) {
			break
		}
		at = c.at
		if c.mark != "" {
			continue
		}
		if _, bare := s.Entries[c.position].Facts.(journal.ConditionSet); !bare {
			break
		}
	}
	return at
}

// endAll ends in each sitting what would be hot, on or plugged in when it is over, also what the plan has nothing to do with: of
// the sitting that goes on, what is so now.
func (c *scheduler) endAll(out *Timetable) {
	for of, s := range c.fleet {
		for i := range s.Sheet.Conditions {
			c.end(out, of, &s.Sheet.Conditions[i])
		}
	}
}

// end ends how one condition of an airframe stands in each sitting.
func (c *scheduler) end(out *Timetable, of int, def *steps.Condition) {
	s := c.fleet[of]
	is, from, last := c.standsSo(of, def), "", c.base
	if s.ender(is) != nil && (len(out.Visits) == 0 || out.Visits[0].From != c.given[0].From) {
		out.Visits = append([]Visit{{Sitting: c.given[0], Overtime: c.over[0]}}, out.Visits...)
	}
	so := func(t *Turn) (state string) { // it leaves it
		for _, all := range [...][]steps.Setting{t.Needs, t.Sets} {
			for i := range all {
				if all[i].Condition == def.Name && (def.Bench || t.Mark == s.Airframe.Mark) {
					state = all[i].State
				}
			}
		}
		return state
	}
	for k := range out.Visits {
		v := &out.Visits[k]
		if v.From.After(last) {
			last = v.From
		}
		for i := range v.Turns {
			if t := &v.Turns[i]; so(t) != "" {
				is.State, from, last = so(t), t.Step, t.Ends
			}
		}
		ends := c.ending(of, is, from)
		if ends.job == nil {
			continue
		}
		turn, takes := c.turnOf(&ends, -1), minutesOf(ends.minutes)
		turn.Begins, turn.Ends = v.between(last, takes)
		if turn.Ends.After(v.To) { // nobody leaves before
			v.To, v.Overtime = turn.Ends, true
		}
		if c.hands > 1 {
			turn.Hands = []int{1}
		}
		out.Attended += takes
		v.put(turn)
		again := time.Time{}
		for n := k + 1; n < len(out.Visits) && again.IsZero(); n++ {
			for i := range out.Visits[n].Turns {
				if t := &out.Visits[n].Turns[i]; again.IsZero() && so(t) == is.State {
					again = t.Begins
				}
			}
		}
		safe, _ := s.ends(ends.work, is, from)
		v.Leave = append(v.Leave, Left{s.Airframe.Mark, safe, s.conditionTitle(def.Name), again})
		is = safe
	}
}

// put puts a turn where it begins.
func (v *Visit) put(turn Turn) {
	v.Turns = append(v.Turns, turn)
	for at := len(v.Turns) - 1; at > 0 && turn.Begins.Before(v.Turns[at-1].Begins); at-- {
		v.Turns[at], v.Turns[at-1] = v.Turns[at-1], v.Turns[at]
	}
}

// needsSo reports whether a step with these needs and uses is done while the condition stands so.
//
//go:noinline
func needsSo(needs []steps.Setting, uses []steps.Use, is steps.Setting) bool {
	for k := range uses {
		if lists.Contains(uses[k].Needs, is) {
			return true
		}
	}
	return lists.Contains(needs, is)
}

// between is the first time from then on at which nobody does anything else for so long, if need be once all else is done.
func (v *Visit) between(from time.Time, takes time.Duration) (begins, ends time.Time) {
	for i := range v.Turns {
		if t := &v.Turns[i]; t.Ends.After(from) && t.Begins.Sub(from) < takes {
			from = t.Ends
		}
	}
	return from, from.Add(takes)
}
