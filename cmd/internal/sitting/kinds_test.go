package sitting

import (
	"testing"

	"fettle/steps"
)

// Every kind of step has its row.
func TestEveryKindOfStepIsAsked(t *testing.T) {
	rows := questions()
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
