package workflow

import (
	"slices"
	"time"
)

// An Await is one moment waited for.
type Await struct {
	Job, Name string // the joint, or the step
	Event     Event
	Began     time.Time // when the clock began, for showing progress
	Ready     time.Time
	Then      time.Time // the next deadline or moment after Ready; zero: none
}

// Await returns the moment to wait for: that of the named joint or step, or for
// "" what Next waits for, if nothing can be done now, else whichever is ready
// first: an open joint is ready already. What is already ready has its time in the past.
func (s *State) Await(now time.Time, name string) (Await, error) {
	if reason := s.Untrusted(now); reason != nil {
		return Await{}, &Refusal{What: "waiting", Reasons: []Reason{*reason}}
	}
	if open := s.openJoint(now); name == "" && open != nil {
		return awaitJoin(open), nil
	}
	var soonest *StepReport
	if name == "" {
		if next := s.Next(now); next.Step == nil {
			i := slices.IndexFunc(next.Waiting, func(w StepReport) bool { return !next.Until.IsZero() && opens(w).Equal(next.Until) })
			if i >= 0 {
				soonest = &next.Waiting[i]
			}
		}
	}
	var first *Await
	var names []string
	for _, w := range s.awaits(now) {
		names = append(names, w.Name)
		if name != "" && w.Name != name && w.Job+"/"+w.Name != name {
			continue
		}
		if soonest != nil && !w.Ready.Equal(opens(*soonest)) {
			continue
		}
		if first == nil || w.Ready.Before(first.Ready) {
			first = &w
		}
	}
	if first == nil && soonest != nil {
		return Await{Job: soonest.Job, Name: s.NameOf(soonest.Job, soonest.Step.Name, now), Event: MayDo, Began: now, Ready: opens(*soonest)}, nil
	}
	if first != nil {
		return *first, nil
	}
	if name != "" {
		return s.named(now, name, names)
	}
	return Await{}, unknownOf(s.Airframe.Mark, "running clock", "", nil)
}

// named answers for a joint or step that has no running clock.
func (s *State) named(now time.Time, name string, running []string) (Await, error) {
	for _, j := range s.joints() {
		if j.Name != name && j.Job+"/"+j.Name != name {
			continue
		}
		switch s.Phase(j, now) {
		case Open:
			return awaitJoin(j), nil
		case Late:
			return Await{}, refuse("waiting for "+name, ByLapse, "its coat has lapsed", s.remedy(Remedy{Kind: ToCoatAgain, Joint: name}))
		case Cured:
			return Await{Job: j.Job, Name: j.Name, Event: IsCured, Ready: j.Cures()}, nil
		}
		return Await{}, refuse("waiting for "+name, ByState, "waiting will not help: something must be done first", s.remedy(Remedy{Kind: ToSeeNext}))
	}
	report, job, err := s.FindStep(name, now)
	if err != nil {
		return Await{}, unknown("running clock", name, running)
	}
	if report.Progress == Done || report.Progress == Ready {
		return Await{Job: job.ID, Name: name, Event: MayDo, Ready: now}, nil
	}
	if at := opens(report); !at.IsZero() {
		return Await{Job: job.ID, Name: name, Event: MayDo, Began: now, Ready: at}, nil
	}
	return Await{}, &Refusal{What: "waiting for " + name, Reasons: report.Reasons}
}

// awaitJoin is the wait for a joint that is open.
func awaitJoin(j *Joint) Await {
	w := j.Window()
	return Await{Job: j.Job, Name: j.Name, Event: MayJoin, Ready: w.Opens, Then: w.Closes}
}

// openJoint returns the open joint that must be joined first; nil: none is open.
func (s *State) openJoint(now time.Time) *Joint {
	var first *Joint
	for _, j := range s.joints() {
		if s.Phase(j, now) == Open && (first == nil || j.Window().Closes.Before(first.Window().Closes)) {
			first = j
		}
	}
	return first
}

// awaits lists the running clocks whose next moment needs no action.
func (s *State) awaits(now time.Time) []Await {
	var all []Await
	for _, t := range s.Timers(now) {
		if t.Ready.IsZero() {
			continue
		}
		a := Await{Job: t.Job, Name: t.Name, Event: WaitOver, Began: t.Began, Ready: t.Ready}
		switch t.Phase {
		case Tacking:
			a.Event, a.Then = MayJoin, t.Closes
		case Setting:
			a.Event, a.Then = MayHandle, t.Cures
		case Curing:
			a.Event = IsCured
		}
		all = append(all, a)
	}
	return all
}

// began is when the joint's last face was finished, or when it was joined.
func (j *Joint) began() time.Time {
	last := j.Joined
	for _, c := range j.coats {
		if last.Before(c.Finished) && j.Joined.IsZero() {
			last = c.Finished
		}
	}
	return last
}

// AwaitAgain returns the same wait for a newer state, in which its times may
// have moved. What has become ready keeps its time.
func (s *State) AwaitAgain(now time.Time, w Await) (Await, error) {
	for _, running := range s.awaits(now) {
		if running.Job == w.Job && running.Name == w.Name && running.Event == w.Event {
			return running, nil
		}
	}
	if now.Before(w.Ready) {
		return s.Await(now, w.Name)
	}
	return w, nil
}
