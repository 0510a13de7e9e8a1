package workflow

import (
	"cmp"
	"fmt"
	"slices"
	"time"

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
	By      time.Time    // when Step is begun at the latest, so that its window is met, or that of what waits for it; zero: it has none
	AtOnce  bool         // Step makes safe what crashed: it waits for no sitting, and is never planned for later
	Beside  []OtherClock // what can't wait for Step on other airframes of the bench, the first to close first

	ForOthers   bool // Step is for other people of the last plan, and whoever sits here has nothing to do about now
	Theirs      bool // and they are at the bench: it is not to be done by whoever sits here, see Mine
	Asked       bool // it is Theirs, and gone to by its name or to take it over: they are asked first
	Becomes     int  // who of several whoever does Step is from then on, since it is for one who is not at the bench; 0: who they are
	Outdated    bool // the last plan goes by another choice than was made, and isn't followed
	KeptApart   bool // something waits for what somebody else is at, and for nothing else
	WaitsForDue bool // nothing can be done now, and what is waited for is due: a join, or the step after a wait with an end

	Mine *Share  // where Step is Theirs, what whoever sits here does next by the last plan; nil: nothing more
	Kept *Reason // what comes before something that the plan has for them; nil: nothing does

	takes     time.Duration // of Step
	tended    time.Duration // of Step, with the end of what a battery is plugged in for it; 0: it is not
	planned   []Planned     // by which it was found
	elsewhere []*busyStep   // what somebody else is at
	dues      []*dueWork    // what is due
	meanwhile []StepReport  // what can be done, what waits, and what is put off: by whoever is asked, not by the others
	held      *StepReport   // what somebody else is at whom no plan has it for; nil: nobody is
	heldBy    int           // who that is
}

// A Share is what one of several people does by the last plan.
type Share struct {
	Who     int    // from 1
	Mark    string // the other airframe of the bench that it is on; "": this one
	Step    StepReport
	Planned time.Time
	Beside  *State // where whoever is at the bench must heed it too: the airframe of Mark, on which it needs what nobody leaves alone; nil: it need not
}

// An OtherClock is a clock of another airframe of the bench.
type OtherClock struct {
	Mark string `json:"mark"`
	Timer
	theirs bool // the last plan has what it is for for other people than the step
}

// costs reports whether it is for whoever does the step too.
func (o OtherClock) costs() bool { return !o.theirs }

// beside are the clocks of other airframes that are over before a step would be done, or whose windows are open while it has
// none.
func (s *State) beside(r StepReport, presses bool, now time.Time) (all []OtherClock) {
	of := planOf(&r, s.Planned)
	for _, other := range s.others {
		dues := other.dues(now, other.Planned, s)
		for _, t := range other.Timers(now) {
			bears, theirs := true, false
			for _, d := range dues {
				if d.runs(&t) {
					t.Opens, bears, theirs = latest(t.Opens, d.opens), bears && d.bears(&r, of, now), len(forTheSame(of, []*dueWork{d})) == 0
				}
			}
			open := !presses && !now.Before(t.Opens)
			if now.After(t.Closes) || t.Damaged || !open && bears || presses && !t.Closes.Before(r.Closes) {
				continue
			}
			all = append(all, OtherClock{other.Airframe.Mark, t, theirs})
		}
	}
	sorting.Stable(all, func(i, k int) int {
		a, b := &all[i], &all[k]
		return a.Closes.Compare(b.Closes)
	})
	return all
}

// Next suggests what to do at the time: an open joint before anything else,
// then the rework of what was just found out of tolerance, then work that fits
// in before a joint must be joined; of that first what a battery is plugged in for, then what looks over a damaged airframe,
// then its repair; then what the last plan has first in its next sitting, also where a person at the bench sees to something before;
// then in the stage last worked on, in the order written; then what the plan has later.
//
//go:noinline
func (s *State) Next(now time.Time) Suggestion { return s.NextBeside(now, nil, nil, s.Planned) }

// NextBeside is Next without the steps that somebody has put off, or somebody else is at, and what can't be done beside those or what
// others are at on other airframes of the bench; in the order of a plan.
//
//go:noinline
func (s *State) NextBeside(now time.Time, putOff func(StepReport) bool, at func(*State, *StepReport) bool, planned []Planned) Suggestion {
	planned = s.handed(planned, now)
	g := s.suggest(now, putOff, at, planned)
	if s.seat.Here == 0 || g.Step == nil || len(g.Hands) > 0 {
		return g
	}
	return s.besideOthers(g, now, putOff, at, planned)
}

// suggest is NextBeside by the plan alone.
//
//go:noinline
func (s *State) suggest(now time.Time, putOff func(StepReport) bool, at func(*State, *StepReport) bool, planned []Planned) Suggestion {
	var ready, waiting, off []StepReport
	jobs, stage := s.OpenJobs(now), s.lastStage()
	outdated := s.outdated(planned, now)
	if outdated {
		planned = nil
	}
	out := Suggestion{Over: len(jobs) == 0, Outdated: outdated, planned: planned}
	plugged, staysBy := s.pluggedIn(now), map[string]bool{}
	reports := make([][]*StepReport, len(jobs))
	for i, job := range jobs {
		steps := s.trusted(s.stepsIn(job, now, every, false), now)
		for k := range steps {
			r := &steps[k]
			theirs := at != nil && r.AtHand() && at(s, r)
			if !theirs && (putOff == nil || !r.AtHand() || !putOff(*r)) {
				reports[i] = append(reports[i], r)
				continue
			}
			off = append(off, *r)
			if busy := s.busyAt(r, theirs, planned, now); busy != nil {
				out.elsewhere = append(out.elsewhere, busy)
			}
		}
	}
	out.PutOff = off
	if at != nil {
		out.elsewhere = append(out.elsewhere, s.busyBeside(at, now)...)
	}
	for i := range reports {
		for _, r := range reports[i] {
			if len(plugged) > 0 && s.isFor(plugged, jobs[i], &r.Step, now) {
				staysBy[r.Job+"/"+r.Step.Name] = true
			}
			free := r.AtHand()
			s.Apart(&out, r, now)
			out.KeptApart = out.KeptApart || free && !r.AtHand()
			switch {
			case atHand(r), pressing(r):
				ready = append(ready, *r)
			case r.Progress == Waiting:
				waiting = append(waiting, *r)
				if (placeOf(r, planned) < len(planned) || staysBy[r.Job+"/"+r.Step.Name]) && seenToNow(r) && !(r.Stage == stage && reworkable(r)) {
					ready = append(ready, *r)
				}
			}
		}
	}
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
	sorting.Stable(waiting, func(i, k int) int {
		a, b := &waiting[i], &waiting[k]
		return compareTimes(opens(a), opens(b))
	})
	dues := s.dues(now, planned, s)
	due, what := soonest(dues)
	turn, leave := s.turns(jobs, now), nextLeave(time.Time{}, planned, now)
	for _, other := range s.others {
		leave = nextLeave(leave, other.Planned, now)
	}
	costs := func(a, b *StepReport) int { // 1: done first, it costs what can't wait either
		by := begunBy(b, a, s.takes(b, planOf(b, planned)), dues, now)
		if !by.IsZero() && now.Add(s.takes(a, planOf(a, planned))).After(by) {
			return 1
		}
		return 0
	}
	hurries := func(r *StepReport) bool { // what is due can't wait for it until an open join is done, which can wait
		return indexOf(ready, func(is *StepReport) bool { return presses(is, now) && costs(is, r) > costs(r, is) }) >= 0
	}
	rank := func(r *StepReport) Rank {
		of := planBy(r, planned, dues)
		switch face := faceOf(r, dues); {
		case now.Before(r.Touch), face != nil && face.misses(now): // found wet just now: what fits in comes before it
			return RankWet
		case presses(r, now), face != nil && (of == nil || !of.Begins.After(now)), hurries(r):
			return RankPresses
		case !fits(r, of, dues, true, now):
			return tight(r, of, dues, now)
		case s.safeAgain(r, jobs, turn, now):
			return RankMakesSafe
		case staysBy[r.Job+"/"+r.Step.Name] && (of == nil || leave.IsZero() || !of.Begins.After(leave)): // nobody lays by what is armed
			return RankStaysBy
		case turn[r.Job] > 0:
			return turn[r.Job]
		case of != nil && !leave.IsZero() && of.Begins.After(leave):
			return RankLater
		case of != nil:
			return RankPlanned
		case r.Stage == stage:
			return RankGoesOn
		}
		return RankOpen
	}
	sorting.Stable(ready, func(i, k int) int {
		a, b := &ready[i], &ready[k]
		return cmp.Or(cmp.Compare(rank(a), rank(b)), costs(a, b)-costs(b, a), compareTimes(a.Closes, b.Closes), placeOf(a, planned)-placeOf(b, planned))
	})
	rework := indexOf(waiting, func(r *StepReport) bool { return r.Stage == stage && reworkable(r) })
	joins := func(r *StepReport) bool {
		return slices.ContainsFunc(dues, func(d *dueWork) bool { return d.heldByTime(r) })
	}
	waits := len(ready) > 0 && rank(&ready[0]) > RankOthers && indexOf(waiting, joins) >= 0 // what takes too long is not begun before a join that nothing but time and the builder holds back
	if waits {
		ready = nil
	}
	if rework >= 0 && (len(ready) == 0 || rank(&ready[0]) > RankPresses) {
		out.Step = &waiting[rework]
	} else if len(ready) > 0 {
		out.Step = &ready[0]
		first := rank(&ready[0])
		if face := faceOf(out.Step, dues); face != nil && out.Step.Closes.IsZero() && (len(planned) > 0 || face.presses(now)) { // else its clock is enough
			out.Why, out.JoinBy = face.because(now), face.closes
		} else {
			out.Why, out.JoinBy = because(out.Step, stage, waiting, due, first >= RankWaited && first != RankOthers, what, now)
		}
	} else if i := indexOf(waiting, resolvable); i >= 0 && !waits {
		out.Step = &waiting[i]
	}
	out.dues, out.meanwhile = dues, slices.Concat(ready, waiting, off)
	if out.Step != nil {
		out = s.GoTo(out, *out.Step, now)
		if own := s.TurnOf(s.seat.Who, &out, now); own != nil {
			out = s.GoTo(out, *own, now)
		}
		out.ForOthers, out.Theirs = s.forOthers(s.seat.Who, &out, now)
		if out.Theirs {
			out.Mine = s.mine(&out, now)
		} else if who := s.seat.Who; who > 0 && len(out.Hands) == 1 && out.Hands[0] != who && !s.there(out.Hands, planOf(out.Step, planned), now) {
			out.Becomes = out.Hands[0]
		}
		r := out.Step
		if i := indexOf(waiting, func(w *StepReport) bool { return w.Job == r.Job && w.Step.Name == r.Step.Name }); i >= 0 {
			waiting = append(waiting[:i:i], waiting[i+1:]...)
		}
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
	case tooLong && what != "":
		return fmt.Sprintf("this takes %s; %s", r.Step.Hands, what), due
	case len(waiting) > 0 && !opens(&waiting[0]).IsZero() && r.Stage != stage:
		return fmt.Sprintf("it can be done while \"%s\" waits", waiting[0].Step.Label()), joinBy
	}
	return "", joinBy
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
	s.inTurn(gates)
	return append(reasons, gates...)
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
	for _, d := range s.dues(now, nil, s) {
		if d.job != w.Job || d.joint != w.Name && (then == "" || d.then != then) {
			continue
		}
		for _, r := range s.Steps(job, now) {
			if d.then == r.Step.Name && r.AtHand() || d.heldByTime(&r) {
				return true
			}
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
		return reason.Remedy.IsZero() || reason.Because == ByClock || reason.Because == ByDamage || reason.Remedy.Kind == ToFinish
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
