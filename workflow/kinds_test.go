package workflow

import (
	"testing"

	"fettle/steps"
	"fettle/workflow/journal"
)

// Every kind of step has its row.
func TestEveryKindOfStepHasARow(t *testing.T) {
	rows := stepKinds()
	for _, k := range steps.Kinds() {
		if _, ok := rows[k.Kind]; !ok {
			t.Errorf("%s has no row", k.Kind)
		}
		delete(rows, k.Kind)
	}
	for kind := range rows {
		t.Errorf("%s is not a kind of step", kind)
	}
}

// Every row says what completes a step.
func TestEveryKindOfStepIsCompleted(t *testing.T) {
	completes := map[string]bool{}
	for _, k := range journal.Kinds() {
		completes[k.Name] = k.Completes
	}
	for kind, row := range stepKinds() {
		if row.finish == nil {
			t.Errorf("nothing completes a %s", kind)
		}
		if !completes[row.completed] {
			t.Errorf("%q does not complete a %s", row.completed, kind)
		}
	}
}
