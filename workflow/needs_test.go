package workflow

import (
	"strings"
	"testing"
	"time"

	"fettle/steps"
	"fettle/workflow/journal"
)

// A throw is measured with the propeller off, whatever the order of asking.
func TestAReadingNeedsWhatItsStepNeeds(t *testing.T) {
	b := building(t, "rudder")
	b.done("hinge-rudder")
	b.must(setting("propeller", "on"))
	throw := readings("throw", "11 mm", "11 mm")
	mustContain(t, b.refused(throw, ByCondition), "it needs propeller: off", "says propeller: on")
	b.after(time.Minute)
	b.must(setting("propeller", "off"))
	if err := b.tryAt(throw, b.now.Add(-30*time.Second)); err == nil {
		t.Error("measured half a minute before the propeller was taken off")
	}
	b.must(throw)
	if r := b.step("measure-throw"); r.Progress != Done {
		t.Errorf("measure-throw is %s: %v", r.Progress, r.Reasons)
	}
	// Once more, when the step is done and the job still open.
	b.must(setting("propeller", "on"))
	b.refused(throw, ByCondition)
	b.must(readings("square", "left=500 mm", "right=500 mm")) // its step needs nothing
}

func TestStepsThatNeedAConditionOtherwise(t *testing.T) {
	measure := func(name string, gates []string, state string) steps.Step {
		return steps.Step{Name: name, Kind: steps.Measure, Gates: gates, Needs: []steps.Setting{{Condition: "ventilation", State: state}, {Condition: "propeller", State: "off"}}}
	}
	lay := plain("lay")
	lay.Disturbs = []string{"wing"}
	b := working(t, steps.Stage{Name: "one", Steps: []steps.Step{lay, measure("with", []string{"slot"}, "on"), measure("without", []string{steps.Stale}, "off")}})
	b.done("lay")
	slot := readings("slot", "root=4 mm", "tip=4 mm")
	mustContain(t, b.refused(slot, ByCondition), "propeller")
	b.must(setting("propeller", "off"), slot)
	b.must(setting("ventilation", "off"), slot)
	b.after(SittingLength + time.Second)
	mustContain(t, b.refused(slot, ByCondition), "it needs ventilation: on")
}

func TestACoatOfNoAdhesiveOfTheDesign(t *testing.T) {
	gum := coating("coat", "tab")
	gum.Adhesives = []string{"gum"}
	b := working(t, one("one", gum, joining("join", "tab")))
	mustContain(t, b.refused(Finish{Step: "coat"}, ByState), "gum")
}

func TestAJoinOutsideTheWorkingLimits(t *testing.T) {
	b := building(t)
	b.done("coat-left", "coat-right")
	b.after(10 * time.Minute)
	b.must(celsius("36 °C")) // its window closes twelve seconds from now
	mustContain(t, b.refused(Finish{Step: "join-roots"}, ByClimate), "not be used above 35 °C")
	b = assembled(t)
	b.done("coat-saddle")
	b.must(celsius("9.9 °C"))
	mustContain(t, b.refused(Finish{Step: "join-saddle"}, ByClimate), "not be used below 10 °C")
	b.must(celsius("10 °C"))
	b.done("join-saddle")
}

// A damp bench, of an adhesive that works from 35 to 85 % humidity.
func TestHumidity(t *testing.T) {
	damp := sheet()
	damp.Adhesives[0].Driest, damp.Adhesives[0].Dampest = q("35 %"), q("85 %")
	b := building(t)
	b.moved(build(), damp)
	read := func(humidity string) ReadBench { return ReadBench{Temperature: q("20 °C"), Humidity: q(humidity)} }
	mustContain(t, b.refused(Finish{Step: "coat-left"}, ByClimate), "was not read")
	for humidity, want := range map[string]string{"34 %": "below a humidity of 35 %", "86 %": "above a humidity of 85 %"} {
		b.must(read(humidity))
		mustContain(t, b.refused(Finish{Step: "coat-left"}, ByClimate), want)
		remedy := b.step("coat-left").Reasons[0].Remedy
		if kind := map[string]RemedyKind{"34 %": ToDampAir, "86 %": ToDryAir}[humidity]; remedy.Kind != kind || !strings.Contains(want, remedy.Value.String()) {
			t.Errorf("at %s the remedy is %+v", humidity, remedy)
		}
	}
	b.must(read("35 %"))
	b.done("coat-left")
	b.must(read("85 %"))
	b.done("coat-right")
	b.after(10 * time.Minute)
	b.must(read("90 %"))
	mustContain(t, b.refused(Finish{Step: "join-roots"}, ByClimate), "above a humidity of 85 %")
	b.must(read("50 %"))
	b.done("join-roots")

	only := sheet()
	only.Adhesives[0].Dampest = q("85 %")
	b = building(t)
	b.moved(build(), only)
	mustContain(t, b.refused(Finish{Step: "coat-left"}, ByClimate), "was not read")
	b.must(read("0 %"))
	b.done("coat-left")

	only.Adhesives[0].Driest, only.Adhesives[0].Dampest = q("35 %"), only.Adhesives[1].Dampest
	b = building(t)
	b.moved(build(), only)
	mustContain(t, b.refused(Finish{Step: "coat-left"}, ByClimate), "was not read")
	b.must(read("100 %"))
	b.done("coat-left")
}

// What only the air holds back is what comes next, with what to do about it.
func TestDampAirIsResolved(t *testing.T) {
	damp := sheet()
	damp.Adhesives[0].Dampest = q("85 %")
	b := workingOn(t, damp, one("glue", coating("coat", "tab")))
	b.must(ReadBench{Temperature: q("20 °C"), Humidity: q("90 %")})
	if next := b.state.Next(b.now); next.Step == nil || next.Step.Step.Name != "coat" || len(next.Resolve) != 1 || next.Resolve[0].Remedy.Kind != ToDryAir {
		t.Errorf("next is %+v", next)
	}
}

// A bench within the limits at which the coat would be too old before it is dry.
func TestNoWindowAtThisTemperature(t *testing.T) {
	slow := build()
	slow.Stages[0].Steps[0].Hands = q("20 min")
	b := building(t)
	b.moved(slow, sheet())
	b.must(celsius("9 °C")) // dry after 21 min 26 s, and too old 20 min after that began
	mustContain(t, b.refused(Finish{Step: "coat-left"}, ByClimate), "has no window")
	b.must(celsius("10 °C")) // 20 min and 20 min: a window of no length, and one all the same
	b.done("coat-left")
	if coated, ok := b.state.Entries[b.state.Size()-1].Facts.(journal.Coated); !ok || coated.Step != "coat-left" {
		t.Errorf("recorded was %+v", coated)
	}
}

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

// A step that measures what a finished build measured in some state waits for
// that state, and does not only refuse its readings.
func TestAStepIsHeldBackByWhatItsGatesAreMeasuredIn(t *testing.T) {
	b := assembled(t, "rudder")
	b.done("hinge-rudder")
	b.must(readings("throw", "12 mm", "12 mm"))
	b.done("coat-saddle", "join-saddle")
	b.after(24 * time.Hour)
	b.must(readings("square", "left=500 mm", "right=501 mm"), readings("slot", "root=4 mm", "tip=4 mm"), GiveRelease{})
	b.must(ReportDamage{Triage: triage(), Seen: []Sighting{{Finding: "cracked", Zone: "tail", Severity: steps.Serious}}})
	b.must(Start{Procedure: repairWork(), Digest: repairSum, Sheet: sheet(), SheetDigest: sheetSum, Zone: "tail", Damages: []string{"D1"}})
	b.must(celsius("20 °C"))
	b.done("lay-skin", "coat-skin")
	b.after(10 * time.Minute)
	b.done("join-skin")
	b.after(time.Hour)
	if r := b.step("measure-again"); r.Progress != Waiting || len(r.Reasons) != 1 || r.Reasons[0].Because != ByCondition {
		t.Errorf("%s: %v", r.Progress, r.Reasons)
	}
	b.refused(readings("throw", "12 mm", "12 mm"), ByCondition)
	b.must(setting("propeller", "off"), readings("throw", "12 mm", "12 mm"))
	if r := b.step("measure-again"); r.Progress != Done {
		t.Errorf("%s: %v", r.Progress, r.Reasons)
	}
}
