package workflow

import (
	"fmt"
	"slices"
	"time"

	"fettle/steps"
	"fettle/workflow/journal"
)

// MoveJob moves an open job to newer documents.
type MoveJob struct {
	Job         string
	Procedure   *steps.Procedure
	Digest      string
	Sheet       *steps.Sheet
	SheetDigest string
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
	case r.Procedure.Name != job.Procedure.Name:
		return nil, refuse(r.Job, ByState, fmt.Sprintf("its procedure is %s, not %s", job.Procedure.Name, r.Procedure.Name), Remedy{})
	case r.Sheet.Name != s.Airframe.Design:
		return nil, refuse(r.Job, ByState, fmt.Sprintf("%s is a %s, but the sheet is for %s", s.Airframe.Mark, s.Airframe.Design, r.Sheet.Name), Remedy{})
	}
	return []journal.Facts{journal.JobMoved{Job: r.Job, Procedure: r.Digest, Sheet: r.SheetDigest}}, nil
}

// move applies a JobMoved. A step that was done stays done if what completed it
// completes the step that the new procedure has.
func (s *State) move(f journal.JobMoved, _ journal.Entry) error {
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
	job.Procedure, job.Digest = procedure.For(s.Airframe.Options, job.Zone), f.Procedure
	job.rename(before)
	for name, done := range job.done {
		if step, _, ok := job.Procedure.Step(name); ok && !s.completes(done, step) {
			delete(job.done, name)
		}
	}
	return nil
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
	return !ok || slices.Equal(cleared.Lines, step.Confirm)
}

// rename has steps that are called otherwise now stay done.
func (j *Job) rename(before *steps.Procedure) {
	for _, step := range j.Procedure.Steps() {
		if !goesOn(before, step) {
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
		for _, joint := range j.joints[step.Joint] {
			if coat, ok := joint.coats[step.Was]; ok {
				joint.coats[step.Name] = coat
				delete(joint.coats, step.Was)
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
}

// Changes says what moving the job would change for it at the time: steps
// added, dropped and rewritten, limits that differ, and gates whose standing
// would change.
func (s *State) Changes(r MoveJob, at time.Time) ([]Change, error) {
	if _, err := r.decide(s, Circumstances{Now: at, At: at}); err != nil {
		return nil, err
	}
	job, err := s.Job(r.Job)
	if err != nil {
		return nil, err
	}
	moved := r.Procedure.For(s.Airframe.Options, job.Zone)
	changes := notes("procedure", job.Procedure.Revision, moved.Revision, moved.Changes)
	changes = append(changes, notes("design sheet", s.Sheet.Revision, r.Sheet.Revision, r.Sheet.Changes)...)
	changes = append(changes, s.stepChanges(job, moved)...)
	changes = append(changes, gateChanges(s.Sheet, r.Sheet)...)
	docs := Documents{Sheets: map[string]*steps.Sheet{r.SheetDigest: r.Sheet}, Procedures: map[string]*steps.Procedure{r.Digest: r.Procedure}}
	for digest, sheet := range s.docs.Sheets {
		docs.Sheets[digest] = sheet
	}
	for digest, p := range s.docs.Procedures {
		docs.Procedures[digest] = p
	}
	after, err := Replay(append(s.Entries[:len(s.Entries):len(s.Entries)], s.entries([]journal.Facts{journal.JobMoved{Job: r.Job, Procedure: r.Digest, Sheet: r.SheetDigest}}, Circumstances{Now: at, At: at})...), docs)
	if err != nil {
		return nil, err
	}
	for _, g := range s.Gates(at) {
		then, err := after.GateReport(g.Gate.Name, at)
		if err == nil && then.Standing != g.Standing {
			changes = append(changes, Change{then.Says().after(fmt.Sprintf("gate %s: %s now, then ", g.Gate.Name, g.Standing.Words())), g.Met() && !then.Met()})
		}
	}
	return changes, nil
}

// notes are what the newer document says of its revisions since.
func notes(what string, from, to int, of []steps.Change) []Change {
	var changes []Change
	for _, c := range of {
		if c.Revision > from && c.Revision <= to {
			changes = append(changes, Change{What: Cause{Text: fmt.Sprintf("revision %d of the %s: %s", c.Revision, what, c.Text)}})
		}
	}
	return changes
}

func (s *State) stepChanges(job *Job, moved *steps.Procedure) []Change {
	var changes []Change
	for _, step := range moved.Steps() {
		have, _, ok := job.Procedure.Step(step.Name)
		m, done := job.done[step.Name]
		reopens := done && !s.completes(m, step)
		switch {
		case goesOn(job.Procedure, step):
			word := ""
			m, done := job.done[step.Was]
			reopens := done && !s.completes(m, step)
			switch {
			case reopens:
				word = ", and must be done again"
			case done:
				word = ", and stays done"
			}
			changes = append(changes, Change{Cause{Text: fmt.Sprintf("step %s is called %s now%s", step.Was, step.Name, word)}, reopens})
		case !ok:
			changes = append(changes, Change{Cause{Text: fmt.Sprintf("step %s is new: %s", step.Name, step.Label())}, false})
		case !have.Alike(step):
			word := "is rewritten"
			switch {
			case reopens:
				word = "is rewritten, and must be done again"
			case done:
				word = "is rewritten, and stays done"
			}
			changes = append(changes, Change{Cause{Text: fmt.Sprintf("step %s %s", step.Name, word)}, reopens})
		}
	}
	var renamed []string
	for _, step := range moved.Steps() {
		if goesOn(job.Procedure, step) {
			renamed = append(renamed, step.Was)
		}
	}
	for _, step := range job.Procedure.Steps() {
		if _, _, ok := moved.Step(step.Name); !ok && !slices.Contains(renamed, step.Name) {
			changes = append(changes, Change{Cause{Text: fmt.Sprintf("step %s is dropped", step.Name)}, false})
		}
	}
	return changes
}

func gateChanges(from, to *steps.Sheet) []Change {
	var changes []Change
	say := func(format string, args ...any) {
		changes = append(changes, Change{What: Cause{Text: fmt.Sprintf(format, args...)}})
	}
	for _, g := range to.Gates {
		have, ok := from.Gate(g.Name)
		switch {
		case !ok:
			say("gate %s is new", g.Name)
		case !sameLimits(have, g):
			say("gate %s has other limits", g.Name)
		case have.Critical != g.Critical || have.Gauge != g.Gauge || have.Work != g.Work || !slices.Equal(have.Of, g.Of):
			say("gate %s differs in its gauge, its zones or in being critical", g.Name)
		}
	}
	for _, g := range from.Gates {
		if _, ok := to.Gate(g.Name); !ok {
			say("gate %s is dropped", g.Name)
		}
	}
	return changes
}

func sameLimits(a, b steps.Gate) bool {
	return a.Limits.Low.Equal(b.Limits.Low) && a.Limits.High.Equal(b.Limits.High) && a.Limits.Alike.Equal(b.Limits.Alike) &&
		slices.Equal(a.Points, b.Points) && a.Repeat == b.Repeat &&
		a.Result.Function == b.Result.Function && slices.Equal(a.Result.Of, b.Result.Of) && a.Result.Run.Equal(b.Result.Run)
}
