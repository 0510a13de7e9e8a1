package workflow

import (
	"fmt"
	"time"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/sorting"
)

// This file knows what fits in before something is due. A join, or a step after a wait with an end, keeps its minutes and something
// to spare, and what the last plan has after it does not come before it.

// A dueWork is a join, or a step after a wait with an end, that is due.
type dueWork struct {
	job, joint, then string        // then: the step after a wait
	wait             string        // that passes before it and is over last
	half             bool          // another face of the joint is still to be coated
	first            []string      // what is left to do before it, with its coats
	lead             time.Duration // how long that takes, with the waits that begin then, and the coat dries
	takes            time.Duration
	opens, closes    time.Time
	by               time.Time // when it is begun at the latest, with something to spare where there is; never before it opens
	plan             *Planned  // as the last plan has it; nil: it hasn't
	at               *State    // whoever sits there does it, and a step before it
}

// dues are all that are due at the time, the first to close first. One after the other is done by whoever does both: each is begun
// so that it is done when the next one must be begun. Whoever sits at a bench of an airframe does it, this one or another.
func (s *State) dues(now time.Time, planned []Planned, at *State) (all []*dueWork) {
	for _, j := range s.joints() {
		phase := s.Phase(j, now)
		if phase != HalfCoated && phase != Tacking && phase != Open || s.keptByDamage(j, now) {
			continue
		}
		w := j.Window()
		d := &dueWork{at: at, job: j.Job, joint: j.Name, half: phase == HalfCoated, opens: w.Opens, closes: w.Closes}
		if job, err := s.Job(j.Job); err == nil && j.part < len(job.Procedure.JointParts(j.Name)) {
			d.then = job.Procedure.JointParts(j.Name)[j.part].Join
		}
		s.leadTo(d, j, now)
		all = append(all, d)
	}
	for _, t := range s.deadlines(now) {
		d := &dueWork{at: at, job: t.Job, then: t.Then, wait: t.Name, opens: t.Opens, closes: t.Closes}
		s.leadTo(d, nil, now)
		all = append(all, d)
	}
	sorting.Stable(all, func(i, k int) int {
		a, b := all[i], all[k]
		return a.closes.Compare(b.closes)
	})
	for i := len(all) - 1; i >= 0; i-- {
		d := all[i]
		for k := range planned {
			p := &planned[k]
			if p.Job == d.job && p.Step == d.then && p.Act != ToCoat && p.Act != ToRecoat && !p.Begins.IsZero() && !p.Begins.After(d.closes) {
				d.plan, d.takes = p, max(d.takes, minutesOf(p.Minutes))
			}
		}
		d.by = d.closes.Add(-minutesOf(spareOf(int(d.closes.Sub(d.opens) / time.Minute))))
		for _, next := range all[i+1:] {
			begins := next.by.Add(-next.lead)
			if begins.Before(d.by) && !next.misses(now) && (d.plan == nil || next.plan == nil || !apart(d.plan.Hands, next.plan.Hands)) {
				d.by = begins
			}
		}
		if d.by = d.by.Add(-d.takes); d.by.Before(d.opens) && !d.half {
			d.by = d.opens
		}
	}
	if at != s && at.planWithout(s.Airframe.Mark, now) {
		for _, d := range all {
			if !d.half && d.opens.Before(d.by) {
				d.by = d.opens
			}
		}
	}
	for _, t := range s.coating(nil, now) { // joined once it is on, and who spreads it knows when
		all = append(all, &dueWork{at: at, job: t.Job, joint: t.Name, closes: t.Closes, by: t.Closes})
	}
	return all
}

// planWithout reports whether a plan that goes on was made without an airframe. It keeps no time for what is due there, so whoever goes by
// it has to be free when that opens, as a plan of both would have them: people are slow (common practice, no source).
//
//go:noinline
func (s *State) planWithout(mark string, now time.Time) bool {
	if len(s.Plans[mark]) > 0 {
		return false
	}
	for _, planned := range s.Plans {
		if !nextLeave(time.Time{}, planned, now).IsZero() {
			return true
		}
	}
	return false
}

// soonest is by when the first join, or step after a wait, must be done of what is due, and which: "", none.
func soonest(dues []*dueWork) (due time.Time, what string) {
	for _, d := range dues {
		switch {
		case d.half || d.takes == 0: // its coat is not on
		case d.joint != "":
			return d.closes, "joint " + d.joint + " must be joined"
		default:
			return d.closes, d.then + " must be done"
		}
	}
	return due, ""
}

// heldByTime reports whether a step is what is due, or the wait that is over last before it, and nothing but time holds it back, and what
// somebody at the bench sees to.
func (d *dueWork) heldByTime(r *StepReport) bool {
	at := opensOnceSeenTo(r)
	return d.job == r.Job && (d.then == r.Step.Name || d.wait == r.Step.Name) && !at.IsZero() && !at.After(d.closes)
}

// leadTo finds what is left to do before what is due, and how long both take, with the waits that begin then. A wait that
// runs already passes meanwhile.
func (s *State) leadTo(d *dueWork, j *Joint, now time.Time) {
	job, err := s.Job(d.job)
	if err != nil {
		return
	}
	var coated time.Duration // how long it takes until the other face is coated: what is done after that, is done while it dries
	var passed time.Time
	before := func(step *steps.Step) {
		if d.first, d.lead = append(d.first, step.Name), d.lead+d.at.lasts(job.Procedure, step); step.Kind.Traits().Coats && step.Joint == d.joint {
			coated = d.lead
		}
	}
	if step, _, ok := job.Procedure.Step(d.then); ok {
		d.takes = minutesOf(max(1, up(d.at.lasts(job.Procedure, &step))))
		job.before(step, func(stage steps.Stage, i int) {
			is := &stage.Steps[i]
			if i < s.head(job, stage, now) || s.met(job, stage, i, now) {
				return
			}
			if !is.Kind.Traits().Passes {
				before(is)
			} else if ends, runs := s.waitEnds(job, stage, i, now); !runs {
				lasts, _ := is.For.Duration()
				d.lead += lasts
			} else if ends.After(passed) {
				passed, d.wait = ends, is.Name
			}
		})
		if passed.After(d.opens) {
			d.opens = passed
		}
	}
	if !d.half {
		return
	}
	coats, _ := s.MadeBy(j)
	for _, name := range coats {
		if coat, _, ok := job.Procedure.Step(name); ok && !j.coatedBy(name) && !lists.Contains(d.first, name) {
			before(&coat)
		}
	}
	d.lead = max(d.lead, coated+j.Adhesive.Times.Least(j.Adhesive.Times.From, j.climate))
}

// misses reports whether the other face of a joint can't be coated, dry and be joined in time any more.
func (d *dueWork) misses(now time.Time) bool {
	return d.half && now.Add(d.lead+d.takes).After(d.closes)
}

// presses reports whether the other face, coated now, is dry with nothing to spare before the join, or too late.
func (d *dueWork) presses(now time.Time) bool {
	return d.half && now.Add(d.lead).After(d.by)
}

// because says why the other face of a joint comes first, or that it comes too late.
func (d *dueWork) because(now time.Time) string {
	if d.misses(now) {
		return fmt.Sprintf("this face can't dry in time, and both are coated again then: until it is joined it takes %d min; joint %s must be joined", up(d.lead+d.takes), d.joint)
	}
	return "its other face is coated; joint " + d.joint + " must be joined"
}

// faceOf is the joint that the step coats the other face of; nil: it doesn't.
func faceOf(r *StepReport, dues []*dueWork) *dueWork {
	for _, d := range dues {
		if d.half && d.joint == r.Step.Joint && d.waitsFor(r) {
			return d
		}
	}
	return nil
}

// begunBy is when a step is begun at the latest, so that its window is met, and what is due and waits for it, but not for another one that
// is done first; zero: it has no such time, or that is over.
func begunBy(r, first *StepReport, takes time.Duration, dues []*dueWork, now time.Time) (by time.Time) {
	if !r.Closes.IsZero() {
		return r.Closes.Add(-takes)
	}
	for _, d := range dues {
		if at := d.closes.Add(-d.lead - d.takes); d.waitsFor(r) && !d.waitsFor(first) && !at.Before(now) && (by.IsZero() || at.Before(by)) {
			by = at
		}
	}
	return by
}

// waitsFor reports whether the step is left to do before what is due.
//
//go:noinline
func (d *dueWork) waitsFor(r *StepReport) bool {
	return d.job == r.Job && lists.Contains(d.first, r.Step.Name)
}

// inTime reports whether what is due can still be done after a step, with nothing to spare.
func (d *dueWork) inTime(r *StepReport, of *Planned, now time.Time) bool {
	left := d.at.takes(r, of) + d.takes
	if !d.waitsFor(r) {
		left += d.lead
	}
	return d.misses(now) || !now.Add(left).After(d.closes)
}

// is reports whether the step is what is due, or a coat for it.
func (d *dueWork) is(r *StepReport) bool {
	return d.job == r.Job && (d.then == r.Step.Name || d.joint != "" && d.joint == r.Step.Joint)
}

// runs reports whether it is due by the clock.
func (d *dueWork) runs(t *Timer) bool {
	return d.job == t.Job && (t.Then != "" && d.then == t.Then || t.Joint && d.joint == t.Name)
}

// bears reports whether what is due can wait for a step, as the plan has that: nil, it hasn't.
//
//go:noinline
func (d *dueWork) bears(r *StepReport, of *Planned, now time.Time) bool {
	if d.misses(now) {
		return true
	}
	by := d.by
	if p := d.plan; p != nil && (of == nil || !of.Begins.Before(p.Begins)) && (of == nil || !apart(of.Hands, p.Hands)) {
		if by = p.Begins; by.Before(d.opens) {
			by = d.opens
		}
		if d.by.Before(by) {
			by = d.by
		}
	}
	if !d.waitsFor(r) {
		by = by.Add(-d.lead)
	}
	return !now.Add(d.at.takes(r, of)).After(by)
}

// forTheSame is what is due but for what the plan has for other people than the step.
//
//go:noinline
func forTheSame(of *Planned, dues []*dueWork) []*dueWork {
	if of == nil || len(of.Hands) == 0 {
		return dues
	}
	return otherThan(dues, func(d *dueWork) bool { return d.plan != nil && apart(of.Hands, d.plan.Hands) })
}

// otherThan is what is due without some of it.
//
//go:noinline
func otherThan(dues []*dueWork, is func(*dueWork) bool) (rest []*dueWork) {
	for _, d := range dues {
		if !is(d) {
			rest = append(rest, d)
		}
	}
	return rest
}

// apart reports whether none of these people are among the others.
//
//go:noinline
func apart(some, others []int) bool {
	for _, who := range some {
		if lists.Contains(others, who) {
			return false
		}
	}
	return len(some) > 0 && len(others) > 0
}

// takes is how long a step takes: as the plan has it, which knows the builder's own pace, else by that pace.
//
//go:noinline
func (s *State) takes(r *StepReport, of *Planned) time.Duration {
	job, err := s.Job(r.Job)
	switch {
	case of != nil && of.Minutes > 0:
		return minutesOf(of.Minutes)
	case err != nil:
		return handsOf(&r.Step)
	}
	return s.lasts(job.Procedure, &r.Step)
}

// lasts is how long whoever sits here takes for a step of which no plan knows: at their own pace, and never less than is written.
//
//go:noinline
func (s *State) lasts(p *steps.Procedure, step *steps.Step) time.Duration {
	own, _ := s.pace()(p, step)
	return max(own, handsOf(step))
}

// CanWaitFor reports whether all that is due on the airframe can wait for a step of it, or of another one that is given: theirs, all but
// what the last plan has for other people than the step.
func (s *State) CanWaitFor(r *StepReport, of *State, theirs bool, now time.Time) bool {
	p, dues := planOf(r, of.Planned), s.dues(now, s.Planned, of)
	if theirs {
		dues = forTheSame(p, dues)
	}
	return fits(r, p, dues, of == s, now)
}

//go:noinline
func fits(r *StepReport, of *Planned, dues []*dueWork, own bool, now time.Time) bool {
	for _, d := range dues {
		if !(own && d.is(r)) && !d.bears(r, of, now) {
			return false
		}
	}
	return true
}

// Slip is how much later than planned a step is begun before that is said, or it is planned anew (common practice, no source).
const Slip = 10 * time.Minute

// Late is how much later than planned the step would be begun, where that is said. In a plan for several whoever it is for may be at it
// until it is to be over.
func (g *Suggestion) Late(now time.Time) time.Duration {
	since := g.Planned
	if since.IsZero() {
		return 0
	}
	if of := planOf(g.Step, g.planned); of != nil && len(of.Hands) > 0 {
		since = of.ends()
	}
	if now.Sub(since) <= Slip {
		return 0
	}
	return now.Sub(g.Planned)
}

// Missed reports whether the last plan has the step in a sitting that is over, and nobody goes on with that one any more.
func (g *Suggestion) Missed(now time.Time) bool {
	of := planOf(g.Step, g.planned)
	return of != nil && !of.Leave.IsZero() && now.Sub(of.Leave) > untended
}

// An Overrun is a step that takes longer than the sitting of the last plan.
type Overrun struct {
	By    time.Time     // the sitting is over, or was to be
	Takes time.Duration // with what must follow in that sitting
	Joins bool          // that is the join of what the step coats
	Uses  bool          // that is the first step that it sets something hot, on or plugged in for
	Sets  []string      // that is set hot, on or plugged in for it first, and ended after it
}

// Overruns says how what is suggested outlasts the sitting of the last plan; nil: it does not, it can't wait, or nobody is there any
// more.
func (s *State) Overruns(g Suggestion, now time.Time) *Overrun {
	by := s.sits(now)
	if by.IsZero() || g.Step == nil || g.Presses || g.AtOnce || now.Sub(by) > untended {
		return nil
	}
	r := g.Step
	of := planOf(r, s.Planned)
	o := &Overrun{By: by, Takes: s.takes(r, of)}
	job, err := s.Job(r.Job)
	if of != nil && err == nil {
		for i := range s.Planned {
			p := &s.Planned[i]
			step, _, ok := job.Procedure.Step(p.Step)
			if !ok || p.Job != r.Job || !p.Leave.Equal(of.Leave) || p.Begins.Before(of.Begins) || p == of {
				continue
			}
			lasts := minutesOf(p.Minutes)
			if p.Minutes == 0 {
				lasts = s.lasts(job.Procedure, &step)
			}
			if joins := step.Joint == r.Step.Joint && (step.Kind.Traits().Joins || p.Act == ToPress); joins && r.Step.Joint != "" {
				o.Takes, o.Joins = p.Begins.Sub(of.Begins)+lasts, true
				break
			}
		}
	}
	if until := s.untilJoined(r, now); until > 0 && of == nil {
		o.Takes, o.Joins = max(o.Takes, until), true
	}
	before, own, takes := s.setFor(r, now)
	if o.Takes += takes; !now.Add(o.Takes).After(by) {
		return nil
	}
	o.Uses = len(own) > 0
	for _, is := range before {
		o.Sets = append(o.Sets, is.String())
	}
	return o
}

// untilJoined is how long it takes until a joint is joined from the step that coats it first, with all that is done before that, at least; 0: it
// coats none, or one that waits for a later sitting.
func (s *State) untilJoined(r *StepReport, now time.Time) time.Duration {
	job, err := s.Job(r.Job)
	if err != nil || !r.Step.Kind.Traits().Coats {
		return 0
	}
	for _, j := range s.joints() {
		if phase := s.Phase(j, now); j.Job == r.Job && j.Name == r.Step.Joint && (phase == HalfCoated || phase == Tacking || phase == Open) {
			return 0
		}
	}
	d, coated, dries := &dueWork{at: s, job: r.Job, joint: r.Step.Joint}, time.Duration(0), time.Duration(-1)
	for _, part := range job.Procedure.JointParts(r.Step.Joint) {
		if !lists.Contains(part.Coats, r.Step.Name) {
			continue
		}
		d.then = part.Join
		for _, name := range part.Coats {
			if coat, _, ok := job.Procedure.Step(name); ok {
				coated += s.lasts(job.Procedure, &coat)
			}
		}
		break
	}
	for _, name := range r.Step.Adhesives {
		a, _ := s.Sheet.Adhesive(name)
		climate := s.climateAt(a, now)
		if least := a.Times.Least(a.Times.From, climate); dries < 0 || least < dries {
			dries = least
		}
		if a.Times.Most(a.Times.To, climate) > SittingLength {
			return 0
		}
	}
	if d.then == "" || dries < 0 {
		return 0
	}
	s.leadTo(d, nil, now)
	return max(d.lead, coated+dries) + d.takes
}

// sits is when the sitting is over, or was, that has begun last: by the last plan, or as it was stated where the plan has nothing left
// for it; zero: nobody knows.
func (s *State) sits(now time.Time) time.Time {
	by := s.leaves(now)
	if now.Sub(by) > untended && s.Sits != nil {
		by = s.Sits()
	}
	return by
}

// setFor is what is set hot, on or plugged in for a step, which does not stand so, or by the step itself for the first one after it, and
// how long all of that takes beside the step: to set it, that first one, and to end it.
func (s *State) setFor(r *StepReport, now time.Time) (before, own []steps.Setting, takes time.Duration) {
	job, err := s.Job(r.Job)
	if err != nil {
		return nil, nil, 0
	}
	needs := s.NeedsAt(job, r.Step, now)
	for _, is := range needs {
		j := s.ender(is)
		if j == nil || s.Holds(is.Condition, now) == is.State {
			continue
		}
		before = append(before, is)
		if of, by := s.setter(is, needs, now); by != nil {
			takes += s.lasts(of.Procedure, by)
			if _, hold := s.looksOver(of.Procedure, by); hold != nil {
				takes += s.lasts(of.Procedure, hold)
			}
		}
		if safe, _ := s.ends(j.written, is, ""); !lists.Contains(r.Step.Sets, safe) {
			takes += s.toEnd(is, r.Step.Name)
		}
	}
	for _, is := range r.Step.Sets {
		if s.staysNot(job.written, is) && s.Holds(is.Condition, now) != is.State {
			own = append(own, is)
			takes += s.firstUse(job, r, is, now) + s.toEnd(is, r.Step.Name)
		}
	}
	return before, own, takes
}

// firstUse is how long the first step lasts that needs what a step before it sets.
func (s *State) firstUse(job *Job, r *StepReport, is steps.Setting, now time.Time) (lasts time.Duration) {
	passed := false
	for _, step := range job.Procedure.Steps() {
		if passed && needsSo(step.Needs, s.UsesOf(job, *step, now), is) {
			if step.Kind.Traits().Passes {
				lasts, _ = step.For.Duration()
				return lasts
			}
			return s.lasts(job.Procedure, step)
		}
		passed = passed || step.Name == r.Step.Name
	}
	return 0
}

// toEnd is how long it takes to end what stands hot, on or plugged in, after the named step.
func (s *State) toEnd(is steps.Setting, from string) time.Duration {
	takes := minutesOf(safeMinutes)
	if j := s.ender(is); j != nil {
		takes = max(takes, s.lasts(j.Procedure, s.endedBy(j.written, is, from)))
	}
	return takes
}

// LeaveFor keeps what is suggested for a later sitting where it coats what can't be joined in this one, or something would be set hot, on or
// plugged in for it now, and ended at once again: too little of this sitting is left for all of that, or the last plan has it in a later
// one. Whoever goes on all the same plans with the time that they stay.
func (s *State) LeaveFor(g *Suggestion, now time.Time) {
	if g.Step == nil || g.Presses || g.AtOnce {
		return
	}
	sets, own, _ := s.setFor(g.Step, now)
	by := s.sits(now)
	o := s.Overruns(*g, now)
	joins := o != nil && o.Joins && s.untilJoined(g.Step, now) > 0
	if o != nil {
		sets = append(sets, own...)
	} else if g.Planned.Sub(now) <= Soon || by.After(now) && g.Planned.Before(by) {
		return
	}
	if len(sets) == 0 && !joins {
		return
	}
	r := *g.Step
	r.Progress, r.Reasons = Waiting, nil
	if joins {
		r.Reasons = append(r.Reasons, Reason{Because: ByState, Text: "joint " + r.Step.Joint + " can't be joined in this sitting, so it is not coated now", Remedy: s.remedy(Remedy{Kind: ToPlan})})
	}
	for _, is := range sets {
		r.Reasons = append(r.Reasons, Reason{Because: ByState, Text: s.conditionTitle(is.Condition) + ": " + is.State + " is left for a later sitting", Remedy: s.remedy(Remedy{Kind: ToPlan})})
	}
	g.Step, g.Resolve = &r, r.Reasons
}

// BeginBy is the second, as Unix counts, until which what is suggested can be begun in this sitting: from then on [State.LeaveFor] keeps it for
// a later one. 0: it doesn't, or has done so.
func (s *State) BeginBy(of *Suggestion, now time.Time) int64 {
	g := *of
	o := s.Overruns(g, s.sits(now))
	if o == nil {
		return 0
	}
	at := o.By.Add(-o.Takes)
	if s.LeaveFor(&g, at.Add(time.Second)); !at.After(now) || g.Step == of.Step {
		return 0
	}
	return at.Unix()
}

// outsideLimitsOf says why an adhesive does not work at the bench.
//
//go:noinline
func (s *State) outsideLimitsOf(name string, bench Climate) []Reason {
	a, _ := s.Sheet.Adhesive(name)
	return s.outsideLimits(a, bench)
}

// InVain says why the first step that needs what a step sets hot, on or plugged in can't be done at the bench as it is: no adhesive
// for it works there. nil: one does, or nothing is set so.
func (s *State) InVain(r *StepReport, now time.Time) []Reason {
	job, err := s.Job(r.Job)
	bench, known := s.benchAt(now)
	if err != nil || !known {
		return nil
	}
	for _, is := range r.Step.Sets {
		passed := false
		for _, step := range job.Procedure.Steps() {
			if passed = passed || step.Name == r.Step.Name; !passed || !needsSo(step.Needs, s.UsesOf(job, *step, now), is) || !s.staysNot(job.written, is) {
				continue
			}
			var reasons []Reason
			for _, name := range job.adhesives(*step, now) {
				cold := s.outsideLimitsOf(name, bench)
				if len(cold) == 0 {
					return nil
				}
				reasons = append(reasons, cold...)
			}
			return reasons
		}
	}
	return nil
}
