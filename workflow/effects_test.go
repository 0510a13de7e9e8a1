package workflow

import (
	"testing"

	"fettle/steps"
	"fettle/workflow/journal"
)

// Every kind of entry has its effect in the fold, and what completes a step
// disturbs and sets what its step says.
func TestEveryKindHasAnEffect(t *testing.T) {
	rows := effects()
	for _, k := range journal.Kinds() {
		row, ok := rows[k.Name]
		if !ok || row.fold == nil {
			t.Errorf("%s has no effect", k.Name)
		}
		if k.Completes && (row.disturbs == nil || row.sets == nil) {
			t.Errorf("%s completes a step, and does not disturb or set what the step says", k.Name)
		}
		if row.carries == nil {
			t.Errorf("nothing says what %s takes along when it is taken back", k.Name)
		}
		delete(rows, k.Name)
	}
	for name := range rows {
		t.Errorf("%s is not a kind of entry", name)
	}
	work := journal.Work{Step: "sand", Disturbs: []string{"wing"}, Sets: []steps.Setting{{Condition: "propeller", State: "off"}}}
	by, zones := workDisturbs(journal.StepDone{Work: work})
	if by != "sand" || len(zones) != 1 || zones[0] != "wing" || len(workSets(journal.StepDone{Work: work})) != 1 {
		t.Errorf("disturbed by %q: %v", by, zones)
	}
}
