package workflow

import (
	"fmt"
	"math"
	"slices"
	"time"

	"fettle/steps"
	"fettle/steps/bond"
	"fettle/steps/quantity"
	"fettle/workflow/journal"
)

// A Joint is one joint of a job, from its first coat on.
type Joint struct {
	Job, Name string
	Adhesive  steps.Adhesive
	Load      bool
	Zones     []string  // disturbed by making it
	Joined    time.Time // zero until then

	coats   map[string]bond.Coat // by step
	climate bond.Climate         // while coated; frozen when joined
	handled bond.Climate         // since joined, until it has handling strength
	cured   bond.Climate         // since joined, until it is cured
	wet     bool                 // by the last touch test
	outside bool                 // joined outside its window, by the bench as it is known now
}

// joint returns the job's joint of that name, new if there is none.
func (j *Job) joint(name string) *Joint {
	if j.joints[name] == nil {
		j.joints[name] = &Joint{Job: j.ID, Name: name, coats: map[string]bond.Coat{}}
	}
	return j.joints[name]
}

// Joint returns the job's joint of that name, if it has a coat.
func (j *Job) Joint(name string) (*Joint, bool) {
	joint, ok := j.joints[name]
	return joint, ok
}

func (s *State) coat(job *Job, f journal.Coated, e journal.Entry) error {
	adhesive, ok := s.Sheet.Adhesive(f.Adhesive)
	if !ok {
		return fmt.Errorf("the design sheet has no adhesive %q", f.Adhesive)
	}
	coat := bond.Coat{Began: f.Began, Finished: e.At}
	if f.Mixed != nil {
		coat.Mixed = *f.Mixed
	}
	climate := s.climateFor(adhesive, e.At)
	if read, known := s.benchAt(coat.Starts()); known {
		climate = climate.With(read.celsius)
	}
	j := job.joint(f.Joint)
	if !j.Joined.IsZero() || j.Lapsed(f.Began) || len(j.coats) == 0 {
		// Start afresh: an earlier coat on the faces no longer counts.
		*j = Joint{Job: job.ID, Name: f.Joint, coats: map[string]bond.Coat{}, climate: climate}
	}
	j.Adhesive, j.Zones = adhesive, job.Procedure.DisturbedBy(f.Joint)
	j.coats[f.Step] = coat
	j.climate = j.climate.With(climate.Coldest).With(climate.Warmest)
	s.note(j)
	j.wet = false
	job.waitAgain(f.Step, f.Joint)
	return nil
}

func (s *State) join(job *Job, f journal.Joined, e journal.Entry) error {
	j := job.joint(f.Joint)
	if len(j.coats) == 0 {
		return fmt.Errorf("%s was joined without a coat", f.Joint)
	}
	climate := s.climateFor(j.Adhesive, e.At)
	j.Joined, j.Load, j.handled, j.cured = e.At, f.Load, climate, climate
	s.note(j)
	s.judgeJoin(j)
	return nil
}

// judgeJoin decides whether the joint was joined inside its window by the
// readings of the bench as they are known now, each at its time. One that was
// typed in after the join counts as it would have before it.
func (s *State) judgeJoin(j *Joint) {
	climate := bond.Climate{Coldest: math.Inf(1), Warmest: math.Inf(-1)}
	for _, coat := range j.coats {
		finished := s.climateAt(j.Adhesive, coat.Finished)
		climate = climate.With(finished.Coldest).With(finished.Warmest)
		if read, known := s.benchAt(coat.Starts()); known {
			climate = climate.With(read.celsius)
		}
	}
	climate = s.noted(climate, j.starts(), func(_ bond.Climate, at time.Time) bool { return !at.After(j.Joined) })
	w := j.windowIn(climate)
	j.outside = j.Joined.Before(w.Opens) || j.Joined.After(w.Closes)
}

// Doubted reports whether the joint was joined outside its window, by the bench
// as it is known now. It does not count as joined.
func (j *Joint) Doubted() bool { return j.outside }

// holds reports whether the joint counts as joined.
func (j *Joint) holds() bool { return !j.Joined.IsZero() && !j.outside }

// climateFor is the climate that a clock of the adhesive starts with. The reading
// entered last counts too: of two answers the one that waits longer is safe.
func (s *State) climateFor(a steps.Adhesive, at time.Time) bond.Climate {
	climate := s.climateAt(a, at)
	if s.entered != nil {
		climate = climate.With(s.entered.celsius)
	}
	return climate
}

// climateAt is the bench reading in force at the time, or without one the worst
// climate that the adhesive works in.
func (s *State) climateAt(a steps.Adhesive, at time.Time) bond.Climate {
	if read, known := s.benchAt(at); known {
		return bond.Even(read.celsius)
	}
	climate := bond.Even(a.Times.At)
	for _, q := range []quantity.Quantity{a.Coldest, a.Warmest} {
		if celsius, err := q.Celsius(); err == nil {
			climate = climate.With(celsius)
		}
	}
	return climate
}

// warm applies a bench temperature as it is entered. A clock that has not run
// out by its time counts it, even if it was read before the clock began. A
// clock that has run out stays so.
func (s *State) warm(j *Joint, celsius float64, at time.Time) {
	switch {
	case j.Joined.IsZero():
		if len(j.coats) == 0 || at.After(j.Window().Closes) {
			return
		}
		j.climate = j.climate.With(celsius)
	case !at.Before(j.Handles()) && !at.Before(j.Cures()):
		return
	default:
		if at.Before(j.Handles()) {
			j.handled = j.handled.With(celsius)
		}
		if at.Before(j.Cures()) {
			j.cured = j.cured.With(celsius)
		}
	}
	s.note(j)
}

// note makes the joint's clocks count every bench reading between their start
// and their end, in the order of time.
func (s *State) note(j *Joint) {
	if j.Joined.IsZero() {
		j.climate = s.noted(j.climate, j.starts(), func(c bond.Climate, at time.Time) bool { return !at.After(j.windowIn(c).Closes) })
		return
	}
	times := j.Adhesive.Times
	j.handled = s.noted(j.handled, j.Joined, func(c bond.Climate, at time.Time) bool { return at.Before(times.Handles(j.Joined, c)) })
	j.cured = s.noted(j.cured, j.Joined, func(c bond.Climate, at time.Time) bool { return at.Before(times.Cures(j.Joined, c)) })
}

// noted widens the climate of a clock by the readings after its start, for as
// long as it runs. A reading that another one replaced at the same moment was
// never in force.
func (s *State) noted(c bond.Climate, begin time.Time, runs func(bond.Climate, time.Time) bool) bond.Climate {
	for i := s.benchAfter(begin); i < len(s.bench) && runs(c, s.bench[i].At); i++ {
		if i+1 < len(s.bench) && s.bench[i+1].At.Equal(s.bench[i].At) {
			continue
		}
		c = c.With(s.bench[i].celsius)
	}
	return c
}

// starts is when the first of the coats' clocks started.
func (j *Joint) starts() time.Time {
	var first time.Time
	for _, c := range j.coats {
		if first.IsZero() || c.Starts().Before(first) {
			first = c.Starts()
		}
	}
	return first
}

func (j *Joint) touch(ready bool) { j.wet = !ready }

// Window returns when the coated joint may be joined.
func (j *Joint) Window() bond.Window { return j.windowIn(j.climate) }

func (j *Joint) windowIn(c bond.Climate) bond.Window {
	coats := make([]bond.Coat, 0, len(j.coats))
	for _, coat := range j.coats {
		coats = append(coats, coat)
	}
	return j.Adhesive.Times.Window(coats, c)
}

// Lapsed reports whether the coat has waited too long at the time, or never had
// a window. That of a joint whose join is in doubt has.
func (j *Joint) Lapsed(at time.Time) bool {
	if len(j.coats) == 0 || !j.Joined.IsZero() {
		return j.outside
	}
	w := j.Window()
	return w.Empty() || at.After(w.Closes)
}

// Handles returns when the joined joint has handling strength.
func (j *Joint) Handles() time.Time { return j.Adhesive.Times.Handles(j.Joined, j.handled) }

// Cures returns when the joined joint is fully cured.
func (j *Joint) Cures() time.Time { return j.Adhesive.Times.Cures(j.Joined, j.cured) }

// Coldest is the coldest bench temperature that the joint's clocks count, in °C.
func (j *Joint) Coldest() float64 {
	if j.Joined.IsZero() {
		return j.climate.Coldest
	}
	return j.cured.Coldest
}

// Warmest is the warmest bench temperature that its window counts, in °C.
func (j *Joint) Warmest() float64 { return j.climate.Warmest }

// coatedBy reports whether each of the steps has coated it.
func (j *Joint) coatedBy(names ...string) bool {
	return !slices.ContainsFunc(names, func(n string) bool { _, ok := j.coats[n]; return !ok })
}

// A Phase is where a joint stands.
type Phase string

// The phases of a joint.
const (
	HalfCoated Phase = "half coated" // another face is still to be coated
	Tacking    Phase = "drying"      // coated, too early to join
	Open       Phase = "open"        // may be joined now
	Late       Phase = "lapsed"      // too late: coat again
	Setting    Phase = "setting"     // joined, no handling strength yet
	Curing     Phase = "curing"      // may be handled, does not carry load yet
	Cured      Phase = "cured"
)

// Phase returns where the joint stands at the time. A coat that the touch test
// found wet stays Tacking inside its window.
func (s *State) Phase(j *Joint, at time.Time) Phase {
	if j.holds() {
		switch {
		case at.Before(j.Handles()):
			return Setting
		case at.Before(j.Cures()):
			return Curing
		}
		return Cured
	}
	w := j.Window()
	switch {
	case j.Lapsed(at):
		return Late
	case !s.fullyCoated(j):
		return HalfCoated
	case at.Before(w.Opens), j.wet:
		return Tacking
	}
	return Open
}

// fullyCoated reports whether every coat step of the joint is done.
func (s *State) fullyCoated(j *Joint) bool {
	job, err := s.Job(j.Job)
	if err != nil {
		return false
	}
	for _, step := range job.Procedure.Coats(j.Name) {
		if !j.coatedBy(step.Name) {
			return false
		}
	}
	return true
}
