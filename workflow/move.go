package workflow

import (
	"fmt"
	"maps"
	"reflect"
	"slices"
	"strings"
	"time"

	"fettle/steps"
	"fettle/steps/bond"
	"fettle/steps/lists"
	"fettle/workflow/journal"
)

// MoveJob moves an open job to newer documents. The sheet is that of the airframe:
// where it becomes another, every open job moves with it.
type MoveJob struct {
	Job         string
	Procedure   *steps.Procedure
	Digest      string
	Sheet       *steps.Sheet
	SheetDigest string
	Others      []MovedJob // the other open jobs
}

// A MovedJob is a job that moves along, to a newer procedure or with its own.
type MovedJob struct {
	Job       string
	Procedure *steps.Procedure
	Digest    string
}

func (r MoveJob) decide(s *State, c Circumstances) ([]journal.Facts, error) {
	job, err := s.Job(r.Job)
	if err != nil {
		return nil, err
	}
	switch {
	case !s.Open(job, c.At):
		return nil, refuse(r.Job, ByState, "it is complete; only an open job can be moved", Remedy{})
	case r.Digest == job.Digest && r.SheetDigest == s.SheetDigest:
		return nil, refuse(r.Job, ByState, "it already uses these documents", Remedy{})
	case r.Sheet.Name != s.Airframe.Design:
		return nil, refuse(r.Job, ByState, fmt.Sprintf("%s is a %s, but the sheet is for %s", s.Airframe.Mark, s.Airframe.Design, r.Sheet.Name), Remedy{})
	}
	if reason := s.datedBack("a move to newer documents", c); reason != nil {
		return nil, &Refusal{What: r.Job, Reasons: []Reason{*reason}}
	}
	if reasons := s.undecided(r.Sheet, s.everBuilt(c.At)); len(reasons) > 0 {
		return nil, &Refusal{What: r.Job, Reasons: reasons}
	}
	moved := []MovedJob{{r.Job, r.Procedure, r.Digest}}
	if r.SheetDigest != s.SheetDigest {
		for _, open := range s.OpenJobs(c.At) {
			if open.ID == r.Job {
				continue
			}
			i := slices.IndexFunc(r.Others, func(m MovedJob) bool { return m.Job == open.ID })
			if i < 0 {
				return nil, refuse(r.Job, ByState, "job "+open.ID+" is open too, and must move to the newer sheet with it", Remedy{})
			}
			moved = append(moved, r.Others[i])
		}
	}
	var facts []journal.Facts
	for _, m := range moved {
		job, err := s.Job(m.Job)
		if err != nil {
			return nil, err
		}
		if m.Procedure.Name != job.Procedure.Name {
			return nil, refuse(m.Job, ByState, fmt.Sprintf("its procedure is %s, not %s", job.Procedure.Name, m.Procedure.Name), Remedy{})
		}
		if reason := s.forgets(job, m.Procedure); reason != nil {
			return nil, &Refusal{What: m.Job, Reasons: []Reason{*reason}}
		}
		facts = append(facts, journal.JobMoved{Job: m.Job, Procedure: m.Digest, Sheet: r.SheetDigest})
	}
	return facts, nil
}

// forgets says that the procedure would ask anew which method is used, where work
// by the old answer is done.
func (s *State) forgets(job *Job, to *steps.Procedure) *Reason {
	kept := map[string]bool{}
	anew := false
	for _, step := range to.Steps() {
		by, method := job.methodOf(*step)
		kept[by] = method != ""
		anew = anew || len(step.Methods) > 0 && method == ""
	}
	for _, step := range job.written.Steps() {
		method := job.methods[step.Name]
		if !anew || method == "" || kept[step.Name] {
			continue
		}
		if done := s.governedBy(step.Asked(s.Sheet), job); done != "" {
			return &Reason{Because: ByState, Text: fmt.Sprintf("%s was chosen at %s, and %s, which depends on it, is done; the newer procedure has no step %s with that answer, nor one with was: %s",
				method, step.Name, done, step.Name, step.Name), Remedy: s.remedy(Remedy{Kind: ToTakeBack, Entry: job.done[step.Name].position})}
		}
	}
	return nil
}

// methodOf is the method that was chosen in the job and stays chosen at a step of
// a newer procedure, and the step that it was chosen at.
func (j *Job) methodOf(step steps.Step) (by, method string) {
	for _, by := range []string{step.Was, step.Name} {
		if method := j.methods[by]; method != "" {
			if slices.ContainsFunc(step.Methods, func(m steps.Option) bool { return m.Name == method }) {
				return by, method
			}
			return by, ""
		}
	}
	return "", ""
}

// movedTogether returns the entries of the jobs that moved to a sheet in one act:
// none of them stays on it alone.
func movedTogether(s *State, e journal.Entry) []int64 {
	positions := amendments(s, e)
	sheet := e.Facts.(journal.JobMoved).Sheet
	for _, step := range []int64{-1, 1} {
		for p := e.Position + step; p >= 0 && p < s.Size(); p += step {
			other, ok := s.Entries[p].Facts.(journal.JobMoved)
			if !ok || other.Sheet != sheet || !s.Entries[p].Recorded.Equal(e.Recorded) {
				break
			}
			positions = append(positions, p)
		}
	}
	return positions
}

// movedTo is what is decided of the airframe and the job under the documents that
// it would be moved to.
func (s *State) movedTo(sheet *steps.Sheet, procedure *steps.Procedure, job *Job) steps.Selection {
	out := s.selection(sheet)
	for _, step := range procedure.Steps() {
		if _, method := job.methodOf(*step); method != "" {
			out.Has = append(out.Has, method)
		} else {
			for _, m := range step.Methods {
				out.Open = append(out.Open, m.Name)
			}
		}
	}
	return out
}

// move applies a JobMoved. A step that was done stays done if what completed it
// completes the step that the new procedure has.
func (s *State) move(e journal.Entry) error {
	f := e.Facts.(journal.JobMoved)
	job, err := s.Job(f.Job)
	if err != nil {
		return err
	}
	procedure, ok := s.docs.Procedures[f.Procedure]
	if !ok {
		return fmt.Errorf("the procedure %s is missing", f.Procedure)
	}
	sheet, ok := s.docs.Sheets[f.Sheet]
	if !ok {
		return fmt.Errorf("the design sheet %s is missing", f.Sheet)
	}
	s.Sheet, s.SheetDigest = sheet, f.Sheet
	before := job.Procedure
	job.Procedure, job.written, job.Digest = procedure, procedure, f.Procedure
	job.rename(before)
	s.reselect(e, job)
	for name, done := range job.done {
		if step, _, ok := job.Procedure.Step(name); ok && !s.completes(done, step) {
			delete(job.done, name)
		}
	}
	return nil
}

// MovedTo is the sheet and the procedure that a job was moved to.
func (s *State) MovedTo(f journal.JobMoved) (*steps.Sheet, *steps.Procedure) {
	return s.docs.Sheets[f.Sheet], s.docs.Procedures[f.Procedure]
}

// completes reports whether a step that was completed is still complete as it is
// written now: it is of the kind that it was, by the entry that this kind takes,
// and what was confirmed is what must be.
func (s *State) completes(done completion, step steps.Step) bool {
	facts := s.Entries[done.position].Facts
	if done.kind != step.Kind || facts.Kind() != s.kinds[step.Kind].completed {
		return false
	}
	cleared, ok := facts.(journal.HoldCleared)
	return !ok || lists.Equal(cleared.Lines, step.Confirm)
}

// rename has steps that are called otherwise now stay done.
func (j *Job) rename(before *steps.Procedure) {
	for _, step := range j.Procedure.Steps() {
		_, method := j.methodOf(*step)
		delete(j.methods, step.Was)
		if delete(j.methods, step.Name); method != "" {
			j.methods[step.Name] = method
		}
		if !goesOn(before, *step) {
			continue
		}
		if j.called == nil {
			j.called = map[string]string{}
		}
		j.called[step.Was] = step.Name
		for was, is := range j.called { // by a move before
			if is == step.Was {
				j.called[was] = step.Name
			}
		}
		if done, ok := j.done[step.Was]; ok {
			j.done[step.Name] = done
			delete(j.done, step.Was)
		}
		if b, ok := j.begun[step.Was]; ok {
			j.begun[step.Name] = b
			delete(j.begun, step.Was)
		}
		for _, joint := range j.joints[step.Joint] {
			for _, coats := range [2]map[string]bond.Coat{joint.coats, joint.lapsed} {
				if coat, ok := coats[step.Was]; ok {
					coats[step.Name] = coat
					delete(coats, step.Was)
				}
			}
		}
	}
}

// StepOf is what the step of the work is called now: its job may have been moved
// to a procedure that calls it otherwise.
func (s *State) StepOf(w journal.Work) string {
	if job, err := s.Job(w.Job); err == nil && job.called[w.Step] != "" {
		return job.called[w.Step]
	}
	return w.Step
}

// goesOn reports whether the step is one of the procedure before, under another
// name: of the same kind, at the same joint.
func goesOn(before *steps.Procedure, step steps.Step) bool {
	if step.Was == "" {
		return false
	}
	if _, _, both := before.Step(step.Name); both {
		return false
	}
	was, _, ok := before.Step(step.Was)
	return ok && was.Kind == step.Kind && was.Joint == step.Joint
}

// A Change is one difference that moving a job would make, in words.
type Change struct {
	What Cause
	// Reopens says that work that counts now would no longer count.
	Reopens bool
	Job     string // another job that moves along, if it is one of that

	// What says something else, as it was and as it is; nil if it is none of these.
	Step  *[2]steps.Step
	Gate  *[2]steps.Gate // the first is empty if the gate is new
	Sheet *[2]*steps.Sheet
}

// Changes says what moving the job would change at the time: what newer revisions
// say of themselves, steps added, dropped and changed, limits that differ, and
// gates whose standing would change.
func (s *State) Changes(r MoveJob, at time.Time) ([]Change, error) {
	facts, err := r.decide(s, Circumstances{Now: at, At: at})
	if err != nil {
		return nil, err
	}
	changes := SheetChanges(s.Sheet, r.Sheet, r.SheetDigest != s.SheetDigest)
	docs := Documents{Sheets: maps.Clone(s.docs.Sheets), Procedures: maps.Clone(s.docs.Procedures)}
	docs.Sheets[r.SheetDigest] = r.Sheet
	for _, m := range append([]MovedJob{{r.Job, r.Procedure, r.Digest}}, r.Others...) {
		job, err := s.Job(m.Job)
		if err != nil {
			return nil, err
		}
		docs.Procedures[m.Digest] = m.Procedure
		moved := m.Procedure.For(s.movedTo(r.Sheet, m.Procedure, job), job.Zone)
		of := revisionChanges("procedure", job.Procedure.Revision, moved.Revision, moved.Changes, m.Digest != job.Digest)
		of = append(of, s.stepChanges(job, moved)...)
		if m.Job != r.Job {
			of = append([]Change{{What: Cause{Text: "it moves too, since the sheet is that of the airframe"}}}, of...)
			for i := range of {
				of[i].Job = m.Job
			}
		}
		changes = append(changes, of...)
	}
	after, err := Replay(append(s.Entries[:len(s.Entries):len(s.Entries)], s.entries(facts, Circumstances{Now: at, At: at})...), docs)
	if err != nil {
		return nil, err
	}
	for _, g := range s.Gates(at) {
		then, err := after.GateReport(g.Gate.Name, at)
		if err == nil && then.Standing != g.Standing {
			changes = append(changes, Change{What: then.Says().after(fmt.Sprintf("gate %s: %s now, then ", g.Gate.Name, g.Standing.Words())), Reopens: g.Met() && !then.Met()})
		}
	}
	return changes, nil
}

// revisionChanges are what the newer document says of its revisions since, and
// whether it is newer at all.
func revisionChanges(what string, from, to int, of []steps.Change, other bool) []Change {
	var changes []Change
	say := func(format string, args ...any) {
		changes = append(changes, Change{What: Cause{Text: fmt.Sprintf(format, args...)}})
	}
	switch {
	case to < from:
		say("the %s goes back from revision %d to revision %d", what, from, to)
	case to == from && other:
		say("the %s says something else, and its revision is %d as before", what, to)
	}
	for _, c := range of {
		if c.Revision > from && c.Revision <= to {
			say("revision %d of the %s: %s", c.Revision, what, c.Text)
		}
	}
	return changes
}

// stepChanges are what the moved procedure changes in the steps of the job.
func (s *State) stepChanges(job *Job, moved *steps.Procedure) []Change {
	var changes []Change
	gone := map[string]bool{}
	for _, step := range job.Procedure.Steps() {
		gone[step.Name] = true
	}
	for _, step := range moved.Steps() {
		have, from, known := job.Procedure.Step(step.Name)
		renamed := goesOn(job.Procedure, *step)
		if renamed {
			have, from, known = job.Procedure.Step(step.Was)
		}
		delete(gone, have.Name)
		if !known {
			changes = append(changes, Change{What: Cause{Text: fmt.Sprintf("step %s is new: %s", step.Name, step.Label())}})
			continue
		}
		_, to, _ := moved.Step(step.Name)
		var words []string
		if renamed {
			words = append(words, "is called "+step.Name+" now")
		}
		if from.Name != to.Name {
			words = append(words, "is in stage "+to.Name+" now, not in "+from.Name)
		}
		alike := have
		alike.Name, alike.Was = step.Name, step.Was
		c := Change{}
		if !alike.Alike(*step) {
			c.Step = &[2]steps.Step{have, *step}
			if !renamed {
				words = append(words, "says something else")
			}
		}
		if len(words) == 0 {
			continue
		}
		if m, done := job.done[have.Name]; done {
			if c.Reopens = !s.completes(m, *step); c.Reopens {
				words = append(words, "and must be done again")
			} else {
				words = append(words, "and stays done")
			}
		}
		c.What.Text = "step " + have.Name + " " + strings.Join(words, ", ")
		changes = append(changes, c)
	}
	for _, step := range job.Procedure.Steps() {
		if gone[step.Name] {
			changes = append(changes, Change{What: Cause{Text: fmt.Sprintf("step %s is dropped", step.Name)}})
		}
	}
	for _, stage := range moved.Stages {
		if have, ok := job.Procedure.Stage(stage.Name); ok && !lists.Equal(have.After, stage.After) {
			changes = append(changes, Change{What: Cause{Text: fmt.Sprintf("stage %s comes after %s now, not after %s", stage.Name, orNothing(stage.After), orNothing(have.After))}})
		}
	}
	return changes
}

func orNothing(stages []string) string {
	if len(stages) == 0 {
		return "nothing"
	}
	return strings.Join(stages, ", ")
}

// SheetChanges says what another design sheet changes. other says that it is
// another one at all.
func SheetChanges(from, to *steps.Sheet, other bool) []Change {
	if !other {
		return nil
	}
	changes := revisionChanges("design sheet", from.Revision, to.Revision, to.Changes, true)
	was, is := *from, *to
	for _, s := range []*steps.Sheet{&was, &is} {
		s.Gates, s.Changes, s.Revision = nil, nil, 0
	}
	if !reflect.DeepEqual(was, is) {
		changes = append(changes, Change{What: Cause{Text: "the design sheet says something else"}, Sheet: &[2]*steps.Sheet{&was, &is}})
	}
	for _, g := range to.Gates {
		have, ok := from.Gate(g.Name)
		switch {
		case !ok:
			changes = append(changes, Change{What: Cause{Text: "gate " + g.Name + " is new"}, Gate: &[2]steps.Gate{{}, g}})
		case !reflect.DeepEqual(have, g):
			changes = append(changes, Change{What: Cause{Text: "gate " + g.Name + " says something else"}, Gate: &[2]steps.Gate{have, g}})
		}
	}
	for _, g := range from.Gates {
		if _, ok := to.Gate(g.Name); !ok {
			changes = append(changes, Change{What: Cause{Text: "gate " + g.Name + " is dropped"}})
		}
	}
	return changes
}
