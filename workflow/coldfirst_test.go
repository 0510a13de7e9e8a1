package workflow

import (
	"testing"

	"fettle/steps"
	"fettle/workflow/plan"
)

// solderer is a bench with a coat that needs the iron cold, and later work that heats it, is done with it, and ends with it cold.
func solderer(t *testing.T) *bench {
	t.Helper()
	hot, cold := []steps.Setting{{Condition: "iron", State: "hot"}}, []steps.Setting{{Condition: "iron", State: "cold"}}
	in := sheet()
	in.Conditions = append(in.Conditions, steps.Condition{Name: "iron", Title: "The iron", States: []string{"cold", "hot"}, Bench: true})
	in.Adhesives[0].Needs = cold
	in.Tools = []steps.Tool{{Name: "iron", Title: "An iron", Care: steps.Care{Needs: hot}}}
	heat, solder := hands("heat", "3 min"), hands("solder", "30 min")
	heat.Sets, solder.Tools, solder.Sets = hot, []string{"iron"}, cold
	b := workingOn(t, in, one("glue", coating("coat", "tab"), joining("press", "tab")), one("wires", heat, solder))
	b.must(ReadBench{Temperature: q("20 °C"), Set: cold})
	return b
}

// What is hot beside an open coat that needs it cold is ended at once, before the join, and what is done with it is heated anew.
func TestSchedulesTheHotThingCold(t *testing.T) {
	b := solderer(t)
	b.done("coat")
	b.must(setting("iron", "hot"))
	p, err := Schedule(t.Context(), []*State{b.state}, evening, Hours{Sittings: open(0, 120)}, plan.Options{})
	if want := "safe 0, press 10, heat 11, solder 14, | ends 44"; err != nil || says(p) != want {
		t.Errorf("%s, %v; want %s", says(p), err, want)
	}
}

// What ends by work that is done with it is ended till the next sitting in the words of the condition, and takes no time of that work.
func TestScheduleEndsInWords(t *testing.T) {
	b := solderer(t)
	b.done("heat")
	p, err := Schedule(t.Context(), []*State{b.state}, evening, Hours{Sittings: open(0, 20, 1440, 1560)}, plan.Options{})
	if err != nil || len(p.Visits) == 0 || len(p.Visits[0].Turns) == 0 {
		t.Fatalf("%s, %v", says(p), err)
	}
	turn := p.Visits[0].Turns[0]
	if turn.Again != AgainSafe || turn.Title != "The iron: cold" || turn.Ends.Sub(turn.Begins) != minutesOf(1) || len(turn.Tools) > 0 || len(turn.Sets) != 1 {
		t.Errorf("it ends by %+v", turn)
	}
}
