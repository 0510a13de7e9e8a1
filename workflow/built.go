package workflow

import (
	"slices"
	"time"

	"fettle/steps"
)

// Built is the job that an airframe rests on as a whole: the build that made it,
// or the check that took it over as built.
type Built struct {
	Job       *Job
	TakenOver bool // its build is not on record
	At        time.Time
}

// Built returns what the airframe rests on; false: none is complete. A build
// comes before a check, whichever was first.
//
//go:noinline
func (s *State) Built(at time.Time) (Built, bool) { return s.builtBy(false, at) }

// builtBy is Built; within: of a build only its release may be left.
func (s *State) builtBy(within bool, at time.Time) (Built, bool) {
	for _, is := range []func(*steps.Procedure) bool{
		func(p *steps.Procedure) bool { return p.Kind == steps.Build },
		func(p *steps.Procedure) bool { return p.Accepts == steps.AsBuilt },
	} {
		i := slices.IndexFunc(s.Jobs, func(j *Job) bool { return is(j.Procedure) && s.incomplete(j, within, at) == nil })
		if i >= 0 {
			j := s.Jobs[i]
			return Built{j, j.Procedure.Kind != steps.Build, j.last()}, true
		}
	}
	return Built{}, false
}

// beingBuilt says why a check can't take the airframe over as built: a build of it is
// open, which says what is not there yet.
func (s *State) beingBuilt(p *steps.Procedure, at time.Time) *Reason {
	if p.Accepts != steps.AsBuilt {
		return nil
	}
	for _, j := range s.Builds() {
		if s.Open(j, at) {
			return &Reason{Because: ByState, Text: "its build is on record and not complete: job " + j.ID, Remedy: s.remedy(Remedy{Kind: ToFinish, Name: j.ID})}
		}
	}
	return nil
}

// alreadyBuilt says why no build of the airframe begins: it is there, and a build
// would say of every zone that it is not.
func (s *State) alreadyBuilt(p *steps.Procedure, at time.Time) *Reason {
	b, ok := s.Built(at)
	if p.Kind != steps.Build || !ok {
		return nil
	}
	text := "it is built: job " + b.Job.ID + " is complete"
	if b.TakenOver {
		text = "it was taken over as built by job " + b.Job.ID
	}
	return &Reason{Because: ByState, Text: text, At: b.At, Remedy: s.remedy(Remedy{Kind: ToSeeNext})}
}

// unrecorded says by what an airframe was taken over whose build is not on record.
func (b Built) unrecorded() Cause {
	return Cause{"its build is not on record; it was taken over as built by job " + b.Job.ID, b.At}
}

// BuildMissing says what the record lacks of how the airframe was built: nothing,
// where its build is complete or where it was never taken over or released.
func (s *State) BuildMissing(at time.Time) Cause {
	b, ok := s.Built(at)
	switch {
	case ok && b.TakenOver:
		return b.unrecorded()
	case !ok && s.Release != nil:
		return Cause{Text: "its build is not on record, and no check took it over as built"}
	}
	return Cause{}
}

// last is when the last of its steps was done.
func (j *Job) last() time.Time {
	last := j.Opened
	for _, c := range j.done {
		if c.at.After(last) {
			last = c.at
		}
	}
	return last
}

// provesBuilt adds what the airframe rests on as a whole to the proof. What was
// released before this was asked stands as history; the next release asks.
func (s *State) provesBuilt(p *Proof, within bool, at time.Time) {
	m, ok := s.builtBy(within, at)
	switch {
	case ok && m.TakenOver:
		p.Lines = append(p.Lines, ProofLine{Text: m.unrecorded().Text, At: m.At})
		return
	case ok:
		p.add("it was built: job "+m.Job.ID+" is complete", nil)
		return
	}
	if !slices.ContainsFunc(s.Jobs, (*Job).makes) { // else that job is open, and the proof says so
		p.add("it was built, or taken over as built", &Reason{Because: ByState,
			Text: "no build of it is on record, and no check took it over as built", Remedy: s.remedy(Remedy{Kind: ToAccept})})
	}
}

// makes reports whether the airframe counts as built once the job is complete.
func (j *Job) makes() bool {
	return j.Procedure.Kind == steps.Build || j.Procedure.Accepts == steps.AsBuilt
}
