package workflow

import (
	"time"

	"fettle/workflow/journal"
)

// unknownHands is how long a step is taken to need of which nobody said it.
const unknownHands = 5 * time.Minute

// Claim is what whoever begins the step claims of it where several benches share a record: its
// name with that of its job, and how long it takes. A wait goes by itself, and nobody is at it: "".
func (r StepReport) Claim() (step string, lasts time.Duration) {
	if r.Step.Kind.Traits().Passes {
		return "", 0
	}
	hands, err := r.Step.Hands.Duration()
	if err != nil || hands < time.Minute {
		hands = unknownHands
	}
	return r.Job + "/" + r.Step.Name, hands
}

// Claimed reports whether somebody can still be at a step that was claimed: it is neither done
// nor does it wait.
func (s *State) Claimed(step string, now time.Time) bool {
	r, _, err := s.FindStep(step, now)
	return err == nil && r.AtHand()
}

// WorkedLast is the last entry that stands of work at a step, which may be its coat alone; false:
// there is none.
func (s *State) WorkedLast(job, step string) (journal.Entry, bool) {
	all := s.workIn(job)
	for i := len(all) - 1; i >= 0; i-- {
		e := s.Entries[all[i]]
		if work, _ := journal.WorkOf(e.Facts); s.StepOf(work) == step {
			return e, true
		}
	}
	return journal.Entry{}, false
}
