package workflow

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/sorting"
	"fettle/workflow/journal"
)

// Undo takes an entry back, and with it every entry that depends on it.
type Undo struct {
	Position int64
	Reason   string
}

// Few is how many entries, none of them a release, are taken back without a reason.
const Few = 5

// TakesMuchError says that an undo would take back a release, or more than a few
// entries, and that nobody said why. It is a bad request.
type TakesMuchError struct {
	Position  int64
	TakesBack []int64
}

func (e *TakesMuchError) Error() string {
	return fmt.Sprintf("say why entry %d is taken back, and %d that depend on it", e.Position, len(e.TakesBack)-1)
}

func (*TakesMuchError) Unwrap() error { return ErrBadRequest }

// takesMuch reports whether entries beside the one that is named go with it, and a
// release is among them or they are more than a few.
//
//go:noinline
func (s *State) takesMuch(positions []int64) bool {
	return len(positions) > Few || len(positions) > 1 && slices.ContainsFunc(positions, func(p int64) bool {
		_, release := s.Entries[p].Facts.(journal.Released)
		return release
	})
}

// ofAnother is the first of the entries that somebody else made; the zero entry: none is.
func (s *State) ofAnother(positions []int64, by string) journal.Entry {
	for _, p := range positions {
		if e := s.Entries[p]; !strings.EqualFold(e.By, by) {
			return e
		}
	}
	return journal.Entry{}
}

func (r Undo) decide(s *State, c Circumstances) ([]journal.Facts, error) {
	what := fmt.Sprintf("taking back entry %d", r.Position)
	if r.Position < 0 || r.Position >= s.Size() {
		return nil, UnknownEntry(r.Position)
	}
	if by, gone := s.undone[r.Position]; gone {
		return nil, refuse(what, ByState, fmt.Sprintf("entry %d already took it back", by), Remedy{})
	}
	e := s.Entries[r.Position]
	if final := s.effects[e.Facts.Kind()].final; final != nil {
		if reason := final(s, e); reason != nil {
			return nil, &Refusal{What: what, Reasons: []Reason{*reason}}
		}
	}
	if reason := s.datedBack("an undo", c); reason != nil {
		return nil, &Refusal{What: what, Reasons: []Reason{*reason}}
	}
	back := map[int64]bool{}
	s.takeBack(r.Position, back)
	var positions []int64
	for p := range back {
		positions = append(positions, p)
	}
	sorting.Positions(positions)
	undone := []journal.Facts{journal.Undone{TakesBack: positions, Reason: strings.TrimSpace(r.Reason)}}
	if f, ok := e.Facts.(journal.DamageFound); ok {
		if strings.TrimSpace(r.Reason) == "" {
			return nil, &BadRequestError{Text: "say why the damage is taken back", Remedy: s.remedy(Remedy{Kind: ToGiveReason, Entry: r.Position})}
		}
		if reason := s.workedOn(f, c.At); reason != nil {
			return nil, &Refusal{What: what, Reasons: []Reason{*reason}}
		}
		undone = append(undone, s.lookOver(f, strings.TrimSpace(r.Reason)))
	}
	if f, ok := e.Facts.(journal.FlightLogged); ok && f.Check != "" && strings.TrimSpace(r.Reason) == "" {
		return nil, &BadRequestError{Text: "say why the flight is taken back; " + f.Check + " stays due", Remedy: s.remedy(Remedy{Kind: ToGiveReason, Entry: r.Position})}
	}
	if other := s.ofAnother(positions, c.By); other.By != "" && strings.TrimSpace(r.Reason) == "" {
		return nil, &BadRequestError{Text: fmt.Sprintf("entry %d is by %s, who may rely on it: say why it is taken back", other.Position, other.By),
			Remedy: s.remedy(Remedy{Kind: ToGiveReason, Entry: r.Position})}
	}
	if much := s.takesMuch(positions); much && strings.TrimSpace(r.Reason) == "" {
		return nil, &TakesMuchError{Position: r.Position, TakesBack: positions}
	}
	// A journal that can no longer be replayed could never be corrected.
	if _, err := s.then(undone, c); err != nil {
		return nil, refuse(what, ByState, fmt.Sprintf("later entries depend on it (%v)", err), Remedy{Kind: ToTakeBackFirst})
	}
	return undone, nil
}

// workedOn says why damage can't be taken back: its repair has worked on the part, and what
// that cut or parted must be joined again. Made safe and looked at, it can.
func (s *State) workedOn(f journal.DamageFound, at time.Time) *Reason {
	for _, j := range s.Jobs {
		if !lists.Contains(j.Damages, f.Damage) || !s.Open(j, at) {
			continue
		}
		if step := s.workedFor(j, f); step != "" {
			if e, ok := s.amendedFor(j, f.Damage); ok && broughtDone(s, e) == nil {
				return &Reason{Because: ByState, Text: fmt.Sprintf("job %s was amended for it, and nothing of that is done yet", j.ID),
					Remedy: s.remedy(Remedy{Kind: ToTakeBack, Entry: e.Position})}
			}
			return &Reason{Because: ByState, Text: fmt.Sprintf("%s of job %s is done, which works on what is damaged: that repair is finished, and not taken back", step, j.ID),
				Remedy: s.remedy(Remedy{Kind: ToFinish, Name: j.ID})}
		}
	}
	return nil
}

// amendedFor is the amendment that brought the damage into the job; false: the job was
// opened for it.
func (s *State) amendedFor(j *Job, damage string) (journal.Entry, bool) {
	i := slices.IndexFunc(s.Entries, func(e journal.Entry) bool {
		f, ok := e.Facts.(journal.JobAmended)
		return ok && f.Job == j.ID && s.Live(e.Position) && lists.Contains(f.Damages, damage)
	})
	opened, _ := s.Entries[j.Position].Facts.(journal.JobOpened)
	if i < 0 || lists.Contains(opened.Damages, damage) {
		return journal.Entry{}, false
	}
	return s.Entries[i], true
}

// workedFor is a step of the job that is done and works on the zone of the damage, or on
// what is thrown away with that; "": none does.
func (s *State) workedFor(j *Job, f journal.DamageFound) string {
	zones := []string{f.Zone}
	for _, step := range j.Procedure.Steps() {
		if lists.Contains(step.Retires, f.Zone) {
			zones = append(zones, step.Retires...)
		}
	}
	for _, p := range s.workIn(j.ID) {
		work, _ := journal.WorkOf(s.Entries[p].Facts)
		step, stage, _ := j.Procedure.Step(s.StepOf(work))
		if stage.Phase != steps.Safe && meets(append(j.worksOn(&step), work.Disturbs...), zones) {
			return s.StepOf(work)
		}
	}
	return ""
}

// meets reports whether some zones are among others.
//
//go:noinline
func meets(zones, others []string) bool {
	return lists.ContainsFunc(zones, func(z string) bool { return lists.Contains(others, z) })
}

// lookOver is what damage that is taken back leaves: somebody looks at the place
// before the next release, since somebody saw something there.
func (s *State) lookOver(f journal.DamageFound, reason string) journal.DamageFound {
	return journal.DamageFound{Damage: fmt.Sprintf("D%d", s.damagesEver()+1), Finding: f.Finding, Zone: f.Zone, Severity: steps.Cosmetic, Place: f.Place, Thing: f.Thing,
		As: f.As, Tables: f.Tables, For: f.Damage, Note: fmt.Sprintf("%s was taken back: %s", f.Damage, reason)}
}

// leftByUndo says that the look-over of damage that was taken back can't be taken
// back itself.
func leftByUndo(_ *State, e journal.Entry) *Reason {
	d := e.Facts.(journal.DamageFound)
	if d.For == "" {
		return nil
	}
	return &Reason{Because: ByState, Text: fmt.Sprintf("it is the look-over that %s left when it was taken back, and is done, not taken back", d.For), Remedy: Remedy{Kind: ToPlanRepair}}
}

// always is the reason of what can never be taken back.
func always(text string, remedy RemedyKind) func(*State, journal.Entry) *Reason {
	return func(*State, journal.Entry) *Reason {
		return &Reason{Because: ByState, Text: text, Remedy: Remedy{Kind: remedy}}
	}
}

// begun says that a job of which steps are done can't be taken back.
func begun(s *State, e journal.Entry) *Reason {
	job := e.Facts.(journal.JobOpened).Job
	if len(s.workIn(job)) == 0 {
		return nil
	}
	return &Reason{Because: ByState, Text: "steps of job " + job + " are done", Remedy: Remedy{Kind: ToTakeBackFirst}}
}

// nothing is taken back with it.
func nothing(*State, journal.Entry) []int64 { return nil }

// takeBack collects the entry and all that depends on it.
func (s *State) takeBack(position int64, back map[int64]bool) {
	if back[position] || !s.Live(position) {
		return
	}
	back[position] = true
	entry := s.Entries[position]
	effect := s.effects[entry.Facts.Kind()]
	if effect.aside {
		return
	}
	// Every later release: with only the last gone, the one before it would stand again.
	for _, e := range s.Entries[position+1:] {
		if _, ok := e.Facts.(journal.Released); ok {
			s.takeBack(e.Position, back)
		}
	}
	for _, p := range effect.carries(s, entry) {
		s.takeBack(p, back)
	}
}

// stepsAfter returns the entries of the steps that come after the work's step:
// in its stage, and in every stage after that; none where it is of no job.
func stepsAfter(s *State, e journal.Entry) []int64 {
	work, _ := journal.WorkOf(e.Facts)
	job, err := s.Job(work.Job)
	if err != nil {
		return s.reworkOf(e)
	}
	name := s.StepOf(work)
	_, stage, ok := job.Procedure.Step(name)
	if !ok {
		return nil
	}
	later := map[string]bool{}
	passed := false
	for _, step := range stage.Steps {
		if passed {
			later[step.Name] = true
		}
		passed = passed || step.Name == name
	}
	for _, other := range job.Procedure.Stages {
		if !lists.Contains(job.Procedure.Before(other.Name), stage.Name) {
			continue
		}
		for _, step := range other.Steps {
			later[step.Name] = true
		}
	}
	positions := s.joinedBy(e)
	if _, ok := s.WitnessOf(e.Position); ok {
		positions = append(positions, e.Position-1)
	}
	positions = append(positions, s.fittedBy(e)...)
	if _, ok := s.RetiredBy(e.Position); ok {
		positions = append(positions, e.Position+1)
	}
	_, coat := e.Facts.(journal.Coated)
	for _, p := range s.workIn(work.Job) {
		if coat && p < e.Position { // done by an earlier coat, which this one replaced
			continue
		}
		if w, _ := journal.WorkOf(s.Entries[p].Facts); later[s.StepOf(w)] {
			positions = append(positions, p)
		}
	}
	return positions
}

// joinedBy returns the entry that joins what the coat of a glue step spread, if
// there is one.
func (s *State) joinedBy(coat journal.Entry) []int64 {
	of, ok := coat.Facts.(journal.Coated)
	if !ok {
		return nil
	}
	for _, e := range s.Entries[coat.Position+1:] {
		if w, ok := journal.WorkOf(e.Facts); !ok || !s.Live(e.Position) || w.Job != of.Job || s.StepOf(w) != s.StepOf(of.Work) {
			continue
		}
		if _, joined := e.Facts.(journal.Joined); joined {
			return []int64{e.Position}
		}
		return nil // coated again
	}
	return nil
}

// aboutJob returns the live entries about a job that complete none of its steps.
func aboutJob(s *State, opened journal.Entry) []int64 {
	job := opened.Facts.(journal.JobOpened).Job
	var positions []int64
	for _, e := range s.Entries {
		touched, _ := e.Facts.(journal.TouchTested)
		changed := e.Position > opened.Position && journal.JobOf(e.Facts) == job
		if (touched.Job == job || changed) && s.Live(e.Position) {
			positions = append(positions, e.Position)
		}
	}
	return positions
}

// workIn returns the live entries that complete steps of the job.
func (s *State) workIn(job string) []int64 {
	var positions []int64
	for _, e := range s.Entries {
		if work, ok := journal.WorkOf(e.Facts); ok && work.Job == job && s.Live(e.Position) {
			positions = append(positions, e.Position)
		}
	}
	return positions
}

func restingOnReading(s *State, e journal.Entry) []int64 {
	return s.restingOn(e.Facts.(journal.ReadingTaken).Gate, e.Position)
}

func restingOnConcession(s *State, e journal.Entry) []int64 {
	return s.restingOn(e.Facts.(journal.ConcessionGranted).Gate, e.Position)
}

// restingOn returns the later entries that rest on a gate's reading or
// concession: concessions about it, and measure steps that the gate completed.
func (s *State) restingOn(gate string, position int64) []int64 {
	var positions []int64
	for _, e := range s.Entries[position+1:] {
		switch f := e.Facts.(type) {
		case journal.ConcessionGranted:
			if f.Gate == gate && lists.Contains(f.Readings, position) {
				positions = append(positions, e.Position)
			}
		case journal.StepDone:
			job, err := s.Job(f.Job)
			if err != nil {
				continue
			}
			step, _, ok := job.Procedure.Step(s.StepOf(f.Work))
			if ok && step.AsksFor(gate) {
				positions = append(positions, e.Position)
			}
		}
	}
	return positions
}
