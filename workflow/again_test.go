package workflow

import (
	"testing"
	"time"

	"fettle/steps"
)

// Who has done a step before is who completed it on this airframe, with the same
// words; neither a half of it, nor what was taken back, nor what another did.
func TestDidBefore(t *testing.T) {
	b := building(t)
	step := func(name string) steps.Step { return b.step(name).Step }
	did := func(by, name string, want bool) {
		t.Helper()
		if b.state.DidBefore(by, step(name)) != want {
			t.Errorf("%s did %s before: %v", by, name, !want)
		}
	}
	did("builder", "coat-left", false)
	b.done("coat-left")
	did("builder", "coat-left", true)
	did("builder", "coat-right", false)
	did("second", "coat-left", false)
	b.after(2 * time.Hour) // it lapses, and is open again
	if b.step("coat-left").Progress != Ready {
		t.Fatal("the coat has not lapsed")
	}
	did("builder", "coat-left", true)
	b.must(Undo{Position: b.state.Size() - 1})
	did("builder", "coat-left", false)

	b.must(Start{Procedure: repairWork(), Digest: repairSum, Sheet: sheet(), SheetDigest: sheetSum, Zone: "wing"})
	b.done("lay-skin")
	b.must(Start{Procedure: repairWork(), Digest: repairSum, Sheet: sheet(), SheetDigest: sheetSum, Zone: "tail"})
	did("builder", "lay-skin", true) // in the earlier job
	for _, changed := range []func(*steps.Step){
		func(s *steps.Step) { s.Do = "iron it down, cooler" },
		func(s *steps.Step) { s.Cautions = []string{"It is hot"} },
		func(s *steps.Step) { s.Name = "lay-the-skin" },
	} {
		s := step("lay-skin")
		changed(&s)
		if b.state.DidBefore("builder", s) {
			t.Errorf("%+v counts as done before", s)
		}
	}
}

// A step that a plan gave another name is known by where it was written; the coat
// alone of a glue step is not the step.
func TestDidBeforeByPlaceAndWhole(t *testing.T) {
	p := repairWork()
	p.Stages[0].Steps = []steps.Step{
		{Name: "safe", Kind: steps.Do, Do: "unplug", Origin: steps.Origin{Document: "sha256:safe", Step: "unplug"}},
		{Name: "press", Kind: steps.Glue, Joint: "skin", Adhesives: []string{"contact"}, Disturbs: []string{"wing"}},
	}
	docs := documents()
	docs.Procedures["sha256:plan"] = p
	b := newBench(t)
	b.docs = &docs
	b.must(Start{Procedure: p, Digest: "sha256:plan", Sheet: sheet(), SheetDigest: sheetSum, Zone: "wing"}, ReadBench{Temperature: q("20 °C")})
	b.done("safe", "press")
	again := p.Stages[0].Steps[0]
	again.Name = "safe-first"
	if !b.state.DidBefore("builder", again) {
		t.Error("it is not known by where it was written")
	}
	again.Origin.Words = []steps.Word{{Name: "side", Is: "left"}}
	if b.state.DidBefore("builder", again) {
		t.Error("other words were filled in")
	}
	if b.state.DidBefore("builder", b.step("press").Step) {
		t.Error("its coat counts as the whole step")
	}
	b.after(12 * time.Minute)
	b.done("press")
	if !b.state.DidBefore("builder", b.step("press").Step) {
		t.Error("the pressed joint is not done before")
	}
}
