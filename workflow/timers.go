package workflow

import (
	"time"

	"fettle/steps/sorting"
)

// A Timer is one running clock: a joint that is not cured, a wait, or a quarantine.
type Timer struct {
	Job, Name string // of a quarantine its damage, without a job
	Joint     bool
	Damaged   bool      // joint: damage keeps it from being joined before its repair
	Phase     Phase     // of a joint
	Touch     time.Time // joint that was wet at the last touch test: when to touch it again
	Began     time.Time
	Opens     time.Time // joint: may be joined from; wait: over; quarantine: its lines can be confirmed
	Closes    time.Time // joint: must be joined by; wait with an end: Then must be done by
	Then      string    // wait with an end: the step after it
	Lies      string    // quarantine: what is in it
	Handles   time.Time // joint, joined: has handling strength
	Cures     time.Time // joint, joined: is cured
	Coldest   float64   // in °C, as counted
	Warmest   float64
	Ready     time.Time // the next moment that matters; zero: none comes without an action
}

// Clocks returns the running clocks at the time and those of quarantines, which hold no
// work up, the next moment first.
func (s *State) Clocks(now time.Time) []Timer {
	timers := s.Timers(now)
	for _, q := range s.Quarantines {
		if q.Open() && !q.Until.IsZero() {
			timers = append(timers, Timer{Name: q.Damage, Lies: q.Says(), Began: q.Since, Opens: q.Until, Ready: q.Until})
		}
	}
	sorting.Stable(timers, func(i, k int) int { return CompareReady(&timers[i], &timers[k]) })
	return timers
}

// Timers returns the running clocks at the time, the next moment first.
func (s *State) Timers(now time.Time) []Timer {
	if s.Retired != nil {
		return nil
	}
	var timers []Timer
	for _, j := range s.joints() {
		t := Timer{Job: j.Job, Name: j.Name, Joint: true, Phase: s.Phase(j, now), Began: j.began(), Coldest: j.Coldest(), Warmest: j.Warmest()}
		switch t.Phase {
		case Cured:
			continue
		case Setting, Curing:
			t.Handles, t.Cures = j.Handles(), j.Cures()
			t.Ready = t.Cures
			if t.Phase == Setting {
				t.Ready = t.Handles
			}
		default:
			w := j.Window()
			t.Opens, t.Closes, t.Damaged = w.Opens, w.Closes, t.Phase != Late && s.keptByDamage(j, now)
			if j.Doubted() {
				t.Closes = j.Joined
			} else if since, again := s.mustRecoat(j, now); again && since.Before(t.Closes) {
				t.Closes = since
			}
			if t.Phase == Tacking && now.Before(w.Opens) {
				t.Ready = w.Opens
			}
			if t.Phase == Tacking && j.wet {
				if t.Touch = j.touched.Add(touchAgain); t.Touch.Before(w.Opens) {
					t.Touch = w.Opens
				}
			}
		}
		timers = append(timers, t)
	}
	for _, job := range s.Jobs {
		for _, stage := range job.Procedure.Stages {
			i := s.head(job, stage, now)
			if i == len(stage.Steps) || !stage.Steps[i].Kind.Traits().Passes || stage.Steps[i].Joint != "" || !stage.Steps[i].By.IsZero() {
				continue
			}
			if began, ok := s.waitBegins(job, stage, i, now); ok {
				until, _ := s.waitEnds(job, stage, i, now)
				timers = append(timers, Timer{Job: job.ID, Name: stage.Steps[i].Name, Began: began, Opens: until, Ready: until})
			}
		}
	}
	timers = append(s.coating(timers, now), s.deadlines(now)...)
	if s.Untrusted(now) != nil { // a sound joint may not be coated again for a wrong clock
		for i := range timers {
			if timers[i].Phase == Late {
				timers[i].Phase = Unclocked
			}
		}
	}
	sorting.Stable(timers, func(i, k int) int { return CompareReady(&timers[i], &timers[k]) })
	return timers
}

// CompareReady orders clocks by their next moment; those that have none come last.
func CompareReady(a, b *Timer) int { return compareTimes(a.Ready, b.Ready) }
