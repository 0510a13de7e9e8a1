package robot

import (
	"slices"

	"fettle/workflow"
)

// Again does once more what a plan has for the end of a sitting or the beginning of the next, which takes till now: it sees to
// what the step asks for, sets what it sets, and measures.
func (w *Worker) Again(turn workflow.Turn) error {
	w.Now = turn.Ends
	r, _, err := w.State.FindStep(turn.Job+"/"+turn.Step, w.Now)
	if err != nil {
		return err
	}
	if set := append(slices.Clone(turn.Needs), r.Step.Sets...); len(set) > 0 {
		if err := w.Act(workflow.ReadBench{Set: set}); err != nil {
			return err
		}
	}
	for _, u := range w.State.Sheet.UsesOf(r.Step) {
		if len(u.Hold) > 0 && !w.State.Cleared(u, w.Now) {
			if err := w.Act(workflow.ClearUse{Of: u.Name, Answers: yes(u.Hold), Lines: u.Hold}); err != nil {
				return err
			}
		}
	}
	for _, name := range r.Step.Gates {
		g, err := w.State.GateReport(name, w.Now)
		if err != nil {
			return err
		}
		request, err := measure(w.State, g, w.Now)
		if err == nil {
			err = w.Act(request)
		}
		if err != nil {
			return err
		}
	}
	return nil
}
