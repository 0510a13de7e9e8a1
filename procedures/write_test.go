package procedures

import (
	"reflect"
	"testing"
)

// Every document of the library is the same after writing and reading it again.
func TestWriteIsRead(t *testing.T) {
	t.Parallel()
	danger, faults := parse("danger.yaml", []byte(dangerText), nil)
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	placed := faulty{edit: []string{"    points: [root, tip]", "    points: [root, tip]\n    at: {root: [20 mm, 0 mm], tip: [[0 mm, 10 mm], [20 mm, 400 mm]]}",
		"    title: Balance\n", "    title: Balance\n    at: [45 mm, 30 mm]\n", "sweep: 0°", "sweep: -1.5°"}}
	plan, faults := parse("plan.yaml", []byte(placed.text(t, geometryText)), nil)
	if len(faults) > 0 || len(plan.Sheet.Gates[0].At) != 2 || len(plan.Sheet.Geometry.Bodies[1].Outline) != 3 {
		t.Fatal(faults)
	}
	power, faults := parse("power.yaml", []byte(powerText), nil)
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	for _, e := range append(shipped(), Entry{Document: danger}, Entry{Document: plan}, Entry{Document: power}) {
		d := e.Document
		var data []byte
		var err error
		switch {
		case d.Procedure != nil:
			data, err = Write(d.Procedure)
		case d.Sheet != nil:
			data, err = written(sheetKeys(), d.Sheet)
		default:
			data, err = written(triageKeys(), d.Triage)
		}
		if err != nil {
			t.Fatal(err)
		}
		again, faults := parse("again.yaml", data, nil)
		if len(faults) > 0 {
			t.Errorf("%s: %v\n%s", d.Name(), faults, data)
			continue
		}
		if !reflect.DeepEqual(again.Procedure, d.Procedure) || !reflect.DeepEqual(again.Sheet, d.Sheet) || !reflect.DeepEqual(again.Triage, d.Triage) {
			t.Errorf("%s is read otherwise:\n%s", d.Name(), data)
		}
	}
}
