package robot

import (
	"testing"

	"fettle/steps"
)

// Every kind of step has its row.
func TestTheRobotKnowsEveryKind(t *testing.T) {
	rows := answers()
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
