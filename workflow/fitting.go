package workflow

import (
	"slices"
	"time"

	"fettle/steps"
	"fettle/steps/lists"
)

// This file knows what fits in before something is due. A join, or a step after a wait with an end, keeps its minutes and something
// to spare, and what the last plan has after it does not come before it.

// A dueWork is a join, or a step after a wait with an end, that is due.
type dueWork struct {
	job, joint, then string // then: the step after a wait
	opens, closes    time.Time
	by               time.Time // when it is begun at the latest, with something to spare where there is; never before it opens
	plan             *Planned  // as the last plan has it; nil: it hasn't
}

// dues are all that are due at the time.
func (s *State) dues(now time.Time, planned []Planned) (all []*dueWork) {
	for _, j := range s.joints() {
		if phase := s.Phase(j, now); phase != HalfCoated && phase != Tacking && phase != Open {
			continue
		}
		w, then := j.Window(), ""
		if job, err := s.Job(j.Job); err == nil && j.part < len(job.Procedure.JointParts(j.Name)) {
			then = job.Procedure.JointParts(j.Name)[j.part].Join
		}
		all = append(all, &dueWork{job: j.Job, joint: j.Name, then: then, opens: w.Opens, closes: w.Closes})
	}
	for _, t := range s.deadlines(now) {
		all = append(all, &dueWork{job: t.Job, then: t.Then, opens: t.Opens, closes: t.Closes})
	}
	for _, d := range all {
		takes := s.leastOf(d)
		for i := range planned {
			p := &planned[i]
			if p.Job == d.job && p.Step == d.then && p.Act != ToCoat && p.Act != ToRecoat && !p.Begins.IsZero() {
				d.plan, takes = p, max(takes, p.Minutes)
			}
		}
		d.by = d.closes.Add(-minutesOf(takes + spareOf(int(d.closes.Sub(d.opens)/time.Minute))))
		if d.by.Before(d.opens) {
			d.by = d.opens
		}
	}
	for _, t := range s.coating(nil, now) { // joined once it is on, and who spreads it knows when
		all = append(all, &dueWork{job: t.Job, joint: t.Name, by: t.Closes})
	}
	return all
}

// leastOf is how many minutes the step takes that is due, as is written.
func (s *State) leastOf(d *dueWork) int {
	if job, err := s.Job(d.job); err == nil {
		if step, _, ok := job.Procedure.Step(d.then); ok {
			return max(1, up(handsOf(&step)))
		}
	}
	return 0
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
	by := d.by
	if p := d.plan; p != nil && (of == nil || !of.Begins.Before(p.Begins)) && (of == nil || !apart(of.Hands, p.Hands)) {
		if by = p.Begins; by.Before(d.opens) {
			by = d.opens
		}
		if d.by.Before(by) {
			by = d.by
		}
	}
	return !now.Add(takes(r, of)).After(by)
}

// othersDo leaves of what is due what the plan doesn't have for other people than a step.
func othersDo(of *Planned, dues []*dueWork) []*dueWork {
	if of == nil || len(of.Hands) == 0 {
		return dues
	}
	return otherThan(dues, func(d *dueWork) bool { return d.plan != nil && apart(of.Hands, d.plan.Hands) })
}

// otherThan is what is due without some of it.
func otherThan(dues []*dueWork, is func(*dueWork) bool) (rest []*dueWork) {
	for _, d := range dues {
		if !is(d) {
			rest = append(rest, d)
		}
	}
	return rest
}

// apart reports whether none of these people are among the others.
func apart(some, others []int) bool {
	for _, who := range some {
		if lists.Contains(others, who) {
			return false
		}
	}
	return len(some) > 0 && len(others) > 0
}

// takes is how long a step takes: as the plan has it, which knows the builder's own pace, else as is written.
//
//go:noinline
func takes(r *StepReport, of *Planned) time.Duration {
	if of != nil && of.Minutes > 0 {
		return minutesOf(of.Minutes)
	}
	return handsOf(&r.Step)
}

// planOf is the step as a plan has it; nil: it hasn't.
//
//go:noinline
func planOf(r *StepReport, planned []Planned) *Planned {
	for i := range planned {
		if planned[i].has(*r) {
			return &planned[i]
		}
	}
	return nil
}

// CanWaitFor reports whether all that is due on the airframe can wait for a step of it, or of another one that is given.
func (s *State) CanWaitFor(r *StepReport, of *State, now time.Time) bool {
	return fits(r, planOf(r, of.Planned), s.dues(now, s.Planned), of == s, now)
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

// An Overrun is a step that takes longer than the sitting of the last plan.
type Overrun struct {
	By    time.Time     // the sitting is over, or was to be
	Takes time.Duration // with what must follow in that sitting
	Joins bool          // that is the join of what the step coats
	Uses  bool          // that is what the plan sets something hot, on or plugged in for
}

// Overruns says how what is suggested outlasts the sitting of the last plan; nil: it does not, it can't wait, it is planned for another
// one, or nobody is there any more.
func (s *State) Overruns(g Suggestion, now time.Time) *Overrun {
	by := s.leaves(now)
	if by.IsZero() || g.Step == nil || g.Presses || g.Planned.After(by) || now.Sub(by) > untended {
		return nil
	}
	r := g.Step
	of := planOf(r, s.Planned)
	o := &Overrun{By: by, Takes: takes(r, of)}
	job, err := s.Job(r.Job)
	if of != nil && err == nil {
		hot := slices.ContainsFunc(r.Step.Sets, func(is steps.Setting) bool { return s.staysNot(job.written, is) })
		for i := range s.Planned {
			p := &s.Planned[i]
			step, _, ok := job.Procedure.Step(p.Step)
			if !ok || p.Job != r.Job || !p.Leave.Equal(of.Leave) || p.Begins.Before(of.Begins) || p == of {
				continue
			}
			lasts := minutesOf(p.Minutes)
			if p.Minutes == 0 {
				lasts = handsOf(&step)
			}
			if joins := step.Joint == r.Step.Joint && (step.Kind.Traits().Joins || p.Act == ToPress); joins && r.Step.Joint != "" {
				o.Takes, o.Joins = p.Begins.Sub(of.Begins)+lasts, true
				break
			} else if hot && r.Step.Joint == "" && slices.ContainsFunc(s.NeedsAt(job, step, now), func(is steps.Setting) bool { return lists.Contains(r.Step.Sets, is) }) {
				o.Takes, o.Uses = o.Takes+lasts+minutesOf(safeMinutes), true
				break
			}
		}
	}
	if !now.Add(o.Takes).After(by) {
		return nil
	}
	return o
}
