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

// A Suggestion is what to do now, and why everything else waits.
type Suggestion struct {
	// Step is what to do; nil: nothing can be done now.
	Step *StepReport
	// Resolve is what a person must do before Step can be done: a rework, a hold, a
	// condition, a temperature.
	Resolve []Reason
	Why     string       // why this one, one line, without times; "": it is obvious
	JoinBy  time.Time    // when the joint or the step that Why tells of must be joined; zero: Why tells of none
	Waiting []StepReport // the first open steps of the other stages, soonest first; of one behind work that is left no other reason
	Until   time.Time    // when the first of them opens by itself; zero: never
	Over    bool         // every job is complete
	PutOff  []StepReport // what could be done, or seen to, and is put off
	// Damaged is what comes first while jobs are open: a check that is due and not begun,
	// and the repair of damage that no job repairs.
	Damaged []Reason
	// Due is what must be done before the airframe may fly, once every job is
	// complete, and last its release.
	Due []Reason
	// Planned is when the last plan has Step; zero: it does not.
	Planned time.Time
	Hands   []int        // who of several does Step, from 1, as the last plan has it; none: it has it for one, or not at all
	Others  []Share      // what the others of the last plan can do meanwhile
	Presses bool         // Step is a join whose window is open, or a coat in hand: it can't wait
	AtOnce  bool         // Step makes safe what crashed: it waits for no sitting, and is never planned for later
	Beside  []OtherClock // what can't wait for Step on other airframes of the bench, the first to close first

	Outdated    bool // the last plan goes by another choice than was made, and isn't followed
	WaitsForDue bool // nothing can be done now, and what is waited for is due: a join, or the step after a wait with an end

	planned   []Planned    // by which it was found
	dues      []*dueWork   // what is due
	meanwhile []StepReport // what can be done, what waits, and what is put off: by whoever is asked, not by the others
}

// A Share is what one of several people does by the last plan.
type Share struct {
	Who     int // from 1
	Step    StepReport
	Planned time.Time
}

// An OtherClock is a clock of another airframe of the bench.
type OtherClock struct {
	Mark string `json:"mark"`
	Timer
	theirs bool // the last plan has what it is for for other people than the step
}

// beside are the clocks of other airframes that are over before a step would be done, or whose windows are open while it has
// none.
func (s *State) beside(r StepReport, presses bool, now time.Time) (all []OtherClock) {
	of := planOf(&r, s.Planned)
	for _, other := range s.others {
		dues := other.dues(now, other.Planned)
		for _, t := range other.Timers(now) {
			open := !presses && !now.Before(t.Opens)
			bears, theirs := true, false
			for _, d := range dues {
				if d.runs(&t) {
					bears, theirs = bears && d.bears(&r, of, now), len(forTheSame(of, []*dueWork{d})) == 0
				}
			}
			if now.After(t.Closes) || !open && bears || presses && !t.Closes.Before(r.Closes) {
				continue
			}
			all = append(all, OtherClock{other.Airframe.Mark, t, theirs})
		}
	}
	sorting.Stable(all, func(a, b OtherClock) int { return a.Closes.Compare(b.Closes) })
	return all
}

// Foremost is the airframe to go on with of several: the one of which something can't wait, then the one that the last plan
// has first in its next sitting, but for what makes safe what crashed, then the first on which something can be done, then what the
// plan has later, or what other people do than a join that is due, then the one that waits for that join, and only then one whose step
// would cost it; nil: no job is open on any.
func Foremost(fleet []*State, now time.Time) (first *State) {
	var best Suggestion
	var leave time.Time
	for _, s := range fleet {
		leave = nextLeave(leave, s.Planned, now)
	}
	rank := func(g Suggestion) int {
		switch {
		case g.Presses:
			return 0
		case g.WaitsForDue:
			return 5
		case g.Step == nil:
			return 7
		case slices.ContainsFunc(g.Beside, func(is OtherClock) bool { return !is.theirs }): // it would cost a joint of another airframe
			return 6
		case g.AtOnce:
			return 1
		case len(g.Beside) > 0:
			return 4
		case g.Planned.IsZero():
			return 3
		case !leave.IsZero() && g.Planned.After(leave):
			return 4
		}
		return 2
	}
	at := func(g Suggestion) time.Time {
		switch {
		case g.Step == nil:
			return g.Until
		case g.Presses:
			return g.Step.Closes
		}
		return g.Planned
	}
	for _, s := range fleet {
		g := s.Next(now)
		if g.Over {
			continue
		}
		if first == nil || cmp.Or(cmp.Compare(rank(g), rank(best)), compareTimes(at(g), at(best))) < 0 {
			first, best = s, g
		}
	}
	return first
}

// A Planned is a step, or an act of one, as a plan has it.
type Planned struct {
	Job     string    `json:"job"`
	Step    string    `json:"step"`             // "": no step of a job is over with it, and Rework or Again says what it is
	Rework  string    `json:"rework,omitempty"` // the gate that is reworked
	Again   Again     `json:"again,omitempty"`
	Act     Act       `json:"act,omitempty"`
	Answer  string    `json:"answer,omitempty"` // that the plan goes by, where it is a choice that was open
	Begins  time.Time `json:"begins"`
	Minutes int       `json:"minutes,omitempty"` // it takes, at the builder's own pace where that is known
	Leave   time.Time `json:"leave,omitzero"`    // when its sitting is over
	Hands   []int     `json:"hands,omitempty"`   // who of several does it, from 1
	// Ends is what is off, cold or unplugged then until it is needed in a later sitting, by what is AgainSafe.
	Ends []steps.Setting `json:"ends,omitempty"`
}

// has reports whether it is the step of the report as it stands now. A join that is planned after its window closes is the one of
// another coat.
//
//go:noinline
func (p *Planned) has(r *StepReport) bool {
	return (r.Closes.IsZero() || !p.Begins.After(r.Closes)) && p.Step == r.Step.Name && p.Job == r.Job && (p.Act == "" || p.Act == r.Act || p.Act == ToCoat && r.Act == ToRecoat)
}

// EndFirst is what is hot, on or plugged in and must be ended before the sitting of the last plan is over, or was to be, where what
// is suggested takes longer; by is when that is. Zero: the plan ends it before, and what is suggested does not need it. Nothing: there
// is time for both, or nothing was recorded in that sitting for long.
func (s *State) EndFirst(g Suggestion, now time.Time) (end []Reason, by time.Time) {
	if all := sorting.Delete(s.standing(now, now), func(is *hotThing) bool { return !s.endedByNow(is, now) || s.needsIt(g.Step, is, now) }); len(all) > 0 {
		return reasonsOf(all), by
	}
	if by = s.leaves(now); by.IsZero() || g.Step == nil || now.Sub(by) > untended {
		return nil, by
	}
	all := sorting.Delete(s.standing(now, now), func(is *hotThing) bool { return lists.Contains(g.Step.Step.Sets, is.safe) })
	if !now.Add(takes(g.Step, planOf(g.Step, s.Planned))).After(by.Add(-minutesOf(safeMinutes * len(all)))) {
		return nil, by
	}
	return reasonsOf(all), by
}

// endedByNow reports whether the last plan has ended by now, in this sitting, what stood so before.
func (s *State) endedByNow(is *hotThing, now time.Time) bool {
	for k := -1; k < len(s.others) && (k < 0 || is.bench); k++ {
		of := s
		if k >= 0 {
			of = s.others[k]
		}
		for i := range of.Planned {
			p := &of.Planned[i]
			if !p.Begins.After(now) && now.Sub(p.Begins) <= untended && is.At.Before(p.Begins) && lists.Contains(p.Ends, is.safe) {
				return true
			}
		}
	}
	return false
}

// needsIt reports whether a step needs what is hot, on or plugged in, or ends it.
//
//go:noinline
func (s *State) needsIt(r *StepReport, is *hotThing, now time.Time) bool {
	if r == nil {
		return false
	}
	job, err := s.Job(r.Job)
	return err == nil && (lists.Contains(r.Step.Sets, is.safe) || needsSo(r.Step.Needs, s.UsesOf(job, r.Step, now), is.is))
}

// leaves is when the sitting of the last plan is over that has begun last; zero: none has.
func (s *State) leaves(now time.Time) (by time.Time) {
	var begun time.Time
	for _, p := range s.Planned {
		if !p.Begins.After(now) && !p.Begins.Before(begun) {
			begun, by = p.Begins, p.Leave
		}
	}
	return by
}

// Next suggests what to do at the time: an open joint before anything else,
// then the rework of what was just found out of tolerance, then work that fits
// in before a joint must be joined; of that first what looks over a damaged airframe,
// then its repair; then what the last plan has first in its next sitting, also where a person at the bench sees to something before;
// then in the stage last worked on, in the order written; then what the plan has later.
//
//go:noinline
func (s *State) Next(now time.Time) Suggestion { return s.NextBut(now, nil, s.Planned) }

// NextBut is Next without the steps that somebody has put off, in the order of a plan.
func (s *State) NextBut(now time.Time, putOff func(StepReport) bool, planned []Planned) Suggestion {
	var ready, waiting, off []StepReport
	jobs, stage := s.OpenJobs(now), s.lastStage()
	outdated := s.outdated(planned, now)
	if outdated {
		planned = nil
	}
	place := func(r *StepReport) int {
		for i := range planned {
			if planned[i].has(r) {
				return i
			}
		}
		return len(planned)
	}
	for _, job := range jobs {
		for _, r := range s.trusted(s.stepsIn(job, now, every, false), now) {
			switch {
			case putOff != nil && (atHand(&r) || r.Progress == Waiting && resolvable(&r)) && putOff(r):
				off = append(off, r)
			case atHand(&r), pressing(&r):
				ready = append(ready, r)
			case r.Progress == Waiting:
				waiting = append(waiting, r)
				if place(&r) < len(planned) && seenToNow(&r) && !(r.Stage == stage && reworkable(&r)) {
					ready = append(ready, r)
				}
			}
		}
	}
	out := Suggestion{Over: len(jobs) == 0, PutOff: off, Outdated: outdated}
	if out.Over && s.Retired == nil {
		out.Due = s.dueToFly(now)
	} else {
		if due := s.Unchecked(now); due != nil && due.Remedy.Kind == ToStart {
			out.Damaged = append(out.Damaged, *due)
		}
		for _, d := range s.Unplanned(now) {
			out.Damaged = append(out.Damaged, *s.unrepaired(d, now))
		}
	}
	sorting.Stable(waiting, func(a, b StepReport) int { return compareTimes(opens(&a), opens(&b)) })
	due, what := s.due(now)
	dues := s.dues(now, planned)
	turn, leave := s.turns(jobs, now), nextLeave(time.Time{}, planned, now)
	for _, other := range s.others {
		leave = nextLeave(leave, other.Planned, now)
	}
	rank := func(r *StepReport) int {
		of := planOf(r, planned)
		switch face := faceOf(r, dues); {
		case now.Before(r.Touch), face != nil && face.misses(now): // found wet just now: what fits in comes before it
			return 7
		case presses(r, now), face != nil && (of == nil || !of.Begins.After(now)):
			return 0
		case !fits(r, of, dues, true, now):
			return outOfTime + tight(r, of, dues, now)
		case turn[r.Job] > 0:
			return turn[r.Job]
		case of != nil && !leave.IsZero() && of.Begins.After(leave):
			return 6
		case of != nil:
			return 3
		case r.Stage == stage:
			return 4
		}
		return 5
	}
	costs := func(a, b *StepReport) int { // 1: done first, it costs what can't wait either
		if by := begunBy(b, dues); !by.IsZero() && now.Add(takes(a, planOf(a, planned))).After(by) {
			return 1
		}
		return 0
	}
	sorting.Stable(ready, func(a, b StepReport) int {
		return cmp.Or(cmp.Compare(rank(&a), rank(&b)), costs(&a, &b)-costs(&b, &a), compareTimes(a.Closes, b.Closes), cmp.Compare(place(&a), place(&b)))
	})
	rework := indexOf(waiting, func(r *StepReport) bool { return r.Stage == stage && reworkable(r) })
	joins := func(r *StepReport) bool {
		at := opensOnceSeenTo(r)
		for _, d := range dues {
			if d.job == r.Job && (d.then == r.Step.Name || d.wait == r.Step.Name) && !at.IsZero() && !at.After(d.closes) {
				return true
			}
		}
		return false
	}
	waits := len(ready) > 0 && rank(&ready[0]) > outOfTime+1 && indexOf(waiting, joins) >= 0 // what takes too long is not begun before a join that nothing but time and the builder holds back
	if waits {
		ready = nil
	}
	if rework >= 0 && (len(ready) == 0 || rank(&ready[0]) > 0) {
		out.Step = &waiting[rework]
	} else if len(ready) > 0 {
		out.Step = &ready[0]
		first := rank(&ready[0])
		if face := faceOf(out.Step, dues); face != nil && out.Step.Closes.IsZero() && (len(planned) > 0 || face.presses(now)) { // else its clock is enough
			out.Why, out.JoinBy = face.because(now), face.closes
		} else {
			out.Why, out.JoinBy = because(out.Step, stage, waiting, due, first == outOfTime || first > outOfTime+1, what, now)
		}
	} else if i := indexOf(waiting, resolvable); i >= 0 && !waits {
		out.Step = &waiting[i]
	}
	out.planned, out.dues, out.meanwhile = planned, dues, slices.Concat(ready, waiting, off)
	if out.Step != nil {
		out = s.GoTo(out, *out.Step, now)
		r := out.Step
		waiting = sorting.Delete(waiting, func(w StepReport) bool { return w.Job == r.Job && w.Step.Name == r.Step.Name })
	}
	out.Waiting, out.WaitsForDue = waiting, out.Step == nil && indexOf(waiting, joins) >= 0
	from := opens
	if waits {
		from = opensOnceSeenTo
	}
	for i := range waiting {
		if t := from(&waiting[i]); !t.IsZero() && (out.Until.IsZero() || t.Before(out.Until)) {
			out.Until = t
		}
	}
	return out
}

// nextLeave is when the first sitting of a plan is over that is not yet, at the latest then; what it has later comes after what it
// does not have.
func nextLeave(leave time.Time, planned []Planned, now time.Time) time.Time {
	for _, p := range planned {
		if p.Leave.After(now) && (leave.IsZero() || p.Leave.Before(leave)) {
			leave = p.Leave
		}
	}
	return leave
}

// turns are the open jobs that come before others while damage is open or a check is due:
// 1 what looks the airframe over, 2 the repair. What comes before a flight is neither.
func (s *State) turns(jobs []*Job, now time.Time) map[string]int {
	if len(s.OpenDamages(now)) == 0 && s.Unchecked(now) == nil {
		return nil
	}
	turns := map[string]int{}
	for _, j := range jobs {
		switch {
		case len(j.Damages) > 0:
			turns[j.ID] = 2
		case j.Procedure.Kind == steps.Check && j.Procedure.Flight == "":
			turns[j.ID] = 1
		}
	}
	return turns
}

// because says why a step is suggested before others, and by when the joint that
// it tells of must be joined.
func because(r *StepReport, stage string, waiting []StepReport, due time.Time, tooLong bool, what string, now time.Time) (why string, joinBy time.Time) {
	switch {
	case !r.Closes.IsZero():
		return "its window is open and will close", joinBy
	case r.Begun.runs(now):
		return "it is begun", joinBy
	case r.Reopened != "":
		return r.Reopened, joinBy
	case tooLong:
		return fmt.Sprintf("this takes %s; %s", r.Step.Hands, what), due
	case len(waiting) > 0 && !opens(&waiting[0]).IsZero() && r.Stage != stage:
		return fmt.Sprintf("it can be done while \"%s\" waits", waiting[0].Step.Label()), joinBy
	}
	return "", joinBy
}

// due returns the first deadline of the coated joints and of waits, and what must
// be done by then.
func (s *State) due(now time.Time) (due time.Time, what string) {
	for _, j := range s.joints() {
		phase := s.Phase(j, now)
		if phase != Tacking && phase != Open {
			continue
		}
		if w := j.Window(); due.IsZero() || w.Closes.Before(due) {
			due, what = w.Closes, "joint "+j.Name+" must be joined"
		}
	}
	for _, t := range s.deadlines(now) {
		if due.IsZero() || t.Closes.Before(due) {
			due, what = t.Closes, t.Then+" must be done"
		}
	}
	return due, what
}

// HumidityCounts reports whether an adhesive of an open job has limits of humidity.
func (s *State) HumidityCounts(now time.Time) bool {
	for _, job := range s.OpenJobs(now) {
		for _, step := range job.Procedure.Steps() {
			for _, name := range step.Adhesives {
				a, ok := s.Sheet.Adhesive(name)
				if ok && (!a.Driest.IsZero() || !a.Dampest.IsZero()) {
					return true
				}
			}
		}
	}
	return false
}

// dueToFly says what keeps an airframe without an open job from flying: what
// happened to it first, because the repair disturbs the gates. Gates are not due
// before it is built.
func (s *State) dueToFly(now time.Time) []Reason {
	built := s.Release != nil || slices.ContainsFunc(s.Jobs, (*Job).makes)
	released := s.Airworthiness(now).Released
	var reasons, gates []Reason
	for _, r := range s.Proof(now, nil).Reasons() {
		switch {
		case r.Remedy.Kind == ToAccept && (released || !built): // the release stands, or it is to be built
		case r.Because != ByGate:
			reasons = append(reasons, r)
		case built:
			gates = append(gates, r)
		}
	}
	if built && len(reasons)+len(gates) == 0 && !released {
		return []Reason{{Because: ByState, Text: "it is not released", Remedy: s.remedy(Remedy{Kind: ToRelease})}}
	}
	return append(reasons, gates...)
}

// reportOf is the report of what is planned; nil: there is none.
//
//go:noinline
func reportOf(p *Planned, all []StepReport) *StepReport {
	for i := range all {
		if p.has(&all[i]) {
			return &all[i]
		}
	}
	return nil
}

// indexOf is the place of the first report that is meant; -1: there is none.
// It is not inlined: reports are large, and its copies in all callers would be too.
//
//go:noinline
func indexOf(all []StepReport, is func(*StepReport) bool) int {
	for i := range all {
		if is(&all[i]) {
			return i
		}
	}
	return -1
}

// lastStage is the stage of the last completed step.
func (s *State) lastStage() string {
	for _, e := range slices.Backward(s.Entries) {
		work, ok := journal.WorkOf(e.Facts)
		if !ok || !s.Live(e.Position) {
			continue
		}
		if job, err := s.Job(work.Job); err == nil {
			_, stage, _ := job.Procedure.Step(s.StepOf(work))
			return stage.Name
		}
	}
	return ""
}

// opens returns when the step opens without anybody's help; zero: it does not.
//
//go:noinline
func opens(r *StepReport) time.Time {
	return opening(r.Reasons, func(Reason) bool { return false })
}

// opensOnceSeenTo is when the step opens once a person at the bench has seen to what can be seen to at once; zero: it does not.
func opensOnceSeenTo(r *StepReport) time.Time { return opening(r.Reasons, seenTo) }

// opening is when the last of the reasons is gone that time removes; zero: one stays. Those of but are left out.
func opening(reasons []Reason, but func(Reason) bool) (at time.Time) {
	for _, reason := range reasons {
		switch {
		case but(reason):
		case reason.Until.IsZero():
			return time.Time{}
		case reason.Until.After(at):
			at = reason.Until
		}
	}
	return at
}

// InReach reports whether what an open window waits for can be done before it closes: nothing holds it back but time, and what
// somebody at the bench can see to.
func (s *State) InReach(w Lapse, now time.Time) bool {
	job, err := s.Job(w.Job)
	if err != nil || now.After(w.Closes) {
		return false
	}
	then := ""
	for _, t := range s.deadlines(now) {
		if t.Job == w.Job && t.Name == w.Name {
			then = t.Then
		}
	}
	for _, r := range s.Steps(job, now) {
		if r.Step.Name != then && (r.Step.Joint != w.Name || !r.Step.Kind.Traits().Joins) {
			continue
		}
		if at := opensOnceSeenTo(&r); r.AtHand() || !at.IsZero() && !at.After(w.Closes) {
			return true
		}
	}
	return false
}

// reworkable reports whether gates alone hold the step back, each with a
// remedy: one is out of tolerance and can be reworked.
func reworkable(r *StepReport) bool {
	return len(r.Reasons) > 0 && !anyReason(r.Reasons, func(reason Reason) bool { return reason.Because != ByGate || reason.Remedy.IsZero() })
}

// atHand reports whether a step can be done now, but for holds of adhesives and
// tools that are to be cleared before.
func atHand(r *StepReport) bool {
	return r.Progress == Ready || r.Progress == Waiting && !anyReason(r.Reasons, func(reason Reason) bool { return reason.Remedy.Kind != ToClearUse })
}

// seenToNow reports whether a person at the bench can at once see to all that holds a step back: it is confirmed, cleared or read.
func seenToNow(r *StepReport) bool {
	return resolvable(r) && !anyReason(r.Reasons, func(reason Reason) bool { return !seenTo(reason) })
}

// seenTo reports whether what holds a step back is confirmed, cleared or read at the bench at once.
func seenTo(r Reason) bool {
	switch r.Remedy.Kind {
	case ToSetCondition, ToClear, ToClearUse, ToReadBench, ToMeasure:
		return r.Until.IsZero()
	}
	return false
}

// AtHand reports whether a step can be done now, or once a person at the bench has seen to
// what holds it back.
//
//go:noinline
func (r *StepReport) AtHand() bool {
	return r.Progress == Ready || r.Progress == Waiting && resolvable(r)
}

// pressing reports whether the window of a join is open, and a person at the bench can
// remove all that holds it back: a coat found wet, a window that is shut.
func pressing(r *StepReport) bool {
	return r.Progress == Waiting && r.Step.Kind.Traits().Joins && !r.Closes.IsZero() && resolvable(r)
}

// resolvable reports whether a person at the bench can remove everything that
// holds the step back.
// It is not inlined: its copies in all callers would take 1 KB.
//
//go:noinline
func resolvable(r *StepReport) bool {
	return !anyReason(r.Reasons, func(reason Reason) bool {
		return reason.Remedy.IsZero() || reason.Because == ByClock || reason.Because == ByDamage
	})
}

// compareTimes orders times, the zero ones last.
func compareTimes(a, b time.Time) int {
	switch {
	case a.IsZero() && b.IsZero():
		return 0
	case a.IsZero():
		return 1
	case b.IsZero():
		return -1
	}
	return a.Compare(b)
}

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
	sorting.Stable(timers, CompareReady)
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
	sorting.Stable(timers, CompareReady)
	return timers
}

// CompareReady orders clocks by their next moment; those that have none come last.
func CompareReady(a, b Timer) int { return compareTimes(a.Ready, b.Ready) }
