package workflow

import (
	"slices"
	"time"

	"fettle/steps/lists"
	"fettle/steps/sorting"
)

// An Event is what happens at a moment of a clock.
type Event string

// The events.
const (
	MayJoin    Event = "may-join"    // a joint; Until: join it by
	MayTouch   Event = "may-touch"   // a joint that was wet at the last touch test; Until: join it by
	ClosesSoon Event = "closes-soon" // a joint; Until: join it by
	HasLapsed  Event = "has-lapsed"  // a joint: it must be coated again
	MayHandle  Event = "may-handle"  // a joint; Until: it is cured
	IsCured    Event = "is-cured"    // a joint
	WaitOver   Event = "wait-over"   // a wait step; of one with an end Until: Then must be done by
	DueSoon    Event = "due-soon"    // a wait step; Until: Then must be done by
	IsLate     Event = "is-late"     // a wait step: Then was not done in time
	MayDo      Event = "may-do"      // any other step
	MayConfirm Event = "may-confirm" // a quarantine: its lines
)

// Warning is how long before the end of a window it is said that it ends. A window
// that is no longer has no such moment.
const Warning = 5 * time.Minute

// A Moment is when a running clock calls for somebody, or for nobody any more, if
// nothing is done before it.
type Moment struct {
	Mark      string
	Job, Name string // as of the [Timer]
	Event     Event
	Began     time.Time // when its clock began
	At        time.Time
	Until     time.Time // the next time of the same clock; zero: there is none
	Then      string    // wait with an end: the step after it
	Lies      string    // quarantine: what is in it
}

// Moments returns the moments of the airframes after one time and until another, in
// their order: however a length of time is cut, each is in one part of it.
func Moments(airframes []*State, after, until time.Time) []Moment {
	var all []Moment
	for _, s := range airframes {
		all = append(all, s.Moments(after, until)...)
	}
	sorting.Stable(all, func(i, k int) int {
		a, b := &all[i], &all[k]
		return a.At.Compare(b.At)
	})
	return all
}

// Moments returns the moments of the airframe after one time and until another; until
// the zero one, all that come.
func (s *State) Moments(after, until time.Time) []Moment {
	var all []Moment
	for at := s.momentAfter(after); !at.IsZero() && (until.IsZero() || !at.After(until)); at = s.momentAfter(at) {
		// By the clocks as they are right before: what has not run until then is over
		// without a moment, such as that of a coat that a late wait opened again.
		for _, m := range s.clockMoments(at.Add(-1)) {
			if m.At.Equal(at) && !lists.Contains(all, m) {
				all = append(all, m)
			}
		}
	}
	return all
}

// Came returns what came by itself since the last entry: for each clock its last moment.
func (s *State) Came(now time.Time) (last []Moment) {
	if len(s.Entries) == 0 {
		return nil
	}
	for _, m := range slices.Backward(s.Moments(s.Entries[len(s.Entries)-1].Recorded, now)) {
		if !slices.ContainsFunc(last, func(l Moment) bool { return l.Job == m.Job && l.Name == m.Name }) {
			last = append(last, m)
		}
	}
	slices.Reverse(last)
	return last
}

// CuredJoints are the joints of the open jobs that are cured.
func (s *State) CuredJoints(now time.Time) (names []string) {
	for _, job := range s.OpenJobs(now) {
		for _, j := range s.joints() {
			if (j.Job == job.ID || j.Job == "" && s.reglued[j.Name].job == job.ID) && s.Phase(j, now) == Cured && !lists.Contains(names, j.Name) {
				names = append(names, j.Name)
			}
		}
	}
	return names
}

// Coming returns the moments that come after the time, and before them those of windows
// that are open at it.
func (s *State) Coming(now time.Time) []Moment {
	var all []Moment
	for _, m := range s.clockMoments(now) {
		opened := m.Event == MayJoin || m.Event == MayTouch || m.Event == WaitOver
		if opened && !m.At.After(now) && m.Until.After(now) {
			all = append(all, m)
		}
	}
	return append(all, s.Moments(now, time.Time{})...)
}

// momentAfter returns the first time after the given one that any clock has which
// runs then or begins with it; zero: there is none.
func (s *State) momentAfter(t time.Time) time.Time {
	var first time.Time
	for _, at := range []time.Time{t, t.Add(1)} { // what ends at a time still runs at it
		for _, m := range s.clockMoments(at) {
			if m.At.After(t) && (first.IsZero() || m.At.Before(first)) {
				first = m.At
			}
		}
	}
	return first
}

// moment is one of a clock.
// It is not inlined: its copies in its caller would take 1 KB.
//
//go:noinline
func (t *Timer) moment(mark string, event Event, at, until time.Time) Moment {
	return Moment{Mark: mark, Job: t.Job, Name: t.Name, Then: t.Then, Lies: t.Lies, Event: event, Began: t.Began, At: at, Until: until}
}

// clockMoments are the moments, also past ones, of the clocks that run at the time.
func (s *State) clockMoments(at time.Time) []Moment {
	var all []Moment
	for _, t := range s.Clocks(at) {
		add := func(event Event, at, until time.Time) {
			all = append(all, t.moment(s.Airframe.Mark, event, at, until))
		}
		closes := func(from time.Time, soon, late Event) {
			if at := t.Closes.Add(-Warning); at.After(from) {
				add(soon, at, t.Closes)
			}
			if s.Untrusted(at) == nil {
				add(late, t.Closes, time.Time{})
			}
		}
		switch {
		case t.Lies != "":
			add(MayConfirm, t.Opens, time.Time{})
		case !t.Joint:
			add(WaitOver, t.Opens, t.Closes)
			if t.Then != "" {
				closes(t.Opens, DueSoon, IsLate)
			}
		case t.Phase == HalfCoated, t.Phase == Coating:
			closes(t.Began, ClosesSoon, HasLapsed)
		case t.Phase == Tacking, t.Phase == Open:
			event, at := MayJoin, t.Opens
			if !t.Touch.IsZero() {
				event, at = MayTouch, t.Touch
			}
			if at.Before(t.Closes) {
				add(event, at, t.Closes)
			}
			closes(t.Opens, ClosesSoon, HasLapsed)
		case t.Phase == Setting, t.Phase == Curing:
			if t.Handles.Before(t.Cures) {
				add(MayHandle, t.Handles, t.Cures)
			}
			add(IsCured, t.Cures, time.Time{})
		}
	}
	return all
}
