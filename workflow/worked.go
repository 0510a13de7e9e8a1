package workflow

import (
	"time"

	"fettle/steps"
	"fettle/workflow/journal"
)

// WorkDone is what one journal says of the steps that were done, and of who was at the bench
// when. It is small beside the state that it was made of.
type WorkDone struct {
	Mark   string
	Steps  []*StepRecord
	visits []*visit
}

// A StepRecord is what one journal says of one step of a procedure, in whichever of its jobs.
type StepRecord struct {
	Procedure *steps.Procedure // as it was then, with all its steps
	Step      *steps.Step
	Done      []*StepTime // each time that it was done and that stands, in the order of entry
	Trouble
}

// Trouble is how often what went wrong at a step.
type Trouble struct {
	Lapsed    int // coats that were not joined in time
	Failed    int // times that a gate came out of tolerance
	Undecided int // times that a gate was left undecided
	Reworked  int
	TakenBack int // undos of one of its entries
}

// Sum is all of it.
//
//go:noinline
func (t Trouble) Sum() int { return t.Lapsed + t.Failed + t.Undecided + t.Reworked + t.TakenBack }

func (t *Trouble) add(other Trouble) {
	t.Lapsed, t.Failed, t.Undecided = t.Lapsed+other.Lapsed, t.Failed+other.Failed, t.Undecided+other.Undecided
	t.Reworked, t.TakenBack = t.Reworked+other.Reworked, t.TakenBack+other.TakenBack
}

// A StepTime is one time that a step was done, and how long that took, if it can be known.
type StepTime struct {
	Mark, Job, By string
	At            time.Time
	Took          time.Duration // attended; nothing where Untimed says why it is not known
	Untimed       Untimed
}

// A visit is one entry, as it tells when a person was at the bench.
type visit struct {
	by           string
	at, recorded time.Time
	mark, job    string
	position     int64
	record       *StepRecord // of the step that it belongs to; nil: none
	done         *StepTime   // it completes that step
	opened       time.Time   // and this is when the last of the clocks ran out that the step may have waited for
	began        time.Time   // when a coat was begun, if it says that
	unclear      bool        // the person was there, and it does not tell what ended with it
}

// of reports whether both belong to the same step of the same job.
func (v *visit) of(other *visit) bool {
	return v.record != nil && v.record == other.record && v.job == other.job
}

// WorkDone gathers what the journal says of the steps that were done.
func (s *State) WorkDone(at time.Time) (WorkDone, error) {
	record, err := s.Record(at)
	if err != nil {
		return WorkDone{}, err
	}
	joined := map[int64]*Joint{}
	for i := range record.Joints {
		joined[record.Joints[i].Position] = &record.Joints[i].Joint
	}
	g := s.gathered(joined, 0)
	for _, j := range record.Judgements {
		if r := g.owner[j.Entries[0]]; r != nil && j.Report.Standing == Failed {
			r.Failed++
		} else if r != nil && j.Report.Standing == Undecided {
			r.Undecided++
		}
	}
	for _, j := range s.joints() {
		if coats, _ := s.MadeBy(j); j.Lapsed(at) {
			for _, name := range coats {
				if r := g.record(j.Job, name); r != nil && j.coatedBy(name) {
					r.Lapsed++
				}
			}
		}
	}
	return WorkDone{s.Airframe.Mark, g.found, g.visits}, nil
}

// gathered goes through the journal from an entry on, with the joints by the entries that joined them.
func (s *State) gathered(joined map[int64]*Joint, from int) *gathering {
	g := &gathering{
		state: s, procedures: map[string]*steps.Procedure{}, records: map[*steps.Procedure]map[string]*StepRecord{}, owner: map[int64]*StepRecord{},
		joined: joined, made: map[[2]string]*jointMade{}, last: map[[2]string]time.Time{}, waited: map[string]time.Time{},
	}
	for i, e := range s.Entries {
		if g.opens(e); i >= from {
			g.entry(e)
		}
	}
	return g
}

// lately is how many entries of a journal tell the pace of somebody who is at the bench now: more would be waited for.
const lately = 100

// pace is that of whoever sits here, as plans go by it, but found in what was recorded last in the journals that are at hand, without
// folding any once more: a step whose joint was coated again since is not timed.
func (s *State) pace() OwnPace {
	if s.memo == nil || s.seat.By == "" {
		return PaceOf(nil, "")
	}
	s.memo.timed.Do(func() {
		var all []WorkDone
		for _, of := range append(s.others[:len(s.others):len(s.others)], s) {
			at := map[time.Time][]*Joint{}
			for _, j := range of.everyJoint() {
				at[j.Joined] = append(at[j.Joined], j)
			}
			joined := map[int64]*Joint{}
			for _, e := range of.Entries[max(0, len(of.Entries)-lately):] {
				for _, j := range at[e.At] {
					if f, is := e.Facts.(journal.Joined); is && f.Job == j.Job && f.Joint == j.Name {
						joined[e.Position] = j
					}
				}
			}
			g := of.gathered(joined, len(of.Entries)-lately)
			all = append(all, WorkDone{of.Airframe.Mark, g.found, g.visits})
		}
		Timed(all)
		s.memo.pace = PaceOf(all, s.seat.By)
	})
	return s.memo.pace
}

// A gathering goes through a journal once.
type gathering struct {
	state      *State
	procedures map[string]*steps.Procedure // by job, the one that it goes by there
	records    map[*steps.Procedure]map[string]*StepRecord
	found      []*StepRecord
	visits     []*visit
	owner      map[int64]*StepRecord    // by entry
	joined     map[int64]*Joint         // by the entry that joined it
	made       map[[2]string]*jointMade // by job and joint
	last       map[[2]string]time.Time  // by job and step, when it was done last
	waited     map[string]time.Time     // by job, when the last of its waits was over
	handles    time.Time                // when the last of all joints may be handled
	newest     time.Time                // the latest time that anything was recorded
}

// jointMade is how far a joint is.
type jointMade struct {
	on             map[string]bool // the steps of which the coat is on, and was not joined
	handles, cures time.Time
}

// record is that of a step of a job; nil: there is no such step.
func (g *gathering) record(job, name string) *StepRecord {
	p := g.procedures[job]
	if p == nil {
		return nil
	}
	all, known := g.records[p]
	if !known {
		all = map[string]*StepRecord{}
		for _, step := range p.Steps() {
			all[step.Name] = &StepRecord{Procedure: p, Step: step}
			g.found = append(g.found, all[step.Name])
		}
		g.records[p] = all
	}
	return all[name]
}

// opens takes an entry that opens a job.
func (g *gathering) opens(e journal.Entry) {
	if named := journal.NamesOf(e.Facts).Procedure; named != "" && g.state.Live(e.Position) {
		g.procedures[journal.JobOf(e.Facts)] = g.state.docs.Procedures[named]
	}
}

func (g *gathering) entry(e journal.Entry) {
	live := g.state.Live(e.Position)
	v := &visit{by: e.By, at: e.At, recorded: e.Recorded, mark: g.state.Airframe.Mark, position: e.Position}
	v.unclear = !live || e.Recorded.Before(g.newest) // by a clock that had gone back
	g.newest = latest(g.newest, e.Recorded)
	aside := g.state.effects[e.Facts.Kind()].aside
	work, _ := journal.WorkOf(e.Facts)
	v.job = work.Job
	step := work.Step
	switch f := e.Facts.(type) {
	case journal.Begun:
		v.job, step = f.Job, f.Step
		for _, began := range []*time.Time{f.Mixed, f.Began} {
			if began != nil && (v.began.IsZero() || began.Before(v.began)) {
				v.began = *began
			}
		}
	case journal.ReadingTaken:
		v.job, step = g.state.measuredFor(e.Position, f.Gate)
	case journal.Reworked:
		v.job, step = g.state.measuredFor(e.Position, f.Gate)
		v.unclear = true // it is not the time of its step
	case journal.TouchTested:
		aside, v.unclear = f.Ready, true // what was found wet is waited for
	case journal.Witnessed:
		aside, v.by = f.Who == "", f.Who
	case journal.Undone:
		v.unclear = true
		for _, p := range f.TakesBack { // those after the first rest on it
			if r := g.owner[p]; r != nil {
				r.TakenBack++
				break
			}
		}
	}
	if v.record = g.record(v.job, step); v.record != nil {
		g.owner[e.Position] = v.record
		if live {
			g.work(e, v)
		}
		aside = aside || v.record.Step.Kind.Traits().Passes // which is entered with what comes after it
	}
	if !aside {
		g.visits = append(g.visits, v)
	}
}

// work takes an entry that stands and belongs to a step.
func (g *gathering) work(e journal.Entry, v *visit) {
	r, step := v.record, v.record.Step
	does := step.Kind.Traits()
	joint := g.made[[2]string{v.job, step.Joint}]
	if joint == nil {
		joint = &jointMade{on: map[string]bool{}}
		g.made[[2]string{v.job, step.Joint}] = joint
	}
	v.opened = g.waited[v.job]
	opened := v.opened
	switch e.Facts.(type) {
	case journal.Reworked:
		r.Reworked++
	case journal.Coated:
		if joint.on[step.Name] {
			r.Lapsed++
			v.opened = latest(v.opened, e.At) // the coat's own clock ran out meanwhile: nobody knows how long hands were on it
		}
		joint.on[step.Name] = true
	case journal.Joined:
		v.opened = e.At
		if j := g.joined[e.Position]; j != nil {
			v.opened = latest(opened, j.Window().Opens)
			joint.handles, joint.cures = j.Handles(), j.Cures()
			g.handles = latest(g.handles, joint.handles)
		}
		clear(joint.on)
	}
	if _, is := journal.WorkOf(e.Facts); !is || g.state.kinds[step.Kind].completed != e.Facts.Kind() {
		return
	}
	switch {
	case does.Passes:
		g.waited[v.job] = latest(g.waited[v.job], g.waitOver(v, joint, e.At))
	case does.Measures:
		v.opened = latest(v.opened, g.handles)
	}
	g.last[[2]string{v.job, step.Name}] = e.At
	v.done = &StepTime{Mark: v.mark, Job: v.job, By: e.By, At: e.At, Untimed: Unattended}
	r.Done = append(r.Done, v.done)
}

// waitOver is when a wait was over that was entered at the time, or the time where that is not
// known.
func (g *gathering) waitOver(v *visit, joint *jointMade, at time.Time) time.Time {
	wait := v.record.Step
	switch {
	case wait.Joint != "" && wait.Until == steps.UntilHandling && !joint.handles.IsZero():
		return joint.handles
	case wait.Joint != "" && wait.Until == steps.UntilCure && !joint.cures.IsZero():
		return joint.cures
	case wait.Joint != "":
		return at
	}
	from := wait.From
	if _, stage, _ := v.record.Procedure.Step(wait.Name); from == "" {
		for i := range stage.Steps {
			if i > 0 && stage.Steps[i].Name == wait.Name {
				from = stage.Steps[i-1].Name
			}
		}
	}
	lasts, err := wait.For.Duration()
	if began, known := g.last[[2]string{v.job, from}]; known && err == nil {
		return began.Add(lasts)
	}
	return at
}
