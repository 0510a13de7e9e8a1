package workflow

import (
	"testing"
	"time"

	"fettle/steps"
)

// A gate that a finished build measured with the propeller off is measured so
// again, although no job is open.
func TestAGateIsMeasuredAsTheFinishedBuildMeasuredIt(t *testing.T) {
	b := assembled(t, "rudder")
	b.done("hinge-rudder")
	b.must(readings("throw", "12 mm", "12 mm"))
	b.done("coat-saddle", "join-saddle")
	b.after(24 * time.Hour)
	b.must(readings("square", "left=500 mm", "right=501 mm"), readings("slot", "root=4 mm", "tip=4 mm"))
	b.must(GiveRelease{}, LogFlight{Landing: Soft})
	if open := b.state.OpenJobs(b.now); len(open) > 0 {
		t.Fatalf("%d jobs are open", len(open))
	}
	b.after(time.Minute)
	b.refused(readings("throw", "12 mm", "12 mm"), ByCondition) // a flight ends what was said
	b.must(ReadBench{Set: []steps.Setting{{Condition: "propeller", State: "off"}}}, readings("throw", "12 mm", "12 mm"))
}

// Two steps may measure a gate in different states; one of the steps must have
// all that it needs, not each a part.
func TestOneStepHasAllThatItNeeds(t *testing.T) {
	b := building(t)
	off, on := steps.Setting{Condition: "propeller", State: "off"}, steps.Setting{Condition: "propeller", State: "on"}
	open, shut := steps.Setting{Condition: "ventilation", State: "on"}, steps.Setting{Condition: "ventilation", State: "off"}
	measure := func(name string, needs ...steps.Setting) steps.Step {
		return steps.Step{Name: name, Kind: steps.Measure, Gates: []string{"throw"}, Needs: needs}
	}
	b.state.Jobs[0].Procedure = &steps.Procedure{Stages: []steps.Stage{{Name: "a", Steps: []steps.Step{measure("one", off, open), measure("other", on, shut)}}}}
	throw := steps.Gate{Name: "throw"}
	for _, c := range []struct {
		propeller, ventilation steps.Setting
		lacking                int
	}{{off, open, 0}, {on, shut, 0}, {on, open, 1}, {off, shut, 1}} {
		b.state.said = map[string][]said{}
		for _, s := range []steps.Setting{c.propeller, c.ventilation} {
			b.state.set(b.state.Entries[len(b.state.Entries)-1], s)
		}
		if got := b.state.unsafe(throw, b.now); len(got) != c.lacking {
			t.Errorf("%s, %s: %+v; want %d lacking", c.propeller, c.ventilation, got, c.lacking)
		}
	}
}
