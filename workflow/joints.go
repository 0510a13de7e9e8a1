package workflow

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"time"

	"fettle/steps"
	"fettle/steps/bond"
	"fettle/steps/lists"
	"fettle/steps/quantity"
	"fettle/steps/sorting"
	"fettle/workflow/journal"
)

// A Joint is one joint of a job, from its first coat on; of a joint of several
// parts, one of these.
type Joint struct {
	Job, Name string
	Adhesive  steps.Adhesive
	Load      bool
	Zones     []string  // disturbed by making it
	Joined    time.Time // zero until then

	part    int                  // from 0, in the order of its joins
	coats   map[string]bond.Coat // by step
	lapsed  map[string]bond.Coat // taken for lapsed when another one was put on
	climate bond.Climate         // while coated; frozen when joined
	handled bond.Climate         // since joined, until it has handling strength
	cured   bond.Climate         // since joined, until it is cured
	wet     bool                 // by the last touch test
	touched time.Time            // when that was
	outside bool                 // joined outside its window, by the bench as it is known now
	gone    bool                 // a part that it holds was thrown away since, or cut out
	off     time.Duration        // counted to the safe side, as clocks of benches may differ
	wrong   bool                 // the clock here is known to be
}

// part returns that part of the job's joint of that name, new if there is none.
func (j *Job) part(name string, n int) *Joint {
	for len(j.joints[name]) <= n {
		j.joints[name] = append(j.joints[name], j.fresh(name, len(j.joints[name])))
	}
	return j.joints[name][n]
}

//go:noinline
func (j *Job) fresh(name string, n int) *Joint {
	return &Joint{Job: j.ID, Name: name, part: n, coats: map[string]bond.Coat{}}
}

// Joint returns the job's joint of that name, if it has a coat: of several parts
// the first that is not joined, else the one joined last.
func (j *Job) Joint(name string) (*Joint, bool) {
	var last *Joint
	for _, p := range j.Parts(name) {
		if !p.holds() {
			return p, true
		}
		if last == nil || !p.Joined.Before(last.Joined) {
			last = p
		}
	}
	return last, last != nil
}

// Parts returns the parts of the job's joint of that name that have a coat.
// It is not inlined: its copies in all callers would take 4 KB.
//
//go:noinline
func (j *Job) Parts(name string) []*Joint {
	var parts []*Joint
	for _, p := range j.joints[name] {
		if len(p.coats) > 0 {
			parts = append(parts, p)
		}
	}
	return parts
}

// JointOf returns the part of a joint that the step joins, or that it coats for
// next, if that has a coat.
func (j *Job) JointOf(step steps.Step) (*Joint, bool) {
	var last *Joint
	if len(j.joints[step.Joint]) == 0 { // most steps have none, and this is asked of each
		return nil, false
	}
	for n, part := range j.Procedure.JointParts(step.Joint) {
		coats := lists.Contains(part.Coats, step.Name)
		if !coats && part.Join != step.Name || n >= len(j.joints[step.Joint]) {
			continue
		}
		p := j.joints[step.Joint][n]
		if part.Join == step.Name {
			return p, len(p.coats) > 0
		}
		if last == nil || last.holds() {
			last = p
		}
	}
	return last, last != nil && len(last.coats) > 0
}

// coatedBy returns the parts of the joint that use the coat of a step.
func (j *Job) coatedBy(step, joint string) []*Joint {
	var all []*Joint
	for n, part := range j.Procedure.JointParts(joint) {
		if lists.Contains(part.Coats, step) && n < len(j.joints[joint]) {
			all = append(all, j.joints[joint][n])
		}
	}
	return all
}

// toCoat returns the parts that a coat goes on: of those that use it the ones
// that are not joined, or where all are, all of them.
func (j *Job) toCoat(step, joint string) []*Joint {
	for n := range max(1, len(j.Procedure.JointParts(joint))) {
		j.part(joint, n)
	}
	all := j.coatedBy(step, joint)
	if len(all) == 0 { // the step is of a revision that was taken back
		all = []*Joint{j.joints[joint][0]}
	}
	if slices.ContainsFunc(all, func(p *Joint) bool { return !p.holds() }) {
		return sorting.Delete(all, (*Joint).holds)
	}
	return all
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
	for _, j := range job.toCoat(f.Step, f.Joint) {
		if !j.Joined.IsZero() || j.Lapsed(f.Began) || len(j.coats) == 0 {
			// Start afresh: an earlier coat on the faces no longer counts.
			lapsed := maps.Clone(j.lapsed)
			switch {
			case !j.Joined.IsZero():
				lapsed = nil
			case lapsed == nil:
				lapsed = j.coats
			default:
				maps.Copy(lapsed, j.coats)
			}
			*j = *job.fresh(f.Joint, j.part)
			j.climate, j.lapsed = climate, lapsed
		}
		j.Adhesive, j.Zones = adhesive, job.Procedure.DisturbedBy(f.Joint)
		j.coats[f.Step] = coat
		j.climate = j.climate.With(climate.Coldest).With(climate.Warmest)
		s.note(j)
		j.wet = false
	}
	job.waitAgain(f.Step, f.Joint)
	return nil
}

func (s *State) join(job *Job, f journal.Joined, e journal.Entry) error {
	parts := job.Procedure.JointParts(f.Joint)
	n := slices.IndexFunc(parts, func(p steps.JointPart) bool { return p.Join == f.Step })
	j := job.part(f.Joint, max(0, n))
	if len(j.coats) == 0 {
		return fmt.Errorf("%s was joined without a coat", f.Joint)
	}
	if n >= 0 {
		for _, name := range parts[n].Coats { // whether it had lapsed by then is judged as the others are
			if coat, was := j.lapsed[name]; was && !j.coatedBy(name) {
				j.coats[name] = coat
			}
		}
	}
	j.lapsed = nil
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
//
//go:noinline
func (j *Joint) holds() bool { return !j.Joined.IsZero() && !j.outside }

// outlasts reports whether all that the clocks of the other part say follows
// from those of this one.
func (j *Joint) outlasts(other *Joint) bool {
	return j != other && j.holds() && other.holds() && !j.Handles().Before(other.Handles()) && !j.Cures().Before(other.Cures()) &&
		j.Load == other.Load && (j.part > other.part || !j.Handles().Equal(other.Handles()) || !j.Cures().Equal(other.Cures()))
}

// Hurt are the damages, marks aside, that were found where the joint is after it was
// joined, and the joints that their repairs made there. Whether it holds since then no clock
// can say.
func (s *State) Hurt(j *Joint) (damages []*Damage, again []*Joint) {
	if j.Joined.IsZero() {
		return nil, nil
	}
	repairs := func(j *Joint, d *Damage) bool {
		job, err := s.Job(j.Job)
		return err == nil && lists.Contains(job.Damages, d.Damage)
	}
	for _, d := range s.Damages {
		if d.Severity != steps.Cosmetic && lists.Contains(j.Zones, d.Zone) && (d.At.After(j.Joined) || d.At.Equal(j.Joined) && !repairs(j, d)) {
			damages = append(damages, d)
		}
	}
	if len(damages) == 0 {
		return nil, nil
	}
	for _, other := range s.everyJoint() {
		if other != j && other.holds() && !other.gone && slices.ContainsFunc(damages, func(d *Damage) bool {
			return repairs(other, d) && lists.Contains(other.Zones, d.Zone) && !other.Joined.Before(d.At)
		}) {
			again = append(again, other)
		}
	}
	return damages, again
}

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

// touchAgain is how long after it was found wet a coat is touched again (common
// practice, no source).
const touchAgain = 5 * time.Minute

// Window returns when the coated joint may be joined.
//
//go:noinline
func (j *Joint) Window() bond.Window {
	w := j.windowIn(j.climate)
	if j.Adhesive.Times.From > 0 { // else it is joined wet, at once
		w.Opens = w.Opens.Add(j.off)
	}
	w.Closes = w.Closes.Add(-j.off)
	return w
}

func (j *Joint) windowIn(c bond.Climate) bond.Window {
	coats := make([]bond.Coat, 0, len(j.coats))
	for _, coat := range j.coats {
		coats = append(coats, coat)
	}
	return j.Adhesive.Times.Window(coats, c)
}

// Lapsed reports whether the coat has waited too long at the time, or never had
// a window. That of a joint whose join is in doubt has; by a clock that is known to be wrong none has.
func (j *Joint) Lapsed(at time.Time) bool {
	if len(j.coats) == 0 || !j.Joined.IsZero() {
		return j.outside
	}
	w := j.Window()
	return !j.wrong && (w.Empty() || at.After(w.Closes))
}

// openUntil returns until when a coat of the joint is open that is on at the time,
// and is not joined by then. Each face counts for itself, so that one that was
// coated too long after the other counts too.
func (j *Joint) openUntil(at time.Time) (until time.Time, open bool) {
	for _, coat := range j.coats {
		closes := j.Adhesive.Times.Window([]bond.Coat{coat}, j.climate).Closes.Add(j.off)
		if !coat.Began.After(at.Add(j.off)) && !at.After(closes) && closes.After(until) {
			until = closes
		}
	}
	return until, !until.IsZero() && (j.Joined.IsZero() || at.Before(j.Joined))
}

// airClears is when the vapour of the coats is gone that are on at the time: each is dry
// by its joining, or once it lapses, and never before its least time.
func (j *Joint) airClears(at time.Time) time.Time {
	var last time.Time
	times := j.Adhesive.Times
	for _, coat := range j.coats {
		if times.Vapour == 0 || coat.Began.After(at.Add(j.off)) {
			continue
		}
		w := times.Window([]bond.Coat{coat}, j.climate)
		dry := w.Closes
		if !j.Joined.IsZero() {
			dry = j.Joined
		}
		last = latest(last, latest(dry, w.Opens).Add(times.Vapour+j.off))
	}
	return last
}

// Handles returns when the joined joint has handling strength.
// It is not inlined: its copies in all callers would take 2 KB.
//
//go:noinline
func (j *Joint) Handles() time.Time { return j.Adhesive.Times.Handles(j.Joined, j.handled).Add(j.off) }

// Cures returns when the joined joint is fully cured.
// It is not inlined: its copies in all callers would take 2 KB.
//
//go:noinline
func (j *Joint) Cures() time.Time { return j.Adhesive.Times.Cures(j.Joined, j.cured).Add(j.off) }

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
//
//go:noinline
func (j *Joint) coatedBy(names ...string) bool {
	return !lists.ContainsFunc(names, func(n string) bool { _, ok := j.coats[n]; return !ok })
}

// A Phase is where a joint stands.
type Phase string

// The phases of a joint.
const (
	Coating    Phase = "coating"     // begun: mixed or being spread; only of a [Timer]
	HalfCoated Phase = "half coated" // another face is still to be coated
	Tacking    Phase = "drying"      // coated, too early to join
	Open       Phase = "open"        // may be joined now
	Late       Phase = "lapsed"      // too late: coat again
	Unclocked  Phase = "not known"   // it seems to be open or too late, by a clock that is known to be wrong
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
	_, recoat := s.mustRecoat(j, at)
	switch {
	case j.Lapsed(at), recoat:
		return Late
	case j.wrong && (w.Empty() || !at.Before(w.Opens)):
		return Unclocked
	case !s.fullyCoated(j):
		return HalfCoated
	case at.Before(w.Opens), j.wet:
		return Tacking
	}
	return Open
}

// mustRecoat reports whether a wait opens a coat of the joint again at the time,
// and since when: what must follow it in time did not.
func (s *State) mustRecoat(j *Joint, at time.Time) (since time.Time, again bool) {
	job, err := s.Job(j.Job)
	if err != nil {
		return time.Time{}, false
	}
	for _, stage := range job.Procedure.Stages {
		for i := range stage.Steps {
			if step := &stage.Steps[i]; step.Joint != j.Name || !step.Kind.Traits().Coats || !j.coatedBy(step.Name) {
				continue
			}
			wait := job.reopened(stage, i, at)
			for k := range stage.Steps {
				if &stage.Steps[k] == wait {
					since, _, _ = job.ends(stage, k)
					return since, true
				}
			}
		}
	}
	return time.Time{}, false
}

// MadeBy returns the names of the steps that coat the joint and of the one that
// joins it.
func (s *State) MadeBy(j *Joint) (coats []string, join string) {
	job, err := s.workOf(j.Job)
	if err != nil {
		return nil, ""
	}
	parts := job.Procedure.JointParts(j.Name)
	if j.part >= len(parts) {
		return nil, ""
	}
	return parts[j.part].Coats, parts[j.part].Join
}

// fullyCoated reports whether every coat of the joint is on.
func (s *State) fullyCoated(j *Joint) bool {
	coats, _ := s.MadeBy(j)
	return j.coatedBy(coats...)
}
