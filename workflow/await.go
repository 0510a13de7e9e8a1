package workflow

import (
	"time"

	"fettle/steps/lists"
)

// Await returns the moment to wait for: of the named joint or step, or without a name
// the next one of the airframe. Of a joint that is open it is the time before it closes. What is
// already so has its time in the past.
func (s *State) Await(now time.Time, name string) (Moment, error) {
	if reason := s.Untrusted(now); reason != nil {
		return Moment{}, &Refusal{What: "waiting", Reasons: []Reason{*reason}}
	}
	if name == "" {
		return s.awaitAny(now)
	}
	if j := s.openJoint(now, name); j != nil {
		return s.closing(j), nil
	}
	var names []string
	for _, m := range s.Moments(now, time.Time{}) {
		if named(m.Job, m.Name, name) && m.Event.helps() {
			return m, nil
		}
		if !lists.Contains(names, m.Name) {
			names = append(names, m.Name)
		}
	}
	return s.named(now, name, names)
}

// awaitAny is the next moment of the airframe; while nothing can be done, that at which
// something can, or a window ends.
func (s *State) awaitAny(now time.Time) (Moment, error) {
	next := s.Next(now)
	idle := next.Step == nil && !next.Until.IsZero()
	for _, m := range s.Moments(now, time.Time{}) {
		if idle && m.At.After(next.Until) {
			break
		}
		if !idle || m.At.Equal(next.Until) || !m.Event.helps() {
			return m, nil
		}
	}
	i := indexOf(next.Waiting, func(w *StepReport) bool { return idle && opens(w).Equal(next.Until) })
	if i < 0 {
		return Moment{}, unknownOf(s.Airframe.Mark, "running clock", "", nil)
	}
	w := next.Waiting[i]
	return Moment{Mark: s.Airframe.Mark, Job: w.Job, Name: s.NameOf(w.Job, w.Step.Name, now), Event: MayDo, Began: now, At: next.Until}, nil
}

// helps reports whether something can be done at the moment that could not before, or
// must be done in the next minutes.
//
//go:noinline
func (e Event) helps() bool {
	return !lists.Contains([]Event{ClosesSoon, HasLapsed, IsLate}, e)
}

// named reports whether a joint or step is meant, by its name with or without its job.
func named(job, name, meant string) bool { return meant == name || meant == job+"/"+name }

// named answers for a joint or step that has no running clock.
func (s *State) named(now time.Time, name string, running []string) (Moment, error) {
	for _, j := range s.joints() {
		if !named(j.Job, j.Name, name) {
			continue
		}
		switch s.Phase(j, now) {
		case Late:
			return Moment{}, refuse("waiting for "+name, ByLapse, "its coat has lapsed", s.remedy(j.afresh(name)))
		case Cured:
			return Moment{Mark: s.Airframe.Mark, Job: j.Job, Name: j.Name, Event: IsCured, At: j.Cures()}, nil
		}
		return Moment{}, refuse("waiting for "+name, ByState, "waiting will not help: something must be done first", s.remedy(Remedy{Kind: ToSeeNext}))
	}
	report, job, err := s.FindStep(name, now)
	if err != nil {
		return Moment{}, unknown("running clock", name, running)
	}
	m := Moment{Mark: s.Airframe.Mark, Job: job.ID, Name: name, Event: MayDo, Began: now, At: now}
	if j, coated := job.JointOf(report.Step); coated && report.Step.Kind.Traits().Joins && report.Progress != Done && !j.Lapsed(now) && s.fullyCoated(j) {
		m.Name, m.Event, m.Until = j.Name, MayJoin, j.Window().Closes // as a wait for the joint says
	}
	if report.Progress == Done || report.Progress == Ready {
		return m, nil
	}
	if m.At = opens(&report); !m.At.IsZero() {
		return m, nil
	}
	if m.Event == MayJoin { // what else is to be seen to first, can be meanwhile
		return s.Await(now, m.Name)
	}
	return Moment{}, &Refusal{What: "waiting for " + name, Reasons: report.Reasons}
}

// openJoint returns the named joint if it may be joined now, or once it is dry to the
// touch; of several parts the one that closes first. nil: there is none.
func (s *State) openJoint(now time.Time, name string) *Joint {
	var first *Joint
	for _, j := range s.joints() {
		phase := s.Phase(j, now)
		wet := phase == Tacking && j.wet && !now.Before(j.Window().Opens) && !now.Before(j.touched.Add(touchAgain))
		if named(j.Job, j.Name, name) && (phase == Open || wet) && (first == nil || j.Window().Closes.Before(first.Window().Closes)) {
			first = j
		}
	}
	return first
}

// closing is the moment before an open joint closes, or where its window has none the
// one at which it opened.
func (s *State) closing(j *Joint) Moment {
	w := j.Window()
	m := Moment{Mark: s.Airframe.Mark, Job: j.Job, Name: j.Name, Event: ClosesSoon, Began: w.Opens, At: w.Closes.Add(-Warning), Until: w.Closes}
	if !m.At.After(w.Opens) {
		m.Event, m.At = MayJoin, w.Opens
	}
	return m
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

// AwaitAgain returns the same moment for a newer state, in which its time may have
// moved. What has come keeps its time.
func (s *State) AwaitAgain(now time.Time, was Moment) (Moment, error) {
	for _, m := range s.Moments(now, time.Time{}) {
		if m.Job == was.Job && m.Name == was.Name && m.Event == was.Event {
			return m, nil
		}
	}
	if now.Before(was.At) {
		return s.Await(now, was.Name)
	}
	return was, nil
}
