package workflow

import (
	"slices"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/workflow/journal"
)

// DidBefore reports whether the person completed the step on this airframe before,
// in an earlier job or in this one: the step that was written in the same place,
// or one of the same name, and what it says to do and its cautions were the same
// then, word for word. What was taken back was not done, and what somebody else
// did the person may never have read. However long ago it was, it counts.
func (s *State) DidBefore(by string, step steps.Step) bool {
	procedures := map[string]*steps.Procedure{} // of each job, as it was then
	for _, e := range s.Entries {
		if !s.Live(e.Position) {
			continue
		}
		if job := journal.JobOf(e.Facts); job != "" {
			procedures[job] = s.docs.Procedures[journal.NamesOf(e.Facts).Procedure]
		}
		work, ok := journal.WorkOf(e.Facts)
		if !ok || e.By != by || procedures[work.Job] == nil {
			continue
		}
		did, _, ok := procedures[work.Job].Step(work.Step)
		if ok && s.kinds[did.Kind].completed == e.Facts.Kind() && readsAlike(did, step) {
			return true
		}
	}
	return false
}

// readsAlike reports whether who has read one of the steps has read the other.
func readsAlike(a, b steps.Step) bool {
	placed := a.Origin.Document != "" && a.Origin.Document == b.Origin.Document && a.Origin.Step == b.Origin.Step && slices.Equal(a.Origin.Words, b.Origin.Words)
	return (a.Name == b.Name || placed) && a.Do == b.Do && lists.Equal(a.Cautions, b.Cautions)
}
