package workflow

import (
	"fmt"
	"slices"
	"time"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/workflow/journal"
	"fettle/workflow/repair"
)

// Amend puts another plan in the place of an open repair's, because more damage was
// found, or some was taken back.
type Amend struct {
	Job       string
	Procedure *steps.Procedure
	Digest    string
	Damages   []string // all that it repairs
	Found     []string // those that it did not repair before
	Reopens   []string // the steps that are done again, as the plan has it
	Kept      int      // how many stay done
	// For and WasFor have the damages that each step of it, and of the plan before, is
	// there for.
	For, WasFor map[string][]string
}

func (r Amend) decide(s *State, c Circumstances) ([]journal.Facts, error) {
	job, err := s.Job(r.Job)
	if err != nil {
		return nil, err
	}
	if !s.Open(job, c.At) {
		return nil, refuse(r.Job, ByState, "it is complete; damage found since has a repair of its own", s.remedy(Remedy{Kind: ToPlanRepair}))
	}
	if r.Digest == job.Digest {
		return nil, refuse(r.Job, ByState, "it already goes by this plan", s.remedy(Remedy{Kind: ToSeeNext}))
	}
	for _, name := range job.Damages { // amended meanwhile, by somebody else
		if _, err := s.Damage(name); err == nil && !lists.Contains(r.Damages, name) {
			return nil, refuse(r.Job, ByState, "it repairs damage "+name+" too, which this plan does not know", s.remedy(Remedy{Kind: ToPlanRepair}))
		}
	}
	for _, name := range job.Damages { // what is cut or parted is joined again, whatever was taken back
		if step := s.workedFor(job, s.everFound(name).DamageFound); step != "" && !lists.Contains(r.Damages, name) {
			return nil, refuse(r.Job, ByState, fmt.Sprintf("%s is done, which works on damage %s: this plan leaves its repair out", step, name), s.remedy(Remedy{Kind: ToPlanRepair}))
		}
	}
	for _, name := range r.Damages {
		d, err := s.Damage(name)
		if err != nil && lists.Contains(job.Damages, name) {
			continue // it was taken back after work on it
		}
		if err != nil {
			return nil, err
		}
		if _, by := s.Repaired(d, c.At); by != "" && by != r.Job {
			return nil, refuse(r.Job, ByState, fmt.Sprintf("damage %s has a repair already, job %s", name, by), Remedy{})
		}
		if c.At.Before(d.At) && !lists.Contains(job.Damages, name) {
			return nil, &Refusal{What: r.Job, Reasons: []Reason{{Because: ByOrder, Text: fmt.Sprintf("it cannot be amended before damage %s was found", name), At: d.At}}}
		}
	}
	if c.At.Before(job.Opened) {
		return nil, &Refusal{What: r.Job, Reasons: []Reason{{Because: ByOrder, Text: "it cannot be amended before it was opened", At: job.Opened}}}
	}
	return []journal.Facts{journal.JobAmended{Job: r.Job, Procedure: r.Digest, Sheet: s.SheetDigest, Damages: r.Damages, Reopens: s.reopens(job, r, c.At)}}, nil
}

// reopens are the steps of the job that the amendment opens again at the time.
func (s *State) reopens(job *Job, r Amend, at time.Time) []string {
	a := repair.Amendment{Was: job.written, Is: r.Procedure, WasFor: r.WasFor, IsFor: r.For,
		Done:  func(step string) bool { _, done := job.done[step]; return done },
		Holds: func(set steps.Setting) bool { return s.Holds(set.Condition, at) == set.State },
	}
	var found []string
	for _, name := range r.Found {
		if d, err := s.Damage(name); err == nil {
			found = append(found, d.Zone)
		}
	}
	for _, name := range job.Damages {
		if d, err := s.Damage(name); err == nil && s.mayHaveMoved(d.Zone, found) {
			a.Moved = append(a.Moved, name)
		}
	}
	return a.Reopens()
}

// amend applies a JobAmended. What was done and still holds stays done.
func (s *State) amend(e journal.Entry) error {
	f := e.Facts.(journal.JobAmended)
	job, err := s.Job(f.Job)
	if err != nil {
		return err
	}
	before := job.written
	for _, name := range f.Reopens { // what is looked at again is decided again
		delete(job.methods, name)
	}
	moved := e
	moved.Facts = journal.JobMoved{Job: f.Job, Procedure: f.Procedure, Sheet: f.Sheet}
	if err := s.move(moved); err != nil {
		return err
	}
	job.Damages, job.planned = f.Damages, e.Position
	if job.brought == nil {
		job.brought = map[string]moment{}
	}
	by := moment{e.Position, e.At, "since job " + job.ID + " was amended"}
	for _, step := range job.written.Steps() {
		if _, _, known := before.Step(step.Name); !known {
			job.brought[step.Name] = by
		}
	}
	for _, name := range f.Reopens {
		job.reopen(name, by)
	}
	return nil
}

// reopen opens a step of the job again. What it coated or joined counts no more.
func (j *Job) reopen(name string, by moment) {
	delete(j.done, name)
	if j.brought == nil {
		j.brought = map[string]moment{}
	}
	j.brought[name] = by
	step, _, _ := j.Procedure.Step(name)
	joints := j.joints[step.Joint]
	for n, part := range j.Procedure.JointParts(step.Joint) {
		if n < len(joints) && (part.Join == name || lists.Contains(part.Coats, name)) {
			joints[n] = j.fresh(step.Joint, n)
		}
	}
}

// since is when a step of the job could be done at the earliest: the job was opened,
// or amended so that it has the step, or has it open again.
//
//go:noinline
func (j *Job) since(step string) moment {
	if by, ok := j.brought[step]; ok {
		return by
	}
	return moment{j.Position, j.Opened, "since job " + j.ID + " was opened"}
}

// OpenRepair is the repair that is open at the time; nil: none. There may be several
// in a record of older programs: then it is the last.
func (s *State) OpenRepair(at time.Time) *Job {
	for _, j := range slices.Backward(s.Jobs) {
		if len(j.Damages) > 0 && s.Open(j, at) {
			return j
		}
	}
	return nil
}

// brought says why an amendment can't be taken back: steps are done that it, or a
// later one, brought or opened again.
func broughtDone(s *State, e journal.Entry) *Reason {
	amended := e.Facts.(journal.JobAmended)
	back := map[string]bool{}
	for _, p := range append(amendments(s, e), e.Position) {
		for _, name := range s.Entries[p].Facts.(journal.JobAmended).Reopens {
			back[name] = true
		}
	}
	before := s.procedureBefore(amended.Job, e.Position)
	for _, p := range s.workIn(amended.Job) {
		work, _ := journal.WorkOf(s.Entries[p].Facts)
		if _, _, known := before.Step(work.Step); p > e.Position && (!known || back[work.Step]) {
			return &Reason{Because: ByState, Text: work.Step + " is done, which the amendment brought", Remedy: Remedy{Kind: ToTakeBackFirst}}
		}
	}
	return nil
}

// procedureBefore is what a job went by just before the position.
func (s *State) procedureBefore(job string, position int64) *steps.Procedure {
	procedure := &steps.Procedure{}
	for _, e := range s.Entries[:position] {
		if journal.JobOf(e.Facts) == job && s.Live(e.Position) {
			procedure = s.docs.Procedures[journal.NamesOf(e.Facts).Procedure]
		}
	}
	return procedure
}

// amendments are the later amendments of the job that an entry is about, which rest
// on it.
func amendments(s *State, e journal.Entry) []int64 {
	job := journal.JobOf(e.Facts)
	var positions []int64
	for _, later := range s.Entries[e.Position+1:] {
		if f, ok := later.Facts.(journal.JobAmended); ok && f.Job == job && s.Live(later.Position) {
			positions = append(positions, later.Position)
		}
	}
	return positions
}

// mayHaveMoved reports whether damage to one of the zones may have touched another:
// it is the same, rests on it or carries it, near or far. Where no build says what
// rests on what, it may.
func (s *State) mayHaveMoved(zone string, found []string) bool {
	var builds []*steps.Procedure
	for _, j := range s.Builds() {
		builds = append(builds, j.Procedure)
	}
	made := steps.MadeBy(builds...)
	near := append(append(made.Below(zone), made.Above(zone)...), zone)
	return lists.ContainsFunc(found, func(z string) bool { return len(made) == 0 || lists.Contains(near, z) })
}

// amended is the plan in the place of the open repair's, with what was found since; its
// Amends is nil where no repair is open, where nothing changes, and where the work that
// is done there is not found again, as in a plan of an older program.
func (s *State) amended(triage *steps.Triage, find func(name string) (*steps.Procedure, error), found []*Damage, at time.Time) (RepairPlan, error) {
	job := s.OpenRepair(at)
	if job == nil {
		return RepairPlan{}, nil
	}
	var before, now []*Damage
	for _, name := range job.Damages {
		d := s.everFound(name)
		before = append(before, d)
		if _, err := s.Damage(name); err == nil || s.workedFor(job, d.DamageFound) != "" {
			now = append(now, d)
		}
	}
	if len(found) == 0 && len(now) == len(before) {
		return RepairPlan{}, nil
	}
	was, err := s.plan(triage, find, before, at)
	if err != nil || !job.foundAgain(was.Procedure) {
		return RepairPlan{}, nil // then what was found gets a job of its own
	}
	plan, err := s.plan(triage, find, append(now, found...), at)
	if err != nil {
		return RepairPlan{}, err
	}
	plan.Amends = &Amend{Job: job.ID, For: plan.For, WasFor: was.For, Procedure: plan.Procedure}
	for _, a := range plan.Answers {
		plan.Amends.Damages = append(plan.Amends.Damages, a.Damage.Name)
	}
	for _, d := range found {
		plan.Amends.Found = append(plan.Amends.Found, d.Damage)
	}
	plan.Amends.Reopens = s.reopens(job, *plan.Amends, at)
	for _, step := range plan.Procedure.Steps() {
		if _, done := job.done[step.Name]; done && !lists.Contains(plan.Amends.Reopens, step.Name) {
			plan.Amends.Kept++
		}
	}
	return plan, nil
}

// foundAgain reports whether everything that is done in the job is a step of the
// procedure.
//
//go:noinline
func (j *Job) foundAgain(in *steps.Procedure) bool {
	for name := range j.done {
		if _, _, ok := in.Step(name); !ok {
			return false
		}
	}
	return true
}

// everFound is the damage as it was found, whether or not that was taken back since.
// It is not inlined: its copies in all callers would take 2 KB.
//
//go:noinline
func (s *State) everFound(name string) *Damage {
	for _, e := range s.Entries {
		if f, ok := e.Facts.(journal.DamageFound); ok && f.Damage == name {
			return &Damage{DamageFound: f, At: e.At, Position: e.Position}
		}
	}
	return &Damage{DamageFound: journal.DamageFound{Damage: name}}
}
