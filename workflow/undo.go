package workflow

import (
	"fmt"
	"slices"
	"strings"

	"fettle/workflow/journal"
)

// Undo takes an entry back, and with it every entry that depends on it.
type Undo struct {
	Position int64
	Reason   string
}

func (r Undo) decide(s *State, c Circumstances) ([]journal.Facts, error) {
	what := fmt.Sprintf("taking back entry %d", r.Position)
	if r.Position < 0 || r.Position >= s.Size() {
		return nil, UnknownEntry(r.Position)
	}
	if by, gone := s.undone[r.Position]; gone {
		return nil, refuse(what, ByState, fmt.Sprintf("entry %d already took it back", by), Remedy{})
	}
	switch f := s.Entries[r.Position].Facts.(type) {
	case journal.Registered:
		return nil, refuse(what, ByState, "a registration cannot be taken back", Remedy{Kind: ToChooseMark})
	case journal.Undone:
		return nil, refuse(what, ByState, "a correction cannot be taken back", Remedy{Kind: ToDoAgain})
	case journal.Sealed:
		return nil, refuse(what, ByState, "a seal may have been handed out and cannot be taken back", Remedy{})
	case journal.JobOpened:
		if len(s.workIn(f.Job)) > 0 {
			return nil, refuse(what, ByState, "steps of job "+f.Job+" are done", Remedy{Kind: ToTakeBackFirst})
		}
	}
	back := map[int64]bool{}
	s.takeBack(r.Position, back)
	var positions []int64
	for p := range back {
		positions = append(positions, p)
	}
	slices.Sort(positions)
	facts := []journal.Facts{journal.Undone{TakesBack: positions, Reason: strings.TrimSpace(r.Reason)}}
	// A journal that can no longer be replayed could never be corrected.
	if _, err := s.then(facts, c); err != nil {
		return nil, refuse(what, ByState, fmt.Sprintf("later entries depend on it (%v)", err), Remedy{Kind: ToTakeBackFirst})
	}
	return facts, nil
}

// takeBack collects the entry and all that depends on it.
func (s *State) takeBack(position int64, back map[int64]bool) {
	if back[position] || !s.Live(position) {
		return
	}
	back[position] = true
	facts := s.Entries[position].Facts
	switch facts.(type) {
	case journal.Noted, journal.PhotoKept:
		return
	}
	// Every later release: with only the last gone, the one before it would stand again.
	for _, e := range s.Entries[position+1:] {
		if _, ok := e.Facts.(journal.Released); ok {
			s.takeBack(e.Position, back)
		}
	}
	work, _ := journal.WorkOf(facts)
	for _, p := range s.after(work) {
		s.takeBack(p, back)
	}
	switch f := facts.(type) {
	case journal.DamageFound:
		for _, p := range s.clearing(f.Damage) {
			s.takeBack(p, back)
		}
	case journal.JobOpened:
		for _, p := range s.about(f.Job) {
			s.takeBack(p, back)
		}
	}
	gate := ""
	switch f := facts.(type) {
	case journal.ReadingTaken:
		gate = f.Gate
	case journal.ConcessionGranted:
		gate = f.Gate
	}
	if gate != "" {
		for _, p := range s.restingOn(gate, position) {
			s.takeBack(p, back)
		}
	}
}

// after returns the entries of the steps that come after the work's step: in
// its stage, and in every stage after that; none where it is of no job.
func (s *State) after(work journal.Work) []int64 {
	job, err := s.Job(work.Job)
	if err != nil {
		return nil
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
		if !slices.Contains(job.Procedure.Before(other.Name), stage.Name) {
			continue
		}
		for _, step := range other.Steps {
			later[step.Name] = true
		}
	}
	var positions []int64
	for _, p := range s.workIn(work.Job) {
		if w, _ := journal.WorkOf(s.Entries[p].Facts); later[s.StepOf(w)] {
			positions = append(positions, p)
		}
	}
	return positions
}

// clearing returns the live entries that clear the quarantine of a damage.
func (s *State) clearing(damage string) []int64 {
	var positions []int64
	for _, e := range s.Entries {
		if f, ok := e.Facts.(journal.QuarantineCleared); ok && f.Damage == damage && s.Live(e.Position) {
			positions = append(positions, e.Position)
		}
	}
	return positions
}

// about returns the live entries about a job that complete none of its steps.
func (s *State) about(job string) []int64 {
	var positions []int64
	for _, e := range s.Entries {
		touched, _ := e.Facts.(journal.TouchTested)
		moved, _ := e.Facts.(journal.JobMoved)
		if (touched.Job == job || moved.Job == job) && s.Live(e.Position) {
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

// restingOn returns the later entries that rest on a gate's reading or
// concession: concessions about it, and measure steps that the gate completed.
func (s *State) restingOn(gate string, position int64) []int64 {
	var positions []int64
	for _, e := range s.Entries[position+1:] {
		switch f := e.Facts.(type) {
		case journal.ConcessionGranted:
			if f.Gate == gate && slices.Contains(f.Readings, position) {
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
