package workflow

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"fettle/steps"
	"fettle/steps/lists"
)

// A Progress is how far a step has come.
type Progress string

// The values of Progress.
const (
	Done    Progress = "done"
	Ready   Progress = "open"    // can be done now
	Waiting Progress = "waiting" // its turn has come, but something forbids it
	Later   Progress = "later"   // not its turn
)

// A StepReport is a step as it stands at a moment.
type StepReport struct {
	Job      string
	Stage    string
	Step     steps.Step
	Progress Progress
	Reasons  []Reason  // why it waits
	At       time.Time // done: when
	// Reopened says why a step that was done once is open again.
	Reopened string
	// Closes is when the window of an open join closes, or until when the step
	// must be done after a wait.
	Closes time.Time
	// Touch is when a coat that the touch test found wet is touched again.
	Touch time.Time
	// TooLate says that it was done, or is still to be done, too late after a wait.
	TooLate string
	// Act is which part of a glue step is left, where the adhesive dries first.
	Act Act
	// Begun is what was begun of its coat, which is not on yet.
	Begun Begun
}

// An Act is a part of a glue step whose adhesive dries before it is joined.
type Act string

// The acts. Without one, the step is done at once.
const (
	ToCoat   Act = "coat"
	ToRecoat Act = "coat again" // and it must be said when that was begun, or it might be meant for a join that comes too late
	ToPress  Act = "press"
)

// Steps returns every step of the job as it stands now, in the order written.
// An untrusted clock holds every step back.
func (s *State) Steps(j *Job, now time.Time) []StepReport { return s.trusted(s.steps(j, now), now) }

// trusted are the reports as an untrusted clock leaves them: it holds every step back.
func (s *State) trusted(reports []StepReport, now time.Time) []StepReport {
	if reason := s.Untrusted(now); reason != nil {
		for i, r := range reports {
			if r.Progress == Ready || r.Progress == Waiting {
				reports[i].Progress = Waiting
				reports[i].Reasons = append(r.Reasons, *reason)
			}
		}
	}
	return reports
}

// Open reports whether the job has steps left at the time.
func (s *State) Open(j *Job, at time.Time) bool {
	left := func(j *Job) bool {
		return s.toDo(j) || slices.ContainsFunc(j.Procedure.Stages, func(stage steps.Stage) bool { return s.head(j, stage, at) < len(stage.Steps) })
	}
	if s.memo == nil || !lists.Contains(s.Jobs, j) {
		return left(j)
	}
	return s.memo.open.of(at, func() map[*Job]bool {
		open := map[*Job]bool{}
		for _, j := range s.Jobs {
			open[j] = left(j)
		}
		return open
	})[j]
}

// toDo reports whether a step was not done that is met by nothing else: most open jobs have one at their end, and it is found
// sooner than what of each stage is met. False: it is not known whether steps are left.
//
//go:noinline
func (s *State) toDo(j *Job) bool {
	for n := len(j.Procedure.Stages) - 1; n >= 0; n-- {
		stage := &j.Procedure.Stages[n]
		for i := len(stage.Steps) - 1; i >= 0; i-- {
			step := &stage.Steps[i]
			if _, done := j.done[step.Name]; !done && s.kinds[step.Kind].met == nil {
				return true
			}
		}
	}
	return false
}

// OpenJobs returns the jobs that have steps left at the time.
func (s *State) OpenJobs(at time.Time) []*Job {
	var open []*Job
	for _, j := range s.Jobs {
		if s.Retired == nil && s.Open(j, at) {
			open = append(open, j)
		}
	}
	return open
}

// steps is Steps for any time, also one in the past.
//
//go:noinline
func (s *State) steps(j *Job, at time.Time) []StepReport { return s.stepsThat(j, at, every) }

func every(steps.Stage, *steps.Step) bool { return true }

// stepsThat are those of the steps that are asked for: what forbids the others takes
// long to find out.
//
//go:noinline
func (s *State) stepsThat(j *Job, at time.Time, asked func(stage steps.Stage, step *steps.Step) bool) []StepReport {
	return s.stepsIn(j, at, asked, true)
}

// stepsIn are the steps that are asked for. Of a stage that comes after work which is left, and not only after time, nobody
// can do a step whatever else forbids it: that takes long to find out, and is left out unless all; and so are the steps that
// are done or whose turn has not come.
func (s *State) stepsIn(j *Job, at time.Time, asked func(stage steps.Stage, step *steps.Step) bool, all bool) []StepReport {
	var stages []steps.Stage
	n := 0
	for _, stage := range j.Procedure.Stages {
		before := n
		for i := range stage.Steps {
			if asked(stage, &stage.Steps[i]) {
				n++
			}
		}
		if n > before {
			stages = append(stages, stage)
		}
	}
	if n == 0 {
		return nil
	}
	complete := map[string]bool{} // stages
	for _, stage := range j.Procedure.Stages {
		complete[stage.Name] = s.head(j, stage, at) == len(stage.Steps)
	}
	blocked := s.blockedFor(j)
	var reports []StepReport
	if all {
		reports = make([]StepReport, 0, n)
	}
	r := new(StepReport) // of the step that is looked at: a report is large, and few are kept
	for _, stage := range stages {
		head := s.head(j, stage, at)
		before := Reason{Because: ByOrder}
		over := passing{zones: blocked}
		for i := range stage.Steps {
			step := &stage.Steps[i]
			wanted := asked(stage, step)
			*r = StepReport{Job: j.ID, Stage: stage.Name, Step: *step}
			switch {
			case i < head || i > head && s.met(j, stage, i, at):
				r.Progress, r.At = Done, j.done[step.Name].at
			case i > head && !over.may(j, step):
				over.ended = true
				r.Progress = Later
				r.Reasons = []Reason{before}
			default:
				blocks := s.blocks(blocked, j, *step, at)
				if wanted {
					order := s.unfinished(j, stage, complete, at)
					r.Reasons = slices.Concat(order, blocks)
					if all || len(order) == 0 || !order[0].Until.IsZero() {
						r.Reasons = append(r.Reasons, s.forbids(j, stage, i, at)...)
					}
				}
				over.over(j, step, len(blocks) > 0)
				r.Progress = Waiting
				if len(r.Reasons) == 0 {
					r.Progress = Ready
				}
			}
			if turn := r.Progress == Ready || r.Progress == Waiting; !turn && (!wanted || !all) {
				continue
			}
			if explain := s.kinds[step.Kind].explain; explain != nil {
				explain(s, r, j, at)
			}
			r.timed(j, stage, i, at)
			if r.Progress == Ready || r.Progress == Waiting {
				before.Text = step.Name + " comes before it"
				if r.Reopened != "" {
					before.Text += "; " + r.Reopened
				}
			}
			if wanted {
				reports = append(reports, *r)
			}
		}
	}
	return reports
}

// timed says what the waits with an end say of the step.
func (r *StepReport) timed(j *Job, stage steps.Stage, i int, at time.Time) {
	r.TooLate = j.overdue(stage, i, at)
	if wait := j.reopened(stage, i, at); wait != nil && r.Progress != Done {
		for k := range stage.Steps {
			if stage.Steps[k].Name == wait.Name {
				r.Reopened = fmt.Sprintf("%s was to be done no later than %s after %s, and was not; go on from %s", stage.Steps[k+1].Name, wait.By, sinceWords(stage, k), wait.Late)
			}
		}
	}
	if i == 0 || r.Progress != Ready && r.Progress != Waiting {
		return
	}
	if ends, after, ok := j.ends(stage, i-1); ok && after.at.IsZero() && !at.After(ends) && (r.Closes.IsZero() || ends.Before(r.Closes)) {
		r.Closes = ends
	}
}

// head returns the index of the stage's first step that is not met.
// It is not inlined: its copies in all callers would take 2 KB.
//
//go:noinline
func (s *State) head(j *Job, stage steps.Stage, at time.Time) int {
	if s.memo == nil || len(stage.Steps) == 0 || !lists.Contains(s.Jobs, j) {
		return s.firstUnmet(j, stage, at)
	}
	known, of := s.headsAt(at), jobStep{j, &stage.Steps[0]}
	known.Lock()
	i, ok := known.is[of]
	known.Unlock()
	if !ok {
		i = s.firstUnmet(j, stage, at) // which asks for the heads of stages before it
		known.Lock()
		known.is[of] = i
		known.Unlock()
	}
	return i
}

//go:noinline
func (s *State) firstUnmet(j *Job, stage steps.Stage, at time.Time) int {
	for i := range stage.Steps {
		if !s.met(j, stage, i, at) {
			return i
		}
	}
	return len(stage.Steps)
}

// heads are the first steps of each stage that are not met, past what only takes
// time.
func (s *State) heads(j *Job, at time.Time) []*steps.Step {
	var all []*steps.Step
	for _, stage := range j.Procedure.Stages {
		i := s.head(j, stage, at)
		for i < len(stage.Steps) && stage.Steps[i].Kind.Traits().Passes {
			i++
		}
		if i < len(stage.Steps) {
			all = append(all, &stage.Steps[i])
		}
	}
	return all
}

// met reports whether the step is satisfied at the time.
func (s *State) met(j *Job, stage steps.Stage, i int, at time.Time) bool {
	step := &stage.Steps[i]
	done := j.counts(stage, i)
	if j.reopened(stage, i, at) != nil {
		return false
	}
	if met := s.kinds[step.Kind].met; met != nil {
		return met(s, j, stage, i, at, done)
	}
	return done
}

// waitEnds returns when a wait step is over; false if it has not begun.
func (s *State) waitEnds(j *Job, stage steps.Stage, i int, at time.Time) (time.Time, bool) {
	step := stage.Steps[i]
	if step.Joint != "" {
		parts := j.Parts(step.Joint)
		enough := len(parts) > 0 && len(parts) >= len(j.Procedure.JointParts(step.Joint))
		parts = append(parts, s.again(j.ID, step.Joint)...)
		var last time.Time
		for _, joint := range parts {
			ends := joint.Cures()
			if step.Until == steps.UntilHandling {
				ends = joint.Handles()
			}
			if !joint.holds() {
				return time.Time{}, false
			}
			if ends.After(last) {
				last = ends
			}
		}
		return last, enough
	}
	begins, ok := s.waitBegins(j, stage, i, at)
	if !ok {
		return time.Time{}, false
	}
	d, err := step.For.Duration()
	if err != nil && !step.For.IsZero() {
		return time.Time{}, false
	}
	if d > 0 {
		d += j.off
	}
	return begins.Add(d), true
}

// waitBegins is when what stands before the wait was complete.
func (s *State) waitBegins(j *Job, stage steps.Stage, i int, at time.Time) (time.Time, bool) {
	if from := stage.Steps[i].From; from != "" {
		_, of, _ := j.Procedure.Step(from)
		for k := range of.Steps {
			if of.Steps[k].Name == from && !s.met(j, of, k, at) {
				return time.Time{}, false
			}
		}
		done, ok := j.from(stage, i)
		return done.at, ok
	}
	if i > 0 {
		if !s.met(j, stage, i-1, at) {
			return time.Time{}, false
		}
		m, ok := j.done[stage.Steps[i-1].Name]
		begins := m.at
		switch {
		case ok:
		case stage.Steps[i-1].Kind.Traits().Passes:
			begins, ok = s.waitEnds(j, stage, i-1, at) // a wait after a wait
		default: // it was met without an act, as a choice that is answered
			begins, ok = s.waitBegins(j, stage, i-1, at)
		}
		j.before(stage.Steps[i], func(of steps.Stage, k int) {
			// A coat that lapsed and was put on again was done later than the steps after it.
			if m := j.done[of.Steps[k].Name]; of.Steps[k].Kind.Traits().Coats && m.at.After(begins) {
				begins = m.at
			}
		})
		return begins, ok
	}
	begins := j.since(stage.Steps[i].Name).at
	for _, name := range j.Procedure.Before(stage.Name) {
		before, _ := j.Procedure.Stage(name)
		if s.head(j, before, at) < len(before.Steps) {
			return time.Time{}, false
		}
		for k := range before.Steps {
			step := &before.Steps[k]
			done := j.done[step.Name].at
			if done.IsZero() && step.Kind.Traits().Passes {
				done, _ = s.waitEnds(j, before, k, at)
			}
			if done.After(begins) {
				begins = done
			}
		}
	}
	return begins, true
}

// waitAgain drops the waits that come after a coat, plain or on its joint: they
// start again from it.
func (j *Job) waitAgain(name, joint string) {
	_, of, _ := j.Procedure.Step(name)
	for _, stage := range j.Procedure.Stages {
		passed := false
		for i := range stage.Steps { // by index, because a replay runs this often and a step is large
			step := &stage.Steps[i]
			passed = passed || step.Name == name
			if _, done := j.done[step.Name]; !done || !step.Kind.Traits().Passes || step.Joint != "" && step.Joint != joint {
				continue
			}
			if passed || lists.Contains(j.Procedure.Before(stage.Name), of.Name) {
				delete(j.done, step.Name)
			}
		}
	}
}

// unfinished gives the stages that must be complete before this one.
func (s *State) unfinished(j *Job, stage steps.Stage, complete map[string]bool, at time.Time) []Reason {
	var left []string
	seen := map[string]bool{}
	var walk func(stage steps.Stage)
	walk = func(stage steps.Stage) {
		for _, name := range stage.After {
			switch {
			case seen[name]:
			case !complete[name]:
				left = append(left, name)
			default: // what it comes after may be new, or open again
				before, _ := j.Procedure.Stage(name)
				walk(before)
			}
			seen[name] = true
		}
	}
	walk(stage)
	if len(left) == 0 {
		return nil
	}
	are := "is"
	if len(left) > 1 {
		are = "are"
	} else if wait, ends, ok := s.onlyWaits(j, left[0], at); ok {
		return []Reason{{Because: ByOrder, Text: fmt.Sprintf("stage %s comes after %s: %s", stage.Name, left[0], waitText(wait)), Until: ends}}
	}
	return []Reason{{Because: ByOrder, Text: fmt.Sprintf("stage %s comes after %s, which %s not complete", stage.Name, strings.Join(left, " and "), are)}}
}

// onlyWaits returns the wait that alone is left of a stage, and when it is over.
func (s *State) onlyWaits(j *Job, name string, at time.Time) (steps.Step, time.Time, bool) {
	stage, _ := j.Procedure.Stage(name)
	last := len(stage.Steps) - 1
	if s.head(j, stage, at) != last || !stage.Steps[last].Kind.Traits().Passes {
		return steps.Step{}, time.Time{}, false
	}
	ends, ok := s.waitEnds(j, stage, last, at)
	return stage.Steps[last], ends, ok
}

// forbids gives every reason, other than order, why the step can't be done at
// the time.
func (s *State) forbids(j *Job, stage steps.Stage, i int, at time.Time) []Reason {
	step := stage.Steps[i]
	var reasons []Reason
	needs := s.NeedsAt(j, step, at)
	var kept []Reason
	grounded, open := s.heldFromFlight(j, &step, at)
	for _, need := range needs {
		guards := s.guarded(j, []steps.Setting{need}, at)
		held := (grounded != nil || len(open) > 0) && s.isGuarded(need)
		if len(guards) == 0 && !held { // else nobody is told to set it so
			reasons = append(reasons, s.stands(need, at, needs...)...)
		}
		kept = append(kept, guards...)
	}
	reasons = append(reasons, kept...)
	sets := s.guarded(j, step.Sets, at)
	if grounded != nil && !helped(kept, grounded) && !helped(sets, grounded) {
		reasons = append(reasons, *grounded)
	}
	reasons = append(reasons, open...)
	own := openCoat{spread: begunOf(j, step.Name)}
	if step.Kind.Traits().Joins {
		own.Joint, _ = j.JointOf(step)
	}
	reasons = append(reasons, sets...)
	if first := s.unseen(j, &step, at); first != nil && !helped(reasons, first) {
		reasons = append(reasons, *first)
	}
	if _, done := j.done[step.Name]; !done {
		if look := s.unlooked(j, &step, at); look != nil {
			reasons = append(reasons, *look)
		}
	}
	reasons = append(reasons, s.harms(own, "sets", step.Sets, at)...)
	reasons = append(reasons, s.harms(own, "needs", needs, at)...)
	reasons = append(reasons, s.careless(j, step, at)...)
	if forbids := s.kinds[step.Kind].forbids; forbids != nil {
		reasons = append(reasons, forbids(s, j, stage, i, at)...)
	}
	if step.Kind.Traits().Releases {
		s.inTurn(reasons)
	}
	return reasons
}

// helped reports whether what helps against a reason helps against another one that is given, too.
func helped(given []Reason, r *Reason) bool {
	return anyReason(given, func(had Reason) bool { return had.Remedy.Kind == r.Remedy.Kind && had.Remedy.Name == r.Remedy.Name })
}

func waitText(step steps.Step) string {
	switch {
	case step.Joint == "" && step.From != "":
		return fmt.Sprintf("wait %s from %s", step.For, step.From)
	case step.Joint == "":
		return fmt.Sprintf("wait %s", step.For)
	}
	if step.Until == steps.UntilCure {
		return "joint " + step.Joint + " is not cured"
	}
	return "joint " + step.Joint + " has no handling strength yet"
}

// stands gives the reasons why a condition that is needed with others is not met; none: it is met.
func (s *State) stands(need steps.Setting, at time.Time, with ...steps.Setting) []Reason {
	state := s.Holds(need.Condition, at)
	remedy := Remedy{Kind: ToSetCondition, Setting: need}
	of, hold := s.anew(need, with, at)
	if first := s.firstFor(need, with, at); first.State != "" {
		text := fmt.Sprintf("it needs %s, and before that %s", need, s.butStands(first, at))
		switch {
		case state != need.State:
		case s.tendedNow(need, at):
			text += ", and no hold was cleared again for it"
		default:
			text += ", since another sitting"
		}
		remedy.Setting = first
		return []Reason{{Because: ByCondition, Text: text, Remedy: s.remedy(remedy)}}
	}
	if by, step := s.setter(need, with, at); by != nil && state != need.State {
		if look := s.unlooked(by, step, at); look != nil {
			return []Reason{*look}
		}
	}
	if hold != nil {
		remedy.Kind, remedy.Name = ToClear, of.ID+"/"+hold.Name
	}
	if state == need.State {
		if hold == nil {
			return nil
		}
		return []Reason{{Because: ByCondition, Text: fmt.Sprintf("it needs %s; confirm the lines of %s again", need, hold.Name), Remedy: s.remedy(remedy)}}
	}
	text := fmt.Sprintf("it needs %s, but %s says %s: %s", need, s.sayer(need.Condition, at), need.Condition, state)
	if state == "" {
		text = fmt.Sprintf("it needs %s, which is not confirmed "+thisSitting, need)
		if def, ok := s.Sheet.Condition(need.Condition); ok && !def.Lapses() {
			text = fmt.Sprintf("it needs %s, which is not confirmed yet", need)
		}
		if both := s.lastSaid(need.Condition, at).against; both != "" {
			text = fmt.Sprintf("it needs %s, and two entries of one second contradict each other, %s: say how it is now", need, both)
		}
	}
	if look := s.LookFirst(need, with, at); hold == nil && len(look) > 0 {
		text += "; look first: " + strings.Join(look, "; ")
	}
	return []Reason{{Because: ByCondition, Text: text, Remedy: s.remedy(remedy)}}
}

// readFrom is when all was done that comes before a step in its stage, and in
// the stages before that: a gate of the work that the step measures is read
// after it.
func (s *State) readFrom(j *Job, step steps.Step, at time.Time) moment {
	from := s.doneBefore(j, step)
	j.before(step, func(stage steps.Stage, i int) {
		if !stage.Steps[i].Kind.Traits().Passes {
			return
		}
		// A wait was over before the journal said so.
		if over, ok := s.waitEnds(j, stage, i, at); ok && over.After(from.at) {
			from.at, from.what = over, "after "+stage.Steps[i].Name
		}
	})
	return from
}

// doneBefore is the last act, by entry and by time, of what comes before a step.
func (s *State) doneBefore(j *Job, step steps.Step) moment {
	last := j.since(step.Name)
	j.before(step, func(stage steps.Stage, i int) {
		before := stage.Steps[i]
		m, ok := j.done[before.Name]
		if !ok || before.Kind.Traits().Passes {
			return
		}
		if m.position > last.position {
			last.position, last.what = m.position, "since "+before.Name+" was done"
		}
		if m.at.After(last.at) {
			last.at, last.what = m.at, "since "+before.Name+" was done"
		}
	})
	return last
}

// before goes through the steps that come before a step: those of its stage, and
// of the stages before that.
func (j *Job) before(step steps.Step, each func(stage steps.Stage, i int)) {
	_, own, _ := j.Procedure.Step(step.Name)
	for _, name := range append(j.Procedure.Before(own.Name), own.Name) {
		stage, _ := j.Procedure.Stage(name)
		for i := range stage.Steps {
			if stage.Steps[i].Name == step.Name {
				break
			}
			each(stage, i)
		}
	}
}

// unmeasurable says why a gate can't be measured at the time.
func (s *State) unmeasurable(r GateReport, at time.Time) []Reason {
	var reasons []Reason
	for _, joint := range s.joints() {
		if joint.Joined.IsZero() || !r.Gate.DependsOn(joint.Zones...) {
			continue
		}
		if handles := joint.Handles(); at.Before(handles) {
			reasons = append(reasons, Reason{Because: ByDrying, Until: handles,
				Text: fmt.Sprintf("%s cannot be measured before joint %s has handling strength", r.Gate.Name, joint.Name)})
		}
	}
	reasons = append(reasons, s.loose(at, func(j *Joint) bool { return r.Gate.DependsOn(j.Zones...) })...)
	if r.NeedsRework() {
		reasons = append(reasons, Reason{Because: ByGate,
			Text: fmt.Sprintf("%s is out of tolerance (%s)", r.Gate.Name, r.Reason.Text), At: r.Reason.At,
			Remedy: s.remedy(Remedy{Kind: ToRework, Gate: r.Gate.Name})})
	}
	return reasons
}

// Untrusted says that the clock can't be trusted: it reads earlier than an
// entry that was not taken back, or too far from those of other benches.
func (s *State) Untrusted(now time.Time) *Reason {
	if reason := s.doubt.refuses(); reason != nil {
		return reason
	}
	if by := s.latest.Recorded.Sub(now); by <= 0 || s.doubt.Tolerates(by) {
		return nil
	}
	return &Reason{Because: ByClock, Until: s.latest.Recorded,
		Text:   fmt.Sprintf("the clock reads earlier than entry %d of the journal, so no waiting time can be trusted", s.latest.Position),
		Remedy: s.remedy(Remedy{Kind: ToSetClock, Entry: s.latest.Position})}
}
